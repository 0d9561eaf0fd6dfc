package web

import (
	"net/http"
	"regexp"
	"strconv"
	"time"

	"endshake/schedule"
)

// Database tells how the database stands.
type Database interface {
	// Standing tells whether it answers, whether it takes changes, and when what is
	// shown was last known to be the newest.
	Standing() (answers, takes bool, seen time.Time)
	// Passing reports whether an error comes of how it stands, and not of what was
	// asked; open: it is not known whether what was to be kept is.
	Passing(err error) (passing, open bool)
}

// standing is Standing of the database; one that nobody tells of always answers.
func (s *server) standing() (answers, takes bool, seen time.Time) {
	if s.Database == nil {
		return true, true, time.Time{}
	}
	return s.Database.Standing()
}

func (s *server) answers() bool {
	answers, _, _ := s.standing()
	return answers
}

// onlyPassing reports whether an error is that of a database that does not answer:
// what can be shown without it is.
func (s *server) onlyPassing(err error) bool {
	if err == nil || s.Database == nil {
		return false
	}
	passing, _ := s.Database.Passing(err)
	return passing
}

func (s *server) takes() bool {
	_, takes, _ := s.standing()
	return takes
}

// awayWords is what every page says while nothing can be logged, with the instant
// in the reader's words; empty: the database is there, and the time is believed.
func (s *server) awayWords(words func(time.Time) string) string {
	answers, takes, seen := s.standing()
	switch {
	case takes && s.Doubt == nil:
		return ""
	case takes:
		return s.Doubt()
	case answers:
		return "The database takes no changes at present: what is shown was read from it on " + words(seen) + ", and nothing can be logged until it does."
	}
	return "The database does not answer: what is shown is as it was known on " + words(seen) + ", and nothing can be logged until it answers again."
}

// Why a form is not taken, and what becomes of it.
const (
	awayForm = "The database does not answer, so nothing was logged: send this form again in a minute, as it is."
	openForm = "The database broke off before it said whether this was logged: send this form again, as it is. What was logged already is not logged twice."
)

// formWords is why a form that an error of the database kept from being logged is
// to be sent again; ok is false where the error is another.
func (s *server) formWords(err error) (words string, ok bool) {
	if s.Database == nil {
		return "", false
	}
	passing, open := s.Database.Passing(err)
	if open {
		return openForm, true
	}
	return awayForm, passing
}

// away answers what needs a database that does not answer, or takes no changes.
func (s *server) away(w http.ResponseWriter, r *http.Request, open bool) {
	w.Header().Set("Retry-After", "10")
	text := "What you asked for cannot be read now. It is tried again by itself: load this page again in a minute. What was logged is safe."
	switch {
	case open:
		text = "It broke off before it said whether this was kept. Go back with your browser, where what you filled in still stands, and look or send it again: what was logged already is not logged twice."
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		text = "Nothing was kept or changed. Go back with your browser, where what you filled in still stands, and send it again in a minute."
	}
	if ofAPI(r.URL.Path) {
		s.problem(w, r, http.StatusServiceUnavailable, &schedule.Error{Message: apiAway[open]})
		return
	}
	head := "The database does not answer"
	if answers, takes, _ := s.standing(); answers && !takes {
		head = "The database takes no changes at present"
	}
	s.sorry(w, r, http.StatusServiceUnavailable, head, text)
}

// apiAway says so to programs; true: where it is open whether something was kept.
var apiAway = map[bool]string{
	false: "the database does not answer: nothing was kept; try again in a minute",
	true:  "the database broke off before it said whether this was kept: send it again with the same Idempotency-Key, and it is kept once",
}

// keepsItself are the forms that are shown again as they were filled in.
var keepsItself = regexp.MustCompile(`^/clock/[^/]+/(do/[^/]+|log|card/entry)$`)

// turnedAway answers a form that nothing would come of; forms of entries are shown
// again by who reads them, and programs told in their own way.
func (s *server) turnedAway(w http.ResponseWriter, r *http.Request) bool {
	if s.takes() || ofAPI(r.URL.Path) || keepsItself.MatchString(r.URL.Path) {
		return false
	}
	s.away(w, r, false)
	return true
}

// headKnown says to programs since when what they get is known.
const headKnown = "Endshake-Known"

// aged marks an answer in JSON, while the database does not answer, with how old
// what it says is: Age in seconds (RFC 9111, 5.1), and the instant.
func (s *server) aged(h http.Header) {
	if answers, _, seen := s.standing(); !answers {
		h.Set("Age", strconv.Itoa(int(max(s.Now().Sub(seen), 0)/time.Second)))
		h.Set(headKnown, seen.UTC().Format(time.RFC3339))
	}
}
