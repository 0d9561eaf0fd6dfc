package round

import (
	"math"
	"slices"
)

// never is a way that cannot be gone, in minutes; sums of a few still fit an int.
const never = 1 << 40

// mostExact is up to how many stops an order is found by looking at all that
// could be better.
const mostExact = 9

// quickly is up to how many stops that is done even while a plan is still made.
const quickly = 6

// call is one stop of a day as its order sees it: it begins no sooner than open
// and ends no later than shut.
type call struct{ place, open, shut, stay int }

// ways are whole minutes from place to place, each begun one counted.
type ways struct {
	n   int
	min []int
}

func newWays(travel [][]float64, places int) ways {
	w := ways{n: max(places, len(travel))}
	w.min = make([]int, w.n*w.n)
	for i := range w.min {
		w.min[i] = never
	}
	for i, row := range travel {
		for j, v := range row {
			if j < w.n && v < never {
				w.min[i*w.n+j] = max(0, int(math.Ceil(v)))
			}
		}
	}
	for i := range w.n {
		w.min[i*w.n+i] = 0
	}
	return w
}

func (w ways) leg(a, b int) int { return w.min[a*w.n+b] }

// day is one person's day: hours between leaving home and being back, and stops in
// an order that holds.
type day struct {
	ways  ways
	home  int
	hours Hours
	calls []call
	// ids say which visit each call is.
	ids []int
	// ready is when a person is done with each call at the soonest, and latest is
	// when they may come to it at the latest so that all after it holds.
	ready, latest []int
	travel        int
	// sure: no order is better than the one that stands, as far as is looked for.
	sure bool
}

// place of the i-th call; home is before the first and after the last.
func (d *day) place(i int) int {
	if i < 0 || i >= len(d.calls) {
		return d.home
	}
	return d.calls[i].place
}

// settle works out the times of the order that stands, and whether it holds.
func (d *day) settle() bool {
	n := len(d.calls)
	if cap(d.ready) < n {
		d.ready, d.latest = make([]int, n, 2*n), make([]int, n, 2*n)
	}
	d.ready, d.latest = d.ready[:n], d.latest[:n]
	ok := true
	now := d.hours.From
	d.travel = 0
	for i, c := range d.calls {
		way := d.ways.leg(d.place(i-1), c.place)
		d.travel += way
		now = max(now+way, c.open) + c.stay
		d.ready[i] = now
		ok = ok && now <= c.shut
	}
	if n > 0 {
		way := d.ways.leg(d.place(n-1), d.home)
		d.travel += way
		ok = ok && now+way <= d.hours.To
	}
	end := d.hours.To
	for i := n - 1; i >= 0; i-- {
		c := d.calls[i]
		end = min(end-d.ways.leg(c.place, d.place(i+1)), c.shut) - c.stay
		d.latest[i] = end
	}
	return ok
}

// room is the cheapest place of a call in the order that stands: before which
// call, and how many minutes on the way it costs.
func (d *day) room(c call) (at, cost int, ok bool) {
	cost = never
	for i := 0; i <= len(d.calls); i++ {
		now := d.hours.From
		if i > 0 {
			now = d.ready[i-1]
		}
		a, b := d.place(i-1), d.place(i)
		in, out := d.ways.leg(a, c.place), d.ways.leg(c.place, b)
		now = max(now+in, c.open) + c.stay
		if now > c.shut {
			continue
		}
		end := d.hours.To
		if i < len(d.calls) {
			end = d.latest[i]
		}
		if now+out > end {
			continue
		}
		extra := in + out
		if len(d.calls) > 0 {
			extra -= d.ways.leg(a, b)
		}
		if extra < cost {
			at, cost, ok = i, extra, true
		}
	}
	return at, cost, ok
}

// put sets a call before the at-th.
func (d *day) put(at int, c call, id int) {
	d.calls = append(d.calls, call{})
	copy(d.calls[at+1:], d.calls[at:])
	d.calls[at] = c
	d.ids = append(d.ids, 0)
	copy(d.ids[at+1:], d.ids[at:])
	d.ids[at] = id
	d.sure = false
	d.settle()
}

