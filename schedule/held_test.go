package schedule

import (
	"strings"
	"testing"
)

// A limit that was passed while the readings told stays passed when they have
// grown too old to tell a size: sixty days from its fitting to its last reading
// tell for six hundred more, in which a part that grew by 0.08 mm in those
// passes 0.35 mm.
func TestPassedWhileReadingsTold(t *testing.T) {
	c := alone()
	log := book(did(Measured, "2020-02-01", gave(0.14)), did(Measured, "2020-03-01", gave(0.18)))
	told, old := assess(c, log, "2021-10-01"), assess(c, log, "2024-06-01")
	x, y := outlookOf(t, told, "centre-front"), outlookOf(t, old, "centre-front")
	if !x.Taught || !x.Over || y.Taught || !y.Over || y.Dated || y.Ahead || y.Condition != Act {
		t.Fatalf("taught %v, over %v; then taught %v, over %v, dated %v, ahead %v, %s", x.Taught, x.Over, y.Taught, y.Over, y.Dated, y.Ahead, y.Condition)
	}
	before, after := taskOf(t, told, NearLimit, "centre-front"), taskOf(t, old, NearLimit, "centre-front")
	if windowOf(before) != windowOf(after) {
		t.Errorf("%s, and when the readings are old %s", windowOf(before), windowOf(after))
	}
	want := "Its readings are too old to tell its size now (0.18 mm, 7.1 thou on 1 Mar 2020), but by them it was probably past its limit of "
	if !strings.HasPrefix(after.Reason, want) || !strings.Contains(after.Confidence, "too old to tell its size now") || y.Level.Mean > 0.2 {
		t.Errorf("%q (%s), at %.2f mm", after.Reason, after.Confidence, y.Level.Mean)
	}
	// What it had not come near while they told, nobody says.
	slow := book(did(Measured, "2020-02-01", gave(0.105)), did(Measured, "2020-03-01", gave(0.11)))
	z := outlookOf(t, assess(c, slow, "2030-06-01"), "centre-front")
	if z.Taught || z.Over || z.Dated || !z.Early.IsZero() || strings.Contains(z.Sentence, "too old") {
		t.Errorf("%+v", z.Sentence)
	}
}

// A part not yet read, of a bearing whose rate an earlier part has shown, stays
// known at its fitted size when that is too long ago to tell more.
func TestFittedLongAgoStaysKnown(t *testing.T) {
	log := book(did(Measured, "2020-04-01", gave(0.14)), did(Repaired, "2020-06-01", left(0.10)))
	for _, now := range []string{"2020-07-01", "2027-07-01"} {
		o := outlookOf(t, assess(alone(), log, now), "centre-front")
		if !o.Known || o.Dated || o.Measure.After(d("2022-06-01")) {
			t.Errorf("%s: known %v, dated %v, measure by %s", now, o.Known, o.Dated, o.Measure)
		}
	}
}

// How much a train runs when it goes is not less the longer it stands.
func TestDutyOfOneThatStands(t *testing.T) {
	log := book(did(Stopped, "2021-01-01", by(ByHand)), did(Started, "2021-07-02"), did(Stopped, "2022-01-01", by(Fault), since("2022-01-01")))
	want := assess(alone(), log, "2022-01-02").Trains[0].PerDay
	if want < 17 || want > 19 { // three half-years of four
		t.Fatalf("%.2f hours a day", want)
	}
	for _, now := range []string{"2022-06-01", "2024-01-01", "2031-01-01"} {
		if got := assess(alone(), log, now).Trains[0]; got.PerDay != want || got.PerDayLow > want || got.PerDayHigh < want {
			t.Errorf("%s: %.2f hours a day between %.2f and %.2f, want %.2f", now, got.PerDay, got.PerDayLow, got.PerDayHigh, want)
		}
	}
}

// What was due when a train stopped stays so, and what was not is not before it
// goes again: a wind of eight days is due after seven.
func TestWindingOfOneThatStands(t *testing.T) {
	for _, tt := range []struct {
		stops, want string
	}{
		{"2026-03-08 20:00", "2026-03-08"}, // of a wind of the 1st at 09:00, due on the 8th
		{"2026-03-04 09:00", ""},
	} {
		log := book(did(Wound, "2026-03-01 09:00"), did(Stopped, tt.stops, by(Fault), since(tt.stops)))
		for _, now := range []string{"2026-03-10 07:00", "2026-03-11 07:00", "2026-07-01 23:00", "2027-07-01 07:00"} {
			got := taskOf(t, assess(pump(), log, now), Winding, "going")
			switch today := DateOf(utc(now), location("UTC")); {
			case tt.want != "" && (got.Due != d(tt.want) || got.Latest != d(tt.want)):
				t.Errorf("stopped %s, on %s: due %s, latest %s, want %s", tt.stops, now, got.Due, got.Latest, tt.want)
			case tt.want == "" && !got.Due.After(today):
				t.Errorf("stopped %s, on %s: due %s", tt.stops, now, got.Due)
			}
		}
	}
}
