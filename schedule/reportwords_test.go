package schedule

import (
	"strings"
	"testing"
)

// reportLine is a report on one line.
func reportLine(t *testing.T, r Report, err error) string {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(strings.Fields(r.Text()), " ")
}

// A last reading past its limit that the others speak against keeps its clock in the
// order, with the day by which it is to be read again, and out of those of which
// nothing is foreseen.
func TestReadingPastALimitIsNotLost(t *testing.T) {
	f, _ := reported()
	log := map[string][]Entry{"pump-room": book(read(2016, 0.10, 0.10, 0.11, 0.11, 0.12, 0.12, 0.12, 0.13, 0.13, 0.55)...)}
	s := Survey(f, log, Model{}, utc("2025-03-03 12:00"))
	o, ok := s.Clocks[0].Outlook("c-f")
	for _, x := range s.Clocks[0].Outlooks {
		if x.readAbove() {
			o, ok = x, true
		}
	}
	if !ok || o.Over || !o.readAbove() {
		t.Fatalf("it is over, or not above: the test is of the other case: %v %v", o.Over, o.Sentence)
	}
	r, err := s.FleetReport(ReportOptions{})
	text := reportLine(t, r, err)
	for _, want := range []string{"last reading 0.55 mm (21.7 thou) is past the", "not yet confirmed: read it again", "Pump Room comes first: the last reading of the"} {
		if !strings.Contains(text, strings.Fields(want)[0]) || !strings.Contains(strings.Join(tableCells(r), " | ")+r.Lede, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	if i := strings.Index(text, "Nothing beyond the usual care is foreseen"); i >= 0 && strings.Contains(text[i:], "for Pump Room") {
		t.Errorf("nothing is foreseen for it: %s", text[i:])
	}
}

// tableCells are all cells of a report.
func tableCells(r Report) []string {
	var out []string
	for _, s := range r.Sections {
		for _, t := range s.Tables {
			for _, row := range t.Rows {
				out = append(out, row.Cells...)
			}
		}
	}
	return out
}

// Work without a rate is not reckoned: no sum of nothing is printed, and the report
// says what it leaves out.
func TestNoSumsOfNothing(t *testing.T) {
	s := reportedSnapshot()
	r, err := s.FleetReport(ReportOptions{Sums: Sums{Bearing: 400, Currency: "EUR", Source: "an offer"}})
	text := reportLine(t, r, err)
	if strings.Contains(text, " 0 EUR") || !strings.Contains(text, notReckoned) || !strings.Contains(text, "no rate for an hour is given") || !strings.Contains(text, "the work on bearings comes to 400 EUR") {
		t.Error(text)
	}
	if got := (Sums{Bearing: 400, Currency: "EUR"}).workWords(MonthWork{Hours: 3}); got != notReckoned {
		t.Error(got)
	}
}

// A line found broken is told once, as one to be renewed now, and never for its age.
func TestBrokenLineIsToldOnce(t *testing.T) {
	f, log := reported()
	c := &f.Clocks[0]
	c.Care.Lines = []Line{{Code: "gl", Name: "going line", Train: "going", OuterWires: 36, MostYears: 12, Source: "x", FittedAt: d("2019-01-01")}}
	log["pump-room"] = append(log["pump-room"], doneAt(Inspected, utc("2026-03-01"), func(e *Entry) {
		e.Clock, e.ID, e.Line, e.Found, e.Check = "pump-room", "broken", "gl", Act, &LineCheck{Strand: true}
	}))
	s := Survey(f, log, Model{}, utc("2026-03-03 12:00"))
	r, err := s.FleetReport(ReportOptions{})
	text := reportLine(t, r, err)
	if want := "Pump Room needs money first: new going line: broken strand found on 1 Mar 2026, locked, do not run"; !strings.HasPrefix(r.Lede, want) {
		t.Errorf("%q", r.Lede)
	}
	cells := strings.Join(tableCells(r), " | ")
	if strings.Contains(cells, "for its age") || strings.Count(cells, "New going line: broken strand found on 1 Mar 2026, locked, do not run | Now | 5") != 1 {
		t.Error(cells)
	}
	if !strings.Contains(text, "for 1 new line") || len(s.YearAhead().Standing.Parts) != 1 || len(s.YearsAhead(5).Total.Parts) != 1 {
		t.Errorf("it is not counted once, now: %v", s.YearsAhead(5).Total.Parts)
	}
	r, err = s.ClockReport("pump-room", ReportOptions{})
	for _, section := range r.Sections {
		for _, table := range section.Tables {
			for _, row := range table.Rows {
				if strings.Contains(section.Head, "recommended") && strings.Contains(strings.Join(row.Cells, " "), ".com") {
					t.Errorf("an address stands in a sentence: %q", row.Cells)
				}
			}
		}
	}
	reportLine(t, r, err)
	if words, from := withoutAddresses("Stop it (turretclocks.com, owner's advice, p. 3): 0.35 mm (13.8 thou)."); words != "Stop it: 0.35 mm (13.8 thou)." || len(from) != 1 || from[0] != "turretclocks.com, owner's advice, p. 3" {
		t.Errorf("%q, %q", words, from)
	}
}

// Of a clock whose logged wind is used up it is not known how it went since: those days
// are neither days on which it went nor days on which it stood.
func TestDaysNotKnown(t *testing.T) {
	a := assess(pump(), book(did(Wound, "2026-02-01 09:00")), "2026-02-28 09:00")
	p := PastOf(a, d("2026-02-01"), d("2026-02-28"))
	if !a.ProbablyStopped() || p.Unsure < 10 || p.Going+p.Unsure != 28 || p.Lapsed != a.dayOf(a.Trains[0].Wind.Stops) {
		t.Fatalf("%+v", p)
	}
	if words := p.GoingWords(a.Zone); !strings.Contains(words, "it is not known, for it may have stopped about") || strings.Contains(words, "on 28 of 28") {
		t.Error(words)
	}
	if words := p.WindingWords(); strings.Contains(words, "never found") || mainWords(&a) != "May have stopped" || !strings.Contains(p.daysWords(), "not known") {
		t.Error(words, mainWords(&a), p.daysWords())
	}
	if words := (Past{Days: 3, Hand: true}).WindingWords(); strings.Contains(words, "never") {
		t.Error(words)
	}
	if words := oilStands(OilState{}); strings.Contains(words, "%") || !strings.Contains(words, "not known") {
		t.Error(words)
	}
}

// What wants nothing within a year is not called wanting money first.
func TestNothingWithinAYear(t *testing.T) {
	f, _ := reported()
	f.Clocks[0].Care.Lines = []Line{{Code: "gl", Name: "going line", Train: "going", MostYears: 12, Source: "x", FittedAt: d("2018-01-01")}}
	s := Survey(f, nil, Model{}, utc("2026-03-03 12:00"))
	r, err := s.FleetReport(ReportOptions{})
	reportLine(t, r, err)
	if want := "No clock needs money within a year, as far as is known; Pump Room comes first, in 2030, because the going line is to be replaced by 1 Jan 2030 for its age."; r.Lede != want {
		t.Errorf("%q", r.Lede)
	}
	r, err = s.ClockReport("pump-room", ReportOptions{})
	reportLine(t, r, err)
	if !strings.Contains(r.Lede, "needs no money within a year") {
		t.Errorf("%q", r.Lede)
	}
}

// Ranges hold their own figure, quarters of an hour stand as they are, and a
// reason reads on within its sentence.
func TestFiguresOfReports(t *testing.T) {
	for works, want := range map[[3]float64]string{{0, .1, 0}: "0.1 (0 to 1)", {1, 1, 1}: "1", {1, 1.1, 1}: "1.1 (1 to 2)", {3, 4.7, 7}: "4.7 (3 to 7)", {0, .01, 0}: "–"} {
		if got := worksWords(works, 1); got != want {
			t.Errorf("%v: %q, want %q", works, got, want)
		}
	}
	if got := worksWords([3]float64{0, .1, 0}, 8); got != "0.8 (0 to 8)" {
		t.Error(got)
	}
	for h, want := range map[float64]string{.25: "0.25", .75: "0.75", 1.5: "1.5", 2: "2", 1. / 3: "0.3", 20.6: "21", 0: "–"} {
		if got := hoursWords(h); got != want {
			t.Errorf("%v: %q, want %q", h, got, want)
		}
	}
	for why, want := range map[string]string{"It slips.": ", because it slips", "York says so": ", because York says so", "": ""} {
		if got := becauseOf(why); got != want {
			t.Errorf("%q: %q", why, got)
		}
	}
	if _, _, err := (ReportOptions{From: d("2027-01-01")}).period(d("2026-11-26")); err == nil || !strings.Contains(err.Error(), "begins on 1 Jan 2027, after today") {
		t.Error(err)
	}
	if err := (Sums{Hour: 1, Currency: "EUR"}).Check(); err == nil || !strings.Contains(err.Error(), "say where it comes from") {
		t.Error(err)
	}
}

// A figure is not parted from its unit at the end of a line, where a line holds both.
func TestUnitsStayWithTheirFigures(t *testing.T) {
	text := "8 of 18 within 30 s; at 0.40 to 0.45 mm (15.7 to 17.7 thou), 72 % of it in 12 min 33 s."
	for width := 11; width < 60; width++ {
		lines := folded(text, width)
		for _, line := range lines {
			if first := strings.TrimRight(strings.Fields(line)[0], ".,;:)"); besideFigures[first] {
				t.Errorf("at %d: %q", width, lines)
			}
		}
		if strings.Join(lines, " ") != text {
			t.Errorf("at %d words are lost: %q", width, lines)
		}
	}
	if lines := folded("30 s", 2); strings.Join(lines, "|") != "30|s" {
		t.Errorf("%q", lines)
	}
}