// take removes the at-th call and reports whether what is left holds.
func (d *day) take(at int) bool {
	d.calls = append(d.calls[:at], d.calls[at+1:]...)
	d.ids = append(d.ids[:at], d.ids[at+1:]...)
	d.sure = false
	return d.settle()
}

// arrange puts the calls into the order with the least travel that holds, and
// reports whether there is one: with few calls the very least, with more a good
// one. Without one the order is left as it was.
func (d *day) arrange() bool {
	if d.sure {
		return true
	}
	order, ok := bestOrder(d.ways, d.home, d.hours, d.calls)
	d.sure = d.reorder(order, ok)
	return d.sure
}

// loosen puts the calls into an order that holds, though not always the best.
func (d *day) loosen() bool {
	if len(d.calls) <= quickly {
		return d.arrange()
	}
	order, ok := goodOrder(d.ways, d.home, d.hours, d.calls)
	return d.reorder(order, ok)
}

func (d *day) reorder(order []int, ok bool) bool {
	if !ok {
		return d.settle()
	}
	calls, ids := make([]call, len(order)), make([]int, len(order))
	for i, o := range order {
		calls[i], ids[i] = d.calls[o], d.ids[o]
	}
	d.calls, d.ids = calls, ids
	return d.settle()
}

// bestOrder is an order of calls with little travel such that all of them hold.
func bestOrder(w ways, home int, h Hours, calls []call) ([]int, bool) {
	order, ok := goodOrder(w, home, h, calls)
	if len(calls) > mostExact {
		around := tourOrder(w, home, h, calls)
		if around != nil && (!ok || orderTravel(w, home, calls, around) < orderTravel(w, home, calls, order)) {
			return around, true
		}
		return order, ok
	}
	s := search{ways: w, home: home, to: h.To, calls: calls, best: never, in: make([]int, len(calls))}
	if ok {
		s.best, s.order = orderTravel(w, home, calls, order), order
	}
	least := 0
	for i, c := range calls {
		s.in[i] = w.leg(home, c.place)
		for j, o := range calls {
			if i != j {
				s.in[i] = min(s.in[i], w.leg(o.place, c.place))
			}
		}
		least += s.in[i]
	}
	s.back = never
	for _, c := range calls {
		s.back = min(s.back, w.leg(c.place, home))
	}
	s.from(home, h.From, 0, least)
	return s.order, s.order != nil || len(calls) == 0
}

func orderTravel(w ways, home int, calls []call, order []int) int {
	at, sum := home, 0
	for _, o := range order {
		sum += w.leg(at, calls[o].place)
		at = calls[o].place
	}
	return sum + w.leg(at, home)
}

// search goes through orders depth first and turns back where none can be better.
type search struct {
	ways     ways
	home, to int
	calls    []call
	in       []int // the least way to each call
	back     int   // the least way home
	used     uint
	path     []int
	best     int
	order    []int
}

// from goes on at a place and a time with so much travel behind and at least so
// much ahead.
func (s *search) from(at, now, travel, ahead int) {
	if len(s.path) == len(s.calls) {
		way := s.ways.leg(at, s.home)
		if now+way <= s.to && travel+way < s.best {
			s.best = travel + way
			s.order = append([]int(nil), s.path...)
		}
		return
	}
	if travel+ahead+s.back >= s.best {
		return
	}
	for i, c := range s.calls {
		if s.used&(1<<i) == 0 && max(now+s.in[i], c.open)+c.stay > c.shut {
			return // it only gets later
		}
	}
	for i, c := range s.calls {
		if s.used&(1<<i) != 0 {
			continue
		}
		way := s.ways.leg(at, c.place)
		done := max(now+way, c.open) + c.stay
		if done > c.shut {
			continue
		}
		s.used |= 1 << i
		s.path = append(s.path, i)
		s.from(c.place, done, travel+way, ahead-s.in[i])
		s.path = s.path[:len(s.path)-1]
		s.used &^= 1 << i
	}
}

// tourKicks is how long a tour is looked for where windows may not matter.
const tourKicks = 30

