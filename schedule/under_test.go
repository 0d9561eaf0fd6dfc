package schedule

import (
	"testing"

	"endshake/wear"
)

// Under another lesson the same log gives another forecast, and under its own the
// very one that is shown.
func TestUnder(t *testing.T) {
	f := washered()
	f.Entries = f.Entries[:2] // two readings, so that the lesson counts for much
	now := utc(whatNow)
	b := f.Clock.Trains[0].Arbors[0].Bearings[0]
	fast, slow := lessonOf(f, 1.2), lessonOf(f, -1.2)
	f.Model = Model{Learned: fast}
	o, _ := Assess(f, now).Outlook(b.Code)
	same, ok := Under(f, now, b.Code, fast)
	if !ok || same.Likely != o.Likely || same.Level != o.Level || same.PerYear != o.PerYear || same.Sentence != o.Sentence {
		t.Errorf("under its own lesson %+v, want %+v", same.Sentence, o.Sentence)
	}
	other, ok := Under(f, now, b.Code, slow)
	if !ok || !(other.PerYear[1] < o.PerYear[1]) {
		t.Errorf("a lesson of slower wear: %v a year, before %v", other.PerYear, o.PerYear)
	}
	if physics, ok := Under(f, now, b.Code, nil); !ok || physics.PerYear == o.PerYear {
		t.Errorf("without a lesson: %v a year", physics.PerYear)
	}
	if _, ok := Under(f, now, "nowhere", slow); ok {
		t.Error("a bearing that is not there has an outlook")
	}
}

// lessonOf is a lesson whose kind of the first bearing wears by exp(shift) times as
// fast as physics says.
func lessonOf(f Facts, shift float64) *Learned {
	t := f.Clock.Trains[0]
	return &Learned{Version: 1, FittedAt: utc("2026-01-01"), Model: wear.Learned{Params: wear.DefaultParams(), Om: .3, Bearings: 9, Readings: 40, Taught: true,
		Groups: map[string]wear.Group{Group(t.Arbors[0].Bearings[0], t.Arbors[0], t): {Shift: shift, Bearings: 9}}}}
}

// A middle date has moved where that is more than a tenth of its range, and other
// words.
func TestMovedFrom(t *testing.T) {
	day := func(early, likely, late string) Outlook {
		return Outlook{Dated: true, Early: d(early), Likely: d(likely), Late: d(late)}
	}
	is := day("2030-01-01", "2034-01-01", "2040-01-01") // a tenth is a year
	over, none := is, is
	over.Over, none.Dated = true, false
	for _, tt := range []struct {
		name string
		was  Outlook
		want bool
	}{
		{"the same", is, false}, {"by eleven months", day("2030-01-01", "2033-02-01", "2040-01-01"), false},
		{"by thirteen", day("2030-01-01", "2032-12-01", "2040-01-01"), true}, {"later", day("2030-01-01", "2036-01-01", "2040-01-01"), true},
		{"over", over, false}, {"without a date", none, true},
	} {
		if got := is.MovedFrom(tt.was); got != tt.want {
			t.Errorf("%s: moved %v, want %v", tt.name, got, tt.want)
		}
		if got := tt.was.MovedFrom(is); got != tt.want {
			t.Errorf("%s, and back: moved %v, want %v", tt.name, got, tt.want)
		}
	}
	if none.MovedFrom(none) {
		t.Error("where there is no date none has moved")
	}
	if a, b := day("2026-03-02", "2026-03-10", "2026-04-02"), day("2026-03-02", "2026-03-20", "2026-04-02"); a.MovedFrom(b) {
		t.Error("within a month, of which the words are alike")
	}
}
