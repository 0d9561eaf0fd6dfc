package schedule

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func ids(log []Entry) string {
	var out []string
	for _, e := range log {
		out = append(out, e.ID)
	}
	return strings.Join(out, " ")
}

func TestEffective(t *testing.T) {
	entry := func(id, when, replaces string) Entry {
		return did(Oiled, when, called(id), func(e *Entry) { e.Replaces = replaces })
	}
	for _, tt := range []struct {
		name string
		log  []Entry
		want string
	}{
		{"nothing", nil, ""},
		{"order of time", []Entry{entry("b", "2026-02-01", ""), entry("a", "2026-01-01", "")}, "a b"},
		{"one correction", []Entry{entry("a", "2026-01-01", ""), entry("b", "2026-01-02", "a")}, "b"},
		{"logged before what it corrects", []Entry{entry("b", "2026-01-02", "a"), entry("a", "2026-01-01", "")}, "b"},
		{"a correction of a correction", []Entry{entry("a", "2026-01-01", ""), entry("b", "2026-01-02", "a"), entry("c", "2026-01-03", "b")}, "c"},
		{"a chain of five, from the end", []Entry{
			entry("e", "2026-01-05", "d"), entry("d", "2026-01-04", "c"), entry("c", "2026-01-03", "b"), entry("b", "2026-01-02", "a"), entry("a", "2026-01-01", ""),
		}, "e"},
		{"moved to before another", []Entry{entry("a", "2026-01-01", ""), entry("b", "2026-01-02", ""), entry("c", "2025-12-31", "b")}, "c a"},
		{"of something that is not there", []Entry{entry("a", "2026-01-01", "zzz")}, "a"},
		{"two corrections of one", []Entry{entry("a", "2026-01-01", ""), entry("b", "2026-01-02", "a"), entry("c", "2026-01-03", "a")}, "b c"},
	} {
		before := slices.Clone(tt.log)
		if got := ids(Effective(tt.log)); got != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, got, tt.want)
		}
		if !reflect.DeepEqual(tt.log, before) {
			t.Errorf("%s: the log given was changed", tt.name)
		}
	}
}

// Entries of one instant stand in the order in which they were logged.
func TestEffectiveOrder(t *testing.T) {
	log := []Entry{
		did(Set, "2026-01-01 10:00", called("c"), func(e *Entry) { e.RecordedAt = utc("2026-01-01 10:03") }),
		did(Started, "2026-01-01 10:00", called("b"), func(e *Entry) { e.RecordedAt = utc("2026-01-01 10:02") }),
		did(Wound, "2026-01-01 10:00", called("a"), func(e *Entry) { e.RecordedAt = utc("2026-01-01 10:02") }),
	}
	for range 20 {
		rand.Shuffle(len(log), func(i, j int) { log[i], log[j] = log[j], log[i] })
		if got := ids(Effective(log)); got != "a b c" {
			t.Fatalf("got %q, want a b c", got)
		}
	}
}

// Without entries that have IDs nothing is taken for corrected.
func TestEffectiveWithoutIDs(t *testing.T) {
	if got := Effective([]Entry{did(Oiled, "2026-01-01"), did(Oiled, "2026-01-02")}); len(got) != 2 {
		t.Errorf("got %d entries, want 2", len(got))
	}
}

