package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"endshake/wear"
)

// oilings are the oiling tasks of a clock. One without a day, because the
// chance stays below its policy's risk for longer than anyone plans, is left out.
func oilings(a *Assessment) []Task {
	var out []Task
	for i := range a.Oils {
		o := &a.Oils[i]
		if o.asked == nil {
			t := o.task(a)
			o.asked = &t
		}
		if !o.asked.Due.IsZero() {
			out = append(out, *o.asked)
		}
	}
	return out
}

// oilOf is how the oil of a policy's subject stands.
func (a *Assessment) oilOf(p Policy) (OilState, bool) {
	for _, o := range a.Oils {
		if o.Policy == p {
			return o, true
		}
	}
	return OilState{}, false
}

// task asks for an oiling: at once where the oil was found to have failed, else
// at the policy's interval or the day of its risk, whichever is sooner.
func (o OilState) task(a *Assessment) Task {
	p, from := o.Policy, o.Since
	if from.IsZero() {
		from = a.Clock.InCare
	}
	t := Task{Kind: Oiling, Source: p.Source, Subject: o.Subject, About: o.About}
	if p.interval() > 0 || p.RunHours > 0 {
		t = byPolicy(a, p)
	}
	switch {
	case !o.Ended.IsZero():
		t.From, t.Due = o.Ended, o.Ended
		t.Reason = fmt.Sprintf("found %s on %s, %s after it was oiled%s: it no longer does its work", o.endedAs, o.Ended.Words(), Days(o.Ended.Sub(o.Since)), o.with())
		t.Confidence = "firm: somebody saw it"
	case !o.ByRisk.IsZero() && (t.Due.IsZero() || o.ByRisk.Before(t.Due)):
		t.Due = o.ByRisk
		t.Reason, t.Confidence = o.riskReason(), o.confidence(a)
		w := p.window(Oiling, t.Due.Sub(from))
		t.From, t.Latest = t.Due.Add(-max(0, w.lead)), t.Due.Add(w.grace)
	case o.tooLong():
		t.Reason += fmt.Sprintf("; the last oil looked at was found %s after %s, and the one before it was past its work too: this interval may be too long", o.pastAs, Days(o.pastAge()))
		if strings.HasPrefix(t.Confidence, "firm") {
			t.Confidence = "fair: the interval is fixed, but the last two oils looked at did not last it"
		}
	case !o.ByRisk.IsZero():
		t.Reason += fmt.Sprintf("; by the state of its oil it could wait until %s", o.ByRisk.Words())
	}
	if !o.Ended.IsZero() {
		t.Latest = o.Ended.Add(p.window(Oiling, math.MaxInt).grace)
	}
	t.Reason += o.apart
	t.Evidence = o.evidence(a)
	t.Next = nextSteps[Oiling]
	if o.Ended.IsZero() && o.tooLong() {
		t.Next = "Oil it sooner, or set a shorter interval. " + t.Next
	}
	if s := o.drops.words(); s != "" {
		t.Next += " If it wants oil: " + s + "."
	}
	return t
}

// tooLong reports whether nothing but an interval says when, and the last two
// oils that somebody looked at were past their work within it.
func (o OilState) tooLong() bool {
	n := len(o.Life.Seen)
	if n < 2 || o.Policy.Risk > 0 || o.Policy.interval() <= 0 {
		return false
	}
	within := float64(o.Policy.interval() + o.Policy.window(Oiling, o.Policy.interval()).grace)
	return !slices.ContainsFunc(o.Life.Seen[n-2:], func(s wear.Sighting) bool { return !s.Ended() || s.To*365.25 > within })
}

// pastAge is how many days old the last oil was when it was found past its work.
func (o OilState) pastAge() int {
	return int(math.Round(o.Life.Seen[len(o.Life.Seen)-1].To * 365.25))
}

// with is what it was oiled with, where that is logged.
func (o OilState) with() string {
	if o.last.Oil == "" {
		return ""
	}
	return " with " + o.last.Oil
}

// riskReason says why it is due at its risk.
func (o OilState) riskReason() string {
	since := fmt.Sprintf("%s on %s%s", o.last.Kind, o.Since.Words(), o.with())
	if o.Since.IsZero() {
		since = "no oiling is logged" + o.missing
	}
	if !o.Good.IsZero() {
		since += fmt.Sprintf("; still good on %s", o.Good.Words())
	}
	return since + "; " + oneIn(o.Policy.Risk) + " no longer good by " + o.ByRisk.Words() + inBrackets(o.Policy.Reason)
}

