package web

import (
	"net/url"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// field is one question of a form with what is filled in so far.
type field struct {
	Name, Label, Hint string
	Input             string // text, number, datetime-local, date, select, checkbox, long
	Value             string
	Options           []option
	Ticks             []tick // of a list of boxes, input "ticks"
	Unit              string // of a length, input "length": the one chosen
	Mark              string // what a checked box sends; empty: "on"
	Auto              string // what a browser may fill in (HTML autocomplete); empty: nothing
	Required          bool
	More              bool // stands under More
	Fault             string
	Was               string // what the entry to be corrected says, in words
}

// tick is one box of a list.
type tick struct {
	Value, Label string
	On           bool
}

// filled reports whether something was answered: of which way it went, that one
// was chosen.
func (q field) filled() bool {
	unasked := strings.HasSuffix(q.Name, "Way") && len(q.Options) > 0 && q.Value == q.Options[0].Value
	return q.Value != "" && !unasked || slices.ContainsFunc(q.Ticks, func(t tick) bool { return t.On })
}

// option is one choice of a select.
type option struct{ Value, Label string }

// entryForm is an entry form for one clock with its values as text.
type entryForm struct {
	a      schedule.Assessment
	fleet  schedule.Fleet
	values url.Values
	now    time.Time
	// doubted: the reading was asked back, and may be said to be right.
	doubted bool
	shows   bool     // pictures can be kept
	raw     [][]byte // those sent, as they came
}

// fields are the questions for a kind of entry, each with its value and fault.
func (f entryForm) fields(kind schedule.EntryKind, faults []fault) []field {
	out := append([]field{f.whenField()}, f.own(kind)...)
	out = append(out, f.whoField(), field{Name: "note", Label: "Note", Input: "long",
		Hint: "Anything odd: noise, black oil, birds, rope, weather."})
	if f.values.Get("replaces") != "" {
		out = append(out, field{Name: "why", Label: "Why is it corrected?", Input: "text", Required: true})
	}
	out = append(out, f.pictureField()...)
	for i := range out {
		out[i].Value = f.values.Get(out[i].Name)
		for j := range out[i].Ticks {
			out[i].Ticks[j].On = slices.Contains(f.values[out[i].Name], out[i].Ticks[j].Value)
		}
		if m := out[i].Mark; m != "" && out[i].Value != m {
			out[i].Value = "" // the word was for another reading
		}
		for _, x := range faults {
			if x.Field == out[i].Name {
				out[i].Fault = x.Message
			}
		}
	}
	f.beside(kind, out)
	return out
}

// beside puts what the entry to be corrected says beside the questions, and
// those that it does not answer under More, where its kind stays.
func (f entryForm) beside(kind schedule.EntryKind, fields []field) {
	was := f.was()
	if was == nil {
		return
	}
	for i := range fields {
		q := &fields[i]
		q.Was = q.words(was[q.Name])
		answers := was.Get(q.Name) != "" || was.Get(strings.TrimSuffix(q.Name, "Way")) != "" || q.Required || slices.Contains([]string{"by", "note"}, q.Name)
		if string(kind) == was.Get("kind") && !answers {
			q.More = true
		} else if answers {
			q.More = false
		}
	}
}

// words says answers as the form shows them.
func (q field) words(values []string) string {
	var out []string
	for _, v := range values {
		for _, o := range q.Options {
			if o.Value == v && v != "" {
				v = o.Label
			}
		}
		for _, t := range q.Ticks {
			if t.Value == v {
				v = t.Label
			}
		}
		switch {
		case v == "":
			continue
		case q.Input == "checkbox":
			v = "ticked"
		case q.Input == "datetime-local":
			v = strings.Replace(v, "T", ", ", 1)
		case slices.Contains(lengthFields, q.Name):
			if l, err := wear.ParseLength(v); err == nil {
				v = l.String()
			}
		}
		out = append(out, v)
	}
	return strings.Join(out, "; ")
}

// lengthFields are the questions that a length answers.
var lengthFields = []string{"value", "gauge", "fitted", "fittedSD", "fallLeft", "diameter"}

func (f entryForm) whenField() field {
	return field{Name: "at", Label: "When", Input: "datetime-local", Required: true,
		Hint: thereNow(f.now, f.a.Zone)}
}

// thereNow says in whose time a form asks, and what that is now.
func thereNow(now time.Time, zone *time.Location) string {
	return "On the wall clock there, where it is " + now.In(zone).Format("15:04") + " now (" + zone.String() + ")."
}

func (f entryForm) whoField() field {
	w := field{Name: "by", Label: "Who", Input: "select", Options: []option{{"", "not recorded"}}}
	for _, role := range schedule.Roles {
		for _, d := range f.a.Clock.Duties {
			if d.Role == role && !hasOption(w.Options, d.Person) {
				w.Options = append(w.Options, option{d.Person, personName(f.fleet, d.Person)})
			}
		}
	}
	if by := f.values.Get("by"); by != "" && !hasOption(w.Options, by) {
		if _, ok := f.fleet.Person(by); ok {
			w.Options = append(w.Options, option{by, personName(f.fleet, by)})
		}
	}
	return w
}

func hasOption(all []option, value string) bool {
	for _, o := range all {
		if o.Value == value {
			return true
		}
	}
	return false
}

// own are the questions that only this kind of entry asks: first those that are
// answered often, then those that stand under More.
func (f entryForm) own(kind schedule.EntryKind) []field {
	out := f.often(kind)
	var ofLine []field // where the link came for a line, it is asked first
	for _, q := range f.seldom(kind) {
		q.More = !f.opened(q)
		if kind == schedule.Inspected && !q.More && slices.Contains(lineNames, q.Name) {
			ofLine = append(ofLine, q)
			continue
		}
		out = append(out, q)
	}
	return append(ofLine, out...)
}

// often are the questions that a volunteer with cold fingers is asked.
func (f entryForm) often(kind schedule.EntryKind) []field {
	switch kind {
	case schedule.Wound:
		return append([]field{f.trainField("All that are wound by hand"),
			{Name: "turns", Label: "Turns put on", Input: "number", Hint: "Leave empty for a full wind not counted."},
			{Name: "part", Label: "It is not wound fully", Input: "checkbox"}}, f.foundFields()...)
	case schedule.Oiled:
		return append([]field{f.trainField("The whole clock"), f.bearingField(false),
			{Name: "oil", Label: "Oil or grease", Input: "text", Hint: "What it says on the bottle."}}, oilFields()...)
	case schedule.Inspected:
		return append([]field{f.conditionField()}, f.foundFields()...)
	case schedule.Measured:
		return f.measuredFields()
	case schedule.Repaired:
		return f.repairedFields()
	case schedule.Stopped:
		return append([]field{f.trainField("The whole clock"), f.causeField()}, append(f.sureFields("It ran down all the same"), []field{
			{Name: "since", Label: "Stopped since, if known", Input: "datetime-local", Hint: "When it was found stopped: the time that its hands show."},
			{Name: "until", Label: "To go again on", Input: "date", Hint: "Only out of season or for work."}}...)...)
	case schedule.Started:
		return []field{f.trainField("The whole clock")}
	case schedule.Cleaned:
		return append([]field{f.trainField("The whole clock")}, oilFields()...)
	case schedule.Set:
		return slices.Concat(f.changeFields(), f.foundFields(), leftFields(), []field{rightField})
	case schedule.Regulated:
		return []field{{Name: "nutTurns", Label: "Turns of the rating nut", Input: "number", Hint: "0.25 for a quarter turn."},
			{Name: "nutWay", Label: "The bob was", Input: "select", Options: []option{{"up", "raised: the clock gains"}, {"down", "lowered: the clock loses"}}}}
	case schedule.Noted:
		seen := f.foundFields()
		seen[0].Label, seen[0].Hint = "Error found, if only the time was looked at", "Like 90, 1:30 fast or 2 min slow. That is no inspection, and counts for its rate alone."
		return append(seen, f.seasonFields()...)
	}
	return nil
}

// conditionField asks what a look found. Of a line alone its wires tell that.
func (f entryForm) conditionField() field {
	q := field{Name: "found", Label: "Found", Input: "select", Required: f.values.Get("line") == "" && f.values.Get("old") == "", Options: []option{{"", "Choose one"},
		{string(schedule.Sound), "sound"}, {string(schedule.Watch), "watch: look closer next time"}, {string(schedule.Act), "act: it wants work"}}}
	if !q.Required {
		q.Options[0].Label = "not said"
	}
	return q
}

// way asks for the sign of an error in words.
func way(name, label string) field {
	return field{Name: name, Label: label, Input: "select", Options: []option{{"", "fast or slow?"}, {schedule.Fast, "fast"}, {schedule.Slow, "slow"}}}
}

func (f entryForm) trainField(all string) field {
	t := field{Name: "train", Label: "Train", Input: "select", Options: []option{{"", all}}}
	for _, train := range f.a.Clock.Trains {
		t.Options = append(t.Options, option{train.Code, schedule.NameOfTrain(train)})
	}
	return t
}

func (f entryForm) bearingField(required bool) field {
	b := field{Name: "bearing", Label: "Bearing", Input: "select", Required: required}
	if !required {
		b.Options = []option{{"", "All of them"}}
	} else {
		b.Options = []option{{"", "Choose one"}}
	}
	for _, t := range f.a.Clock.Trains {
		for _, arbor := range t.Arbors {
			for _, x := range arbor.Bearings {
				b.Options = append(b.Options, option{x.Code, schedule.NameOf(x.Name, arbor.Name) + " (" + string(x.Shake) + ")"})
			}
		}
	}
	return b
}

func (f entryForm) measuredFields() []field {
	out := []field{f.bearingField(true),
		{Name: "value", Label: "Reading with its unit", Input: "text", Required: true, Hint: "Like 0.42 mm, 16 thou or 5/64 in."}}
	return append(append(out, f.sureFields("It is right as written: I read it twice")...), []field{
		{Name: "gauge", Label: "Give or take, with its unit", Input: "text",
			Hint: "One standard uncertainty of the gauge; " + wear.DefaultGauge.String() + " is taken when left empty."},
		{Name: "instrument", Label: "Instrument", Input: "text"},
		{Name: "load", Label: "Load on the arbor", Input: "select", Options: []option{{"", "not recorded"},
			{string(wear.LoadOff), "off: weight held, train blocked"}, {string(wear.LoadOn), "on"}}},
		{Name: "celsius", Label: "Temperature in °C", Input: "number"}}...)
}

// sureFields ask whether what was asked back is right as written.
func (f entryForm) sureFields(label string) []field {
	if !f.doubted && f.values.Get("sure") == "" {
		return nil
	}
	return []field{{Name: "sure", Label: label, Input: "checkbox", Mark: f.sureMark()}}
}

// sureMark is what the box sends that a doubted reading or error is right: which
// one is meant, so that the word is not taken for another typed after it.
func (f entryForm) sureMark() string {
	if f.values.Get("kind") == string(schedule.Stopped) {
		return strings.TrimSpace(f.values.Get("cause") + " " + f.values.Get("train") + " " + f.values.Get("since"))
	}
	if f.values.Get("kind") != string(schedule.Measured) {
		return strings.TrimSpace("error " + strings.TrimSpace(f.values.Get("errorFound")) + " " + f.values.Get("errorFoundWay"))
	}
	return strings.TrimSpace(strings.TrimSpace(f.values.Get("bearing")) + " " + strings.TrimSpace(f.values.Get("value")) + " " + f.values.Get("valueUnit"))
}

func (f entryForm) repairedFields() []field {
	work := field{Name: "work", Label: "Work done", Input: "select", Required: true, Options: []option{{"", "Choose one"}}}
	for _, w := range schedule.RepairWorks {
		work.Options = append(work.Options, option{string(w), string(w)})
	}
	pair := field{Name: "pair", Label: "Materials now", Input: "select", Options: []option{{"", "as before"}}}
	for _, p := range pairs {
		pair.Options = append(pair.Options, option{string(p), string(p)})
	}
	bearing := f.bearingField(len(f.a.Clock.Care.Lines) == 0)
	if !bearing.Required {
		bearing.Options[0].Label = "None: it was a line"
	}
	return []field{bearing, work,
		{Name: "fitted", Label: "Freedom after the work, with its unit", Input: "text", Hint: "Like 0.25 mm or 10 thou; leave empty if not measured."},
		{Name: "fittedSD", Label: "Give or take, with its unit", Input: "text"}, pair}
}

func (f entryForm) causeField() field {
	c := field{Name: "cause", Label: "Why", Input: "select", Required: true, Options: []option{{"", "Choose one"}}}
	for _, x := range schedule.StopCauses {
		c.Options = append(c.Options, option{string(x), string(x)})
	}
	return c
}
