package web

import (
	"context"
	"net/http"
	"net/url"

	"endshake/schedule"
)

// route is an address, what it takes to be let in, and who answers.
type route struct {
	path string
	// need is the action that a reader must be allowed: Public, SeeClock for
	// whoever is known here (what they see is theirs), or one on the fleet.
	need      schedule.Action
	get, post http.HandlerFunc // nil: not answered
}

const (
	// public is the need of what answers to anybody: links, which carry their own
	// leave.
	public schedule.Action = ""
	// visitor is that of what one must reach to log in.
	visitor schedule.Action = "visit"
)

// whoKey is the key of the actor in a request's context.
type whoKey struct{}

// by is who asks; the zero Actor where nobody is known.
func by(r *http.Request) schedule.Actor {
	a, _ := r.Context().Value(whoKey{}).(schedule.Actor)
	return a
}

// known reports whether the reader is somebody.
func known(a schedule.Actor) bool {
	return a.Person != "" || a.Conservator || a.Machine != nil
}

// letIn finds out who asks, and answers a route to those who may have it.
func (s *server) letIn(rt route) http.Handler {
	var h http.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if rt.need == public {
			s.byMethod(w, r, rt.get, rt.post)
			return
		}
		r, ok := s.recognised(w, r)
		if !ok || !s.mayHave(w, r, rt) {
			return
		}
		s.byMethod(w, r, rt.get, rt.post)
	})
	if rt.need != public {
		h = s.remembering(h)
	}
	return h
}

// remembering gives requests the session of their cookie, where people log in.
// What shows a token speaks for a program alone.
func (s *server) remembering(h http.Handler) http.Handler {
	if s.Logins == nil {
		return h
	}
	with := s.sessions.LoadAndSave(h)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if ofAPI(r.URL.Path) && bearing(r) {
			h.ServeHTTP(w, r)
			return
		}
		with.ServeHTTP(w, r)
	})
}

// recognised gives the request with who asks; false: it was answered.
func (s *server) recognised(w http.ResponseWriter, r *http.Request) (*http.Request, bool) {
	ctx := r.Context()
	if s.Logins == nil {
		return r.WithContext(context.WithValue(ctx, whoKey{}, s.Everyone)), true
	}
	a, in, err := s.loggedIn(r)
	if err != nil {
		s.fault(w, r, err)
		return r, false
	}
	if in {
		ctx = context.WithValue(ctx, accountKey{}, a)
		ctx = context.WithValue(ctx, whoKey{}, schedule.Actor{Person: a.Person, Conservator: a.Conservator})
	}
	return r.WithContext(ctx), true
}

// mayHave reports whether whoever asks may have a route, and answers where not.
func (s *server) mayHave(w http.ResponseWriter, r *http.Request, rt route) bool {
	a := by(r)
	switch {
	case rt.need == visitor:
		return true
	case !known(a):
		s.toLogin(w, r)
		return false
	case mustSetUp(account(r)) && rt.path != "/me/codes" && rt.path != "/logout" && rt.path != "/login/again":
		if r.Method == http.MethodGet || r.Method == http.MethodHead {
			http.Redirect(w, r, "/me/codes", http.StatusSeeOther)
		} else { // as in toLogin: a form that was not taken is not sent on
			s.sorry(w, r, http.StatusUnauthorized, "Set up one-time codes first", "Nothing was logged. Set them up under your name, open the form again and send it.")
		}
		return false
	case rt.need == schedule.SeeClock:
		return true
	}
	if err := (schedule.Fleet{}).Allow(a, rt.need, ""); err != nil {
		s.Log.WarnContext(r.Context(), "refused", "who", a.Name(), "need", string(rt.need))
		s.failed(w, r, err)
		return false
	}
	return true
}

// visitor is who a browser speaks for: whoever logged in with it.
func (s *server) visitor(r *http.Request) (schedule.Actor, error) {
	if s.Logins == nil {
		return s.Everyone, nil
	}
	a, in, err := s.loggedIn(r)
	if err != nil || !in || mustSetUp(a) {
		return schedule.Actor{}, err
	}
	return schedule.Actor{Person: a.Person, Conservator: a.Conservator}, nil
}

// toLogin sends whoever is not known to the page where they say who they are,
// and back from there. A form is not sent again by itself.
func (s *server) toLogin(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		http.Redirect(w, r, "/login?"+url.Values{"to": {r.URL.RequestURI()}}.Encode(), http.StatusSeeOther)
		return
	}
	s.sorry(w, r, http.StatusUnauthorized, "You are not logged in", "Nothing was logged. Log in, open the form again and send it.")
}

// whole gives the fleet as last assessed, of whoever asks: for links, which are
// checked one by one. All else reads snapshot.
func (s *server) whole(w http.ResponseWriter, r *http.Request) (*schedule.Snapshot, bool) {
	snap := s.Desk.Snapshot()
	if snap == nil {
		s.starting(w, r)
	}
	return snap, snap != nil
}

// snapshot gives the fleet as last assessed and as the reader may see it, or
// answers that there is none yet.
func (s *server) snapshot(w http.ResponseWriter, r *http.Request) (*schedule.Snapshot, bool) {
	rd, ok := s.reader(w, r)
	if !ok {
		return nil, false
	}
	return rd.seen, true
}

// reader gives what is derived from the fleet for whoever asks, or answers that
// there is none yet.
func (s *server) reader(w http.ResponseWriter, r *http.Request) (*onlooker, bool) {
	snap, ok := s.whole(w, r)
	if !ok {
		return nil, false
	}
	return s.shelf.of(snap).reader(by(r)), true
}