// Run-hours that a log comes to, by hand. The clock is in care from
// 2026-01-01, wound in full for eight days.
func TestRunHoursFromTheLog(t *testing.T) {
	const day = 24.0
	for _, tt := range []struct {
		name                 string
		log                  []Entry
		lower, likely, upper float64 // days at 2026-02-01, 31 days on
	}{
		{"nothing logged is never read as a stop", nil, 31, 31, 31},
		{"stopped by hand for three days", []Entry{
			did(Stopped, "2026-01-11", by(ByHand)), did(Started, "2026-01-14"),
		}, 28, 28, 28},
		{"found stopped, since when is known", []Entry{
			did(Stopped, "2026-01-11", by(Birds), since("2026-01-09")), did(Started, "2026-01-14"),
		}, 26, 26, 26},
		{"found stopped, since when is not known", []Entry{
			did(Inspected, "2026-01-05"), did(Stopped, "2026-01-11", by(Birds)), did(Started, "2026-01-14"),
		}, 4 + 18, 7 + 18, 10 + 18},
		{"found run down: it ran as long as its wind", []Entry{
			did(Wound, "2026-01-01"), did(Stopped, "2026-01-14", by(RanDown)), did(Wound, "2026-01-14"), did(Started, "2026-01-14"),
		}, 8 + 8, 8 + 18, 8 + 18},
		{"found run down after an hour stopped by hand", []Entry{
			did(Wound, "2026-01-01"), did(Stopped, "2026-01-03 10:00", by(ByHand)), did(Started, "2026-01-03 11:00"),
			did(Stopped, "2026-01-14", by(RanDown)), did(Started, "2026-01-14 00:01"), did(Stopped, "2026-01-14 00:02", by(ByHand)),
		}, 8, 8 + 1.0/1440, 8 + 1.0/1440}, // somebody must have wound it, or not
		{"found run down, but wound in part: since when is not known", []Entry{
			did(Wound, "2026-01-01"), did(Wound, "2026-01-05", partly), did(Stopped, "2026-01-14", by(RanDown)),
		}, 4, 4 + 4, 4 + 8}, // to the fifth for certain, then for as long as a full wind at most
		// Stopped and found between the 1st and 3rd, so how much of the wind was
		// left on the 4th is not known, nor when it ran down.
		{"found run down after a stop at an unknown hour", []Entry{
			did(Wound, "2026-01-01"), did(Stopped, "2026-01-03", by(Birds)), did(Started, "2026-01-04"), did(Stopped, "2026-01-14", by(RanDown)),
		}, 0, 1 + 3.5, 2 + 7},
		{"inspected at rest", []Entry{
			did(Stopped, "2026-01-11", by(Rest)), did(Inspected, "2026-01-20"),
		}, 10, 10, 10},
		{"set after a stop, the start logged", []Entry{
			did(Stopped, "2026-01-11", by(Fault), since("2026-01-11")), did(Set, "2026-01-12"), did(Started, "2026-01-14"),
		}, 28, 28, 28},
		{"set after a stop, no start logged", []Entry{
			did(Stopped, "2026-01-11", by(Fault), since("2026-01-11")), did(Set, "2026-01-15"),
		}, 10, 10, 10},
		{"started on its fifth day", []Entry{did(Started, "2026-01-05")}, 27, 27, 27},
		{"wound, and started on its fifth day", []Entry{did(Wound, "2026-01-05"), did(Started, "2026-01-05 00:00")}, 27 - 19, 27, 27},
		{"of the strike alone", []Entry{did(Stopped, "2026-01-11", by(Fault), of("strike"))}, 31, 31, 31},
		{"a correction takes the stop away", []Entry{
			did(Stopped, "2026-01-11", by(ByHand), called("x")), did(Noted, "2026-01-11", note("was the other clock"), instead("x", "wrong clock")),
		}, 31, 31, 31},
	} {
		c := pump()
		c.InCare = d("2026-01-01")
		a := assess(c, book(tt.log...), "2026-02-01")
		st, _ := a.Train("going")
		got := st.RunHours
		if !near(got.Lower, tt.lower*day) || !near(got.Likely, tt.likely*day) || !near(got.Upper, tt.upper*day) {
			t.Errorf("%s: got %.2f, %.2f, %.2f days; want %.2f, %.2f, %.2f (problems %q)", tt.name,
				got.Lower/day, got.Likely/day, got.Upper/day, tt.lower, tt.likely, tt.upper, a.Problems)
		}
	}
}

func near(a, b float64) bool { return a-b < 1e-6 && b-a < 1e-6 }

// Each train takes from a log what concerns it.
func TestHistoryOfATrain(t *testing.T) {
	c := pump()
	log := book(
		did(Wound, "2026-01-01", of("going")), did(Wound, "2026-01-02", of("strike")), did(Wound, "2026-01-03"),
		did(Wound, "2026-01-04", partly), did(Stopped, "2026-01-05", by(ByHand), of("strike")), did(Started, "2026-01-06", of("strike")),
		did(Oiled, "2026-01-07"), did(Measured, "2026-01-08", gave(0.2)), did(Noted, "2026-01-09", note("x")), did(Regulated, "2026-01-10"),
	)
	count := func(train string) map[wear.RunKind]int {
		tr, _ := c.Train(train)
		n := map[wear.RunKind]int{}
		for _, e := range historyOf(c, time.UTC, log, tr).run.Events() {
			n[e.Kind]++
		}
		return n
	}
	if got, want := count("going"), (map[wear.RunKind]int{wear.RunWound: 3, wear.RunSeen: 1}); !reflect.DeepEqual(got, want) {
		t.Errorf("going train: %v, want %v", got, want)
	}
	want := map[wear.RunKind]int{wear.RunWound: 3, wear.RunSeen: 1, wear.RunStopped: 1, wear.RunStarted: 1}
	if got := count("strike"); !reflect.DeepEqual(got, want) {
		t.Errorf("strike train: %v, want %v", got, want)
	}
}
