package schedule

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// stopsOften stands every other stretch of so many days, from 2020 on, until a
// day; and is started last.
func stopsOften(days int, until string) []Entry {
	var out []Entry
	for at := d("2020-01-01").Add(days); ; at = at.Add(2 * days) {
		start := at.Add(days)
		if start.After(d(until)) {
			return out
		}
		out = append(out, doneAt(Stopped, at.Start(time.UTC), by(ByHand), called("s"+at.String())), doneAt(Started, start.Start(time.UTC), called("g"+start.String())))
	}
}

// The hours to expect in a day have the band of a Beta on days run and stood,
// both by the mean length of a stop; of a clock that never stands it is narrow.
func TestDutyOfATrain(t *testing.T) {
	steady := assess(alone(), nil, "2023-01-01").Trains[0]
	// 1096 days run and none stood: .05 and .95 to the power 1/1097.
	if steady.PerDay != 24 || !near(steady.PerDayLow, 24*math.Pow(.05, 1./1097)) || steady.PerDayHigh != 24 {
		t.Errorf("steady: %v, from %v to %v", steady.PerDay, steady.PerDayLow, steady.PerDayHigh)
	}
	// 30 days in 60, from 2020 until 2022-12-16: 18 stops, and 16 days more.
	often := assess(alone(), book(stopsOften(30, "2022-12-16")...), "2023-01-01").Trains[0]
	b := distuv.Beta{Alpha: 1 + (18*30+16.)/30, Beta: 1 + 18}
	if !near(often.PerDay, 24*(18*30+16)/1096.) || math.Abs(often.PerDayLow-24*b.Quantile(.05)) > 1e-6 || math.Abs(often.PerDayHigh-24*b.Quantile(.95)) > 1e-6 {
		t.Errorf("often: %v, from %v to %v; want from %v to %v", often.PerDay, often.PerDayLow, often.PerDayHigh, 24*b.Quantile(.05), 24*b.Quantile(.95))
	}
	// New in care: nothing is known, and its first month counts as all going.
	fresh := assess(alone(), nil, "2020-01-04").Trains[0]
	if !near(fresh.PerDayLow, 24*math.Pow(.05, 1./31)) || fresh.PerDayHigh != 24 {
		t.Errorf("new: from %v to %v", fresh.PerDayLow, fresh.PerDayHigh)
	}
}

// Run-hours of a train that stops often fall due between two days, and it is
// said; of a steady one nothing is.
func TestDutyInWords(t *testing.T) {
	c := alone()
	c.Policies = []Policy{{Task: Oiling, Train: "going", RunHours: 2400, Source: "x"}}
	oiled := did(Oiled, "2022-12-20")
	steady := taskOf(t, assess(c, book(oiled), "2023-01-01"), Oiling, "going")
	if want := "fair: run-hours at the duty of late, from what is logged on 20 Dec 2022"; steady.Confidence != want {
		t.Errorf("%q, want %q", steady.Confidence, want)
	}
	a := assess(c, book(append(stopsOften(30, "2022-12-16"), oiled)...), "2023-01-01")
	st, often := a.Trains[0], taskOf(t, a, Oiling, "going")
	left := 2400 - 12*24. // 12 days have run since
	first, last := d("2023-01-01").Add(int(left/st.PerDayHigh)), d("2023-01-01").Add(int(left/st.PerDayLow))
	if want := fmt.Sprintf("; as its running varies, between %s and %s nine times in ten", first.Words(), last.Words()); !strings.HasSuffix(often.Confidence, want) {
		t.Errorf("%q, want it to end %q", often.Confidence, want)
	}
	if often.Due.Before(first) || often.Due.After(last) {
		t.Errorf("due %v, between %v and %v", often.Due, first, last)
	}
}

// A forecast is wider by what is not known of the running to come, and its
// middle stays: in quadrature in the logarithm of the days ahead.
func TestForecastWidenedByDuty(t *testing.T) {
	p := forecast{a: &Assessment{Zone: time.UTC}, today: d("2026-01-01")}
	ahead := func(days ...int) (out [3]Date) {
		for i, n := range days {
			out[i] = p.today.Add(n)
		}
		return out
	}
	const tenth = 1.2815515655446004 / 1.6448536269514722
	for _, tt := range []struct {
		low, per, high float64
		in, want       [3]Date
	}{
		{24, 24, 24, ahead(400, 1000, 2500), ahead(400, 1000, 2500)},
		{23.94, 24, 24, ahead(400, 1000, 2500), ahead(400, 1000, 2500)}, // steady: not a day
		{12, 18, 24, ahead(400, 1000, 2500),
			ahead(int(math.Round(1000*math.Exp(-math.Hypot(math.Log(2.5), tenth*math.Log(24./18))))), 1000, int(math.Round(1000*math.Exp(math.Hypot(math.Log(2.5), tenth*math.Log(1.5))))))},
		{12, 18, 24, ahead(-100, 1000, 2500), ahead(-100, 1000, int(math.Round(1000*math.Exp(math.Hypot(math.Log(2.5), tenth*math.Log(1.5))))))}, // past is past
		{12, 18, 24, ahead(-100, -50, 20), ahead(-100, -50, 20)},
		{12, 18, 24, ahead(400, farAhead, farAhead), ahead(400, farAhead, farAhead)},
		{0, 0, 0, ahead(400, 1000, 2500), ahead(400, 1000, 2500)},
	} {
		p.st = &TrainState{PerDayLow: tt.low, PerDay: tt.per, PerDayHigh: tt.high}
		got := tt.in
		if p.widen(&got, p.today); got != tt.want {
			t.Errorf("%v, %v, %v h a day: %v becomes %v, want %v", tt.low, tt.per, tt.high, tt.in, got, tt.want)
		}
	}
	// From when it goes again, for one that rests.
	p.st = &TrainState{PerDayLow: 12, PerDay: 18, PerDayHigh: 24}
	got := ahead(60, 190, 290)
	p.widen(&got, p.today.Add(90))
	if got[0] != p.today.Add(60) || got[1] != p.today.Add(190) || got[2] != p.today.Add(90+int(math.Round(100*math.Exp(math.Hypot(math.Log(2), tenth*math.Log(1.5)))))) {
		t.Errorf("from a rest: %v", got)
	}
}
