package daemon

import (
	"testing"
	"time"

	"endshake/schedule"
)

// changeZones have changes of clocks of an hour and of half an hour, at midnight,
// at one, two and three, in both halves of the world, with the year in which they
// have them by the tz database.
var changeZones = []struct {
	zone string
	year int
}{
	{"Europe/London", 2026}, {"Europe/Berlin", 2026}, {"America/New_York", 2026}, {"America/Havana", 2026},
	{"America/St_Johns", 2026}, {"Africa/Cairo", 2026}, {"Asia/Beirut", 2026}, {"Asia/Tehran", 2021},
	{"America/Sao_Paulo", 2018}, {"Australia/Lord_Howe", 2026}, {"Australia/Sydney", 2026}, {"Pacific/Auckland", 2026},
}

// A job at each quarter of an hour of the day, over each change of clocks: once on
// each date, not before its time of day, and within minutes of it, or of the end
// of the gap in which it would lie.
func TestEveryQuarterAcrossEveryChange(t *testing.T) {
	const pace = 4 * time.Minute
	changes, runs := 0, 0
	for _, tt := range changeZones {
		z := zone(t, tt.zone)
		for _, change := range changesOf(z, tt.year) {
			changes++
			first := schedule.DateOf(change, z).Add(-2)
			for quarter := range 24 * 4 {
				j := Job{Name: "test", Hour: quarter / 4, Minute: quarter % 4 * 15}
				last := first.Add(-1)
				for now := first.Add(-1).At(23, 58, z); now.Before(first.Add(5).At(0, 0, z)); now = now.Add(pace) {
					for _, d := range j.Occurrences(last, now, z) {
						if d != last.Add(1) {
							t.Fatalf("%s %02d:%02d: %v follows %v", tt.zone, j.Hour, j.Minute, d, last)
						}
						last = d
						runs++
						wall := now.In(z)
						late := time.Duration(wall.Hour()*60+wall.Minute()-quarter*15) * time.Minute
						if schedule.DateOf(now, z) != d || late < 0 || late > pace+time.Hour {
							t.Errorf("%s %02d:%02d of %v is run at %v", tt.zone, j.Hour, j.Minute, d, wall)
						}
						if _, before := now.Add(-3 * time.Hour).In(z).Zone(); late > pace && before == offset(now, z) {
							t.Errorf("%s %02d:%02d of %v is late where no clock changed: %v", tt.zone, j.Hour, j.Minute, d, wall)
						}
					}
				}
				if last != first.Add(4) {
					t.Errorf("%s %02d:%02d: the last run over the change of %v is of %v", tt.zone, j.Hour, j.Minute, change, last)
				}
			}
		}
	}
	if want := 2 * len(changeZones); changes != want || runs != want*24*4*5 {
		t.Errorf("%d changes and %d runs, want %d and %d", changes, runs, want, want*24*4*5)
	}
	t.Logf("%d changes of clocks, %d times of day, %d runs", changes, 24*4, runs)
}

func offset(at time.Time, z *time.Location) int {
	_, o := at.In(z).Zone()
	return o
}

// changesOf are the instants of a year at which the clocks of a zone change.
func changesOf(z *time.Location, year int) (out []time.Time) {
	for at := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC); at.Year() == year; at = at.Add(30 * time.Minute) {
		if offset(at, z) != offset(at.Add(-30*time.Minute), z) {
			out = append(out, at)
		}
	}
	return out
}

// A date that a zone leaves out altogether has its run when the next begins: each
// of the others has its own (Samoa had no 30 December 2011, by the tz database).
func TestADateThatIsLeftOut(t *testing.T) {
	z := zone(t, "Pacific/Apia")
	j := Job{Name: "test", Hour: 3, Minute: 40}
	last := schedule.Date{Year: 2011, Month: time.December, Day: 27}
	var woke []schedule.Date // dates on which there was something to run
	for now, end := last.Add(1).At(0, 0, z), last.Add(7).At(0, 0, z); now.Before(end); now = now.Add(time.Minute) {
		if owed := j.Occurrences(last, now, z); len(owed) > 0 {
			last = owed[len(owed)-1]
			woke = append(woke, schedule.DateOf(now, z))
		}
	}
	if want := []int{28, 29, 31, 1, 2}; len(woke) != len(want) {
		t.Fatalf("ran on %v, want once on each real date, %v", woke, want)
	} else {
		for i, d := range want {
			if woke[i].Day != d {
				t.Errorf("ran on %v, want on the days %v", woke, want)
			}
		}
	}
}
