package web

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"time"

	"endshake/daemon/export"
	"endshake/schedule"
)

// exportPage says what can be taken away.
type exportPage struct {
	Lede, Again string
	Clocks      []string // by name, the first of them
	More        int
	Whole       bool // the fleet with everybody's addresses
}

// mostNamed is how many clocks the page names.
const mostNamed = 30

// exportFor is how long one clock's part may take on its way, however slow the
// reader's line is (judgement, no source).
const exportFor = 30 * time.Second

// taken is the part of the fleet that whoever asks may take away: all of it for
// who runs it, else the clocks that they own or are conservator of. It answers where
// that is nothing.
func (s *server) taken(w http.ResponseWriter, r *http.Request) (schedule.Fleet, bool) {
	snap, ok := s.snapshot(w, r)
	if !ok {
		return schedule.Fleet{}, false
	}
	if s.Exported == nil {
		s.nowhere(w, r)
		return schedule.Fleet{}, false
	}
	who := by(r)
	if who.Conservator {
		return snap.Fleet, true
	}
	out := partOf(snap, func(c schedule.Clock) bool { return snap.Fleet.Allow(who, schedule.Export, c.Slug) == nil })
	if len(out.Clocks) == 0 {
		s.failed(w, r, &schedule.Error{Code: schedule.Forbidden, Message: "a clock is taken away by who runs the fleet, its owner or its conservator: you are none of these"})
		return out, false
	}
	return out, true
}

// partOf is some clocks of a fleet, with the names of those who look after them or
// stand in their logs, and no address.
func partOf(snap *schedule.Snapshot, which func(schedule.Clock) bool) schedule.Fleet {
	var out schedule.Fleet
	sites, people := map[string]bool{}, map[string]bool{}
	for _, c := range snap.Fleet.Clocks {
		if !which(c) {
			continue
		}
		out.Clocks = append(out.Clocks, c)
		sites[c.Site] = true
		for _, d := range c.Duties {
			people[d.Person] = true
		}
		a, _ := snap.Clock(c.Slug)
		for i := range a.Entries {
			people[a.Entries[i].By] = true
		}
	}
	for _, x := range snap.Fleet.Sites {
		if sites[x.Slug] {
			out.Sites = append(out.Sites, x)
		}
	}
	for _, p := range snap.Fleet.People {
		if people[p.Slug] {
			out.People = append(out.People, schedule.Person{Slug: p.Slug, Name: p.Name})
		}
	}
	return out
}

func (s *server) exportForm(w http.ResponseWriter, r *http.Request) {
	f, ok := s.taken(w, r)
	if !ok {
		return
	}
	page := exportPage{Whole: by(r).Conservator, Lede: "You can take away how " + schedule.Count(len(f.Clocks), "clock is", "clocks are") + " described, and all that was logged."}
	for i, c := range f.Clocks {
		if i == mostNamed {
			page.More = len(f.Clocks) - i
			break
		}
		page.Clocks = append(page.Clocks, c.Name)
	}
	if !s.sure(r) {
		page.Again = againAt("/export")
	}
	s.show(w, r, http.StatusOK, "export", view{Title: "Take it away", Here: "/export", Body: page})
}

// export gives the export file of what is taken, one clock after the other, so that
// no more than one log is held at once.
func (s *server) export(w http.ResponseWriter, r *http.Request) {
	f, ok := s.taken(w, r)
	if !ok || !s.surely(w, r, "/export") {
		return
	}
	s.give(w, r, "endshake", f, by(r).Conservator)
}

// give audits that somebody takes clocks away, and gives them: whole, with all that
// stands beside the fleet, or a part.
func (s *server) give(w http.ResponseWriter, r *http.Request, name string, f schedule.Fleet, whole bool) {
	slugs := make([]string, len(f.Clocks))
	for i, c := range f.Clocks {
		slugs[i] = c.Slug
		if len(c.Damage) > 0 {
			s.failed(w, r, &schedule.Error{Code: schedule.Conflict, Field: "clock", Message: fmt.Sprintf(
				"nothing can be taken away while there is a %s of %s (%s): the file would look whole without it; tell whoever runs this service",
				schedule.DataProblem, c.Name, strings.Join(c.Damage, "; "))})
			return
		}
	}
	err := s.Exported(r.Context(), by(r).Name(), slugs)
	var k export.Kept
	if err == nil && whole && s.Beside != nil {
		k, err = s.Beside(r.Context())
		k.Whole = err == nil
	}
	if err != nil {
		s.fault(w, r, err)
		return
	}
	now := s.Now().UTC()
	k.Program, k.At, k.Fleet = cmp.Or(s.Program, "endshake"), now, f
	h := w.Header()
	h.Set("Content-Type", "application/x-ndjson; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="`+name+"-"+now.Format("2006-01-02")+`.jsonl"`)
	h.Set("Cache-Control", "no-store")
	late := func() { inTime(http.NewResponseController(w).SetWriteDeadline, exportFor) }
	late()
	out := bufio.NewWriterSize(w, 64<<10)
	_, err = export.Write(r.Context(), out, k, kept{s}, late)
	if err == nil {
		err = out.Flush()
	}
	if err != nil {
		if !errors.Is(err, r.Context().Err()) {
			s.Log.ErrorContext(r.Context(), "an export was broken off", "who", by(r).Name(), "error", err)
		}
		panic(http.ErrAbortHandler) // what came so far must not look whole
	}
}

// kept gives the logs and the pictures of clocks that Allow has let through.
type kept struct{ *server }

// Entries is the whole log of a clock.
func (k kept) Entries(ctx context.Context, clock string) ([]schedule.Entry, error) {
	if k.History != nil {
		return k.History(ctx, clock)
	}
	a, _ := k.Desk.Snapshot().Clock(clock)
	return a.Entries, nil
}

// Pictures are those of a clock.
func (k kept) Pictures(ctx context.Context, clock string) ([]schedule.Picture, error) {
	if k.Album == nil {
		return nil, nil
	}
	return k.Album.Pictures(ctx, clock)
}

// Picture is one with what it shows.
func (k kept) Picture(ctx context.Context, id string) (schedule.Picture, error) {
	return k.Album.Picture(ctx, id)
}

// exports reports whether there is anything that whoever asks may take away.
func (s *server) exports(r *http.Request, f schedule.Fleet) bool {
	if s.Exported == nil {
		return false
	}
	who := by(r)
	if who.Conservator {
		return true
	}
	for _, c := range f.Clocks {
		if f.Allow(who, schedule.Export, c.Slug) == nil {
			return true
		}
	}
	return false
}
