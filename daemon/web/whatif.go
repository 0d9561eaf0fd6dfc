package web

import (
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// whatIfPart is the form on a bearing's page that asks what some work would
// do, with its answer.
type whatIfPart struct {
	Fields      []field
	Caution     string
	Faults      []fault
	Answer      []string // sentences; empty: nothing was asked, or it is to be mended
	Table       []whatIfLine
	NotKnown    string // figures known neither as it is nor then; empty: none
	Sure        string
	Fan         bool // the work leaves enough known for a second fan
	Chart, Slim template.HTML
}

// whatIfLine sets one figure as it is beside what it would be.
type whatIfLine struct{ What, Now, Then string }

// whatIf fills in the form and, where it was sent, the answer. It gives the
// status of the page; an error is ours and no one's to mend.
func (s *server) whatIf(r *http.Request, a schedule.Assessment, o schedule.Outlook, part *whatIfPart) (int, error) {
	q := r.URL.Query()
	part.Caution = entryForm{a: a}.caution(schedule.Repaired)
	part.Fields = whatIfFields(a, o)
	if !slices.ContainsFunc(part.Fields, func(f field) bool { return q.Has(f.Name) }) {
		return http.StatusOK, nil
	}
	change, faults := readChange(q)
	bare := len(faults) == 0 && change == schedule.Change{}
	if bare {
		if change.Fitted = lastFitted(o); change.Fitted == 0 {
			faults = []fault{{"fitted", fmt.Sprintf("Nothing is filled in, and at what size it was last fitted is not recorded: give the %s left after the work, like 0.25 mm.", o.Bearing.Shake)}}
		}
	}
	if len(faults) == 0 {
		f, err := s.Desk.Facts(r.Context(), a.Clock.Slug)
		if err != nil {
			return 0, fmt.Errorf("what if, for %s of %s: %w", o.Bearing.Code, a.Clock.Slug, err)
		}
		before, after, err := schedule.WhatIf(f, a.Now, o.Bearing.Code, change)
		var mend *schedule.Error
		switch {
		case errors.As(err, &mend):
			faults = []fault{{mend.Field, sentence(mend.Message)}}
		case err != nil:
			return 0, fmt.Errorf("what if, for %s of %s: %w", o.Bearing.Code, a.Clock.Slug, err)
		default:
			part.answer(s.units(r, view{}), a, change, before, after)
			if bare {
				part.Answer = append(part.Answer, "Nothing was filled in, so this is a new "+partName(o.Bearing)+", fitted at the size that it was last fitted at.")
			}
		}
	}
	part.fill(q, faults)
	if len(faults) > 0 {
		return http.StatusUnprocessableEntity, nil
	}
	return http.StatusOK, nil
}

// lastFitted is the freedom at which a bearing was last fitted; 0: not recorded.
func lastFitted(o schedule.Outlook) wear.Length {
	for _, p := range slices.Backward(o.Parts) {
		if p.Start != nil {
			return wear.FromMM(p.Start.Mean)
		}
	}
	return 0
}

// partName is what is renewed in a bearing.
func partName(b wear.Bearing) string {
	if b.Form == wear.ThrustFace {
		return "washer"
	}
	return "bush"
}

// fill puts what was typed back into the form, each fault at its field.
func (p *whatIfPart) fill(q url.Values, faults []fault) {
	for i := range p.Fields {
		p.Fields[i].Value = strings.ToValidUTF8(q.Get(p.Fields[i].Name), "\ufffd")
		for _, x := range faults {
			if x.Field == p.Fields[i].Name {
				p.Fields[i].Fault = x.Message
			}
		}
	}
	for _, x := range faults { // one with no such field here stands at the head alone
		if !slices.ContainsFunc(p.Fields, func(f field) bool { return f.Name == x.Field }) {
			x.Field = ""
		}
		p.Faults = append(p.Faults, x)
	}
}

// whatIfFields are the questions that make sense for the bearing.
func whatIfFields(a schedule.Assessment, o schedule.Outlook) []field {
	var out []field
	length := func(name, label, hint string) {
		out = append(out, field{Name: name, Label: label, Hint: hint, Input: "text"})
	}
	if o.Bearing.Form == wear.ThrustFace {
		length("washer", "Fit a washer: its thickness", "Like 0.30 mm or 12 thou; it comes off the end-shake.")
		length("faceOff", "Face off the pocket: metal taken off", "Like 0.10 mm or 4 thou; it adds to the end-shake.")
		length("outer", "Outer diameter of the face", "Only if it changes: a wider face wears more slowly.")
		length("inner", "Inner diameter of the face", "Both diameters, or neither.")
	}
	length("fitted", fmt.Sprintf("%s left after the work", schedule.Capital(string(o.Bearing.Shake))),
		"Only if it is known, like 0.25 mm or 10 thou; else it is worked out.")
	pair := field{Name: "pair", Label: "Materials that rub then", Hint: "Only if they change.", Input: "select", Options: []option{{"", "as now"}}}
	for _, p := range pairs {
		pair.Options = append(pair.Options, option{string(p), string(p)})
	}
	return append(out, pair,
		field{Name: "oilDays", Label: "Oil every so many days from now on", Input: "number", Hint: "Like 90; leave it empty to oil as now."})
}

// pairs are the materials that a form offers.
var pairs = []wear.Pair{wear.SteelOnBrass, wear.SteelOnSteel, wear.BrassOnBrass, wear.SteelOnPlastic}

// readChange reads what was asked.
func readChange(q url.Values) (schedule.Change, []fault) {
	r := &reader{entryForm: entryForm{values: q}}
	c := schedule.Change{
		Washer: r.length("washer"), FaceOff: r.length("faceOff"), Outer: r.length("outer"), Inner: r.length("inner"),
		Fitted: r.length("fitted"), Pair: wear.Pair(r.text("pair")),
	}
	days := r.number("oilDays")
	if days != math.Trunc(days) || days > 1e6 {
		r.fault("oilDays", "%s days cannot be right: give a whole number, like 90", short(r.text("oilDays")))
		days = 0
	}
	if r.text("oilDays") != "" && days == 0 && len(r.faults) == 0 {
		r.fault("oilDays", "Every 0 days cannot be right: give a whole number, like 90, or leave it empty")
	}
	c.OilDays = int(days)
	return c, r.faults
}

// answer says what the change would do.
func (p *whatIfPart) answer(u wear.Unit, a schedule.Assessment, c schedule.Change, before, after schedule.Outlook) {
	shake := string(after.Bearing.Shake)
	lead := fmt.Sprintf("With %s the %s ", schedule.And(changeParts(c)), shake)
	if c.OilDays > 0 && c == (schedule.Change{OilDays: c.OilDays}) {
		p.Answer = append(p.Answer, lead+"stays as it is, and wears on from there.")
	} else {
		p.Answer = append(p.Answer, lead+fmt.Sprintf("would be about %s today; %s.", both(after.Level.Mean), asItIs(before)))
	}
	if c == (schedule.Change{Pair: c.Pair, OilDays: c.OilDays}) && c.Pair != "" {
		p.Answer = append(p.Answer, "It is taken to be fitted as loose as it is now: give what is left after the work if that is known.")
	}
	p.Answer = append(p.Answer, "Then "+lifeWords(after)+".", "As it is, "+lifeWords(before)+".")
	if c.OilDays > 0 && (before.Oil == nil || !before.Oil.InForce) {
		p.Answer = append(p.Answer, "What oil does is taken from textbook figures: the readings of this fleet do not show it yet.")
	}
	if words := putOffWords(before, after, schedule.DateOf(a.Now, a.Zone)); words != "" {
		p.Answer = append(p.Answer, words)
	}
	p.Sure, p.Fan = after.Confidence, after.Known && (after.Taught || after.Dated)
	var unknown []string
	for _, l := range whatIfTable(before, after) {
		if l.Now == l.Then && (l.Now == notKnown || l.Now == noDate) {
			unknown = append(unknown, strings.ToLower(l.What[:1])+l.What[1:])
			continue
		}
		p.Table = append(p.Table, l)
	}
	p.NotKnown = strings.Join(unknown, "; ")
	wide, slim := chart.WhatIf(before, after, a.Now, a.Zone, chart.Wide), chart.WhatIf(before, after, a.Now, a.Zone, chart.Narrow)
	wide.Units, slim.Units = u, u
	p.Chart, p.Slim = picture(wide), picture(slim)
}

// putOffWords says by how much the work moves the middle date, which the chart marks
// with a diamond; nothing where that is not known of either. What is past already
// is put off from today.
func putOffWords(before, after schedule.Outlook, today schedule.Date) string {
	if after.Over || !after.Dated || !before.Over && !before.Dated {
		return ""
	}
	then := after.Likely.MonthWords()
	if before.Over || !before.Likely.After(today) {
		past := "The limit is past already"
		if !before.Over {
			past = "As it is the middle of the range is past already"
		}
		return fmt.Sprintf("%s: with the work done today the middle of the range is %s, %s from today.", past, then, schedule.Days(after.Likely.Sub(today)))
	}
	switch gain := after.Likely.Sub(before.Likely); {
	case gain > 0:
		return fmt.Sprintf("In the middle of the two ranges that puts it off by %s, from %s to %s.", schedule.Days(gain), before.Likely.MonthWords(), then)
	case gain < 0:
		return fmt.Sprintf("In the middle of the two ranges that brings it nearer by %s, from %s to %s.", schedule.Days(-gain), before.Likely.MonthWords(), then)
	}
	return ""
}

func asItIs(before schedule.Outlook) string {
	if !before.Known {
		return "what it is now is not known"
	}
	return "now it is about " + both(before.Level.Mean)
}

// changeParts are the things that would be done, each in words.
func changeParts(c schedule.Change) []string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if c.Washer > 0 {
		add("a washer of %v", c.Washer)
	}
	if c.FaceOff > 0 {
		add("%v taken off the pocket", c.FaceOff)
	}
	if c.Outer > 0 && c.Inner > 0 {
		add("a face from %v to %v across", c.Inner, c.Outer)
	}
	if c.Fitted > 0 {
		add("%v left after the work", c.Fitted)
	}
	if c.Pair != "" {
		add("%s", c.Pair)
	}
	if c.OilDays > 0 {
		add("oil every %s", strings.TrimPrefix(schedule.Count(c.OilDays, "day", "days"), "1 "))
	}
	return out
}

