package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"time"

	"endshake/daemon/web/api"
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
// who runs it, else the clocks that they own or are conservator of, with the names
// of those who look after them and no address. It answers where that is nothing.
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
	var out schedule.Fleet
	sites, people := map[string]bool{}, map[string]bool{}
	for _, c := range snap.Fleet.Clocks {
		if snap.Fleet.Allow(who, schedule.Export, c.Slug) != nil {
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
	if len(out.Clocks) == 0 {
		s.failed(w, r, &schedule.Error{Code: schedule.Forbidden, Message: "a clock is taken away by who runs the fleet, its owner or its conservator: you are none of these"})
		return out, false
	}
	return out, true
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

// export gives the fleet file and the logs, one clock after the other, so that no
// more than one log is written down at once.
func (s *server) export(w http.ResponseWriter, r *http.Request) {
	f, ok := s.taken(w, r)
	if !ok || !s.surely(w, r, "/export") {
		return
	}
	file, err := schedule.FormatFleet(f)
	slugs := make([]string, len(f.Clocks))
	for i, c := range f.Clocks {
		slugs[i] = c.Slug
	}
	if err == nil {
		err = s.Exported(r.Context(), by(r).Name(), slugs)
	}
	if err != nil {
		s.fault(w, r, err)
		return
	}
	h, now := w.Header(), s.Now().UTC()
	h.Set("Content-Type", "application/json; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="endshake-`+now.Format("2006-01-02")+`.json"`)
	h.Set("Cache-Control", "no-store")
	until := http.NewResponseController(w)
	fmt.Fprintf(w, "{\n\"asOf\": %q,\n\"fleet\": %s,\n\"logs\": [", now.Format(time.RFC3339), bytes.TrimSpace(file))
	_ = until.SetWriteDeadline(time.Time{}) // where it cannot be put off, the server's own time holds
	late := time.AfterFunc(exportFor, func() { _ = until.SetWriteDeadline(time.Unix(1, 0)) })
	defer late.Stop()
	for i, slug := range slugs {
		late.Reset(exportFor)
		if err = s.exportLog(w, r, slug, i > 0); err != nil {
			break
		}
	}
	if err == nil {
		_, err = w.Write([]byte("\n]}\n"))
	}
	if err != nil {
		if !errors.Is(err, r.Context().Err()) {
			s.Log.ErrorContext(r.Context(), "an export was broken off", "who", by(r).Name(), "error", err)
		}
		panic(http.ErrAbortHandler) // what came so far must not look whole
	}
}

// exportLog writes the log of one clock, newest first, corrected entries too, as
// programs read it.
func (s *server) exportLog(w http.ResponseWriter, r *http.Request, slug string, more bool) error {
	var list []schedule.Entry
	if s.History != nil {
		var err error
		if list, err = s.History(r.Context(), slug); err != nil {
			return err
		}
	} else if a, ok := s.Desk.Snapshot().Clock(slug); ok {
		list = a.Entries
	}
	out, corrected := api.Log{Clock: slug, Entries: []api.Entry{}}, corrections(list)
	for i := range list {
		e := list[len(list)-1-i]
		out.Entries = append(out.Entries, api.NewEntry(e, corrected[e.ID]))
	}
	b, err := json.Marshal(out)
	if err != nil {
		return err
	}
	begin := "\n"
	if more {
		begin = ",\n"
	}
	_, err = w.Write(append([]byte(begin), b...))
	return err
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
