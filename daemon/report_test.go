package daemon

import (
	"math"
	"regexp"
	"slices"
	"testing"
	"time"

	"endshake/daemon/chart"
	"endshake/daemon/demo"
	"endshake/daemon/paper"
	"endshake/schedule"
	"endshake/wear"
)

// Every forecast in the reports on the invented fleet stands beside how sure it is and
// the day and the size of the last reading, and one with a date has a range of two months.
func TestForecastsSayHowSureAndSinceWhen(t *testing.T) {
	today := schedule.Date{Year: 2026, Month: 11, Day: 26}
	f, log := demo.Fleet(today, 1)
	s := schedule.Survey(f, log, schedule.Model{}, today.At(12, 0, time.UTC))
	var all []schedule.Report
	take := func(r schedule.Report, err error) {
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
	}
	take(s.FleetReport(schedule.ReportOptions{}))
	for _, owner := range s.Owners() {
		take(s.OwnerReport(owner, schedule.ReportOptions{}))
	}
	for _, c := range f.Clocks {
		take(s.ClockReport(c.Slug, schedule.ReportOptions{}))
	}
	day, span := regexp.MustCompile(`^\d{1,2} [A-Z][a-z]{2} \d{4}: \d+\.\d\d mm \(`), regexp.MustCompile(`^[A-Z][a-z]+ \d{4} to [A-Z][a-z]+ \d{4}; the middle is [A-Z][a-z]+ \d{4}$`)
	dated := 0
	for _, r := range all {
		if r.Data != today {
			t.Errorf("%s: data of %v", r.Title, r.Data)
		}
		for _, part := range r.Sections {
			for _, table := range part.Tables {
				sure := slices.Index(table.Head, "How sure")
				read, when := slices.Index(table.Head, "Last read"), slices.Index(table.Head, "Comes to its limit")
				if when < 0 {
					continue
				}
				for _, row := range table.Rows {
					a, _ := s.Clock(row.Clock)
					o, ok := a.Outlook(row.Bearing)
					if !ok || row.Cells[sure] == "" || row.Cells[read] != "never" && !day.MatchString(row.Cells[read]) {
						t.Errorf("%s: %q", r.Title, row.Cells)
					}
					if o.Dated && !o.Over {
						dated++
						if !span.MatchString(row.Cells[when]) {
							t.Errorf("%s: %q has no range", r.Title, row.Cells[when])
						}
					}
				}
			}
		}
	}
	if dated < 20 {
		t.Errorf("only %d forecasts with a date were looked at", dated)
	}
	if out, err := paper.PDF(all[0], wear.MM, paper.A4, paper.Drawn(s, chart.Wide)); err != nil || len(out) < 20000 {
		t.Errorf("%d bytes, %v", len(out), err)
	}
}

// What the outlook says of the twelve months to come is what the report says of its
// first year and of what stands over, on the invented fleet: the same visits, hours,
// lines and bearings.
func TestReportAgreesWithTheOutlook(t *testing.T) {
	today := schedule.Date{Year: 2026, Month: 11, Day: 26}
	f, log := demo.Fleet(today, 1)
	s := schedule.Survey(f, log, schedule.Model{}, today.At(12, 0, time.UTC))
	year, years := s.YearAhead(), s.YearsAhead(5)
	first := years.Months[0]
	if year.Total.Hours < 50 || year.Total.Visits < 20 {
		t.Fatalf("too little to compare: %+v", year.Total)
	}
	if got := years.Standing.Visits + first.Visits; got != year.Total.Visits {
		t.Errorf("%d visits, the outlook has %d", got, year.Total.Visits)
	}
	if got := years.Standing.Hours + first.Hours; math.Abs(got-year.Total.Hours) > 1e-6 || math.Abs(years.Standing.Hours-year.Standing.Hours) > 1e-6 {
		t.Errorf("%v hours, the outlook has %v", got, year.Total.Hours)
	}
	if got := len(years.Standing.Parts) + len(first.Parts); got != len(year.Total.Parts) {
		t.Errorf("%d lines, the outlook has %v", got, year.Total.Parts)
	}
	if got := years.Standing.Works[1] + first.Works[1]; math.Abs(got-year.Total.Works[1]) > .02 { // each is rounded to a hundredth
		t.Errorf("%v bearings, the outlook has %v", got, year.Total.Works[1])
	}
	sum := 0.0
	for _, c := range years.Clocks {
		sum += c.Hours
	}
	if math.Abs(sum-years.Total.Hours) > 1e-6 {
		t.Errorf("the clocks have %v hours, all of them %v", sum, years.Total.Hours)
	}
}
