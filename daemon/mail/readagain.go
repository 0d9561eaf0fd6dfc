package mail

import (
	"fmt"
	"math"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// howAgain is how a doubtful reading is best taken again (common practice, no
// source).
const howAgain = "Wipe the faces, zero the gauge, take it twice, and log it with who, which gauge and how warm. If it was a slip of the pen, correct the entry instead."

// readAgain puts the letter about a reading that does not fit into words.
func (w writing) readAgain() (content, error) {
	v, l := w.about(), w.l
	a, o := l.Clocks[0], *l.Outlook
	v.Title = fmt.Sprintf("%s: %s is to be read again", v.Clock, bearingName(o))
	v.Rows = []pair{{"Bearing", bearingWords(o)}}
	if r, n, ok := lastReading(o); ok {
		v.Rows = append(v.Rows, pair{"Reading", readingWords(l, a.Zone, r)}, pair{"Expected", expected(o, r, n)})
		if r.Doubt > 0 && r.Doubt <= 1 {
			v.Rows = append(v.Rows, pair{"Doubt", fmt.Sprintf("a chance of %.0f %% that it is misread, going by the others", 100*min(r.Doubt, .99))})
		}
	}
	v.Rows = append(v.Rows, pair{"Limit", limit(o)})
	again := "Take the reading again"
	if !o.Measure.IsZero() {
		again += " by " + o.Measure.Words()
	}
	v.Actions = []action{
		{What: again, How: howAgain, Caution: cautionOf(a, schedule.Measuring), Ask: w.askOf(a, schedule.Measuring, o.Bearing.Code)},
		{What: "Until then do not act on that one reading", How: "Neither order work on its strength, nor put work off."},
	}
	return w.send(v)
}

// lastReading is the last of the present part, and how many there are.
func lastReading(o schedule.Outlook) (r schedule.Point, n int, ok bool) {
	if len(o.Parts) == 0 {
		return r, 0, false
	}
	all := o.Parts[len(o.Parts)-1].Readings
	if len(all) == 0 {
		return r, 0, false
	}
	return all[len(all)-1], len(all), true
}

// readingWords says what was read, when, by whom and how.
func readingWords(l schedule.Letter, zone *time.Location, r schedule.Point) string {
	if zone == nil {
		zone = time.UTC
	}
	out := fmt.Sprintf("%v on %s", r.Reading.Value, schedule.DateOf(r.At, zone).Words())
	if r.By != "" {
		out += ", by " + readerName(l, r.By)
	}
	if with := name(r.Reading.Instrument); with != "" {
		out += ", with " + with
	}
	if c := r.Reading.Celsius; c != nil {
		out += ", at " + wear.Warmth(*c)
	}
	return out
}

// readerName is the name of who took a reading, as far as the letter knows it.
func readerName(l schedule.Letter, slug string) string {
	known := slices.Concat([]schedule.Person{l.Person}, l.Others, l.Next, l.Named)
	if i := slices.IndexFunc(known, func(p schedule.Person) bool { return p.Slug == slug && p.Name != "" }); i >= 0 {
		return name(known[i].Name)
	}
	return name(slug)
}

// expected is what the other readings let one expect of a reading, at the
// temperature it was taken at.
func expected(o schedule.Outlook, r schedule.Point, n int) string {
	level := o.Level.Mean
	if o.Wear.Known() {
		level = o.Wear.LevelQuantile(o.Units(r.At), 0.5)
	}
	if !o.Known || math.IsNaN(level) || math.IsInf(level, 0) {
		return "not known"
	}
	out := "about " + wear.Hundredths(level+r.Reading.Value.MM()-r.Value).String()
	if n > 1 {
		out += ", going by " + schedule.Count(n-1, "other reading", "other readings")
	}
	return out
}
