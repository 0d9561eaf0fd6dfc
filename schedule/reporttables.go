package schedule

import (
	"cmp"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// forecastNote says what the figures of a forecast mean.
const forecastNote = "Sizes and dates are ranges that hold 8 times in 10. They rest on the readings up to the day named beside them, and on the clock going as it did of late; where readings cannot carry a date, none is given."

// forecastTable is empty; of several clocks it names them.
func forecastTable(clocks bool) ReportTable {
	t := ReportTable{Head: []string{"Bearing", "Last read", "Now at", "Limit", "Comes to its limit", "How sure"}}
	if clocks {
		t.Head = append([]string{"Clock"}, t.Head...)
	}
	return t
}

// forecastCells are what is to be expected of one bearing: with the day of its last
// reading, a range, and how sure that is.
func forecastCells(a *Assessment, o *Outlook) []string {
	now, limit := "not known", "none is set"
	if o.Known {
		now = levelWords(o)
		if !o.Taught {
			now += ", when it was last known"
		}
	}
	if o.Limit != nil {
		limit = o.Limit.Size.String()
	}
	read := a.lastRead(o)
	if n := len(o.Parts); n > 0 && len(o.Parts[n-1].Readings) > 0 {
		read += ": " + lastOf(o.Parts[n-1].Readings).Reading.Value.String()
	}
	return []string{Capital(NameOf(o.Bearing.Name, o.Arbor.Name)), read, now, limit, Capital(reachWords(o)), Capital(howSure(o))}
}

// reachWords say when a bearing comes to its limit, as far as that can be told.
func reachWords(o *Outlook) string {
	switch {
	case !o.Known:
		return "not known, for it was never measured; measure by " + o.Measure.Words()
	case o.Limit == nil:
		return "no limit is set"
	case o.Over:
		return o.past.short()
	case o.Beyond:
		return "not within 40 years"
	case o.Dated:
		return fmt.Sprintf("%s to %s; the middle is %s", o.Early.MonthWords(), o.Late.MonthWords(), o.Likely.MonthWords())
	case o.held:
		return "may be at it by now: its readings are too old to tell"
	}
	return "the readings cannot carry a date; measure by " + o.Measure.Words()
}

// howSure says how sure a forecast is, without the range that stands beside it.
func howSure(o *Outlook) string {
	before, _, _ := strings.Cut(o.Confidence, "; 8 chances in 10")
	return before
}

// startingWords ask for limits to be confirmed that nobody answers for yet; empty:
// all of those shown are.
func startingWords(t ReportTable, s *Snapshot) string {
	n := 0
	for _, r := range t.Rows {
		if o, ok := s.clockAt(r.Clock).Outlook(r.Bearing); ok && o.Limit != nil && !o.Limit.Confirmed() {
			n++
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%s before money is given.", map[bool]string{true: "1 limit of these is a starting value: have the conservator confirm it", false: fmt.Sprint(n) + " limits of these are starting values: have the conservator confirm them"}[n == 1])
}

// chartOf asks for the chart of a bearing.
func chartOf(a *Assessment, o *Outlook) ReportChart {
	return ReportChart{Clock: a.Clock.Slug, Bearing: o.Bearing.Code,
		Caption: fmt.Sprintf("%s, %s: %s Last read %s; data of %s.", a.Clock.Name, NameOf(o.Bearing.Name, o.Arbor.Name), o.Sentence, a.lastRead(o), a.dayOf(a.Now).Words())}
}

// soonTable is empty; of several clocks it names them.
func soonTable(clocks bool) ReportTable {
	t := ReportTable{Head: []string{"What", "When", "Who"}}
	if clocks {
		t.Head = append([]string{"Clock"}, t.Head...)
	}
	return t
}

// soonRows are the tasks of a clock that fall due soon, behind the cells given; winds
// are left out where there are such.
func soonRows(t *ReportTable, s *Snapshot, a *Assessment, before []string) {
	today := a.dayOf(a.Now)
	for i := range a.Tasks {
		x := &a.Tasks[i]
		if x.State == Resting || x.Due.Sub(today) > soonDays || before != nil && x.Kind == Winding {
			continue
		}
		when := "by " + x.Latest.Words() + ", due " + x.Due.Words()
		switch {
		case x.PastLimit != "":
			when = "now: " + x.PastLimit
		case x.State == Late:
			when = "now, due since " + x.Due.Words()
		}
		t.row(a.Clock.Slug, "", append(append([]string{}, before...), Capital(x.What()), when, cmp.Or(And(s.names(x.People)), "nobody is named"))...)
	}
}

// hoursWords print hours for a cell: "1.5", "0.25", "12"; "-" for as good as none.
// Quarters are printed as they are, all else to a tenth, and from 20 on whole hours.
func hoursWords(h float64) string {
	quarters := math.Round(4 * h)
	switch {
	case !(h >= 0.05):
		return "–"
	case h < 20 && math.Abs(4*h-quarters) < 1e-6:
		return strconv.FormatFloat(quarters/4, 'f', -1, 64)
	case h < 20:
		return strings.TrimSuffix(fmt.Sprintf("%.1f", h), ".0")
	}
	return Thousands(h)
}

// roundedWords say why figures need not add up.
const roundedWords = "Figures are rounded, so that they may not add up to the last."

// band is the range of a count, in whole ones, so wide that it holds what is expected.
func band(works [3]float64) (low, high float64) {
	return math.Floor(min(works[0], works[1])), math.Ceil(max(works[2], works[1]))
}

// worksWords print how many bearings are to be expected at their limit, each counted
// as so many, with the range that holds 8 times in 10.
func worksWords(works [3]float64, each float64) string {
	if works[2] < .5 && works[1] < .05 {
		return "–"
	}
	low, high := band(works)
	if low == high {
		return hoursWords(low * each)
	}
	return fmt.Sprintf("%s (%.0f to %.0f)", hoursWords(works[1]*each), low*each, high*each)
}

// addressed is a remark in brackets that holds the address of a page.
var addressed = regexp.MustCompile(`\s*\(([^()]*\b[a-z][a-z0-9-]*\.[a-z]{2,}[^()]*)\)`)

// withoutAddresses is a sentence without the addresses of pages in it, and what they
// stood in, to be named at the end.
func withoutAddresses(s string) (words string, sources []string) {
	for _, m := range addressed.FindAllStringSubmatch(s, -1) {
		sources = append(sources, m[1])
	}
	return addressed.ReplaceAllString(s, ""), sources
}

// mostOpen is how many things a sentence about what was not checked names.
const mostOpen = 8

// fewNamed names the first few.
func fewNamed(names []string) string {
	if len(names) <= mostOpen {
		return strings.Join(names, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(names[:mostOpen], "; "), len(names)-mostOpen)
}

// notChecked says what nobody looked at since a day, so that silence is not taken for
// a clean bill.
func notChecked(a *Assessment, p Past, since Date) []string {
	var out, never, unread, dry, unseen, old []string
	for i := range a.Outlooks {
		o := &a.Outlooks[i]
		name := NameOf(o.Bearing.Name, o.Arbor.Name)
		parts := o.Parts
		switch {
		case a.lastRead(o) == "never":
			never = append(never, name)
		case a.dayOf(lastOf(parts[len(parts)-1].Readings).At).Before(since):
			unread = append(unread, name)
		}
	}
	for i := range a.Clock.Care.Points {
		pt := &a.Clock.Care.Points[i]
		u := a.Clock.unit(pt)
		oiled := newest(a.Entries, func(e *Entry) bool {
			return (e.Kind == Oiled || e.Kind == Cleaned) && e.covers(u) && !a.dayOf(e.At).Before(since)
		})
		if !pt.Dry && oiled == nil {
			dry = append(dry, pt.called())
		}
	}
	for _, l := range a.Lines {
		switch {
		case l.Checked.IsZero():
			unseen = append(unseen, l.Line.name())
		case l.Checked.Before(since):
			old = append(old, l.Line.name()+", last on "+l.Checked.Words())
		}
	}
	say := func(yes bool, words string) {
		if yes {
			out = append(out, words)
		}
	}
	say(p.Looks == 0, "No inspection is logged in these days.")
	say(p.Errors == 0, "Nobody logged how far wrong its hands were.")
	say(len(never) > 0, "Never measured since they were fitted: "+fewNamed(never)+".")
	say(len(unread) > 0, "Not measured in these days: "+fewNamed(unread)+".")
	say(len(dry) > 0, "Not oiled in these days, by the log: "+fewNamed(dry)+".")
	say(len(unseen) > 0, "Never looked at, by the log: "+fewNamed(unseen)+".")
	say(len(old) > 0, "Not looked at in these days: "+fewNamed(old)+".")
	say(len(trainsUnknown(a)) > 0, "How long they ran is not known, for what is logged does not fit together: "+fewNamed(trainsUnknown(a))+".")
	return append(out, "Teeth, pallets, dials, hands and the building are not part of these figures.")
}

func lastOf[T any](all []T) T { return all[len(all)-1] }

// shortened cuts a text to so many letters.
func shortened(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return strings.TrimSpace(string(r[:most])) + " …"
	}
	return s
}
