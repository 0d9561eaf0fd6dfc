package web

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strings"

	"endshake/schedule"
)

// lockLine is a lock in force: the first thing that a page of its clock says.
type lockLine struct {
	Kind    schedule.LockKind
	Words   string // since when, and why
	Caution string
	Form    string // address of the form that clears it
}

func newLockLines(a schedule.Assessment) []lockLine {
	var out []lockLine
	for _, l := range a.Locks {
		line := lockLine{Kind: l.Kind, Words: "Since " + l.Since.Words(),
			Caution: schedule.Caution(schedule.Locked, a.Site, a.Clock.Cautions),
			Form:    formFor(a.Clock.Slug, schedule.Noted, url.Values{"clears": {string(l.Kind)}})}
		if l.Since.IsZero() {
			line.Words = "The day is not known"
		}
		if l.Why != "" {
			line.Words += ": " + l.Why
		}
		out = append(out, line)
	}
	return out
}

// formFor is the address of the form for a kind of entry on a clock, with what
// is to be filled in already.
func formFor(clock string, kind schedule.EntryKind, with url.Values) string {
	q := url.Values{"kind": {string(kind)}}
	for name, v := range with {
		q[name] = v
	}
	return "/clock/" + url.PathEscape(clock) + "/log?" + q.Encode()
}

// oilLine is how the oil of one subject stands.
type oilLine struct {
	What, Since, Found string
	Chance             string // that it no longer does its work
	By                 string // when that reaches what the policy allows; empty: nothing is set
	Life               string
	Factors            []string
}

func newOilLine(a schedule.Assessment, o schedule.OilState) oilLine {
	l := oilLine{What: o.About, Since: "no oiling is logged", Chance: "not known", Factors: o.Factors}
	if l.What == "" {
		l.What = "the whole clock"
	}
	if o.Kind != "" {
		l.What += ", " + string(o.Kind)
	}
	if !o.Since.IsZero() {
		l.Since = fmt.Sprintf("%s, %s ago", o.Since.Words(), schedule.Days(schedule.DateOf(a.Now, a.Zone).Sub(o.Since)))
		if o.TopUps > 0 {
			l.Since += "; topped up " + schedule.Count(o.TopUps, "time", "times") + " since"
		}
		if finite(o.Median) && o.Median > 0 {
			l.Chance = chance(o.Risk)
			l.Life = fmt.Sprintf("Half of such oilings still do their work after %.1f years.", o.Median)
		}
	}
	if !o.Ended.IsZero() {
		l.Chance = "past it: found so on " + o.Ended.Words()
	}
	if i := slices.IndexFunc(a.Clock.Care.Points, func(p schedule.OilPoint) bool { return p.Code == o.Governs }); o.Governs != "" && i >= 0 {
		l.Life = strings.TrimSpace("First to want oil is likely " + newPointLine(a.Clock, a.Clock.Care.Points[i]).Where + ". " + l.Life)
	}
	if !o.ByRisk.IsZero() {
		l.By = fmt.Sprintf("%s on %s", percent(o.Policy.Risk), o.ByRisk.Words())
	}
	switch {
	case o.Found != "":
		l.Found = string(o.Found)
	case o.Before != "":
		l.Found = "the oil before it: " + string(o.Before) + " on " + o.BeforeOn.Words()
	}
	switch o.Residue {
	case schedule.ResidueBlack:
		l.Found = joined(l.Found, "black: oil with metal in it")
	case schedule.ResidueGreen:
		l.Found = joined(l.Found, "green: aged oil")
	}
	return l
}

func joined(a, b string) string {
	if a == "" {
		return b
	}
	return a + ", " + b
}

// pointLine is one place of an oil map.
type pointLine struct {
	Code, Where string
	Dry         bool
	What        string // what it takes, or why it stays dry
	Mind        string // what to mind
}

// oilMap is the way round a clock with the oil.
type oilMap struct {
	Words  string
	Points []pointLine
}

