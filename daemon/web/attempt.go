package web

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"strings"
	"time"

	"endshake/schedule"
)

// attempt is one try to log in, by what it is counted under.
type attempt []counted

// counted is one of these; all: the earlier tries of its key are its sender's too.
type counted struct {
	in  *failures
	key string
	all bool
}

// typedKey is what a try is counted under where a name is typed: as it stands,
// so that it tells nobody whose it is.
func typedKey(name string) string {
	return "name " + strings.ToLower(name)[:min(100, len(strings.ToLower(name)))]
}

// personKey is that of a try of somebody who is known already.
func personKey(a schedule.Account) string { return "person " + a.Person }

// mayTry counts a try and answers where it has to wait: against the address that
// it comes from, against the name there, and against the name wherever it comes
// from. Addresses that have had what is free there wait for one another, and the
// others for none of these: one that asks for ever makes nobody else wait. A browser that was let in with this
// account waits for itself alone: whoever knows a name does not lock its holder
// out. Names that nobody has are counted as if somebody had them.
func (s *server) mayTry(w http.ResponseWriter, r *http.Request, key string, a schedule.Account) (attempt, bool) {
	t, wait := s.count(r, key, a)
	if wait <= 0 {
		return t, true
	}
	s.Log.WarnContext(r.Context(), "log-in put off", "person", orNobody(a.Person), "wait", wait.Round(time.Second))
	seconds := int(wait/time.Second) + 1
	w.Header().Set("Retry-After", fmt.Sprint(seconds))
	words := schedule.Count(seconds, "second", "seconds")
	if seconds >= 90 {
		words = schedule.Count(seconds/60+1, "minute", "minutes")
	}
	s.sorry(w, r, http.StatusTooManyRequests, "That was tried too often", "Nothing is locked. Wait "+words+" and try again.")
	return t, false
}

// count counts a try, or says how long it has to wait.
func (s *server) count(r *http.Request, key string, a schedule.Account) (t attempt, wait time.Duration) {
	if mark := s.knows(r, a); mark != "" {
		t = attempt{{s.wrongAccount, key + "\n" + mark, true}}
	} else {
		from := s.from(r)
		t = attempt{{s.wrongFrom, from, false}, {s.wrongPair, key + "\n" + from, true}}
		whole := counted{s.wrongAccount, key, false}
		if a.Person == "" {
			whole.in = s.wrongName // so many may be asked for that they are forgotten sooner
		}
		if s.wrongPair.number(t[1].key, failFor, s.Now()) >= failFree {
			whole.key += "\nlong since"
		}
		t = append(t, whole)
	}
	for i, c := range t {
		if wait = c.in.take(c.key, failFor, s.Now()); wait > 0 {
			for _, c := range t[:i] {
				c.in.right(c.key, false)
			}
			return nil, wait
		}
	}
	return t, 0
}

// right takes back that a try was wrong, and what its sender had wrong before.
func (s *server) right(t attempt) {
	for _, c := range t {
		c.in.right(c.key, c.all)
	}
}

// knownFor is how long a browser is known that was let in (judgement, no source).
const knownFor = 180 * 24 * time.Hour

// know gives a browser that was let in a cookie by which it is known when it logs
// in again. It opens nothing, and holds until the password is changed: it is
// sealed with the hash of that.
func (s *server) know(w http.ResponseWriter, r *http.Request, a schedule.Account) {
	if s.knows(r, a) != "" {
		return
	}
	mark := s.Logins.NewToken()
	http.SetCookie(w, &http.Cookie{Name: s.knownName(), Value: mark + "." + seal(a, mark), Path: "/", MaxAge: int(knownFor / time.Second),
		HttpOnly: true, Secure: s.sessions.Cookie.Secure, SameSite: http.SameSiteLaxMode})
}

// knows is the mark of a browser that was let in with an account before; empty:
// it was not.
func (s *server) knows(r *http.Request, a schedule.Account) string {
	c, err := r.Cookie(s.knownName())
	if err != nil || !a.Open() {
		return ""
	}
	mark, sum, _ := strings.Cut(c.Value, ".")
	if !hmac.Equal([]byte(sum), []byte(seal(a, mark))) {
		return ""
	}
	return mark
}

func (s *server) knownName() string { return s.sessions.Cookie.Name + "-known" }

// seal vouches for the mark of a browser.
func seal(a schedule.Account, mark string) string {
	h := hmac.New(sha256.New, []byte(a.Hash))
	h.Write([]byte("browser let in\n" + a.Person + "\n" + mark))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil))
}