// oneIn says a risk of an oiling in words: "one oiling in ten is".
func oneIn(risk float64) string {
	words := map[int]string{2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 8: "eight", 10: "ten", 20: "twenty", 50: "fifty", 100: "a hundred"}
	if n := int(math.Round(1 / risk)); math.Abs(risk*float64(n)-1) < .01 && words[n] != "" {
		return "one oiling in " + words[n] + " is"
	}
	return fmt.Sprintf("%.3g oilings in a hundred are", 100*risk)
}

// confidence says how sure the day of a risk is, and why.
func (o OilState) confidence(a *Assessment) string {
	ended := 0
	for _, s := range o.sightings {
		if s.Ended() {
			ended++
		}
	}
	var from []string
	if o.Looks > 0 {
		from = append(from, Count(o.Looks, "life", "lives")+" of its oil that somebody looked at")
	}
	if o.lesson.Sightings > 0 {
		from = append(from, o.lesson.words()+" of the fleet")
	}
	switch basis := And(from); {
	case o.Since.IsZero():
		return "weak: no oiling is logged, counted from the first day in care, " + a.Clock.InCare.Words()
	case basis == "":
		return "weak: nobody logged how oil looked, so it rests on starting values"
	case o.Looks >= 5 && ended >= 2: // judgement, no source
		return "firm: from " + basis
	default:
		return "fair: from " + basis
	}
}

// evidence is what in the log it rests on; empty: nothing is logged.
func (o OilState) evidence(a *Assessment) string {
	var out []string
	if !o.Since.IsZero() {
		out = append(out, fmt.Sprintf("%s on %s%s", o.last.Kind, o.Since.Words(), o.with()))
	}
	switch o.TopUps {
	case 0:
	case 1:
		out = append(out, "topped up once, which is no new oiling")
	default:
		out = append(out, fmt.Sprintf("topped up %d times, which is no new oiling", o.TopUps))
	}
	if o.Found != "" {
		out = append(out, fmt.Sprintf("last found %s on %s", o.Found, a.dayOf(o.foundAt).Words()))
	}
	if o.Before != "" {
		out = append(out, fmt.Sprintf("the oil before it was found %s on %s", o.Before, o.BeforeOn.Words()))
	}
	if o.Residue == ResidueBlack {
		out = append(out, "black with metal")
	}
	return strings.Join(out, "; ")
}

// neverOiled names what of a subject was never gone to, for the end of a
// sentence; empty where that is all of it.
func (c Clock) neverOiled(r oilRecord) string {
	var names []string
	for i, u := range r.units {
		if r.last[i] >= 0 {
			continue
		}
		names = append(names, c.unitName(u))
	}
	const most = 3
	switch n := len(names); {
	case n == len(r.units):
		return ""
	case n > most:
		return fmt.Sprintf(" for %d of its %d places", n, len(r.units))
	}
	return " for " + strings.Join(names, " and ")
}

// unitName is a place in words.
func (c Clock) unitName(u oilUnit) string {
	if u.point != nil {
		return u.point.called()
	}
	if t, ok := c.Train(u.train); ok {
		return "the " + NameOfTrain(t)
	}
	return "the " + u.train
}

// oneRound is how many days apart places may be oiled and still be done together
// (judgement, no source).
const oneRound = 30

// oiledApart says which places of a subject were gone to since its oil counts
// as new, and which were not, for the end of a sentence; empty: all together.
func (a *Assessment) oiledApart(r oilRecord) string {
	if r.since < 0 {
		return ""
	}
	newest := slices.Max(r.last)
	at := func(i int) Date { return a.dayOf(r.log[i].At) }
	if at(newest).Sub(at(r.since)) <= oneRound {
		return ""
	}
	var done, left []string
	for i, u := range r.units {
		if at(newest).Sub(at(r.last[i])) <= oneRound {
			done = append(done, a.Clock.unitName(u))
		} else {
			left = append(left, a.Clock.unitName(u))
		}
	}
	const most = 3
	say := func(names []string) string {
		if len(names) > most {
			return fmt.Sprintf("%d of its %d places", len(names), len(r.units))
		}
		return And(names)
	}
	be := "was"
	if len(done) > 1 {
		be = "were"
	}
	return fmt.Sprintf("; %s %s %s on %s, still to do: %s", say(done), be, r.log[newest].Kind, at(newest).Words(), say(left))
}
