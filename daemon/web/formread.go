package web

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"endshake/schedule"
	"endshake/wear"
)

// reader reads the values of a form and gathers what is to be mended.
type reader struct {
	entryForm
	kind   schedule.EntryKind
	asks   map[string]field // by name, what the form of its kind asks
	faults []fault
}

// entry makes the entry that the form describes, or says what to mend. What
// the form of its kind does not ask is not read, whatever was sent.
func (f entryForm) entry() (schedule.Entry, []fault) {
	r := &reader{entryForm: f, kind: schedule.EntryKind(f.values.Get("kind"))}
	if !slices.Contains(schedule.EntryKinds, r.kind) {
		return schedule.Entry{}, []fault{{"", "Choose what happened first."}}
	}
	e := schedule.Entry{
		Clock: f.a.Clock.Slug, Kind: r.kind, At: r.at(), By: r.text("by"), Note: r.text("note"),
		Replaces: r.text("replaces"), Source: "page", Key: r.text("key"),
	}
	if e.Replaces != "" {
		e.Why = r.text("why")
	}
	if e.At.IsZero() && len(r.faults) == 0 {
		r.fault("at", "Say when it happened.")
	}
	r.detail(&e)
	return e, r.faults
}

// detail reads what only this kind of entry carries.
func (r *reader) detail(e *schedule.Entry) {
	r.asks = map[string]field{}
	for _, q := range r.own(r.kind) {
		r.asks[q.Name] = q
	}
	e.Train, e.Bearing = r.asked("train"), r.asked("bearing")
	e.ErrorFound, e.ErrorLeft = r.signed("errorFound", "errorFoundWay"), r.signed("errorLeft", "errorLeftWay")
	if r.box("right") {
		if e.ErrorLeft != nil && *e.ErrorLeft != 0 {
			r.fault("errorLeft", "It cannot be set right and left wrong: take out one of the two.")
		}
		e.ErrorLeft = new(float64)
	}
	e.Sure = r.asked("sure") != "" && r.text("sure") == r.sureMark()
	r.care(e)
	switch r.kind {
	case schedule.Wound:
		e.Turns = r.number("turns")
		e.Part = r.text("part") != ""
	case schedule.Oiled:
		e.Oil = r.text("oil")
	case schedule.Inspected:
		e.Found = schedule.Condition(r.text("found"))
	case schedule.Measured:
		r.measured(e)
	case schedule.Repaired:
		e.Work = schedule.RepairWork(r.text("work"))
		e.Fitted, e.FittedSD = r.length("fitted"), r.length("fittedSD")
		e.NewPair = wear.Pair(r.text("pair"))
	case schedule.Stopped:
		e.Cause = schedule.StopCause(r.text("cause"))
		old, _ := entryOf(r.a, r.values.Get("replaces"))
		e.Since, e.Until = r.instant("since", old.Since), r.date("until")
	case schedule.Regulated:
		e.NutTurns = r.number("nutTurns")
		if r.text("nutWay") == "down" {
			e.NutTurns = -e.NutTurns
		}
	}
}

func (r *reader) measured(e *schedule.Entry) {
	b, _, _, ok := r.a.Clock.Bearing(e.Bearing)
	if e.Bearing == "" || !ok {
		r.fault("bearing", "Choose the bearing that was measured.")
	}
	reading := &wear.Reading{Shake: b.Shake, Instrument: r.text("instrument"), Load: wear.LoadState(r.text("load"))}
	if r.text("value") == "" {
		r.fault("value", "Give the reading with its unit, like 0.42 mm or 16 thou.")
	}
	reading.Value, reading.Gauge = r.length("value"), r.length("gauge")
	if r.text("celsius") != "" {
		c := r.plain("celsius", true)
		reading.Celsius = &c
	}
	e.Reading = reading
}

func (r *reader) fault(field, format string, args ...any) {
	r.faults = append(r.faults, fault{field, sentence(fmt.Sprintf(format, args...))})
}

