package web

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"endshake/daemon/web/api"
	"endshake/schedule"
)

// mostKey is the longest Idempotency-Key that is taken.
const mostKey = 100

func (s *server) apiLog(w http.ResponseWriter, r *http.Request) {
	q, ok := s.asked(w, r, "limit", "cursor")
	if !ok {
		return
	}
	a, _, ok := s.apiAssessment(w, r)
	if !ok {
		return
	}
	all, err := s.history(r.Context(), a)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	out, ok := logPageOf(a.Clock.Slug, all, q)
	if !ok {
		s.problem(w, r, http.StatusBadRequest, &schedule.Error{Code: schedule.Invalid, Field: "cursor", Message: "cursor must be the next of the page before"})
		return
	}
	s.answerJSON(w, r, out)
}

// corrections are those of a log, by the entries that they take the place of.
func corrections(history []schedule.Entry) map[string]*api.Correction {
	corrected := map[string]*api.Correction{}
	for _, e := range history {
		if e.Replaces != "" {
			corrected[e.Replaces] = &api.Correction{Entry: e.ID, Why: e.Why}
		}
	}
	return corrected
}

// logPageOf is one page of a log, newest first; ok is false where the cursor
// names no entry of it.
func logPageOf(clock string, history []schedule.Entry, q asked) (api.Log, bool) {
	corrected := corrections(history)
	all := slices.Clone(history)
	slices.SortStableFunc(all, func(x, y schedule.Entry) int { return y.At.Compare(x.At) })
	if q.cursor != "" {
		i := slices.IndexFunc(all, func(e schedule.Entry) bool { return e.ID == q.cursor })
		if i < 0 {
			return api.Log{}, false
		}
		all = all[i+1:]
	}
	out := api.Log{Clock: clock, Entries: []api.Entry{}}
	if len(all) > q.limit {
		all = all[:q.limit]
		out.Next = &all[q.limit-1].ID
	}
	for _, e := range all {
		out.Entries = append(out.Entries, api.NewEntry(e, corrected[e.ID]))
	}
	return out, true
}

// apiLogEntry logs an entry that was posted.
func (s *server) apiLogEntry(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	whole, ok := s.whole(w, r)
	if !ok {
		return
	}
	clock := r.PathValue("clock")
	if err := whole.Fleet.Allow(by(r), schedule.LogEntry, clock); err != nil {
		s.failed(w, r, err)
		return
	}
	a, _ := whole.Clock(clock)
	e, ok := s.posted(w, r, clock)
	if !ok {
		return
	}
	var replaced *schedule.Entry
	if old, ok := entryOf(a, e.Replaces); ok && e.Replaces != "" {
		replaced = &old
	}
	if err := whole.Fleet.AllowEntry(by(r), e, replaced, s.Now()); err != nil {
		s.failed(w, r, err)
		return
	}
	stored, err := s.Desk.Log(r.Context(), e)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	out := api.Logged{Entry: api.NewEntry(stored, nil)}
	after := s.Desk.Snapshot()
	if after.Fleet.Allow(by(r), schedule.SeeClock, clock) == nil {
		a, _ := after.Clock(clock)
		out.Tasks = api.NewTasks(a.Tasks)
	}
	s.sendJSON(w, r, http.StatusCreated, "application/json", out)
}

// posted reads an entry from the body of a request, with who logs it.
func (s *server) posted(w http.ResponseWriter, r *http.Request, clock string) (schedule.Entry, bool) {
	refuse := func(status int, field, message string) (schedule.Entry, bool) {
		s.problem(w, r, status, &schedule.Error{Code: schedule.Invalid, Field: field, Message: message})
		return schedule.Entry{}, false
	}
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != "application/json" {
		return refuse(http.StatusUnsupportedMediaType, "Content-Type", "send the entry as JSON, with the header Content-Type: application/json")
	}
	key := r.Header.Get("Idempotency-Key")
	if len(key) > mostKey || strings.ContainsFunc(key, func(c rune) bool { return c < '!' || c > '~' }) {
		return refuse(http.StatusBadRequest, "Idempotency-Key", fmt.Sprintf("the key must be up to %d letters, figures and signs, without spaces", mostKey))
	}
	body, err := io.ReadAll(r.Body)
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return refuse(http.StatusRequestEntityTooLarge, "", apiSorry[http.StatusRequestEntityTooLarge])
	case err != nil:
		return refuse(http.StatusBadRequest, "", "the body broke off: send it again")
	}
	e, err := api.ReadEntry(body, clock)
	var mend *schedule.Error
	if errors.As(err, &mend) {
		return refuse(http.StatusBadRequest, mend.Field, mend.Message)
	}
	who := by(r)
	if who.Machine != nil {
		e.Source = who.Name()
	} else { // a browser, as with the form: who it was is kept beside whom it names
		e.By = cmp.Or(e.By, who.Person)
		e.Source = "page"
		e.Source = sourceOf(who, e)
	}
	if key != "" { // of this sender and this clock alone: nobody else's key says anything here
		e.Key = strings.Join([]string{"api", who.Name(), clock, key}, " ")
	}
	return e, true
}

// apiPictures lists the pictures of a clock's entries.
func (s *server) apiPictures(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	a, _, ok := s.apiAssessment(w, r)
	if !ok {
		return
	}
	out := api.Pictures{Clock: a.Clock.Slug, Pictures: []api.Picture{}}
	if s.Album != nil {
		all, err := s.Album.Pictures(r.Context(), a.Clock.Slug)
		if err != nil {
			s.fault(w, r, err)
			return
		}
		for _, p := range all {
			out.Pictures = append(out.Pictures, api.Picture{ID: p.ID, Entry: p.Entry, At: p.At, Words: p.Words, Width: p.Width, Height: p.Height})
		}
	}
	s.answerJSON(w, r, out)
}

// apiPicture gives one of them. That of another clock is not there, as one that
// does not exist.
func (s *server) apiPicture(w http.ResponseWriter, r *http.Request) {
	if _, ok := s.asked(w, r); !ok {
		return
	}
	a, _, ok := s.apiAssessment(w, r)
	if !ok {
		return
	}
	none := &schedule.Error{Code: schedule.NotFound, Field: "picture", Message: "the clock has no such picture: /api/clocks/" + a.Clock.Slug + "/pictures lists them"}
	if s.Album == nil {
		s.failed(w, r, none)
		return
	}
	p, err := s.Album.Picture(r.Context(), r.PathValue("picture"))
	switch {
	case schedule.CodeOf(err) == schedule.NotFound, err == nil && p.Clock != a.Clock.Slug:
		s.failed(w, r, none)
		return
	case err != nil:
		s.fault(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "image/jpeg")
	h.Set("Content-Length", strconv.Itoa(len(p.JPEG)))
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	if r.Method != http.MethodHead {
		_, _ = w.Write(p.JPEG) // the reader has gone: nobody is left to tell
	}
}
