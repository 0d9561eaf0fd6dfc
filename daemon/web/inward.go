package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"endshake/schedule"
)

// InwardRoom is where messages that came in are kept.
type InwardRoom interface {
	// Inwards are the latest ones, newest first.
	Inwards(ctx context.Context, limit int) ([]schedule.Inward, error)
	// Inward finds one, with what is kept of it; a *schedule.Error with NotFound
	// where there is none.
	Inward(ctx context.Context, id string) (schedule.Inward, error)
	// CloseIn closes one that was held, on somebody's word; entry is the ID of
	// what was logged because of it, or empty.
	CloseIn(ctx context.Context, actor, id, entry string, now time.Time) error
}

// mostInward is how many messages that came in are listed.
const mostInward = 200

// inwardWords says what each state means.
var inwardWords = map[schedule.InwardState]string{
	schedule.Taken:    "kept, and not looked at yet",
	schedule.Logged:   "it became an entry of the log",
	schedule.Held:     "it waits for somebody to decide",
	schedule.PassedBy: "there is nothing for a person to do",
	schedule.Bounced:  "a letter did not arrive",
	schedule.Closed:   "it was held, and somebody has decided",
}

// inwardLine is one message that came in.
type inwardLine struct {
	ID, Title, From, When, Words, Why string
	Clock, ClockName                  string
	State                             schedule.InwardState
}

func newInwardLine(f schedule.Fleet, m schedule.Inward) inwardLine {
	l := inwardLine{ID: m.ID, Title: m.Title, From: m.From, When: schedule.Instant(m.At, time.UTC), Words: inwardWords[m.State], Why: m.Why, State: m.State}
	if m.Person != "" {
		l.From = personName(f, m.Person)
	}
	if l.From == "" {
		l.From = "a mail server"
	}
	if l.Title == "" {
		l.Title = noSubject
	}
	if c, ok := f.Clock(m.Clock); ok {
		l.Clock, l.ClockName = c.Slug, c.Name
	}
	return l
}

// inwardPage lists what came in.
type inwardPage struct {
	Lede     string
	Messages []inwardLine
}

func (s *server) inward(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	if s.Inward == nil {
		s.nowhere(w, r)
		return
	}
	list, err := s.Inward.Inwards(r.Context(), mostInward)
	if err != nil {
		s.fault(w, r, fmt.Errorf("list what came in: %w", err))
		return
	}
	page, held := inwardPage{Lede: "Nothing has come in yet."}, 0
	for _, m := range list {
		page.Messages = append(page.Messages, newInwardLine(snap.Fleet, m))
		if m.State == schedule.Held {
			held++
		}
	}
	switch {
	case held > 0:
		page.Lede = schedule.Capital(schedule.Count(held, "answer waits", "answers wait")) + " for somebody to decide."
	case len(list) > 0:
		page.Lede = "No answer waits for anybody."
	}
	s.show(w, r, http.StatusOK, "inward", view{Title: "What came in", Here: "/mail", Body: page})
}

// inwardLetter is one message that came in.
type inwardLetter struct {
	inwardLine
	Text   string // what its writer wrote; empty: nothing that can be shown
	Kept   bool   // the message is still there
	LogAs  []logAs
	Entry  string // address of the log that holds what came of it; empty: none
	Closes string // address that closes it; empty: it is not held
}

// logAs is a way to the form of an entry, filled in as far as it is known.
type logAs struct{ Words, At string }

func (s *server) inwardMessage(w http.ResponseWriter, r *http.Request) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return
	}
	if s.Inward == nil {
		s.nowhere(w, r)
		return
	}
	m, err := s.Inward.Inward(r.Context(), r.PathValue("id"))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	page := inwardLetter{inwardLine: newInwardLine(snap.Fleet, m), Kept: len(m.Raw) > 0}
	if page.Kept && s.ReadInward != nil {
		page.Text = s.ReadInward(m)
	}
	if m.Entry != "" && page.Clock != "" {
		page.Entry = "/clock/" + page.Clock
	}
	if m.State == schedule.Held {
		page.Closes = "/inward/" + url.PathEscape(m.ID)
		page.LogAs = logsAs(snap.Fleet, m)
	}
	s.show(w, r, http.StatusOK, "inwardmessage", view{Title: page.Title, Here: "/mail", Body: page})
}

// logsAs are the entries that a held message may be logged as: of the clock that
// it is about, or of each that its writer has a duty for.
func logsAs(f schedule.Fleet, m schedule.Inward) (out []logAs) {
	for _, c := range f.Clocks {
		if m.Clock != "" && c.Slug != m.Clock || m.Clock == "" && (m.Person == "" || !c.Has(m.Person)) {
			continue
		}
		for _, k := range []schedule.EntryKind{schedule.Wound, schedule.Oiled, schedule.Inspected, schedule.Measured, schedule.Stopped, schedule.Noted} {
			q := url.Values{"kind": {string(k)}}
			if m.Person != "" {
				q.Set("by", m.Person)
			}
			out = append(out, logAs{"Log as " + string(k) + ", " + c.Name, "/clock/" + url.PathEscape(c.Slug) + "/log?" + q.Encode()})
		}
	}
	return out
}

func (s *server) closeInward(w http.ResponseWriter, r *http.Request) {
	if s.Inward == nil {
		s.nowhere(w, r)
		return
	}
	if err := s.Inward.CloseIn(r.Context(), by(r).Name(), r.PathValue("id"), "", s.Now()); err != nil {
		s.failed(w, r, err)
		return
	}
	http.Redirect(w, r, "/inward", http.StatusSeeOther)
}
