package schedule

import (
	"cmp"
	"fmt"
	"strings"
	"unicode"
)

// called is a point in words.
func (p OilPoint) called() string { return cmp.Or(p.Name, p.Code) }

// OilMap gives the oil points of a clock, in the order in which they are gone
// round, and then what must stay dry, a line each: of a train or a bearing by
// its code, or of the whole clock where none is named.
func OilMap(a Assessment, subject string) []string {
	var out, dry []string
	for _, p := range a.Clock.pointsOf(subject) {
		if p.Dry {
			dry = append(dry, "Must stay dry: "+p.called()+becauseOf(p.Why)+p.see()+".")
			continue
		}
		line := fmt.Sprintf("%d. %s: %s", len(out)+1, Capital(p.called()), p.takes())
		if p.Why != "" {
			line += " (" + strings.TrimSuffix(p.Why, ".") + ")"
		}
		out = append(out, line+p.see()+".")
	}
	return append(out, dry...)
}

// pointsOf are the oil points of a train or a bearing by its code, or of the whole
// clock where none is named, in the order in which they are gone round.
func (c Clock) pointsOf(subject string) []*OilPoint {
	bearing, alone := strings.CutPrefix(subject, "bearing/") // see subjectOf
	var out []*OilPoint
	for i := range c.Care.Points {
		u := c.unit(&c.Care.Points[i])
		if subject == "" || u.bearing == bearing || !alone && u.train == subject {
			out = append(out, u.point)
		}
	}
	return out
}

// takes is what a point takes: "1 drop of fine clock oil".
func (p OilPoint) takes() string {
	amount := p.Amount
	if amount == "" && p.Drops > 0 {
		amount = dropsWords(p.Drops)
	}
	oil := cmp.Or(p.Oil, string(p.Kind))
	switch {
	case amount != "" && oil != "":
		return amount + " of " + oil
	case amount == "" && oil == "":
		return "oil and amount are not recorded"
	}
	return amount + oil
}

func (p OilPoint) see() string {
	if p.Picture == "" {
		return ""
	}
	return "; see the picture " + p.Picture
}

// oftenFirst are words with which people begin a sentence, and which are no names.
var oftenFirst = map[string]bool{"a": true, "an": true, "the": true, "it": true, "its": true, "they": true, "there": true, "this": true, "that": true, "these": true,
	"no": true, "not": true, "never": true, "oil": true, "if": true, "when": true, "so": true, "else": true, "would": true, "must": true, "has": true, "is": true, "to": true, "in": true, "on": true, "by": true}

func becauseOf(why string) string {
	if why = strings.TrimSuffix(strings.TrimSpace(why), "."); why == "" {
		return ""
	}
	if r := []rune(why); len(r) > 1 && (unicode.IsLower(r[1]) || r[1] == ' ') && oftenFirst[strings.ToLower(strings.Fields(why)[0])] {
		why = string(unicode.ToLower(r[0])) + string(r[1:]) // "It slips" within a sentence; a name keeps its letter
	}
	return ", because " + why
}

func dropsWords(n float64) string {
	if n == 1 {
		return "1 drop"
	}
	return fmt.Sprintf("%.3g drops", n)
}

// oilAmount adds up what an oiling takes.
type oilAmount struct {
	points int
	drops  float64
	some   bool // not every point says how many drops
	oils   []string
}

func amountOf(units []oilUnit) oilAmount {
	var out oilAmount
	for _, u := range units {
		if u.point == nil {
			continue
		}
		out.points++
		out.drops += u.point.Drops
		out.some = out.some || u.point.Drops == 0
		if oil := cmp.Or(u.point.Oil, string(u.point.Kind)); oil != "" && !known(out.oils, oil) {
			out.oils = append(out.oils, oil)
		}
	}
	return out
}

// words says it: "9 points, 14 drops of fine clock oil"; empty where no point
// is described.
func (o oilAmount) words() string {
	if o.points == 0 {
		return ""
	}
	out := Count(o.points, "point", "points")
	if o.drops > 0 {
		out += ", "
		if o.some {
			out += "at least "
		}
		out += dropsWords(o.drops)
	}
	if len(o.oils) == 0 {
		return out
	}
	if o.drops == 0 {
		out += ","
	}
	return out + " of " + And(o.oils)
}
