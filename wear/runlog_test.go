package wear

import (
	"math/rand/v2"
	"reflect"
	"testing"
	"time"
)

// atOnce is a history worked out with all its events known from the first.
func atOnce(reserve time.Duration, events []RunEvent) (Running, []Oddity) {
	all := make([]*RunEvent, len(events))
	for i := range events {
		all[i] = &events[i]
	}
	var c runCount
	c.begin(Running{from: day0, reserve: reserve}, all, nil)
	c.walkAgain(nil)
	c.finish()
	return c.r, oddities(c.out)
}

// checkGrowing adds events one by one, and holds what it comes to after some of
// them to a history of as many; each is asked once or twice, and goes on from
// itself, or from a copy that is not touched by what the other is told.
func checkGrowing(t *testing.T, reserve time.Duration, events []RunEvent, rng *rand.Rand) {
	t.Helper()
	l, err := NewRunLog(day0, reserve)
	if err != nil {
		t.Fatal(err)
	}
	for n := range events {
		l.Add(events[n])
		var kept *RunLog
		if rng.IntN(3) == 0 {
			kept, l = l, l.Clone()
			if rng.IntN(2) == 0 {
				kept, l = l, kept
			}
			for range rng.IntN(3) {
				kept.Add(events[rng.IntN(len(events))])
			}
		}
		if rng.IntN(4) > 0 && n+1 < len(events) {
			continue
		}
		r, odd := l.Running()
		want, wants := atOnce(reserve, events[:n+1])
		if !reflect.DeepEqual(odd, wants) || !reflect.DeepEqual(listed(r), listed(want)) {
			for _, e := range events[:n+1] {
				t.Log(words(e), e.Old)
			}
			t.Fatalf("reserve %v, after %d events:\n%+v %+v\nat once:\n%+v %+v", reserve, n+1, r, odd, want, wants)
		}
	}
}

// listed has no difference between an empty list and none.
func listed(r Running) Running {
	for _, s := range []*stretches{&r.lower, &r.likely, &r.upper, &r.stood} {
		*s = append(stretches{}, *s...)
	}
	r.charges = append([]charge{}, r.charges...)
	return r
}

// A history that grows event by event comes to what it does with all its events
// known at once: old ones that give way, pauses that a later stop says again, and
// a first start after winds among them.
func TestRunLogGrows(t *testing.T) {
	const seed = 137
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	gaveWay, said := 0, 0
	for k := range 3000 {
		wound := k%2 == 0
		reserve := time.Duration(0)
		if wound {
			reserve = 8 * days
		}
		log := randomLog(rng, wound)
		for i := range log {
			e := &log[i]
			e.Old = k%3 == 0 && i < len(log)/2 || k%3 == 1 && rng.IntN(2) == 0
			switch rng.IntN(12) {
			case 0:
				*e = RunEvent{At: e.At, Kind: RunPause, Run: time.Hour, Old: e.Old}
				if i+1 < len(log) && rng.IntN(2) == 0 { // soon said by another
					log[i+1].At = e.At.Add(min(log[i+1].At.Sub(e.At), time.Duration(rng.IntN(30))*time.Hour))
					said++
				}
			case 1:
				*e = RunEvent{At: e.At, Kind: RunMeter, Meter: e.At.Sub(day0).Hours() * (0.8 + 0.25*rng.Float64()), Old: e.Old}
			}
		}
		checkGrowing(t, reserve, log, rng)
		_, odd := atOnce(reserve, log)
		for _, o := range odd {
			if log[o.Event].Old {
				gaveWay++
			}
		}
	}
	if gaveWay < 100 || said < 100 {
		t.Errorf("only %d old events gave way, and %d pauses were said again: the logs try nothing", gaveWay, said)
	}
}

func TestRunLogNeedsABeginning(t *testing.T) {
	if _, err := NewRunLog(time.Time{}, 0); err == nil {
		t.Error("no instant to start from was taken")
	}
	if _, err := NewRunLog(day0, -1); err == nil {
		t.Error("a negative reserve was taken")
	}
}
