package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// was is what the entry to be corrected says, as a form holds it: it is asked
// even where the clock's description does not lead to it any more.
func (f entryForm) was() url.Values {
	if old, ok := entryOf(f.a, f.values.Get("replaces")); ok && f.values.Get("replaces") != "" {
		return valuesOf(old, f.a.Zone)
	}
	return nil
}

// said reports whether the entry to be corrected answers one of some questions.
func (f entryForm) said(names ...string) bool {
	was := f.was()
	return slices.ContainsFunc(names, func(name string) bool { return was.Get(name) != "" })
}

// opens are the questions that a task's link answers beforehand: such a one
// stands with the first.
var opens = []string{"line", "visit", "season", "clears"}

// lineNames are the questions about a line.
var lineNames = []string{"line", "wires6", "wires30", "diameter", "strand", "rust"}

// opened reports whether a question that is seldom asked stands with the first:
// one that the link answered, and what goes with a line.
func (f entryForm) opened(q field) bool {
	if slices.Contains(lineNames, q.Name) {
		return f.values.Get("line") != ""
	}
	return slices.Contains(opens, q.Name) && f.values.Get(q.Name) != ""
}

// seldom are the questions under More. Only what the clock has is asked.
func (f entryForm) seldom(kind schedule.EntryKind) []field {
	var out []field
	switch kind {
	case schedule.Wound:
		out = slices.Concat(leftFields(), f.fallFields(), f.meterFields(), f.goingFields())
	case schedule.Oiled:
		out = append(f.pointFields("Only at these points"),
			field{Name: "topUp", Label: "Topped up: new oil on the old", Input: "checkbox"})
	case schedule.Inspected:
		out = slices.Concat([]field{{Name: "visit", Label: "The clockmaker\u2019s yearly visit, with a written report", Input: "checkbox"},
			f.trainField("The whole clock")}, f.lineFields(), f.seasonFields(), f.pointFields("Oil looked at: these points"), oilFields(),
			leftFields(), f.fallFields(), f.meterFields(), f.goingFields())
	case schedule.Repaired:
		out = f.lineField("The line that was renewed")
	case schedule.Set:
		out = f.goingFields()
	case schedule.Regulated:
		out = slices.Concat(f.regulationFields(), f.foundFields(), leftFields(), f.goingFields())
	case schedule.Noted:
		out = slices.Concat(f.lockFields(), f.mainsFields(), []field{f.trainField("The whole clock")}, f.meterFields(), f.goingFields())
	}
	out = append(out, f.kept(slices.Concat(f.often(kind), out))...)
	return append(out, field{Name: "old", Label: "Copied from an old book: taken as it stands", Input: "checkbox"})
}

// kept are the questions that a form of its kind does not ask, and that the
// entry to be corrected answers: what it says is not lost.
func (f entryForm) kept(asked []field) []field {
	var out []field
	for _, more := range [][]field{{f.trainField("The whole clock")}, {f.bearingField(false)}, f.foundFields(), leftFields()} {
		name := more[0].Name
		if f.said(name) && !slices.ContainsFunc(asked, func(q field) bool { return q.Name == name }) {
			out = append(out, more...)
		}
	}
	return out
}

// foundFields ask how far the clock was out when it was looked at.
func (f entryForm) foundFields() []field {
	return append([]field{{Name: "errorFound", Label: "Error found", Input: "text", Hint: "Like 90, 1:30 fast or 2 min slow; leave empty if not looked at."},
		way("errorFoundWay", "It was")}, f.sureFields("It is right as written: I looked twice")...)
}

// leftFields ask how far out it was left.
func leftFields() []field {
	return []field{{Name: "errorLeft", Label: "Error left", Input: "text", Hint: "Like 90, 1:30 fast or 2 min slow; 0 when it was left right."},
		way("errorLeftWay", "It was left")}
}

// rightField says in one tick that nothing is left of the error.
var rightField = field{Name: "right", Label: "It was set right", Input: "checkbox"}