// tourOrder is a short tour from home over all calls if their windows happen to
// hold on it; nil if not.
func tourOrder(w ways, home int, h Hours, calls []call) []int {
	n := len(calls) + 1
	place := func(i int) int {
		if i == 0 {
			return home
		}
		return calls[i-1].place
	}
	sub := ways{n: n, min: make([]int, n*n)}
	for i := range n {
		for j := range n {
			sub.min[i*n+j] = w.leg(place(i), place(j))
		}
	}
	around := tour(sub, tourKicks, 1)
	at := slices.Index(around, 0)
	d := day{ways: w, home: home, hours: h}
	for i := 1; i < n; i++ {
		c := around[(at+i)%n] - 1
		d.calls, d.ids = append(d.calls, calls[c]), append(d.ids, c)
	}
	if d.settle() {
		return d.ids
	}
	if reverse(d.calls, d.ids); d.settle() {
		return d.ids
	}
	return nil
}

// goodOrder inserts the calls one after another where they cost least, those that
// have the least time left first or else those that shut first, and then moves and
// turns parts of the order.
func goodOrder(w ways, home int, h Hours, calls []call) ([]int, bool) {
	for _, pick := range []func(*day, []call, []int) int{mostPressed, shutsFirst} {
		if d := inserted(w, home, h, calls, pick); d != nil {
			for d.turn() || d.shift() {
			}
			return d.ids, true
		}
	}
	return nil, false
}

func inserted(w ways, home int, h Hours, calls []call, pick func(*day, []call, []int) int) *day {
	d := &day{ways: w, home: home, hours: h}
	left := make([]int, len(calls))
	for i := range left {
		left[i] = i
	}
	for len(left) > 0 {
		k := pick(d, calls, left)
		at, _, ok := d.room(calls[left[k]])
		if !ok {
			return nil
		}
		d.put(at, calls[left[k]], left[k])
		left = append(left[:k], left[k+1:]...)
	}
	return d
}

// shutsFirst is which of those left must begin first.
func shutsFirst(_ *day, calls []call, left []int) int {
	best := 0
	for k, i := range left {
		if b := calls[left[best]]; calls[i].shut-calls[i].stay < b.shut-b.stay {
			best = k
		}
	}
	return best
}

// mostPressed is which of those left to insert next: what has the least time left
// to shutting, then what costs most.
func mostPressed(d *day, calls []call, left []int) int {
	best, slack, cost := 0, math.MaxInt, -1
	for k, i := range left {
		c := calls[i]
		s := c.shut - c.stay - max(c.open, d.hours.From)
		_, extra, ok := d.room(c)
		if !ok {
			return k
		}
		if s < slack || s == slack && extra > cost {
			best, slack, cost = k, s, extra
		}
	}
	return best
}

// turn turns one part of the order around where that is shorter and holds.
func (d *day) turn() bool {
	for i := range d.calls {
		for j := i + 1; j < len(d.calls); j++ {
			before := d.travel
			reverse(d.calls[i:j+1], d.ids[i:j+1])
			if d.settle() && d.travel < before {
				return true
			}
			reverse(d.calls[i:j+1], d.ids[i:j+1])
			d.settle()
		}
	}
	return false
}

func reverse(calls []call, ids []int) {
	for i, j := 0, len(ids)-1; i < j; i, j = i+1, j-1 {
		calls[i], calls[j] = calls[j], calls[i]
		ids[i], ids[j] = ids[j], ids[i]
	}
}

// shift moves one call to where it costs less.
func (d *day) shift() bool {
	for i := range d.calls {
		before, c, id := d.travel, d.calls[i], d.ids[i]
		holds := d.take(i) // not where a way is shorter by way of the call
		if at, cost, ok := d.room(c); ok && holds && d.travel+cost < before {
			d.put(at, c, id)
			return true
		}
		d.put(i, c, id)
	}
	return false
}

// times are when each call begins and when the day begins and ends: as late as
// the soonest end allows, so that nobody waits who need not.
func (d *day) times() (leave int, begin []int, back int) {
	n := len(d.calls)
	if n == 0 {
		return d.hours.From, nil, d.hours.From
	}
	d.settle()
	back = d.ready[n-1] + d.ways.leg(d.place(n-1), d.home)
	begin = make([]int, n)
	end := back
	for i := n - 1; i >= 0; i-- {
		c := d.calls[i]
		begin[i] = min(end-d.ways.leg(c.place, d.place(i+1)), c.shut) - c.stay
		end = begin[i]
	}
	return begin[0] - d.ways.leg(d.home, d.place(0)), begin, back
}
