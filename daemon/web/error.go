package web

import (
	"cmp"
	"context"
	"errors"
	"log/slog"
	"net/http"
	"strings"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// apology is what an error page says.
type apology struct {
	Head string // what is wrong
	Text string // how to go on
	Bare bool   // of a page that leads nowhere else
	Ways []jobLink
}

func (s *server) sorry(w http.ResponseWriter, r *http.Request, status int, head, text string) {
	if ofAPI(r.URL.Path) {
		s.problem(w, r, status, &schedule.Error{Message: cmp.Or(apiSorry[status], text)})
		return
	}
	s.show(w, r, status, "error", view{Title: head, Body: apology{Head: head, Text: text, Bare: ofLink(r.URL.Path) != ""}})
}

// nowhere answers for a page that does not exist.
func (s *server) nowhere(w http.ResponseWriter, r *http.Request) {
	s.sorry(w, r, http.StatusNotFound, "There is no such page",
		"The address may be mistyped, or the clock may have another short name. The fleet lists every clock.")
}

func (s *server) wrongMethod(w http.ResponseWriter, r *http.Request, get, post bool) {
	var allow []string
	if get {
		allow = append(allow, "GET", "HEAD")
	}
	if post {
		allow = append(allow, "POST")
	}
	w.Header().Set("Allow", strings.Join(allow, ", "))
	s.sorry(w, r, http.StatusMethodNotAllowed, "This page cannot be asked for in that way",
		"Open it by a link or by its form.")
}

// denied answers a form that another site has sent.
func (s *server) denied(w http.ResponseWriter, r *http.Request) {
	s.sorry(w, r, http.StatusForbidden, "That form came from another site",
		"Nothing was logged. Open the form here and send it again.")
}

func (s *server) starting(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Retry-After", "5")
	s.sorry(w, r, http.StatusServiceUnavailable, "The clocks are being assessed",
		"The service has only just started. Load this page again in a few seconds.")
}

// failed answers an error: with its sentence where a person can mend it, and
// otherwise with an apology and a line in the log.
func (s *server) failed(w http.ResponseWriter, r *http.Request, err error) {
	var mend *schedule.Error
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &mend) && ofAPI(r.URL.Path):
		s.problem(w, r, statusOf(mend.Code), &schedule.Error{Code: mend.Code, Field: api.Field(mend.Field), Message: mend.Message})
	case errors.As(err, &mend):
		s.sorry(w, r, statusOf(mend.Code), "That cannot be done", sentence(mend.Message))
	case errors.As(err, &large):
		s.sorry(w, r, http.StatusRequestEntityTooLarge, "The form is too large",
			"Nothing was logged. Shorten the note and send it again.")
	default:
		s.fault(w, r, err)
	}
}

// fault answers an error that is ours, and logs it.
func (s *server) fault(w http.ResponseWriter, r *http.Request, err error, more ...slog.Attr) {
	if s.Database != nil {
		if passing, open := s.Database.Passing(err); passing {
			if s.takes() { // else it was said once
				s.Log.LogAttrs(r.Context(), levelOf(r), "the database did not serve a page", slog.String("path", masked(r.URL.Path)), slog.Any("error", err))
			}
			s.away(w, r, open)
			return
		}
	}
	attrs := append([]slog.Attr{slog.String("method", r.Method), slog.String("path", masked(r.URL.Path)), slog.Any("error", err)}, more...)
	s.Log.LogAttrs(r.Context(), levelOf(r), "page failed", attrs...)
	s.sorry(w, r, http.StatusInternalServerError, "Something went wrong here",
		"It is not your fault, and it has been written down. What was logged before is safe. Try again in a minute.")
}

// levelOf is how loudly a request's error is logged: where the reader left before
// the answer, what they asked for broke off with them, which is no fault.
func levelOf(r *http.Request) slog.Level {
	if errors.Is(r.Context().Err(), context.Canceled) {
		return slog.LevelInfo
	}
	return slog.LevelError
}

// statusOf is the answer's status for an error that a person can mend.
func statusOf(c schedule.Code) int {
	switch c {
	case schedule.NotFound:
		return http.StatusNotFound
	case schedule.Conflict:
		return http.StatusConflict
	case schedule.Forbidden:
		return http.StatusForbidden
	}
	return http.StatusUnprocessableEntity
}
