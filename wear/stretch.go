package wear

import (
	"math"
	"sort"
	"time"
)

// never is the end of a stretch that has none.
const never = time.Duration(math.MaxInt64)

// stretch is an interval of running, start included and end not, with the
// total of the stretches before it. Run is how much of it was running: all of
// it but where an hour meter says less.
type stretch struct{ start, end, before, run time.Duration }

// whole reports that it ran all through.
func (x stretch) whole() bool { return x.run == x.end-x.start }

// part is how much of it ran in its first so long.
func (x stretch) part(d time.Duration) time.Duration {
	if x.whole() {
		return d
	}
	return time.Duration(float64(d) / float64(x.end-x.start) * float64(x.run))
}

// stretches are in order and do not overlap.
type stretches []stretch

// last returns the index of the last stretch that starts at or before d, or -1.
func (s stretches) last(d time.Duration) int {
	return sort.Search(len(s), func(i int) bool { return s[i].start > d }) - 1
}

// until returns the total up to d.
func (s stretches) until(d time.Duration) time.Duration {
	i := s.last(d)
	switch {
	case i < 0:
		return 0
	case d >= s[i].end:
		return s[i].before + s[i].run
	}
	return s[i].before + s[i].part(d-s[i].start)
}

// reach returns when the total first is sum, which is good to within slack: so
// much too much must not fall beyond a stop.
func (s stretches) reach(sum, slack time.Duration) (time.Duration, bool) {
	if sum <= 0 {
		return 0, true
	}
	i := max(0, sort.Search(len(s), func(i int) bool { return s[i].before >= sum-slack })-1)
	if len(s) == 0 || sum-slack-s[i].before > s[i].run {
		return 0, false
	}
	d := min(sum-s[i].before, s[i].run)
	if !s[i].whole() {
		d = min(time.Duration(float64(d)/float64(s[i].run)*float64(s[i].end-s[i].start)), s[i].end-s[i].start)
	}
	return s[i].start + d, true
}

// gaps returns how many spans between stretches lie at least partly in [a, b).
func (s stretches) gaps(a, b time.Duration) int {
	n, at := 0, a
	for _, x := range s[max(0, s.last(a)):] {
		if x.end <= a {
			continue
		}
		if x.start >= b {
			break
		}
		if x.start > at {
			n++
		}
		at = x.end
	}
	if at < b {
		n++
	}
	return n
}

// add appends a stretch that starts no earlier than the last one ends.
func (s *stretches) add(start, end time.Duration) { s.addRun(start, end, end-start) }

// addRun appends one of which only so much was running.
func (s *stretches) addRun(start, end, run time.Duration) {
	if end <= start || run <= 0 {
		return
	}
	x := stretch{start: start, end: end, run: run}
	if n := len(*s); n > 0 {
		last := &(*s)[n-1]
		if last.end == start && last.whole() && x.whole() {
			last.end, last.run = end, end-last.start
			return
		}
		x.before = last.before + last.run
	}
	*s = append(*s, x)
}

// gap is an interval, start included and end not.
type gap struct{ from, to time.Duration }

// addBut appends [start, end) without the gaps, which are in order of their
// beginnings.
func (s *stretches) addBut(start, end time.Duration, gaps []gap) {
	for _, g := range gaps {
		if g.to <= start || g.from >= g.to {
			continue
		}
		if g.from >= end {
			break
		}
		s.add(start, g.from)
		start = g.to
	}
	s.add(start, end)
}

// within returns what lies in [a, b).
func (s stretches) within(a, b time.Duration) []gap {
	var out []gap
	for _, x := range s[max(0, s.last(a)):] {
		if x.start >= b {
			break
		}
		if x.end > a {
			out = append(out, gap{max(a, x.start), min(b, x.end)})
		}
	}
	return out
}

// without returns the stretches with spans cut out, which are in order and do
// not overlap.
func (s stretches) without(gaps []gap) stretches {
	if len(gaps) == 0 {
		return s
	}
	out, g := make(stretches, 0, len(s)+len(gaps)), 0
	for _, x := range s {
		for g < len(gaps) && gaps[g].to <= x.start {
			g++
		}
		out.addBut(x.start, x.end, gaps[g:])
	}
	return out
}