func newOilMap(c schedule.Clock) oilMap {
	var m oilMap
	dry, drops := 0, 0.0
	for _, p := range c.Care.Points {
		m.Points = append(m.Points, newPointLine(c, p))
		if p.Dry {
			dry++
		} else if finite(p.Drops) {
			drops += p.Drops
		}
	}
	m.Words = schedule.Count(len(m.Points), "place", "places") + " to go round"
	if dry > 0 {
		m.Words += fmt.Sprintf(", %d of them to be kept dry", dry)
	}
	if drops > 0 {
		m.Words += "; about " + schedule.Count(int(math.Ceil(drops)), "drop", "drops") + " in all"
	}
	return m
}

func newPointLine(c schedule.Clock, p schedule.OilPoint) pointLine {
	l := pointLine{Code: p.Code, Where: p.Name, Dry: p.Dry}
	if l.Where == "" {
		l.Where = subjectWords(c, p.Train, p.Bearing)
	}
	if p.Dry {
		l.What = p.Why
		return l
	}
	l.What = p.Amount
	oil := p.Oil
	if oil == "" {
		oil = string(p.Kind)
	} else if p.Kind != "" {
		oil += " (" + string(p.Kind) + ")"
	}
	if oil != "" {
		l.What = strings.TrimSpace(strings.TrimSuffix(l.What, ".") + " of " + oil)
		if p.Amount == "" {
			l.What = oil
		}
	}
	var mind []string
	if p.NoSink {
		mind = append(mind, "no sink to hold the oil")
	}
	if p.Fast {
		mind = append(mind, "turns fast")
	}
	if p.Room != "" {
		mind = append(mind, string(p.Room))
	}
	if p.Why != "" {
		mind = append(mind, p.Why)
	}
	if p.Picture != "" {
		mind = append(mind, "picture "+p.Picture)
	}
	l.Mind = strings.Join(mind, "; ")
	return l
}

// subjectWords names a bearing, a train or the clock.
func subjectWords(c schedule.Clock, train, bearing string) string {
	if b, arbor, _, ok := c.Bearing(bearing); ok && bearing != "" {
		return schedule.NameOf(b.Name, arbor.Name)
	}
	if t, ok := c.Train(train); ok {
		return schedule.NameOfTrain(t)
	}
	return "the clock"
}

// lineLine is what is recorded of a line that a weight hangs on.
type lineLine struct {
	Name, Made, Hung, Looked, Found string
	Note                            string
	Past                            bool
	Replace                         string
}

// likeCranes stands with every note that holds a line to figures of cranes.
const likeCranes = "By analogy only: the figures for broken wires are those of crane ropes. None is published for the lines of clocks, and nothing here foretells the life of a line."

func newLineLine(a schedule.Assessment, s schedule.LineState) lineLine {
	l := lineLine{Name: s.Line.Name, Looked: "never", Note: s.Note, Past: s.Past, Replace: "no age is set"}
	if l.Name == "" {
		l.Name = "line of the " + subjectWords(a.Clock, s.Line.Train, "")
	}
	var made []string
	if s.Line.Diameter > 0 {
		made = append(made, s.Line.Diameter.Inches())
	}
	for _, w := range []string{s.Line.Construction, s.Line.Material} {
		if w != "" {
			made = append(made, w)
		}
	}
	l.Made = strings.Join(made, ", ")
	l.Hung = schedule.Count(s.Windings, "winding", "windings") + " logged"
	if !s.FittedAt.IsZero() {
		l.Hung = "since " + s.FittedAt.Words() + ", " + l.Hung
	}
	if !s.Checked.IsZero() {
		l.Looked = s.Checked.Words()
	}
	if s.Check != nil {
		l.Found = checkWords(s.Line, *s.Check)
	}
	if !s.Replace.IsZero() {
		l.Replace = "by " + s.Replace.Words()
		if s.Line.Source != "" {
			l.Replace += " (" + s.Line.Source + ")"
		}
	}
	return l
}

// checkWords says what a look at a line found, beside what it was when new.
func checkWords(line schedule.Line, c schedule.LineCheck) string {
	parts := schedule.LookWords(c)
	if c.Diameter > 0 && line.Diameter > c.Diameter {
		parts = append(parts, fmt.Sprintf("%s thinner than new", percent(1-c.Diameter.MM()/line.Diameter.MM())))
	}
	return strings.Join(parts, "; ")
}
