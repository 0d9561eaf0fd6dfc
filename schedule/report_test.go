package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// reported is a small fleet: a pump whose bush is past its limit, owned by dov, and a
// mill that nobody measured, owned by ann.
func reported() (Fleet, map[string][]Entry) {
	c := pump()
	c.Policies = []Policy{{Task: Oiling, Days: 180, Lead: 20, Grace: 20, Source: "x", Minutes: 90}, {Task: Winding, Days: 7, Source: "x", Minutes: 12}}
	c.Care.Points = []OilPoint{{Code: "p1", Name: "front plate", Train: "going"}, {Code: "p2", Name: "fly", Train: "strike"}}
	c.Care.Tolerance = &Tolerance{Seconds: 60, Source: "x"}
	mill := alone()
	mill.Slug, mill.Name, mill.Policies = "mill", "Mill", nil
	mill.Duties = []Duty{{"cleo", Conservator}, {"ann", Owner}}
	off := func(s float64) change { return func(e *Entry) { e.ErrorFound = &s } }
	log := append(read(2022, 0.30, 0.60, 0.90, 1.10), did(Oiled, "2025-12-01", func(e *Entry) { e.By, e.Points = "ann", []string{"p1"} }),
		did(Wound, "2025-11-02 09:00"), did(Wound, "2026-02-20 09:00"), did(Wound, "2026-02-27 09:00"), did(Stopped, "2026-02-10 12:00", by(Birds), since("2026-02-10 09:00")), did(Started, "2026-02-12 12:00"),
		did(Inspected, "2026-01-05", found(Act), note("hammer loose\u202e"), off(75)), did(Set, "2026-01-20", off(-20)))
	slices.SortStableFunc(log, func(x, y Entry) int { return x.At.Compare(y.At) })
	return fleetOf("UTC", c, mill), map[string][]Entry{c.Slug: book(log...)}
}

var rates = Sums{Hour: 40, Bearing: 500, Currency: "EUR", Source: "an offer of 3 March 2026"}

func reportedSnapshot() *Snapshot {
	f, log := reported()
	return Survey(f, log, Model{}, utc("2026-03-03 12:00"))
}

// The words of a report over a small fleet: written anew with -update, and looked at.
func TestReportWords(t *testing.T) {
	s := reportedSnapshot()
	var out strings.Builder
	for _, opt := range []ReportOptions{{Sums: rates}, {From: d("2026-01-01"), To: d("2026-01-31")}} {
		for _, make := range []func() (Report, error){
			func() (Report, error) { return s.FleetReport(opt) },
			func() (Report, error) { return s.OwnerReport("dov", opt) },
			func() (Report, error) { return s.ClockReport("pump-room", opt) },
			func() (Report, error) { return s.ClockReport("mill", opt) },
		} {
			r, err := make()
			if err != nil {
				t.Fatal(err)
			}
			out.WriteString(r.Text() + strings.Repeat("=", paperWidth) + "\n")
		}
	}
	golden(t, "report.txt", []byte(out.String()))
}

