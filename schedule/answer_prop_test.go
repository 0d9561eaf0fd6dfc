package schedule

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// anyAnswer is an answer of whatever was typed.
func anyAnswer(rng *rand.Rand, now time.Time) Answer {
	ans := Answer{Said: []Said{SaidDone, SaidWell, SaidRead, SaidStopped, SaidNot, "", "rhubarb"}[rng.IntN(7)]}
	if rng.IntN(2) == 0 { // a plain one
		ans.Because, ans.Reading = "rain", &wear.Reading{Value: mm(.18)}
		return ans
	}
	ans.Because = []string{"", "rain", " ", "\x00", "\xff", strings.Repeat("x", 1<<16), "No.\nReally."}[rng.IntN(7)]
	ans.Cause = []StopCause{"", RanDown, Silenced, Rest, "rhubarb"}[rng.IntN(5)]
	ans.At = []time.Time{{}, now, now.Add(-time.Hour), now.Add(time.Hour), now.AddDate(0, 0, -44), now.AddDate(-1, 0, 0),
		time.Date(1, 1, 1, 0, 0, 0, 1, time.UTC), time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC)}[rng.IntN(8)]
	if rng.IntN(2) == 0 {
		celsius := []float64{12, math.NaN(), math.Inf(1), -300}[rng.IntN(4)]
		ans.Reading = &wear.Reading{Value: []wear.Length{0, mm(.2), mm(-1), math.MaxInt64, math.MinInt64}[rng.IntN(5)], Celsius: &celsius,
			Shake: []wear.Shake{"", wear.SideShake, wear.EndShake, "rhubarb"}[rng.IntN(4)]}
	}
	return ans
}

// Whatever is answered to whatever pass: it becomes an entry by the pass's own
// person on its own clock alone, or is refused in words; what the log takes uses
// the pass up, unless it says that nothing was done; and a pass that is closed
// stays closed.
func TestAnyAnswer(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 2))
	c := litPump()
	f := fleetOf("Europe/London", c)
	site := f.Sites[0]
	log := book(did(Wound, "2026-11-12 09:00"), did(Oiled, "2026-01-01"), did(Measured, "2024-01-01", gave(.15)), did(Measured, "2025-01-01", gave(.17)))
	subjects := []string{"", "going", "strike", "centre-front", "centre-front", "centre-front", "lights", "gone"}
	logged := map[Said]int{}
	for range 3000 {
		now := utc("2026-11-20 09:00").Add(time.Duration(rng.IntN(30*24)) * time.Hour)
		p := asked(append(TaskKinds, "", "rhubarb")[rng.IntN(len(TaskKinds)+2)], subjects[rng.IntN(len(subjects))], "2026-11-19")
		p.Person = []string{"ann", "ann", "ben", "eve"}[rng.IntN(4)]
		a := Assess(Facts{Clock: c, Site: site, Entries: log}, now)
		ans := anyAnswer(rng, now)
		if fit := p.Choices(a); len(fit) > 0 && rng.IntN(4) > 0 {
			ans.Said = fit[rng.IntN(len(fit))]
		}
		if p.What(a) == "" && p.Task != "" {
			t.Errorf("%s has no words", p.Task)
		}
		open := p.Open(a, f, now)
		e, err := p.Entry(ans, a, now)
		var mend *Error
		if err != nil {
			if !errors.As(err, &mend) || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%+v of %+v: %v", ans, p, err)
			}
			continue
		}
		if e.By != p.Person || e.Clock != p.Clock || e.Source != "link" || !strings.HasPrefix(e.Key, "pass ") || e.Replaces != "" || e.Lock != "" || e.Clears != "" || e.Old || e.Sure {
			t.Fatalf("%+v of %+v became %+v", ans, p, e)
		}
		if open != nil || Validate(e, f, log, Model{}, now) != nil {
			continue
		}
		logged[ans.Said]++
		e.ID, e.RecordedAt = "new", now
		after := Assess(Facts{Clock: c, Site: site, Entries: append(log[:len(log):len(log)], e)}, now)
		if err := p.Open(after, f, now); (err == nil) != (ans.Said == SaidNot) {
			t.Fatalf("%+v of %+v, and then: %v", ans, p, err)
		}
		if later := now.AddDate(0, 0, rng.IntN(400)); ans.Said != SaidNot && p.Open(after, f, later) == nil {
			t.Fatalf("%+v opened again at %v", p, later)
		}
	}
	for _, said := range []Said{SaidDone, SaidWell, SaidRead, SaidStopped, SaidNot} {
		if logged[said] == 0 {
			t.Errorf("no %q was logged, so nothing was tried", said)
		}
	}
	t.Logf("logged: %v", logged)
}
