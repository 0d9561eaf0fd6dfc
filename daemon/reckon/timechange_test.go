package reckon

import (
	"math"
	"strings"
	"testing"

	"endshake/schedule"
)

// Changes by law: Europe's clocks change on the last Sundays of March and October
// at 01:00 UTC (Directive 2000/84/EC; Summer Time Order 2002), those of the
// United States on the second Sunday of March and the first of November at 02:00
// (Energy Policy Act of 2005); Lord Howe Island's by half an hour; India's never.
func TestTimeChange(t *testing.T) {
	for _, c := range []struct {
		args         string
		in           float64 // days by the calendar from the day asked from
		by           float64 // minutes
		says, strike string
	}{
		{"--zone Europe/London --from 2026-11-25", 123, 60, "Sunday 28 Mar 2027", "from 01:00 to 02:00"},
		{"--zone Europe/London --from 2027-03-29", 216, -60, "Sunday 31 Oct 2027", "from 02:00 to 01:00"},
		{"--zone America/New_York --from 2026-03-01", 7, 60, "Sunday 8 Mar 2026", "from 02:00 to 03:00"},
		{"--zone America/New_York --from 2026-10-25", 7, -60, "Sunday 1 Nov 2026", "from 02:00 to 01:00"},
		{"--zone Australia/Lord_Howe --from 2026-09-30", 4, 30, "Sunday 4 Oct 2026", "from 02:00 to 02:30"},
		// Egypt's end with the last Thursday of October, when Friday begins (Law 24 of
		// 2023), and put the hands back into it; they begin with the last Friday of April.
		{"--zone Africa/Cairo --from 2026-10-29", 1, -60, "Friday 30 Oct 2026, 1 day on", "from 00:00 to 23:00 of the day before"},
		{"--zone Africa/Cairo --from 2027-04-29", 1, 60, "Friday 30 Apr 2027, 1 day on", "from 00:00 to 01:00"},
		{"--zone Europe/London --from 2027-03-28", 0, 60, "Sunday 28 Mar 2027, the same day", ""},
		{"--zone Europe/London", 123, 60, "Sunday 28 Mar 2027", ""}, // from today
	} {
		a := run(t, "timechange", c.args)
		checkAnswer(t, c.args, a)
		if in, by := figure(t, a, "in"), figure(t, a, "by"); math.Abs(in-c.in) > 1e-6 || by != c.by {
			t.Errorf("%s: in %.4f days by %g min, want %.4f by %g", c.args, in, by, c.in, c.by)
		}
		if text := a.Text(); !strings.Contains(text, c.says) || !strings.Contains(text, c.strike) {
			t.Errorf("%s: want %q and %q in:\n%s", c.args, c.says, c.strike, text)
		}
	}
	// Put on 11 hours from just after 2: 3 to 12 and 1, 76 blows, near half a day.
	a := run(t, "timechange", "--zone Europe/London --from 2027-03-29")
	if n, days := figure(t, a, "blows"), figure(t, a, "blows-days"); n != 76 || math.Abs(days-76./156) > 1e-12 {
		t.Errorf("%g blows, %g days; want 76, 76/156", n, days)
	}
	if a := run(t, "timechange", "--zone Europe/London --from 2027-03-29 --half 1"); figure(t, a, "blows") != 76+11 {
		t.Errorf("with half-hours %g blows, want 87", figure(t, a, "blows"))
	}
	a = run(t, "timechange", "--zone Asia/Kolkata")
	if figure(t, a, "changes") != 0 || !strings.Contains(a.Text(), "do not change within two years of 25 Nov 2026") {
		t.Errorf("India's clocks: %s", a.Text())
	}
	if _, faults := timeChange.Reckon(map[string]string{"zone": "Europe/London"}, schedule.Date{}); len(faults) != 1 || faults[0].Input != "from" {
		t.Errorf("no day at all: %v", faults)
	}
}
