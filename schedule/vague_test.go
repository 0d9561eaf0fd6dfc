package schedule

import (
	"slices"
	"strings"
	"testing"
)

// Two errors minutes or an hour apart tell no rate: no figure is said and no setting
// is asked for, however long nobody comes, and the sentence says why, and what is
// known. Two errors read to 2 s carry a rate to 5 s a day from 2 x 1.414 / 5 of a
// day apart, 13 hours and 35 minutes.
func TestNoRateFromErrorsTooNear(t *testing.T) {
	for _, tt := range []struct {
		second string
		found  float64
		known  bool
	}{
		{"2026-01-01 09:02", 123, false}, // 86,400 s a day by the figures
		{"2026-01-01 10:00", 4, false},
		{"2026-01-01 22:30", 4, false},
		{"2026-01-01 22:40", 4, true},
		{"2026-01-08 09:00", 4, true},
	} {
		c := held()
		c.Care.Tolerance.Seconds = 300
		log := book(did(Wound, "2026-01-01 09:00", sees(3)), did(Wound, tt.second, sees(tt.found)))
		for _, now := range []string{"2026-01-08 11:00", "2026-01-09 12:00", "2026-02-20"} {
			a := assess(c, log, now)
			k := a.Time
			if k.Known != tt.known || !tt.known && (k.Stretches[len(k.Stretches)-1].SD != 0 || strings.Contains(k.Sentence, "a day (")) || tt.known && k.SD > 5 {
				t.Errorf("%s, on %s: known %v, ± %v: %q", tt.second, now, k.Known, k.SD, k.Sentence)
			}
			want := "Its rate is not known yet: the errors since it was last set or regulated lie too near one another in time, so note another a day or more after the first; found " + fastWords(tt.found) + " on 1 Jan 2026"
			if !tt.known && !strings.HasPrefix(k.Sentence, want) {
				t.Errorf("%q", k.Sentence)
			}
			for _, x := range a.Tasks {
				if x.Kind == Setting && !tt.known {
					t.Errorf("%s: setting is %s: %s", now, x.State, x.Reason)
				}
			}
		}
	}
}

// A rate known only so well that it may as well be nothing gives no day.
func TestNoDayFromNoRate(t *testing.T) {
	c := held()
	c.Care.Tolerance.Seconds = 20
	log := book(did(Wound, "2026-01-01 09:00", sees(3)), did(Wound, "2026-01-02 09:00", sees(4)))
	for _, now := range []string{"2026-01-02 11:00", "2026-01-03 12:00", "2026-02-20"} {
		a := assess(c, log, now)
		if !a.Time.Early.IsZero() || !strings.Contains(a.Time.Sentence, "its rate is not known well enough for a date: note its error when you are there") {
			t.Errorf("%s: perhaps %v, %q", now, a.Time.Early, a.Time.Sentence)
		}
		for _, x := range a.Tasks {
			if x.Kind == Setting {
				t.Errorf("%s: setting is %s: %s", now, x.State, x.Reason)
			}
		}
	}
}

// Found beyond what it is held to a clock is to be set, whatever its rate, and by
// one error alone; the task rests on the entry that has that error, not on a later
// one that has none.
func TestFoundBeyondWithoutARate(t *testing.T) {
	seen := []Entry{did(Wound, "2026-01-01 09:00", sees(70)), did(Wound, "2026-01-01 10:00", sees(-71))}
	for name, log := range map[string][]Entry{"two too near": seen, "one": seen[1:], "one, and wound since": {seen[1], did(Wound, "2026-01-02 10:00")}} {
		x := taskOf(t, assess(held(), book(slices.Clone(log)...), "2026-01-03"), Setting, "")
		if windowOf(x) != "2026-01-01 2026-01-01 2026-01-08" || x.State != Due || x.Evidence != "found 71 s slow on 1 Jan 2026" || x.Confidence != "firm: found so on 1 Jan 2026" ||
			!strings.Contains(x.Reason, "found 71 s slow on 1 Jan 2026; beyond the 60 s that it is held to since 1 Jan 2026.") {
			t.Errorf("%s: %s, %s, %q, %q, %q", name, windowOf(x), x.State, x.Evidence, x.Confidence, x.Reason)
		}
		checkTask(t, name, x)
	}
	for name, log := range map[string][]Entry{"set since": {seen[1], did(Set, "2026-01-02 10:00", leaves(0))}, "within it": {did(Wound, "2026-01-01 10:00", sees(59))}} {
		for _, x := range assess(held(), book(log...), "2026-01-03").Tasks {
			if x.Kind == Setting {
				t.Errorf("%s: %+v", name, x)
			}
		}
	}
	// A dated one rests on its last error, too.
	steady := append(weeks("2026-01-01", 0, 7, 14, 21), did(Inspected, "2026-01-25"))
	if x := taskOf(t, assess(held(), book(steady...), "2026-02-20"), Setting, ""); x.Evidence != "found 21 s fast on 22 Jan 2026" {
		t.Errorf("it rests on %q", x.Evidence)
	}
}

// A day that has come is not said to be still ahead, and what is reckoned now and
// what is not known do not contradict one another.
func TestPerhapsWrongToday(t *testing.T) {
	k := Timekeeping{Tolerance: 60, Early: d("2026-11-26")}
	if got := k.reachWords(d("2026-11-26")); !strings.Contains(got, "is not known: log another error now") {
		t.Errorf("%q", got)
	}
	k.ErrorKnown, k.ErrorSD = true, 10
	if got := k.reachWords(d("2026-11-26")); got != "; that is reckoned, and may be out by 20 s, so whether it is within the 60 s that it is held to is not known: log another error now" {
		t.Errorf("%q", got)
	}
	if got := k.reachWords(d("2026-11-25")); !strings.Contains(got, "after 26 Nov 2026: log another error by then") {
		t.Errorf("%q", got)
	}
}
