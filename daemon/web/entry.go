package web

import (
	"net/url"
	"slices"
	"time"

	"endshake/schedule"
)

// entryLine is one line of a clock's log as a page shows it.
type entryLine struct {
	ID        string
	When      string
	Kind      schedule.EntryKind
	What      string // in words
	Who       string
	Note      string
	Aside     string // why it does not count as what it is written down as; empty: it counts
	Why       string // it corrects an earlier entry: why
	Corrected string // it was corrected: why
	Pictures  []pictureLine
	Correct   string // address of the form that corrects it; empty: corrected
}

// logPage gives a page of a log, newest first, from before an entry on.
func logPage(reader schedule.Actor, now time.Time, f schedule.Fleet, a schedule.Assessment, history []schedule.Entry, before string) (lines []entryLine, older string) {
	why := map[string]string{}
	for _, e := range history {
		if e.Replaces != "" {
			why[e.Replaces] = e.Why
		}
	}
	all := slices.Clone(history)
	slices.SortStableFunc(all, func(x, y schedule.Entry) int { return y.At.Compare(x.At) })
	if i := slices.IndexFunc(all, func(e schedule.Entry) bool { return e.ID == before }); before != "" && i >= 0 {
		all = all[i+1:]
	}
	base := "/clock/" + url.PathEscape(a.Clock.Slug)
	for _, e := range all[:min(pageOfLog, len(all))] {
		l := entryLine{
			ID: e.ID, When: schedule.Instant(e.At, a.Zone), Kind: e.Kind, What: schedule.EntryWords(a.Clock, a.Zone, e),
			Note: e.Note, Who: "not recorded",
		}
		if e.By != "" {
			l.Who = personName(f, e.By)
		}
		if e.Replaces != "" {
			l.Why = e.Why
		}
		if reason, ok := why[e.ID]; ok {
			l.Corrected = reason
			if reason == "" {
				l.Corrected = "no reason given"
			}
		} else if e.Line == "" { // that it is of a line stands there already
			l.Aside = a.Uncounted(e)
		}
		if l.Corrected == "" && f.AllowEntry(reader, e, &e, now) == nil {
			l.Correct = base + "/log?" + url.Values{"kind": {string(e.Kind)}, "replaces": {e.ID}}.Encode()
		}
		lines = append(lines, l)
	}
	if len(all) > pageOfLog {
		older = base + "?" + url.Values{"before": {all[pageOfLog-1].ID}}.Encode() + "#log"
	}
	return lines, older
}