// lifeWords says when the limit is reached, as far as that can be told.
func lifeWords(o schedule.Outlook) string {
	switch {
	case o.Limit == nil:
		return "no limit is set, so there is no date to give"
	case !o.Known:
		return "nothing is measured, so there is no date to give"
	case o.Over:
		return "it is " + cmp.Or(o.PastWords(), fmt.Sprintf("probably past its limit of %v already", o.Limit.Size))
	case o.Beyond:
		return fmt.Sprintf("it is not expected to reach %v within 40 years", o.Limit.Size)
	case !o.Dated:
		return fmt.Sprintf("no date can be given for %v: its rate is not known well enough", o.Limit.Size)
	}
	return fmt.Sprintf("it is likely to reach %v between %s and %s", o.Limit.Size, o.Early.MonthWords(), o.Late.MonthWords())
}

// What stands in the table where there is no figure.
const (
	notKnown = "not known"
	noDate   = "no date"
)

func whatIfTable(before, after schedule.Outlook) []whatIfLine {
	level := func(o schedule.Outlook) string {
		if !o.Known {
			return notKnown
		}
		return both(o.Level.Mean) + " ± " + both(o.Level.SD)
	}
	wears := func(o schedule.Outlook) string {
		if !finite(o.PerYear[1]) || o.PerYear[2] == 0 {
			return notKnown
		}
		return wear.Fine(o.PerYear[1]) + "; " + wear.FineSpan(o.PerYear[0], "to", o.PerYear[2])
	}
	date := func(o schedule.Outlook, d schedule.Date) string {
		switch {
		case o.Over:
			return "passed"
		case !o.Dated || d.IsZero():
			return noDate
		}
		return d.MonthWords()
	}
	out := []whatIfLine{
		{schedule.Capital(string(after.Bearing.Shake)) + " today", level(before), level(after)},
		{"Wear a year, 8 chances in 10", wears(before), wears(after)},
		{"Limit reached at the earliest, 1 chance in 10 of sooner", date(before, before.Early), date(after, after.Early)},
		{"As likely before as after", date(before, before.Likely), date(after, after.Likely)},
		{"At the latest, 1 chance in 10 of later", date(before, before.Late), date(after, after.Late)},
	}
	for i, m := range after.Meshes {
		if m.Known && i < len(before.Meshes) {
			now := notKnown
			if before.Meshes[i].Known {
				now = depthWords(before.Meshes[i].Now)
			}
			out = append(out, whatIfLine{"Depth left in " + meshName(m.Mesh), now, depthWords(m.Now)})
		}
	}
	return out
}