// oilFields ask how the old oil was found.
func oilFields() []field {
	return []field{choice("oilFound", "The old oil was", "not looked at", schedule.OilFounds),
		choice("residue", "What the old oil left behind", "not said", schedule.Residues)}
}

// choice offers the words of a list.
func choice[T ~string](name, label, none string, words []T) field {
	q := field{Name: name, Label: label, Input: "select", Options: []option{{"", none}}}
	for _, w := range words {
		q.Options = append(q.Options, option{string(w), string(w)})
	}
	return q
}

// offer adds what the entry to be corrected says, where it is not among the
// options; a question with no options is not asked.
func (f entryForm) offer(q field) []field {
	if v := f.was().Get(q.Name); v != "" && !hasOption(q.Options, v) {
		q.Options = append(q.Options, option{v, v})
	}
	if len(q.Options) == 1 {
		return nil
	}
	return []field{q}
}

// pointFields ask for the points of the oil map, in its order.
func (f entryForm) pointFields(label string) []field {
	q := field{Name: "points", Label: label, Input: "ticks", Hint: "None ticked: all of them."}
	for _, p := range f.a.Clock.Care.Points {
		if !p.Dry {
			q.Ticks = append(q.Ticks, tick{Value: p.Code, Label: pointName(p)})
		}
	}
	for _, v := range f.was()["points"] {
		if !slices.ContainsFunc(q.Ticks, func(t tick) bool { return t.Value == v }) {
			q.Ticks = append(q.Ticks, tick{Value: v, Label: v})
		}
	}
	if len(q.Ticks) == 0 {
		return nil
	}
	return []field{q}
}

// pointName is an oil point in words, with what it takes.
func pointName(p schedule.OilPoint) string {
	name := p.Name
	if name == "" {
		name = p.Code
	}
	if takes := strings.TrimSpace(p.Amount + " " + p.Oil); takes != "" {
		name += " (" + takes + ")"
	}
	return name
}

func (f entryForm) lineField(label string) []field {
	q := field{Name: "line", Label: label, Input: "select", Options: []option{{"", "None"}}}
	for _, l := range f.a.Clock.Care.Lines {
		name := l.Name
		if name == "" {
			name = l.Code
		}
		q.Options = append(q.Options, option{l.Code, name})
	}
	return f.offer(q)
}

// lineFields ask what a look at a line found.
func (f entryForm) lineFields() []field {
	line := f.lineField("Line looked at")
	if line == nil {
		return nil
	}
	return append(line,
		field{Name: "wires6", Label: "Broken wires seen in six diameters of it", Input: "number", Hint: "At the worst place. Gloves on: wires stab."},
		field{Name: "wires30", Label: "And in thirty diameters", Input: "number"},
		field{Name: "diameter", Label: "Its diameter at the marked place, with its unit", Input: "text", Hint: "Like 5.9 mm or 15/64 in; leave empty if not measured."},
		field{Name: "strand", Label: "A strand is broken", Input: "checkbox"},
		field{Name: "rust", Label: "Rust, and where", Input: "text"})
}

func (f entryForm) seasonFields() []field {
	q := field{Name: "season", Label: "Work of the season that was done", Input: "select", Options: []option{{"", "None"}}}
	for _, s := range f.a.Clock.Care.Seasons {
		q.Options = append(q.Options, option{s.Code, s.Name})
	}
	return f.offer(q)
}

// changeFields offer to tick off a change of time: the one that the link names,
// or the one that the clock waits for.
func (f entryForm) changeFields() []field {
	day, err := schedule.ParseDate(f.values.Get("change"))
	if err == nil && !changesOn(day, f.a.Zone) && day.String() != f.was().Get("change") {
		return nil
	}
	if c := f.a.Change; err != nil && c != nil && c.Done == "" {
		if days := c.On.Sub(schedule.DateOf(f.a.Now, f.a.Zone)); days <= 7 && days >= -60 {
			day, err = c.On, nil
		}
	}
	if err != nil || day.IsZero() {
		return nil
	}
	return []field{{Name: "change", Label: "This was for the change of time on " + day.Words(), Input: "checkbox", Mark: day.String()}}
}

