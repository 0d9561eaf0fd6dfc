package web

import (
	"cmp"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"endshake/wear"
)

// lengths finds the lengths in a sentence of ours: "0.20 mm", "0.20 mm (7.9
// thou)", "0.06 to 0.20 mm".
var lengths = regexp.MustCompile(`(?:(\d+\.\d+) (to|and) )?(\d+\.\d+) mm(?: \((\d[\d.]*) thou\))?`)

// own says each length of a sentence of ours in both systems, the reader's unit
// first. It is never given what somebody else wrote.
func own(u wear.Unit, s string) string {
	var out strings.Builder
	end := 0
	for _, at := range lengths.FindAllStringSubmatchIndex(s, -1) {
		part := func(n int) string {
			if at[2*n] < 0 {
				return ""
			}
			return s[at[2*n]:at[2*n+1]]
		}
		first, then := part(3)+" mm", cmp.Or(part(4), thouOf(part(3)))+" thou"
		if from := part(1); from != "" {
			first, then = from+" "+part(2)+" "+first, thouOf(from)+" "+part(2)+" "+then
		}
		if u == wear.Thou {
			first, then = then, first
		}
		out.WriteString(s[end:at[0]])
		if before := s[:at[0]]; strings.Count(before, "(") > strings.Count(before, ")") {
			out.WriteString(first + ", " + then) // no brackets within brackets
		} else {
			out.WriteString(first + " (" + then + ")")
		}
		end = at[1]
	}
	return out.String() + s[end:]
}

// thouOf turns millimetres into thou, to a tenth, or to one figure where they are
// fewer.
func thouOf(mm string) string {
	v, err := strconv.ParseFloat(mm, 64)
	if err != nil { // lengths finds figures alone
		return mm
	}
	if v *= 1000 / 25.4; v > 0 && v < 0.05 {
		return fmt.Sprintf("%.1g", v)
	}
	return fmt.Sprintf("%.1f", v)
}

// in gives the line of a bearing with the reader's unit first.
func (l bearingLine) in(u wear.Unit) bearingLine {
	for _, s := range []*string{&l.Level, &l.Limit, &l.Way, &l.Sentence} {
		*s = own(u, *s)
	}
	return l
}

// in gives the page of a bearing with the reader's unit first.
func (p bearingPage) in(u wear.Unit) bearingPage {
	p.Inches = u == wear.Thou
	p.Lede = own(u, p.Outlook.Sentence) + p.Unsure(u)
	for _, s := range []*string{&p.Level, &p.Rate, &p.Used, &p.Fitted, &p.Why} {
		*s = own(u, *s)
	}
	for i := range p.Limits {
		p.Limits[i].Size = own(u, p.Limits[i].Size)
	}
	for i := range p.Readings {
		l := &p.Readings[i]
		l.Repair, l.Gauge = own(u, l.Repair), own(u, l.Gauge)
	}
	for i := range p.Meshes {
		m := &p.Meshes[i]
		for _, s := range []*string{&m.Depth, &m.Backlash, &m.Watch, &m.Act, &m.Stop} {
			*s = own(u, *s)
		}
	}
	return p
}

// in gives the answer to a change thought of with the reader's unit first.
func (p *whatIfPart) in(u wear.Unit) {
	for i := range p.Answer {
		p.Answer[i] = own(u, p.Answer[i])
	}
	for i := range p.Table {
		l := &p.Table[i]
		l.Now, l.Then = own(u, l.Now), own(u, l.Then)
	}
}
