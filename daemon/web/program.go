package web

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// Programs finds the program of a token that holds; a *schedule.Error with
// NotFound where none does.
type Programs interface {
	Machine(ctx context.Context, now time.Time, token string) (schedule.Machine, error)
}

// apiRoot is above all addresses for programs.
const apiRoot = "/api"

// ofAPI reports whether an address is for programs, which are answered in JSON.
func ofAPI(path string) bool { return path == apiRoot || strings.HasPrefix(path, apiRoot+"/") }

// bearing reports whether a request carries a token of a program, or tries to.
// It then speaks for the program alone, whatever cookie comes with it.
func bearing(r *http.Request) bool { return r.Header.Get("Authorization") != "" }

// Bearer is the token of a program that a request shows; empty: none. It counts
// in its header alone, once, and as it was given: not in an address, and not in
// capitals.
func Bearer(r *http.Request) string {
	scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	if !strings.EqualFold(scheme, "Bearer") || len(r.Header.Values("Authorization")) > 1 || token != strings.ToLower(token) {
		return ""
	}
	return token
}

// program finds out which program asks.
func (s *server) program(r *http.Request) (schedule.Actor, error) {
	token := Bearer(r)
	if token == "" || s.Programs == nil {
		return schedule.Actor{}, nil
	}
	m, err := s.Programs.Machine(r.Context(), s.Now(), token)
	switch {
	case schedule.CodeOf(err) == schedule.NotFound:
		return schedule.Actor{}, nil
	case err != nil:
		return schedule.Actor{}, err
	}
	return schedule.Actor{Machine: &m}, nil
}

// apiIn finds out who asks for something under /api/, a program by its token or
// else whoever is logged in, and answers those who may have it.
func (s *server) apiIn(rt route) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		w.Header().Add("Vary", "Authorization, Cookie")
		ask := s.visitor
		if bearing(r) {
			ask = s.program
		}
		a, err := ask(r)
		if err != nil {
			s.fault(w, r, err)
			return
		}
		if !known(a) {
			s.unknown(w, r)
			return
		}
		if all := methods(rt); r.Method == http.MethodOptions || !slices.Contains(all, r.Method) {
			w.Header().Set("Allow", strings.Join(all, ", "))
			if r.Method == http.MethodOptions {
				w.WriteHeader(http.StatusNoContent)
				return
			}
			s.problem(w, r, http.StatusMethodNotAllowed, &schedule.Error{Message: "this address cannot be asked for in that way: see the header Allow"})
			return
		}
		if scope := scopeFor(rt, r.Method); a.Machine != nil && scope != "" && !slices.Contains(a.Machine.Scopes, scope) {
			w.Header().Set("WWW-Authenticate", `Bearer realm="endshake", error="insufficient_scope", scope="`+string(scope)+`"`)
			s.problem(w, r, http.StatusForbidden, &schedule.Error{Code: schedule.Forbidden,
				Message: "the token of this program does not have the scope " + string(scope) + ": ask a conservator for one that has"})
			return
		}
		s.byMethod(w, r.WithContext(context.WithValue(r.Context(), whoKey{}, a)), rt.get, rt.post)
	}
}

// unknown answers a program whose token does not hold, or that has none.
func (s *server) unknown(w http.ResponseWriter, r *http.Request) {
	challenge, detail := `Bearer realm="endshake"`, "send the token of a program in the header Authorization: Bearer TOKEN, or log in"
	if bearing(r) {
		challenge += `, error="invalid_token"`
		detail = "no program has this token, or its time is over: ask a conservator for a new one"
	}
	w.Header().Set("WWW-Authenticate", challenge)
	s.problem(w, r, http.StatusUnauthorized, &schedule.Error{Message: detail})
}

// scopeFor is what the token of a program must be good for; empty: whatever it
// is good for.
func scopeFor(rt route, method string) schedule.Scope {
	switch {
	case rt.need == anyProgram:
		return ""
	case method == http.MethodPost:
		return schedule.ScopeLog
	}
	return schedule.ScopeRead
}

// anyProgram is the need of what tells nothing of any clock.
const anyProgram schedule.Action = "known"

// methods are those that an address under /api/ answers to.
func methods(rt route) (out []string) {
	if rt.get != nil {
		out = append(out, http.MethodGet, http.MethodHead)
	}
	if rt.post != nil {
		out = append(out, http.MethodPost)
	}
	return append(out, http.MethodOptions)
}

// problem answers why something cannot be done.
func (s *server) problem(w http.ResponseWriter, r *http.Request, status int, e *schedule.Error) {
	p := api.Problem{Type: "about:blank", Title: http.StatusText(status), Status: status, Detail: sentence(e.Message), Field: e.Field, Code: string(e.Code)}
	s.sendJSON(w, r, status, "application/problem+json", p)
}

// apiSorry says to programs what pages say in another way.
var apiSorry = map[int]string{
	http.StatusNotFound:              "There is no such address: GET /api lists those there are.",
	http.StatusForbidden:             "That came from another site: nothing was logged. A program sends its token instead.",
	http.StatusServiceUnavailable:    "The service has only just started and is assessing the clocks: try again in a few seconds.",
	http.StatusInternalServerError:   "Something went wrong here. It is not your fault, and it has been written down: try again in a minute.",
	http.StatusRequestEntityTooLarge: "The body is too large: keep it under 64 KiB.",
}
