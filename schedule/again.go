package schedule

import (
	"reflect"
	"slices"
	"time"

	"endshake/wear"
)

// reuse is what an earlier answer for a clock gives to a new one: only what
// hangs on neither the day nor what was logged since, so that the new answer is
// the same to the last bit as one made with nothing at hand.
type reuse struct {
	from  *Assessment // nil: there is none
	clock bool        // the clock and its site are described alike
	log   bool        // and the log that counts is the same
}

// Again assesses every clock of a snapshot anew at now, and takes over what
// cannot have changed; the log is by Clock.Slug. The old snapshot stays as it was.
func (s *Snapshot) Again(log map[string][]Entry, m Model, now time.Time) *Snapshot {
	return survey(s.Fleet, log, m, now, s)
}

// counted is the log that counts at now, oldest first, and whether it is that
// of the earlier answer: that one's own then.
func (f Facts) counted(now time.Time) (log []Entry, same bool) {
	order := inOrder(f.Entries)
	order = slices.DeleteFunc(order, func(e *Entry) bool { return e.At.After(now.Add(leeway)) })
	if f.Before != nil && sameLog(order, f.Before.Entries) {
		return f.Before.Entries, true
	}
	if len(order) == 0 {
		return nil, false
	}
	log = make([]Entry, len(order))
	for i, e := range order {
		log[i] = *e
	}
	followUndone(log, f.Entries)
	return log, false
}

// inOrder is [Effective] by reference.
func inOrder(log []Entry) []*Entry {
	var replaced map[string]bool
	for i := range log {
		if id := log[i].Replaces; id != "" {
			if replaced == nil {
				replaced = map[string]bool{}
			}
			replaced[id] = true
		}
	}
	out := make([]*Entry, 0, len(log))
	for i := range log {
		if e := &log[i]; replaced == nil || e.ID == "" || !replaced[e.ID] {
			out = append(out, e)
		}
	}
	if !slices.IsSortedFunc(out, byTime) {
		slices.SortStableFunc(out, byTime)
	}
	return out
}

// settled is [Effective] of a log that is not changed: the log itself, where
// nothing in it was corrected and it is in order.
func settled(log []Entry) []Entry {
	for i := range log {
		if log[i].Replaces != "" || i > 0 && byTime(&log[i-1], &log[i]) > 0 {
			return Effective(log)
		}
	}
	return log
}

// upTo is the log that counted when an entry happened, of one that counts now;
// what the entry replaces is left out.
func upTo(log []Entry, e Entry) []Entry {
	n := len(log)
	for n > 0 && log[n-1].At.After(e.At) {
		n--
	}
	if log = log[:n:n]; e.Replaces != "" {
		log = slices.DeleteFunc(slices.Clone(log), func(old Entry) bool { return old.ID == e.Replaces })
	}
	return log
}

// sameLog reports whether two logs are of the same entries. An entry never
// changes, so those of one ID are one.
func sameLog(order []*Entry, old []Entry) bool {
	if len(order) != len(old) {
		return false
	}
	for i, e := range order {
		o := &old[i]
		if e != o && (e.ID != o.ID || e.Kind != o.Kind || !e.At.Equal(o.At) || !e.RecordedAt.Equal(o.RecordedAt) ||
			e.ID == "" && !reflect.DeepEqual(e, o)) {
			return false
		}
	}
	return true
}

// alike finds what the earlier answer can give. Descriptions that share their
// memory, as those of one fleet do, are compared at a glance.
func (f Facts) alike() reuse {
	if f.Before == nil {
		return reuse{}
	}
	return reuse{from: f.Before, clock: reflect.DeepEqual(f.Clock, f.Before.Clock) && reflect.DeepEqual(f.Site, f.Before.Site)}
}

// train is what was known of a train by the same log; nil: nothing.
func (w reuse) train(code string) *TrainState {
	if !w.clock || !w.log {
		return nil
	}
	for i := range w.from.Trains {
		if st := &w.from.Trains[i]; st.Train.Code == code && st.sifted != nil {
			return st
		}
	}
	return nil
}

// sifted is how a train ran by its log, and what of that does not fit.
type sifted struct {
	running wear.Running
	odd     []oddEntry
	err     error
}

// oddEntry is an entry that does not fit the rest.
type oddEntry struct {
	old bool // copied from an old book
	why string
}

// sift works out how a train ran, or takes it over.
func (a *Assessment) sift(t wear.Train) *sifted {
	if was := a.reuse.train(t.Code); was != nil {
		return was.sifted
	}
	h := historyOf(a.Clock, a.Zone, a.Entries, t)
	r, odd, err := h.sift()
	s := &sifted{running: r, err: err}
	for _, o := range odd {
		s.odd = append(s.odd, oddEntry{a.Entries[h.from[o.Event]].Old, o.Why})
	}
	return s
}

