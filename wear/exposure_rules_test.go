package wear

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// bruteStep is the step in hours of the slow count below.
const bruteStep = 0.25

// bruteState is what a log says up to an instant, in hours since its start.
type bruteState struct {
	going, known bool
	low, due     float64 // going: when the wind runs out; stopped: what is left
	cuts         []RunEvent
}

func hourOf(t time.Time) float64 { return t.Sub(day0).Hours() }

// touches reports whether somebody was at the train: what settles its running
// until then.
func touches(k RunKind) bool { return k != RunCut && k != RunMeter && k != RunPause }

// bruteReplay reads the first n events of a log.
func bruteReplay(reserve float64, log []RunEvent, n int) bruteState {
	s := bruteState{going: true}
	for i, e := range log {
		if e.Kind == RunCut && reserve == 0 || touches(e.Kind) && e.Kind != RunWound && e.Kind != RunHeight {
			s.going = e.Kind != RunStarted || slices.ContainsFunc(log[:i], func(w RunEvent) bool {
				return touches(w.Kind) && e.At.Sub(w.At) > 24*time.Hour
			})
			break
		}
	}
	last := 0.0 // when it was last touched
	charged := -1.0
	for i, e := range log[:n] {
		t := hourOf(e.At)
		switch e.Kind {
		case RunCut:
			if s.going && reserve == 0 {
				s.cuts = append(s.cuts, e)
			}
		case RunPause:
			from := t - e.Run.Hours()
			if !s.going || !s.known || bruteSaid(log, i) {
				break
			}
			shift := t - max(from, charged)
			if s.low > from {
				s.low += shift
			}
			if s.due > from {
				s.due += shift
			}
		case RunStarted:
			if !s.going {
				s.low, s.due = s.low+t, s.due+t
			}
			s.going, s.cuts = true, nil
		case RunStopped:
			at := t
			switch {
			case e.Exact:
			case !e.Since.IsZero():
				at = hourOf(e.Since)
			default:
				at = -1
			}
			if at >= 0 && s.known && at > s.due { // wound by nobody knows whom
				s.low, s.due = at, at+reserve
			} else if at >= 0 {
				s.low = max(s.low, at)
			}
			if at >= 0 {
				s.low, s.due = max(0, s.low-at), max(0, s.due-at)
			} else {
				end := t
				if s.known {
					end = max(last, min(t, s.due))
				}
				s.low, s.due = max(0, s.low-end), max(0, s.due-(last+end)/2)
			}
			s.going, s.cuts = false, nil
		case RunSeen, RunHeight, RunWound:
			base := 0.0
			if s.going {
				base = t
				s.cuts = slices.DeleteFunc(slices.Clone(s.cuts), func(c RunEvent) bool {
					stops := hourOf(c.At)
					if !c.Restarts {
						stops += max(0, c.Holds.Hours())
					}
					return stops < t || !c.Restarts && !c.Until.IsZero() && c.Until.Sub(c.At) <= c.Holds
				})
			}
			switch {
			case e.Kind == RunSeen && s.going && s.known && t > s.due:
				s.low, s.due = t, t+reserve
			case e.Kind == RunSeen && s.going:
				s.low = max(s.low, t)
			case e.Kind == RunHeight && reserve > 0:
				left := min(e.Run.Hours(), reserve)
				s.known, s.low, s.due, charged = true, base+left, base+left, t
			case e.Kind == RunWound && reserve > 0:
				low, due := max(0, s.low-base), max(0, s.due-base)
				if !s.known {
					low, due = 0, reserve
				}
				switch {
				case !e.Part:
					low, due, charged = reserve, reserve, t
				case e.Run > 0:
					low, due = min(reserve, low+e.Run.Hours()), min(reserve, due+e.Run.Hours())
				case s.known:
					due = reserve
				}
				if s.known || !e.Part || e.Run > 0 {
					s.known, s.low, s.due = true, base+low, base+due
				}
				if e.Part && e.Run > 0 {
					charged = t // a known part; a pause before it is over
				}
			}
		}
		if touches(e.Kind) {
			last = t
		}
	}
	return s
}

// bruteSaid reports whether a stop or a start is logged within a day.
func bruteSaid(log []RunEvent, i int) bool {
	for j, e := range log {
		if gap := e.At.Sub(log[i].At).Abs(); gap < 24*time.Hour && j != i && (e.Kind == RunStarted || e.Kind == RunStopped || e.Kind == RunPause && j < i) {
			return true
		}
	}
	return false
}

