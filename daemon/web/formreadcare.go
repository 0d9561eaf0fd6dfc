package web

import (
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"endshake/schedule"
)

// care reads what a clock's care asks, as far as the form of this kind asks it.
func (r *reader) care(e *schedule.Entry) {
	old, _ := entryOf(r.a, r.values.Get("replaces"))
	e.OilFound, e.Residue = schedule.OilFound(r.chosen("oilFound")), schedule.Residue(r.chosen("residue"))
	e.Points, e.TopUp, e.Visit, e.Old = r.ticked("points"), r.box("topUp"), r.box("visit"), r.box("old")
	e.Lock, e.Clears = schedule.LockKind(r.chosen("lock")), schedule.LockKind(r.chosen("clears"))
	e.Season, e.Undoes = r.chosen("season"), r.chosen("undoes")
	if r.asked("cutFrom") != "" {
		e.CutFrom = r.instant("cutFrom", old.CutFrom)
	}
	if r.asked("cutTo") != "" {
		e.CutTo = r.instant("cutTo", old.CutTo)
	}
	if text := r.asked("change"); text != "" && text == r.asks["change"].Mark {
		e.Change = r.date("change")
	}
	if r.asked("fallLeft") != "" {
		left := r.length("fallLeft")
		e.FallLeft = &left
	}
	e.Meter, e.MeterNew = r.figure("meter", false), r.box("meterNew")
	if e.MeterNew && e.Meter == nil {
		r.fault("meter", "Write what the new meter shows")
	}
	e.Arc, e.Pressure, e.Weight = r.figure("arc", false), r.figure("pressure", false), r.figure("weight", false)
	e.Corrector = r.figure("corrector", true)
	if r.kind != schedule.Measured { // there it is the reading's
		e.Celsius = r.figure("celsius", true)
	}
	if r.asked("grams") != "" {
		e.Grams = r.number("grams")
		if r.text("gramsWay") == "off" {
			e.Grams = -e.Grams
		}
	}
	r.line(e)
}

// line reads which line, and what a look at it found: nothing found is worth
// keeping too.
func (r *reader) line(e *schedule.Entry) {
	e.Line = r.chosen("line")
	if r.kind != schedule.Inspected {
		return
	}
	found := schedule.LineCheck{Wires6: r.count("wires6"), Wires30: r.count("wires30"), Strand: r.box("strand"), Rust: r.asked("rust")}
	if r.asked("diameter") != "" {
		found.Diameter = r.length("diameter")
	}
	switch {
	case e.Line != "":
		e.Check = &found
	case found != schedule.LineCheck{} && r.asked("line") == "":
		r.fault("line", "Choose the line that was looked at")
	}
}

// asked is the text of a question that the form asks; nothing of one that it
// does not.
func (r *reader) asked(name string) string {
	if _, ok := r.asks[name]; !ok {
		return ""
	}
	return r.text(name)
}

// box reports whether a box that the form has is ticked.
func (r *reader) box(name string) bool { return r.asked(name) != "" }

// chosen is one of the words that the form offers.
func (r *reader) chosen(name string) string {
	v := r.asked(name)
	if v != "" && !hasOption(r.asks[name].Options, v) {
		r.fault(name, "%q is not offered here: choose one of the list", short(v))
		return ""
	}
	return v
}

// ticked are the boxes of a list that are ticked, in its order, each once.
func (r *reader) ticked(name string) []string {
	var out []string
	for _, t := range r.asks[name].Ticks {
		if slices.Contains(r.values[name], t.Value) {
			out = append(out, t.Value)
		}
	}
	for _, v := range r.values[name] {
		if _, ok := r.asks[name]; ok && v != "" && !slices.Contains(out, v) {
			r.fault(name, "%q is not offered here: tick those of the list", short(strings.ToValidUTF8(v, string(utf8.RuneError))))
			return nil
		}
	}
	return out
}

// figure reads a number that may be left out.
func (r *reader) figure(name string, below bool) *float64 {
	if r.asked(name) == "" {
		return nil
	}
	v := r.plain(name, below)
	return &v
}

// count reads a whole number.
func (r *reader) count(name string) int {
	v := r.figure(name, false)
	switch {
	case v == nil:
		return 0
	case *v != math.Trunc(*v) || *v > 10000:
		r.fault(name, "%q is no count: write a whole number", short(r.text(name)))
		return 0
	}
	return int(*v)
}
