package login

import "strings"

// nearby are words that anybody would try here, and the best known of all
// passphrases. What is tried everywhere zxcvbn knows.
var nearby = strings.Fields(`endshake conservator horology horological escapement pendulum clockmaker clocktower
	clocks clock tower turret keeper winder church townhall council museum correcthorsebatterystaple`)
