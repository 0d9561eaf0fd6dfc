package wear

import (
	"math"
	"strings"
	"testing"
)

// TestCarry: a part cleaned on the way goes on: as if it had not been, but for
// the doubt in what was taken off.
func TestCarry(t *testing.T) {
	whole := Segment{H0: -5, Readings: first.Readings}
	before, after := whole, Segment{H0: 20, Carry: .03}
	before.Readings, after.Readings = first.Readings[:3], first.Readings[3:]
	bent := DefaultParams()
	bent.B = .7 // its age is still counted from its own fitting
	for _, p := range []Params{DefaultParams(), bent} {
		want := filtered(t, tablePrior, p, whole)
		next := after
		next.Carry = 1e-9
		got := filtered(t, tablePrior, p, before, next)
		near(t, "level, nothing taken off", got.Level().Mean, want.Level().Mean, 1e-9)
		near(t, "evidence", got.Evidence(), want.Evidence(), 1e-9)
		near(t, "crossing", got.Crossing(2, 50, .5).H, want.Crossing(2, 50, .5).H, 1e-6)
		near(t, "P(change)", got.PChange(), want.PChange(), 1e-9)
		if got.Readings() != 5 || got.Now() != 44 {
			t.Errorf("the part has %d readings up to %v", got.Readings(), got.Now())
		}
		doubt := filtered(t, tablePrior, p, before, after)
		_, sure := want.LnRate()
		_, less := doubt.LnRate()
		if less <= sure {
			t.Errorf("cleaning leaves the rate as sure as before: %v, %v", less, sure)
		}
	}
	// Cleaned and not read since: the level is less sure, by just that much.
	clean := filtered(t, tablePrior, DefaultParams(), before, Segment{H0: 18.1, Carry: .04})
	as := filtered(t, tablePrior, DefaultParams(), before)
	near(t, "level when cleaned", clean.LevelAt(18.1).Mean, as.LevelAt(18.1).Mean, 1e-9)
	near(t, "its deviation", clean.LevelAt(18.1).SD, math.Hypot(as.LevelAt(18.1).SD, .04), 1e-9)
	for name, s := range map[string]Segment{
		"negative": {H0: 20, Carry: -1}, "no number": {H0: 20, Carry: math.NaN()},
		"a size of its own": {H0: 20, Carry: .1, Start: &Level{.1, .1}}, "other materials": {H0: 20, Carry: .1, Fresh: true},
	} {
		if _, err := Filter(tablePrior, DefaultParams(), []Segment{before, s}); err == nil || !strings.Contains(err.Error(), "carried over") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestRedrawn: after a repair for excess wear the rate may be another: before
// any reading half of it is what it was and half what a bearing of its kind has;
// readings then say which.
func TestRedrawn(t *testing.T) {
	worn := Segment{Readings: gauges([]float64{0, 10, 20, 30}, []float64{.1, .7, 1.3, 1.9})} // .06 a unit
	bearing := Prior{Mu: math.Log(.006), Om: .5}
	next := Segment{H0: 30, Start: &Level{.1, .01}, Redrawn: true}
	kept, still := next, DefaultParams()
	kept.Redrawn, still.Kappa = false, 0
	post := filtered(t, bearing, still, worn, next)
	as := filtered(t, bearing, still, worn, kept)
	m, _ := as.LnRate()
	fresh := kept
	fresh.Fresh = true
	n, _ := filtered(t, bearing, still, worn, fresh).LnRate()
	both, sd := post.LnRate()
	near(t, "ln rate, half and half", both, (m+n)/2, .02)
	if sd < math.Abs(m-n)/2-.05 {
		t.Errorf("deviation %v does not span the two rates, %v and %v", sd, m, n)
	}
	if post.PChange() != 0 {
		t.Errorf("no change within the part, but P(change) is %v", post.PChange())
	}
	slow, fast := next, next
	slow.Readings = gauges([]float64{40, 50}, []float64{.16, .22})
	fast.Readings = gauges([]float64{40, 50}, []float64{.7, 1.3})
	r, _ := filtered(t, bearing, still, worn, slow).Rate()
	near(t, "rate, if it was the part", r, .006, .002)
	r, _ = filtered(t, bearing, still, worn, fast).Rate()
	near(t, "rate, if it is the place", r, .06, .006)
	// A rate that was kept against its own readings would have been slow to learn.
	if a, b := filtered(t, bearing, still, worn, slow), filtered(t, bearing, still, worn, Segment{H0: 30, Start: next.Start, Readings: slow.Readings}); a.Evidence() <= b.Evidence() {
		t.Errorf("evidence %v with the rate free, %v with it kept", a.Evidence(), b.Evidence())
	}
}

// TestStray: a rate that changes to one far from those of its kind is told
// sooner where such changes are reckoned with.
func TestStray(t *testing.T) {
	tight := Prior{Mu: math.Log(.006), Om: .3}
	s := Segment{Readings: gauges([]float64{0, 10, 20, 30, 40, 50}, []float64{.10, .16, .22, .28, .58, .90})} // fivefold
	near := filtered(t, tight, reference(), s)
	far := filtered(t, tight, DefaultParams(), s)
	if far.PChange() <= near.PChange() || far.PChange() < .9 || far.ChangeAfter() != 3 {
		t.Errorf("P(change) %v after reading %d, without straying %v", far.PChange(), far.ChangeAfter(), near.PChange())
	}
	if m := far.LevelAt(60).Mean; m < 1.1 {
		t.Errorf("level foreseen ten units on is %v: the new rate would make it 1.2", m)
	}
}
