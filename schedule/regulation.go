package schedule

import (
	"math"
	"strconv"
	"time"

	"endshake/wear"
)

// Regulation is one change of a clock's rate.
type Regulation struct {
	At     time.Time
	Entry  string
	Turns  float64 // of the nut, + raises the bob
	Grams  float64 // put on, - taken off
	Total  float64 // turns since the log begins, those undone left out
	On     float64 // grams on the pendulum, likewise
	Undone bool
	Undoes string // Entry of the regulation that this one takes back
	// Expected is the rate that it should bring and Brought what the errors
	// before and after say; nil: not known. BroughtSD is its deviation.
	Expected, Brought *float64
	BroughtSD         float64
}

// regulate takes in a regulation. One that undoes another without saying by
// how much takes back all of it.
func (k *timekeeper) regulate(e *Entry) {
	r := Regulation{At: e.At, Entry: e.ID, Turns: e.NutTurns, Grams: e.Grams, Undoes: e.Undoes}
	all := k.t.Regulations
	if e.Undoes != "" {
		for i := len(all) - 1; i >= 0; i-- {
			if all[i].Entry == e.Undoes {
				all[i].Undone = true
				if r.Turns == 0 && r.Grams == 0 {
					r.Turns, r.Grams = -all[i].Turns, -all[i].Grams
				}
				break
			}
		}
	}
	if n := len(all); n > 0 {
		r.Total, r.On = all[n-1].Total, all[n-1].On
	}
	r.Total, r.On = r.Total+r.Turns, r.On+r.Grams
	if v, ok := k.a.Clock.Care.Pendulum.brings(r.Turns, r.Grams); ok {
		r.Expected = &v
		k.step.expected += v
	} else {
		k.step.unknown++
	}
	k.t.Regulations = append(all, r)
}

// brings is the rate that turns of the nut and grams put on at mid-length
// should bring; ok is false where the pendulum is not described well enough, or
// nothing says what was done.
func (p *Pendulum) brings(turns, grams float64) (rate float64, ok bool) {
	if p == nil || turns == 0 && grams == 0 {
		return 0, false
	}
	if turns != 0 {
		if !(p.Pitch > 0) || !(p.Beat > 0) {
			return 0, false
		}
		rate += turns * wear.NutRate(p.Pitch, wear.PendulumLength(p.Beat))
	}
	if grams != 0 {
		if !(p.Bob > 0) {
			return 0, false
		}
		rate += wear.AddedRate(grams/1000/p.Bob, .5)
	}
	return rate, finiteRate(rate)
}

// finiteRate reports whether a rate is one: a regulation can make a clock gain
// or lose hours, and no more.
func finiteRate(v float64) bool { return math.Abs(v) <= 86400 }

// brought compares the stretches on either side of each regulation.
func (k *timekeeper) brought() {
	var before *span
	for i := range k.spans {
		s := &k.spans[i]
		if !s.ok {
			continue
		}
		if before != nil && s.regs == before.regs+1 {
			v := s.rate.PerDay - before.rate.PerDay
			r := &k.t.Regulations[before.regs]
			r.Brought, r.BroughtSD = &v, math.Hypot(s.rate.SD, before.rate.SD)
		}
		before = s
	}
}

// Standing is the last regulation that is in force: neither taken back, nor the
// taking back of one.
func (t Timekeeping) Standing() (Regulation, bool) {
	for i := len(t.Regulations) - 1; i >= 0; i-- {
		if r := t.Regulations[i]; !r.Undone && r.Undoes == "" {
			return r, true
		}
	}
	return Regulation{}, false
}

// UndoWords says what to do to take a regulation back: "lower the bob by 0.25
// turn, take off 2 g"; empty where it says nothing of what was done.
func (r Regulation) UndoWords() string {
	turn, gram := "", ""
	switch v := math.Abs(r.Turns); {
	case r.Turns > 0:
		turn = "lower the bob by " + turnWords(v)
	case r.Turns < 0:
		turn = "raise the bob by " + turnWords(v)
	}
	switch v := math.Abs(r.Grams); {
	case r.Grams > 0:
		gram = "take off " + figure(v) + " g"
	case r.Grams < 0:
		gram = "put on " + figure(v) + " g"
	}
	if turn != "" && gram != "" {
		return turn + ", " + gram
	}
	return turn + gram
}

// UndoWords says what to do to take back the last regulation that is in force;
// empty: there is none.
func (t Timekeeping) UndoWords() string {
	r, _ := t.Standing()
	return r.UndoWords()
}

func turnWords(v float64) string {
	if v > 1 {
		return figure(v) + " turns"
	}
	return figure(v) + " turn"
}

// figure prints a number with no more digits than it has: 0.25, 2.
func figure(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
