package login

import "strings"

// nearby are words that anybody would try here.
var nearby = strings.Fields(`endshake conservator horology horological escapement pendulum clockmaker clocktower
	clocks clock tower turret keeper winder church townhall council museum`)

// usualWords are words and rows of keys that the passwords most often taken are
// made of (from memory; the longest first where one holds another).
var usualWords = strings.Fields(`
	qwertyuiop asdfghjkl zxcvbnm qwertzuiop azertyuiop 1q2w3e4r5t6y 1qaz2wsx3edc 1q2w3e4r 1qaz2wsx qazwsxedc
	q1w2e3r4t5 zaq12wsx qweasdzxc qwerty asdfgh qwertz azerty zxcvb asdf
	passwords password passwort passw0rd p@ssw0rd p@ssword pa55word motdepasse contrasena wachtwoord
	administrator administrador admin superuser rootroot letmein letme changeme changeit default secret
	welcome welkom willkommen bienvenue trustno iloveyou ilove loveyou lovelove princess princesa sunshine
	monkey dragon football baseball basketball volleyball softball hockey soccer liverpool chelsea arsenal
	manchester barcelona juventus superman batman spiderman starwars pokemon naruto minecraft fortnite
	master mustang shadow michael jennifer jessica michelle ashley amanda andrew daniel joshua matthew
	anthony charlie thomas robert william jordan hunter harley ranger buster killer george summer winter
	spring autumn january february march april june july august september october november december monday
	tuesday wednesday thursday friday saturday sunday computer internet samsung google facebook instagram
	whatever freedom flower cheese cookie banana orange purple yellow silver golden diamond
	butterfly chocolate rainbow hello goodbye lovely forever friends family mother father sister brother
	angel angels heaven jesus christ blessed mexico london england america canada australia
	access login signin pass pwd user guest test testing demo sample example temp temporary
	abc123 abcd1234 xxxx zzzz aaaa 1111 0000 123123 121212 112233 987654321 123654 147258369 159753 147852
	ninja hacker matrix phoenix eagle tiger lion panther falcon cowboy yankee yankees lakers
	cheese pepper ginger maggie bailey jasmine nicole samantha elizabeth victoria alexander
	mylove babygirl baby sweet honey sugar lucky magic music guitar player gamer
	correcthorsebatterystaple correct horse battery staple`)