// bruteOff tells, for one cut, which of the three it has stopped at t.
func bruteOff(c RunEvent, t float64) (off [3]bool) {
	begin, over, lasted := hourOf(c.At), 1e12, hourOf(c.Lasted)
	if !c.Until.IsZero() {
		over = hourOf(c.Until)
		lasted = over
	}
	switch {
	case c.Restarts:
		return [3]bool{t >= begin && t < over, t >= begin && t < lasted, t >= begin && t < over && over < 1e12}
	case c.Holds < 0:
		return [3]bool{t >= begin, false, false}
	}
	stop := begin + c.Holds.Hours()
	return [3]bool{t >= stop && over > stop, t >= stop && lasted > stop, false}
}

// bruteGoes tells which of the three have it going at t, between what s says
// and the next touch.
func bruteGoes(s bruteState, reserve, last, t float64, next *RunEvent, restart bool) (goes [3]bool) {
	if !s.going {
		return goes
	}
	n, proof := 1e12, false
	if next != nil {
		n = hourOf(next.At)
		proof = next.Kind == RunSeen || next.Kind == RunHeight || next.Exact
		if next.Kind == RunStopped && !next.Exact && !next.Since.IsZero() {
			if n, proof = hourOf(next.Since), true; t >= n {
				return goes
			}
		}
	}
	lostNow := next != nil && next.Kind == RunStopped && !proof
	if reserve == 0 {
		off, begun, over := [3]bool{}, 1e12, 0.0
		for _, c := range s.cuts {
			o := bruteOff(c, t)
			for k := range off {
				off[k] = off[k] || o[k] && (k != 1 || c.Restarts || !proof)
			}
			stop := hourOf(c.At)
			if !c.Restarts && c.Holds > 0 {
				stop += c.Holds.Hours()
			}
			if bruteOff(c, stop)[0] && stop <= n {
				begun = min(begun, stop)
				end := 1e12
				if !c.Until.IsZero() {
					end = hourOf(c.Until)
				}
				over = max(over, end)
			}
		}
		switch {
		case begun < 1e12 && (restart || lostNow):
			return [3]bool{t < begun, t < begun, !off[2] && (lostNow || t < max(over, begun))}
		case lostNow:
			return [3]bool{false, t < (last+n)/2, true}
		}
		return [3]bool{!off[0], !off[1], !off[2]}
	}
	if !s.known {
		return [3]bool{!lostNow, !lostNow || t < (last+n)/2, true}
	}
	switch {
	case next == nil:
		return [3]bool{t < s.low, true, true}
	case lostNow:
		end := max(last, min(n, s.due))
		return [3]bool{false, t < (last+end)/2, t < end}
	case next.Kind == RunWound:
		return [3]bool{t < s.low, !(n > s.due && n-s.due <= reserve) || t < s.due, true}
	case n <= s.due:
		return [3]bool{true, true, true}
	case next.Kind == RunHeight && next.Run == 0:
		return [3]bool{t < s.low, t < s.due, true}
	}
	return [3]bool{t < s.low, true, true}
}

// bruteForce counts a log step by step, reading it anew from its beginning for
// every stretch, and gives the three run-hours.
func bruteForce(reserve time.Duration, log []RunEvent, end float64) [3]float64 {
	steps := int(end / bruteStep)
	var run [3][]float64
	for k := range run {
		run[k] = make([]float64, steps)
	}
	i := 0 // the next touch
	var last float64
	for i <= len(log) {
		j := i
		for j < len(log) && !touches(log[j].Kind) {
			j++
		}
		var next *RunEvent
		until := end
		if j < len(log) {
			next, until = &log[j], hourOf(log[j].At)
		}
		s := bruteReplay(reserve.Hours(), log, j)
		restart := next != nil && next.Kind == RunStarted && s.going
		for n := int(last / bruteStep); n < int(until/bruteStep) && n < steps; n++ {
			for k, goes := range bruteGoes(s, reserve.Hours(), last, (float64(n)+.5)*bruteStep, next, restart) {
				if goes {
					run[k][n] = bruteStep
				}
			}
		}
		last, i = until, j+1
	}
	for i, e := range log { // pauses
		if e.Kind != RunPause || bruteSaid(log, i) || !bruteReplay(reserve.Hours(), log, i).going {
			continue
		}
		for n := int((hourOf(e.At) - e.Run.Hours()) / bruteStep); n < int(hourOf(e.At)/bruteStep); n++ {
			if n >= 0 && n < steps {
				run[0][n], run[1][n], run[2][n] = 0, 0, 0
			}
		}
	}
	var sum [3]float64
	for k := range run {
		for _, r := range run[k] {
			sum[k] += r
		}
	}
	return sum
}