// changesOn reports whether the clocks of a zone change on a day.
func changesOn(day schedule.Date, zone *time.Location) bool {
	at, _, ok := schedule.NextChange(zone, day.Start(zone).Add(-1))
	return ok && schedule.DateOf(at, zone) == day
}

// swings reports whether the clock has a pendulum and a weight, or a spring.
func (f entryForm) swings() bool {
	return f.said("arc", "pressure", "weight", "corrector") ||
		slices.ContainsFunc(f.a.Clock.Trains, func(t wear.Train) bool { return t.Kind == wear.Going && t.Drive != wear.Electric })
}

var weightField = field{Name: "weight", Label: "Driving weight, in kg", Input: "number"}

// goingFields ask what a look at the clock's going shows.
func (f entryForm) goingFields() []field {
	out := []field{{Name: "celsius", Label: "Temperature there, in °C", Input: "number"}}
	if !f.swings() {
		return out
	}
	return append(out, field{Name: "arc", Label: "Swing of the pendulum to one side, in degrees", Input: "number"},
		field{Name: "pressure", Label: "Air pressure, in hPa", Input: "number"}, weightField,
		field{Name: "corrector", Label: "What its corrector had to add, in seconds a day", Input: "number", Hint: "With a minus where it had to hold it back."})
}

func (f entryForm) fallFields() []field {
	if !f.said("fallLeft") && !slices.ContainsFunc(f.a.Clock.Trains, func(t wear.Train) bool { return t.Drive == wear.HandWound }) {
		return nil
	}
	return []field{{Name: "fallLeft", Label: "How far the weight could still fall, with its unit", Input: "text",
		Hint: "As found, before winding: like 400 mm or 2 ft."}}
}

func (f entryForm) meterFields() []field {
	if !f.said("meter") && !slices.ContainsFunc(f.a.Clock.Trains, func(t wear.Train) bool { return t.MeterHours > 0 }) {
		return nil
	}
	return []field{{Name: "meter", Label: "Hour meter of the train shows", Input: "number", Hint: "Hours."},
		{Name: "meterNew", Label: "The meter was replaced or put back: it counts on from this", Input: "checkbox"}}
}

func (f entryForm) lockFields() []field {
	return []field{choice("lock", "Put on a lock", "None", schedule.LockKinds), choice("clears", "Take off a lock", "None", schedule.LockKinds)}
}

func (f entryForm) mainsFields() []field {
	if !f.said("cutFrom", "cutTo") && !slices.ContainsFunc(f.a.Clock.Trains, func(t wear.Train) bool { return t.Drive != wear.HandWound }) {
		return nil
	}
	return []field{{Name: "cutFrom", Label: "The mains were cut from", Input: "datetime-local"},
		{Name: "cutTo", Label: "And came back at", Input: "datetime-local"}}
}

// mostUndone is how many regulations back one may be taken back from the form.
const mostUndone = 6

func (f entryForm) regulationFields() []field {
	undoes := field{Name: "undoes", Label: "It takes back", Input: "select", Options: []option{{"", "None"}}}
	for _, e := range slices.Backward(f.a.Entries) {
		if e.Kind == schedule.Regulated && e.ID != f.values.Get("replaces") && len(undoes.Options) <= mostUndone {
			undoes.Options = append(undoes.Options, option{e.ID, fmt.Sprintf("that of %s: %s", day(e.At, f.a.Zone), strings.Join(schedule.RegulationWords(e), ", "))})
		}
	}
	return append([]field{{Name: "grams", Label: "Grams on the pendulum", Input: "number"},
		{Name: "gramsWay", Label: "They were", Input: "select", Options: []option{{"on", "put on: the clock gains"}, {"off", "taken off: the clock loses"}}}},
		f.offer(undoes)...)
}