// text is a value without what cannot be printed. Lines are kept in a note.
func (r *reader) text(name string) string {
	v := r.values.Get(name)
	if !utf8.ValidString(v) {
		r.fault(name, "This holds bytes that are not letters: type it anew.")
		return ""
	}
	return strings.TrimSpace(strings.ReplaceAll(v, "\r\n", "\n"))
}

// at is when it happened. The minute that it is now means now, for a form cuts
// off the seconds, and so would put what was just done before what came a few
// seconds earlier.
func (r *reader) at() time.Time {
	if ago, ok := r.pressedAgo(); ok {
		return r.now.UTC().Add(-ago)
	}
	old, _ := entryOf(r.a, r.values.Get("replaces"))
	if s := r.text("at"); s == wallText(r.now, r.a.Zone) && s != wallText(old.At, r.a.Zone) {
		return r.now.UTC()
	}
	return r.instant("at", old.At)
}

// instant reads a time on the wall there. Where the text is that of an entry
// to be corrected it means the very instant: its seconds, and the right one of
// an hour that came twice.
func (r *reader) instant(name string, old time.Time) time.Time {
	s := r.text(name)
	switch {
	case s == "":
		return time.Time{}
	case s == wallText(old, r.a.Zone):
		return old
	}
	t, err := schedule.ParseWall(s, r.a.Zone)
	if err != nil {
		r.fault(name, "%v", err)
		return time.Time{}
	}
	return t.UTC()
}

func (r *reader) date(name string) schedule.Date {
	s := r.text(name)
	if s == "" {
		return schedule.Date{}
	}
	d, err := schedule.ParseDate(s)
	if err != nil {
		r.fault(name, "%v", err)
	}
	return d
}

func (r *reader) length(name string) wear.Length {
	s := r.text(name)
	if s == "" {
		return 0
	}
	if unit := r.text(name + "Unit"); bareFigure.MatchString(s) && unit != "" { // chosen beside it
		s += map[string]string{"mm": " mm", "thou": " thou", "64ths": "/64 in"}[unit]
	}
	l, err := wear.ParseLength(s)
	if err != nil {
		r.fault(name, "%v", err)
	}
	return l
}

// bareFigure is a length whose unit does not stand with it.
var bareFigure = regexp.MustCompile(`^-?[0-9]*[.,]?[0-9]+$`)

// number reads a plain number that is nothing or more; empty is nothing.
func (r *reader) number(name string) float64 {
	if r.text(name) == "" {
		return 0
	}
	return r.plain(name, false)
}

// directed are the questions that have their direction beside them.
var directed = []string{"nutTurns", "grams"}

func (r *reader) plain(name string, below bool) float64 {
	s := strings.Replace(r.text(name), ",", ".", 1)
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(s, "xXpP_"):
		r.fault(name, "%q is not a plain number: use figures only", short(r.text(name)))
		return 0
	case v < 0 && !below && !slices.Contains(directed, name):
		r.fault(name, "Give a plain number, nothing less than 0")
		return 0
	case v < 0 && !below:
		r.fault(name, "Give a plain number without a sign, and choose the direction beside it")
		return 0
	}
	return v
}

// signed reads an error with its direction, in words, by a sign or by the choice
// beside it: there is no usual one. Nil when left empty, or not asked.
func (r *reader) signed(name, wayName string) *float64 {
	s, way := r.asked(name), r.text(wayName)
	if s == "" {
		return nil
	}
	v, says, err := schedule.ParseDialError(s)
	switch {
	case err != nil:
		r.fault(name, "%v", err)
		return nil
	case says != "" && way != "" && way != says:
		r.fault(wayName, "%q says that it was %s, and %s is chosen: mend one of the two", short(s), says, short(way))
		return nil
	case v == 0:
	case cmp.Or(says, way) == schedule.Slow:
		v = -v
	case cmp.Or(says, way) != schedule.Fast:
		r.fault(wayName, "Choose whether it was fast or slow")
	}
	return &v
}

// short cuts a text that is quoted in a sentence.
func short(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}
