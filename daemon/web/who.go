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

// public is the need of what answers to anybody: links, which carry their own
// leave, and what one must reach to log in.
const public schedule.Action = ""

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
func (s *server) letIn(rt route) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if rt.need == public {
			s.byMethod(w, r, rt.get, rt.post)
			return
		}
		a := s.visitor(r)
		if !known(a) {
			s.toLogin(w, r)
			return
		}
		if rt.need != schedule.SeeClock {
			if err := (schedule.Fleet{}).Allow(a, rt.need, ""); err != nil {
				s.failed(w, r, err)
				return
			}
		}
		s.byMethod(w, r.WithContext(context.WithValue(r.Context(), whoKey{}, a)), rt.get, rt.post)
	}
}

// visitor is who a browser speaks for: whoever logged in with it.
func (s *server) visitor(*http.Request) schedule.Actor { return s.Everyone }

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
