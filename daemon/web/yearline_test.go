package web

import (
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// The lines of the clocks add up to the table, whoever reads them, and what needs
// a yes names the limits that nobody has confirmed.
func TestYearLines(t *testing.T) {
	d := cared()
	year := d.snap.YearAhead()
	lines, total := yearLines(d.snap, year)
	if len(lines) != len(d.snap.Clocks) {
		t.Errorf("%d lines for %d clocks", len(lines), len(d.snap.Clocks))
	}
	sum, hours := 0, 0.0
	for _, c := range year.Clocks {
		sum, hours = sum+c.Visits, hours+c.Hours
	}
	months := newMonthLine(year.Total)
	if total.Visits != months.Visits || total.Hours != months.Hours || total.Winds != months.Winds || total.WindHours != months.WindHours ||
		count(sum) != months.Visits || tenths(hours) != months.Hours {
		t.Errorf("the lines end in %+v, the table in %+v", total, months)
	}
	text := pageText(t, siteOf(t, d), "/outlook")
	for _, want := range []string{"To decide", "To do", "Tom Barleymow"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// A limit is called a starting value where its source does so, with who is to
// confirm it, and the size is called sure where it is.
func TestUnconfirmedLimits(t *testing.T) {
	f := newFixture().fleet
	at := func(mm float64, source, sure string) schedule.Outlook {
		return schedule.Outlook{Known: true, Confidence: sure, Limit: &wear.Limit{Size: wear.FromMM(mm), Source: source}}
	}
	start := "starting value, confirm; common practice, no source"
	for _, tt := range []struct {
		of   []schedule.Outlook
		want string
	}{
		{[]schedule.Outlook{at(.2, "conservator, survey of 2019", "firm: x")}, ""},
		{[]schedule.Outlook{{Confidence: "weak: never measured"}}, ""},
		{[]schedule.Outlook{at(.2, start, "firm: x")}, " The size is sure; the limit of 0.20 mm (7.9 thou) is a starting value: have Edda Quillfeather confirm it first."},
		{[]schedule.Outlook{at(.2, start, "weak: x")}, " The limit of 0.20 mm (7.9 thou) is a starting value: have Edda Quillfeather confirm it first."},
		{[]schedule.Outlook{at(.2, start, "firm: x"), at(.35, start, "firm: y")}, " The sizes are sure; the limits of 0.20 mm (7.9 thou) and 0.35 mm (13.8 thou) are starting values: have Edda Quillfeather confirm them first."},
	} {
		if got := unsure(f, f.Clocks[0], tt.of...); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}

// A range that tells no more is left out, and one is singular.
func TestWhatDoesNotInformIsLeftOut(t *testing.T) {
	for v, want := range map[[3]float64]string{{1, 1, 1}: "1", {0, .1, 0}: "", {0, .4, 1}: "0.4 (0 to 1)", {2, 2.6, 4}: "2.6 (2 to 4)", {0, .3, 0}: "0.3"} {
		if got := likely(v); got != want {
			t.Errorf("%v is %q, want %q", v, got, want)
		}
	}
	for v, want := range map[[3]float64]string{{1, 1, 1}: "1 bearing", {0, 1, 2}: "about 1 bearing", {1, 2.4, 4}: "about 2.4 bearings"} {
		if got := aboutBearings(v); got != want {
			t.Errorf("%v is %q, want %q", v, got, want)
		}
	}
}
