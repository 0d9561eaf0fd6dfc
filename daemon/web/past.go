package web

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"

	"endshake/schedule"
	"endshake/wear"
)

// pastPage is the history of one clock, to be printed for whoever keeps it next.
type pastPage struct {
	Clock    schedule.Clock
	Site     schedule.Site
	Lede     string
	Here     string // what to mind there whatever the work; empty: nothing
	Locked   string
	People   []dutyLine // by name alone
	Bearings []pastBearing
	OilMap   oilMap
	Log      []entryLine // oldest first, corrected entries too
	Again    string      // address at which the password is given first; empty: it was
	Takes    bool        // its reader may take it away as a file
}

// pastBearing is a bearing as it is now, and what holds for it.
type pastBearing struct {
	Name, State, Fitted string
	Limits              []pair // with their sources; those of one source together
}

// pastForm shows the history of a clock.
func (s *server) pastForm(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	history, err := s.history(r.Context(), a)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	shown, err := s.pictures(r.Context(), a.Clock.Slug)
	if err != nil {
		s.fault(w, r, err)
		return
	}
	today := schedule.DateOf(a.Now, a.Zone)
	page := pastPage{Clock: a.Clock, Site: a.Site, Here: schedule.Caution("", a.Site, a.Clock.Cautions), Locked: lockWords(a), OilMap: newOilMap(a.Clock),
		Lede: "Its place, its bearings and all of its log, " + schedule.Count(len(history), "entry", "entries") + " from " +
			a.Clock.InCare.Words() + " to " + today.Words() + ": for whoever keeps it next.",
		Log: pastLog(snap.Fleet, a, history, shown), Takes: s.Exported != nil && len(a.Clock.Damage) == 0 && snap.Fleet.Allow(by(r), schedule.Export, a.Clock.Slug) == nil}
	if len(a.Clock.Damage) > 0 {
		page.Lede = "Not all that is kept of this clock can be read: what stands here is a part of it."
	}
	for _, d := range duties(snap.Fleet, a.Clock) {
		page.People = append(page.People, dutyLine{Name: d.Name, Roles: d.Roles})
	}
	for _, o := range a.Outlooks {
		page.Bearings = append(page.Bearings, newPastBearing(o))
	}
	if page.Takes && !s.sure(r) {
		page.Again = againAt(pastOf(a.Clock))
	}
	s.show(w, r, http.StatusOK, "past", view{Title: "History of " + a.Clock.Name, Here: "/", Body: page, Now: a.Now, Zone: a.Zone})
}

func pastOf(c schedule.Clock) string { return "/clock/" + url.PathEscape(c.Slug) + "/history" }

// pastFile gives the lines of an export of one clock, with no address in them.
func (s *server) pastFile(w http.ResponseWriter, r *http.Request) {
	a, snap, ok := s.assessment(w, r)
	if !ok {
		return
	}
	if s.Exported == nil {
		s.nowhere(w, r)
		return
	}
	if err := snap.Fleet.Allow(by(r), schedule.Export, a.Clock.Slug); err != nil {
		s.failed(w, r, err)
		return
	}
	if !s.surely(w, r, pastOf(a.Clock)) {
		return
	}
	s.give(w, r, a.Clock.Slug, partOf(snap, func(c schedule.Clock) bool { return c.Slug == a.Clock.Slug }), false)
}

// pastLog is a whole log in words, oldest first.
func pastLog(f schedule.Fleet, a schedule.Assessment, history []schedule.Entry, shown map[string][]pictureLine) (lines []entryLine) {
	corrected := corrections(history)
	all := slices.Clone(history)
	slices.SortStableFunc(all, func(x, y schedule.Entry) int { return x.At.Compare(y.At) })
	for _, e := range all {
		l := entryLine{ID: e.ID, When: schedule.Instant(e.At, a.Zone), Kind: e.Kind, What: schedule.EntryWords(a.Clock, a.Zone, e), Note: e.Note, Who: "not recorded", Pictures: shown[e.ID]}
		if e.By != "" {
			l.Who = personName(f, e.By)
		}
		if e.Replaces != "" {
			l.Why = e.Why
		}
		if c := corrected[e.ID]; c != nil {
			l.Corrected = cmp.Or(c.Why, "no reason given")
		} else if e.Line == "" {
			l.Aside = a.Uncounted(e)
		}
		lines = append(lines, l)
	}
	return lines
}

func newPastBearing(o schedule.Outlook) pastBearing {
	b := pastBearing{Name: schedule.NameOf(o.Bearing.Name, o.Arbor.Name) + ", " + string(o.Bearing.Shake), State: o.Sentence}
	if o.Bearing.Fitted > 0 {
		b.Fitted = o.Bearing.Fitted.String()
		if !o.Bearing.FittedAt.IsZero() {
			b.Fitted += ", " + schedule.DateOf(o.Bearing.FittedAt, o.Bearing.FittedAt.Location()).Words()
		}
	}
	for _, l := range []struct {
		name  string
		limit *wear.Limit
	}{{"watch", o.Watch}, {"act", o.Act}, {"stop", o.Stop}} {
		if l.limit == nil {
			continue
		}
		words, source := l.name+" from "+l.limit.Size.String(), cmp.Or(l.limit.Source, "no source given")
		if n := len(b.Limits); n > 0 && b.Limits[n-1].Words == source {
			b.Limits[n-1].Name += ", " + words
		} else {
			b.Limits = append(b.Limits, pair{words, source})
		}
	}
	return b
}