// A report opens with one sentence that names the clock that needs money first, and why.
func TestWhichClockNeedsMoneyFirst(t *testing.T) {
	s := reportedSnapshot()
	r, err := s.FleetReport(ReportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(r.Lede, "Pump Room needs money first: ") || strings.Count(strings.ReplaceAll(r.Lede, "0.", ""), ". ") != 0 || !strings.HasSuffix(r.Lede, ".") || !strings.Contains(r.Lede, "past its limit") {
		t.Errorf("%q", r.Lede)
	}
	// What is dangerous comes before what is past its limit, whatever the clock.
	f, log := reported()
	log["mill"] = book(doneAt(Noted, utc("2026-02-01"), func(e *Entry) { e.Clock, e.Lock, e.Note = "mill", DoNotRun, "rope frayed" }))
	r, err = Survey(f, log, Model{}, utc("2026-03-03 12:00")).FleetReport(ReportOptions{})
	if err != nil || !strings.HasPrefix(r.Lede, "Mill needs money first: it is locked, do not run: rope frayed") {
		t.Errorf("%v, %q", err, r.Lede)
	}
	// Where nobody measured anything, silence is not taken for sound.
	r, err = Survey(fleetOf("UTC", alone()), nil, Model{}, utc("2026-03-03 12:00")).FleetReport(ReportOptions{})
	if err != nil || !strings.Contains(r.Lede, "no bearing was measured yet") {
		t.Errorf("%v, %q", err, r.Lede)
	}
}

// An owner's report holds their own clocks and names no other.
func TestOwnersSeeTheirOwn(t *testing.T) {
	s := reportedSnapshot()
	for owner, other := range map[string]string{"dov": "Mill", "ann": "Pump Room"} {
		r, err := s.OwnerReport(owner, ReportOptions{Sums: rates})
		if err != nil || strings.Contains(r.Text(), other) || r.Of != "1 clock" {
			t.Errorf("%s: %v, %q stands in it, or %q", owner, err, other, r.Of)
		}
	}
	if _, err := s.OwnerReport("cleo", ReportOptions{}); CodeOf(err) != NotFound {
		t.Errorf("cleo owns nothing: %v", err)
	}
	if got := s.Owners(); !slices.Equal(got, []string{"ann", "dov"}) {
		t.Errorf("owners %v", got)
	}
}

// The figures of a report are those counted from the log by hand.
func TestReportFigures(t *testing.T) {
	s := reportedSnapshot()
	r, _ := s.ClockReport("pump-room", ReportOptions{})
	text := strings.Join(strings.Fields(r.Text()), " ")
	for _, want := range []string{
		"Winding: logged 3 times", "looked at 2 times, at worst 75 s fast; within the 60 s it is held to 1 of 2 times",
		"stood 10 Feb 2026 to 12 Feb 2026 (birds)", "on 362 of 365 days", // it stood on three days
		"hammer loose", "Not oiled in these days, by the log: fly.", "Never measured since they were fitted: second arbor",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
	_, after, _ := strings.Cut(text, "WHAT WAS NOT CHECKED")
	if strings.ContainsRune(r.Text(), '\u202e') || strings.Contains(after, "front plate") {
		t.Error("it shows what turns its words round, or calls what was oiled not oiled")
	}
}

// The years ahead add up to what is asked of all of them, and the first is the year
// ahead; planning sums are hours and bearings by their rates.
func TestYearsAhead(t *testing.T) {
	s := reportedSnapshot()
	y := s.YearsAhead(5)
	visits, hours, works := y.Standing.Visits, y.Standing.Hours, y.Standing.Works[1]
	for i, m := range y.Months {
		visits, hours, works = visits+m.Visits, hours+m.Hours, works+m.Works[1]
		if want := (Date{2026 + i, 3, 3}); m.Month != want {
			t.Errorf("year %d begins on %v", i, m.Month)
		}
	}
	if len(y.Months) != 5 || visits != y.Total.Visits || math.Abs(hours-y.Total.Hours) > 1e-9 || math.Abs(works-y.Total.Works[1]) > .05 || y.Until != d("2031-03-03") {
		t.Errorf("%d visits of %d, %v hours of %v, %v bearings of %v", visits, y.Total.Visits, hours, y.Total.Hours, works, y.Total.Works)
	}
	one, year := s.YearsAhead(1), s.YearAhead()
	if one.Total.Visits != year.Total.Visits || one.Total.Hours != year.Total.Hours || one.Total.Works != year.Total.Works {
		t.Errorf("one year is %+v, the year ahead %+v", one.Total, year.Total)
	}
	low, mean, high := rates.ofWork(y.Total)
	if math.Abs(mean-(40*y.Total.Hours+500*y.Total.Works[1])) > 1e-6 || low > mean || high < mean-500 {
		t.Errorf("%v to %v to %v", low, mean, high)
	}
	r, _ := s.FleetReport(ReportOptions{Sums: rates})
	if want := fmt.Sprintf("%s for", Thousands(mean)); !strings.Contains(r.Text(), Thousands(mean)) {
		t.Errorf("no %q in it", want)
	}
	r, _ = s.FleetReport(ReportOptions{})
	if strings.Contains(r.Text(), "EUR") || !strings.Contains(r.Text(), "no sums of money") {
		t.Error("money is made up where no rate was given")
	}
}

// Periods and rates that cannot be are refused with a sentence.
func TestReportRefuses(t *testing.T) {
	s := reportedSnapshot()
	for want, o := range map[string]ReportOptions{"ahead of the data": {To: d("2026-03-04")}, "turn them round": {From: d("2026-03-02"), To: d("2026-03-01")}} {
		if _, err := s.FleetReport(o); CodeOf(err) != Invalid || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	if _, err := s.ClockReport("nowhere", ReportOptions{}); CodeOf(err) != NotFound {
		t.Error(err)
	}
	for _, x := range []Sums{{Hour: -1}, {Hour: math.NaN()}, {Bearing: math.Inf(1)}, {Hour: 1}, {Hour: 1, Currency: "EUR"}, {Hour: 1, Currency: strings.Repeat("x", 201), Source: "x"}} {
		if x.Check() == nil {
			t.Errorf("%+v is taken", x)
		}
	}
	if err := (Sums{}).Check(); err != nil || rates.Check() != nil {
		t.Error(err, rates.Check())
	}
}
