package daemon

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"endshake/schedule"
)

// compiled is a zone of the tz database as zic makes it from rules of a test.
func compiled(t *testing.T, rules, name string) *time.Location {
	t.Helper()
	zic, err := exec.LookPath("zic")
	if err != nil {
		if zic = "/usr/sbin/zic"; os.Getenv("ENDSHAKE_CI") == "" {
			if _, err := os.Stat(zic); err != nil {
				t.Skip("zic of the tz database is not here (Debian: libc-bin)")
			}
		}
	}
	dir := t.TempDir()
	from := filepath.Join(dir, "rules")
	if err := os.WriteFile(from, []byte(rules), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(zic, "-d", dir, from).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	z, err := time.LoadLocationFromTZData(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// The rules of a zone change after jobs have been done by the old ones, and the service
// is started again with the new: each date has its job once, at the same time on the
// wall, and at another instant from then on.
func TestRulesOfAZoneChange(t *testing.T) {
	const name = "Test/Town"
	before := compiled(t, "Rule T 2020 max - Mar lastSun 1:00u 1:00 S\nRule T 2020 max - Oct lastSun 1:00u 0 -\nZone Test/Town 0:00 T T%sT\n", name)
	after := compiled(t, "Rule T 2020 max - Mar lastSun 1:00u 1:00 S\nRule T 2020 2026 - Oct lastSun 1:00u 0 -\nZone Test/Town 0:00 T T%sT\n", name) // from 2027 on, summer time stays
	for _, at := range [][2]int{{1, 30}, {3, 40}, {0, 0}, {23, 45}} {
		j := Job{Name: "test", Hour: at[0], Minute: at[1]}
		last := schedule.Date{Year: 2027, Month: time.October, Day: 24}
		start, change := last.Add(1).At(0, 0, before), schedule.Date{Year: 2027, Month: time.November, Day: 3}.At(12, 0, before)
		ran := map[schedule.Date]time.Time{}
		for now := start; now.Before(start.Add(20 * 24 * time.Hour)); now = now.Add(time.Minute) {
			zone := before
			if !now.Before(change) {
				zone = after
			}
			for _, d := range j.Occurrences(last, now, zone) {
				if _, twice := ran[d]; twice {
					t.Errorf("%s is run twice", d)
				}
				ran[d], last = now, d
			}
		}
		for d := (schedule.Date{Year: 2027, Month: time.October, Day: 25}); d.Before(schedule.Date{Year: 2027, Month: time.November, Day: 13}); d = d.Add(1) {
			zone := before
			if d.At(12, 0, before).After(change) {
				zone = after
			}
			if got, want := ran[d], d.At(j.Hour, j.Minute, zone); !got.Equal(want) && d != schedule.DateOf(change, before) {
				t.Errorf("%02d:%02d of %s is run at %v, want %v", j.Hour, j.Minute, d, got, want)
			}
		}
		d := schedule.Date{Year: 2027, Month: time.November, Day: 10}
		if x, y := d.At(j.Hour, j.Minute, before), d.At(j.Hour, j.Minute, after); x.Sub(y) != time.Hour {
			t.Errorf("the rules did not change: %v and %v", x, y)
		}
	}
}
