package schedule

import (
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// After a power cut what by the log has stopped and what nobody knows of are told
// apart: a clock that winds itself has stopped where the cut outlasted it (the cut
// of 24 hours, and six that it goes on for), and is not known where how long it
// goes on, or when the cut ended, is not known.
func TestStanceAfterAPowerCut(t *testing.T) {
	from, six := "2026-01-10 12:00", 6*time.Hour
	short, long, open := cut(from, "2026-01-10 15:00"), cut(from, "2026-01-11 12:00"), cut(from, "")
	for _, tt := range []struct {
		name    string
		drive   wear.Drive
		reserve time.Duration
		log     []Entry
		want    Stance
		status  string
	}{
		{"no cut", wear.AutoWound, six, nil, Goes, "Going. "},
		{"shorter than it goes on", wear.AutoWound, six, []Entry{did(Noted, "2026-01-12", short)}, Goes, "Going. "},
		{"longer", wear.AutoWound, six, []Entry{did(Noted, "2026-01-12", long)}, RunOut, "By its log it stopped in the power cut that began on 10 Jan 2026, 12:00, and nobody has logged a look since. "},
		{"longer, and seen going since", wear.AutoWound, six, []Entry{did(Noted, "2026-01-12", long), did(Inspected, "2026-01-13")}, Goes, "Going. "},
		{"longer, and found stopped", wear.AutoWound, six, []Entry{did(Noted, "2026-01-12", long), did(Stopped, "2026-01-13", by(Fault))}, Stands, "Stopped since 13 Jan 2026 (fault). "},
		{"it stood before", wear.AutoWound, six, []Entry{did(Stopped, "2026-01-05", by(Fault)), did(Noted, "2026-01-12", long)}, Stands, "Stopped since 5 Jan 2026 (fault). "},
		{"nobody knows how long it goes on", wear.AutoWound, 0, []Entry{did(Noted, "2026-01-12", short)}, Unknown, "Whether it goes is not known: the mains were cut on 10 Jan 2026, 12:00, and nobody has logged a look since. "},
		{"nobody knows when it ended", wear.AutoWound, six, []Entry{did(Noted, "2026-01-10 14:00", open)}, Unknown, "Whether it goes is not known: "},
		{"an electric one starts with the mains, and nobody has looked", wear.Electric, 0, []Entry{did(Noted, "2026-01-12", long)}, Unknown, "Whether it goes is not known: "},
		{"a hand-wound one does not mind", wear.HandWound, 0, []Entry{did(Noted, "2026-01-12", long)}, Goes, "Going. "},
		{"it rests", wear.Electric, 0, []Entry{did(Noted, "2026-01-12", long), did(Stopped, "2026-01-10 08:00", by(Rest))}, Rests, "Resting, "},
	} {
		a := assess(drivenBy(tt.drive, tt.reserve), book(tt.log...), "2026-02-01")
		if got := a.Stance(); got != tt.want || !strings.HasPrefix(a.Status, tt.status) {
			t.Errorf("%s: %q, %q; want %q, %q", tt.name, got, a.Status, tt.want, tt.status)
		}
		i := slices.IndexFunc(a.Tasks, func(x Task) bool { return x.Kind == PowerCheck })
		if tt.want == RunOut && a.Tasks[i].Unsure || tt.want == Unknown && !a.Tasks[i].Unsure {
			t.Errorf("%s: its look says unsure: %v", tt.name, a.Tasks[i].Unsure)
		}
	}
	// A strike that a cut stopped does not stop the hands.
	c := drivenBy(wear.HandWound, 0)
	strike := pump().Trains[1]
	strike.Drive, strike.Arbors = wear.AutoWound, nil
	c.Trains = append(c.Trains, strike)
	if got := assess(c, book(did(Noted, "2026-01-12", long, of("strike"))), "2026-02-01").Stance(); got != Goes {
		t.Errorf("a strike after a cut: %q", got)
	}
}

// Every made clock is in one stance, so that counts of them add up to the fleet.
func TestStancesAddUp(t *testing.T) {
	seen := map[Stance]int{}
	for seed := range uint64(60) {
		c, log := made(seed)
		a := Assess(Facts{Clock: c, Site: fleetOf("UTC").Sites[0], Entries: log}, utc("2026-03-01").Add(time.Duration(seed)*time.Hour))
		if !slices.Contains(Stances, a.Stance()) {
			t.Errorf("seed %d: %q", seed, a.Stance())
		}
		seen[a.Stance()]++
	}
	if len(seen) < 2 {
		t.Errorf("all are %v", seen)
	}
}