// outlook is what was found of a bearing; nil: nothing.
func (w reuse) outlook(code string) *Outlook {
	if w.from == nil {
		return nil
	}
	for i := range w.from.Outlooks {
		if o := &w.from.Outlooks[i]; o.Bearing.Code == code && o.memo != nil {
			return o
		}
	}
	return nil
}

// memo is what was worked out of a bearing from its prior, the settings and its
// record alone, whatever the day: enough to take it over where those are the
// same. It holds what one answer asked for and nothing older, and is not
// changed once that is made.
type memo struct {
	learned   *Learned // and pair: behind the prior
	pair      wear.Pair
	params    wear.Params
	segs      []wear.Segment
	rates     [3]float64
	readAgain bool
	limit     float64 // of crossings and found
	crossings [3]wear.Crossing
	found     int // readings before the last at which it was first found over; -1: not asked
	unseen    []unseen
	rest      *rest
}

// unseen is when a limit is passed with some chance.
type unseen struct {
	limit, risk float64
	at          wear.Crossing
}

// rest is what is known without the last reading.
type rest struct {
	wear wear.Posterior
	segs []wear.Segment
	err  error
}

// priorOf is what is believed of a bearing beforehand: as it was found last time
// where neither the clock nor what the fleet has taught is another.
func (r *record) priorOf(b wear.Bearing, arbor wear.Arbor, t wear.Train, a Assessment, m Model) wear.Prior {
	if was := a.reuse.outlook(b.Code); was != nil && a.reuse.clock && was.memo.learned == m.Learned && was.memo.pair == r.pair {
		return was.Prior
	}
	return m.prior(b, arbor, t, a.Zone)
}

// recall finds what was worked out of the same record, with its doubts; nil
// where anything is otherwise.
func (r *record) recall(o, was *Outlook, params wear.Params) *memo {
	if was == nil || was.Prior.Mu != o.Prior.Mu || was.Prior.Om != o.Prior.Om || was.memo.params != params || !slices.EqualFunc(r.segs, was.memo.segs, sameSegment) ||
		!slices.EqualFunc(r.parts, was.Parts, func(a, b Part) bool { return len(a.Readings) == len(b.Readings) }) {
		return nil
	}
	for i := range r.parts {
		for k := range r.parts[i].Readings {
			if doubt := was.Parts[i].Readings[k].Doubt; r.parts[i].Readings[k].Doubt != doubt {
				r.parts[i].Readings[k].Doubt = doubt
			}
		}
	}
	return was.memo
}

func sameSegment(a, b wear.Segment) bool {
	return a.H0 == b.H0 && a.Fresh == b.Fresh && a.Carry == b.Carry && a.Redrawn == b.Redrawn &&
		(a.Start == b.Start || a.Start != nil && b.Start != nil && *a.Start == *b.Start) && slices.Equal(a.Readings, b.Readings)
}

// undoubted is a copy of parts without what was doubted.
func undoubted(parts []Part) []Part {
	parts = slices.Clone(parts)
	for i := range parts {
		parts[i].Readings = slices.Clone(parts[i].Readings)
		for k := range parts[i].Readings {
			parts[i].Readings[k].Doubt = 0
		}
	}
	return parts
}

// crossings are the 10, 50 and 90 % crossings of the limit, from the last fact.
func (p *forecast) crossings(limit float64) [3]wear.Crossing {
	p.memo.limit = limit
	if p.was != nil && p.was.limit == limit {
		p.memo.crossings = p.was.crossings
	} else {
		p.memo.crossings = p.o.Wear.Crossings(limit, p.o.Wear.Now())
	}
	return p.memo.crossings
}

// crossing is when a limit is passed with some chance, from the last fact.
func (p *forecast) crossing(limit, risk float64) wear.Crossing {
	c := unseen{limit: limit, risk: risk}
	i := -1
	if p.was != nil {
		i = slices.IndexFunc(p.was.unseen, func(u unseen) bool { return u.limit == limit && u.risk == risk })
	}
	if i >= 0 {
		c.at = p.was.unseen[i].at
	} else {
		c.at = p.o.Wear.Crossing(limit, p.o.Wear.Now(), risk)
	}
	p.memo.unseen = append(p.memo.unseen, c)
	return c.at
}

// withoutLast is what is known without the last reading of the present part.
func (p *forecast) withoutLast() (wear.Posterior, []wear.Segment, error) {
	switch {
	case p.memo.rest != nil:
	case p.was != nil && p.was.rest != nil:
		p.memo.rest = p.was.rest
	default:
		r := &rest{}
		r.wear, r.segs, r.err = p.without(1)
		p.memo.rest = r
	}
	return p.memo.rest.wear, p.memo.rest.segs, p.memo.rest.err
}
