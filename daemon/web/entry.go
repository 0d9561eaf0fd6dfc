package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
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
			ID: e.ID, When: instant(e.At, a.Zone), Kind: e.Kind, What: entryWords(a.Clock, a.Zone, e),
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

// entryWords says an entry in words: "measured the centre arbor, front bush:
// 0.42 mm (16.5 thou) end-shake".
func entryWords(c schedule.Clock, zone *time.Location, e schedule.Entry) string {
	subject := "the clock"
	if t, ok := c.Train(e.Train); ok && e.Train != "" {
		subject = "the " + schedule.NameOfTrain(t)
	}
	if b, arbor, _, ok := c.Bearing(e.Bearing); ok && e.Bearing != "" {
		subject = "the " + schedule.NameOf(b.Name, arbor.Name)
	}
	out := string(e.Kind) + " " + subject
	switch {
	case e.Kind == schedule.Noted:
		out = "noted"
	case e.Kind == schedule.Stopped && !e.Cause.Deliberate() && subject == "the clock":
		out = "found stopped"
	case e.Kind == schedule.Stopped && !e.Cause.Deliberate():
		out = "found " + subject + " stopped"
	}
	if more := detailWords(c, zone, e); more != "" {
		out += ": " + more
	}
	return out
}

// detailWords says what only some kinds of entry carry.
func detailWords(c schedule.Clock, zone *time.Location, e schedule.Entry) string {
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if r := e.Reading; r != nil {
		add("%v %s", r.Value, r.Shake)
		if r.Instrument != "" {
			add("with %s", r.Instrument)
		}
		if e.Sure {
			add("read twice")
		}
	}
	if e.Turns > 0 {
		add("%g turns", e.Turns)
	}
	if e.Part {
		add("not wound fully")
	}
	if e.Cause != "" {
		add("%s", e.Cause)
	}
	if !e.Since.IsZero() {
		add("since %s", instant(e.Since, zone))
	}
	if !e.Until.IsZero() {
		add("to go again on %s", e.Until.Words())
	}
	if e.TopUp {
		add("topped up")
	}
	if e.Oil != "" {
		add("with %s", e.Oil)
	}
	if e.Found != "" {
		add("found %s", e.Found)
	}
	parts = append(parts, repairWords(e)...)
	parts = append(parts, careWords(c, zone, e)...)
	return strings.Join(append(parts, timeWords(e)...), ", ")
}

func repairWords(e schedule.Entry) []string {
	var parts []string
	if e.Work != "" {
		parts = append(parts, string(e.Work))
	}
	if e.Fitted > 0 {
		parts = append(parts, "leaving "+e.Fitted.String())
	}
	if e.NewPair != "" {
		parts = append(parts, "now "+string(e.NewPair))
	}
	return parts
}

func timeWords(e schedule.Entry) []string {
	var parts []string
	if e.ErrorFound != nil {
		parts = append(parts, "found "+fastSlow(*e.ErrorFound))
	}
	if e.ErrorLeft != nil {
		parts = append(parts, "left "+fastSlow(*e.ErrorLeft))
	}
	return append(parts, regulationWords(e)...)
}
