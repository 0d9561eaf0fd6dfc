package schedule

import (
	"strings"
	"testing"
)

// Two errors an hour apart tell no rate: no setting is asked for, however long
// nobody comes, and the sentence says why.
func TestNoDayFromNoRate(t *testing.T) {
	log := book(did(Wound, "2026-01-01 09:00", sees(3)), did(Wound, "2026-01-01 10:00", sees(4)))
	for _, now := range []string{"2026-01-01 11:00", "2026-01-02 12:00", "2026-02-20"} {
		a := assess(held(), log, now)
		if !a.Time.Early.IsZero() || !strings.Contains(a.Time.Sentence, "its rate is not known well enough for a date: note its error when you are there") {
			t.Errorf("%s: perhaps %v, %q", now, a.Time.Early, a.Time.Sentence)
		}
		for _, x := range a.Tasks {
			if x.Kind == Setting {
				t.Errorf("%s: setting is %s: %s", now, x.State, x.Reason)
			}
		}
	}
	// Found beyond what it is held to it is to be set, whatever its rate.
	log = book(did(Wound, "2026-01-01 09:00", sees(70)), did(Wound, "2026-01-01 10:00", sees(71)))
	if x := taskOf(t, assess(held(), log, "2026-01-03"), Setting, ""); x.State == Ahead {
		t.Errorf("71 s fast: %s", x.State)
	}
}

// A day that has come is not said to be still ahead.
func TestPerhapsWrongToday(t *testing.T) {
	k := Timekeeping{Tolerance: 60, Early: d("2026-11-26")}
	if got := k.reachWords(d("2026-11-26")); !strings.Contains(got, "wrong already") {
		t.Errorf("%q", got)
	}
	if got := k.reachWords(d("2026-11-25")); !strings.Contains(got, "by 26 Nov 2026") {
		t.Errorf("%q", got)
	}
}