// randomLog is any log, contradictions included, on whole hours.
func randomLog(rng *rand.Rand, wound bool) []RunEvent {
	var log []RunEvent
	at := 0.0
	for range rng.IntN(14) {
		at += float64(2 * rng.IntN(80))
		e := RunEvent{At: day(at / 24)}
		switch k := rng.IntN(12); {
		case k < 3 && wound:
			e.Kind = RunWound
		case k == 3 && wound:
			e.Kind, e.Part, e.Run = RunWound, true, time.Duration(rng.IntN(4)*24)*time.Hour
		case k == 4 && wound:
			e.Kind, e.Run = RunHeight, time.Duration(rng.IntN(5)*24)*time.Hour
		case k < 5:
			e.Kind, e.Lasted = RunCut, day(at/24+float64(rng.IntN(20))/24)
			if rng.IntN(3) > 0 {
				e.Until = day(at/24 + float64(rng.IntN(200))/24)
			}
			e.Holds = 10 * time.Hour
			if rng.IntN(5) == 0 {
				e.Holds = -1
			}
		case k == 5:
			e.Kind, e.Run = RunPause, time.Hour
		case k < 8:
			e.Kind = RunSeen
		case k == 8:
			e.Kind = RunStarted
		default:
			e.Kind, e.Exact = RunStopped, k == 9
			if k == 10 {
				e.Since = day((at - float64(rng.IntN(30))) / 24)
			}
		}
		log = append(log, e)
	}
	return log
}

// TestRulesBySlowCount: over many logs, contradictions and all, the three
// totals are what a slow count by the same rules comes to, which reads the log
// anew for every stretch.
func TestRulesBySlowCount(t *testing.T) {
	const seed = 71
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	leftOut := 0
	for range 1500 {
		wound := rng.IntN(2) == 0
		restarts := rng.IntN(2) == 0
		reserve := time.Duration(0)
		if wound {
			reserve = 8 * days
		}
		log := randomLog(rng, wound)
		for i := range log {
			log[i].Restarts = log[i].Kind == RunCut && restarts
		}
		r, odd, err := Sift(day0, reserve, log)
		if err != nil {
			t.Fatal(err)
		}
		leftOut += len(odd)
		var kept []RunEvent
		for i, e := range log {
			if !slices.ContainsFunc(odd, func(o Oddity) bool { return o.Event == i }) {
				kept = append(kept, e)
			}
		}
		if _, err := NewRunning(day0, reserve, kept); err != nil {
			t.Fatalf("what was kept does not fit together: %v", err)
		}
		end := 500.0
		if n := len(kept); n > 0 {
			end += hourOf(kept[n-1].At)
		}
		want, got := bruteForce(reserve, kept, end), r.At(day(end/24))
		if tol := bruteStep * float64(len(kept)+1); !(abs(got.Lower-want[0]) <= tol && abs(got.Likely-want[1]) <= tol && abs(got.Upper-want[2]) <= tol) {
			for _, e := range kept {
				t.Log(words(e))
			}
			t.Fatalf("wound %v, restarts %v, %v h: got %v, want %v", wound, restarts, end, got, want)
		}
		checkLedger(t, r, end/24, rng)
	}
	if leftOut < 100 {
		t.Errorf("only %d events were contradictions: the logs try nothing", leftOut)
	}
}

func abs(x float64) float64 { return max(x, -x) }

func words(e RunEvent) string {
	s := fmt.Sprintf("%6.0f h %s", hourOf(e.At), e.Kind)
	if !e.Since.IsZero() {
		s += fmt.Sprintf(" since %.0f", hourOf(e.Since))
	}
	if !e.Until.IsZero() {
		s += fmt.Sprintf(" until %.0f", hourOf(e.Until))
	}
	return s + fmt.Sprintf(" exact %v, run %v, part %v, holds %v", e.Exact, e.Run, e.Part, e.Holds)
}
