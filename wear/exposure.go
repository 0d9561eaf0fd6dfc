package wear

import (
	"fmt"
	"math"
	"sort"
	"time"

	"gonum.org/v1/gonum/mathext"
)

// RunKind is what an event says about a train's running.
type RunKind string

// The kinds of event.
const (
	RunStarted RunKind = "started"
	RunStopped RunKind = "stopped"
	RunWound   RunKind = "wound" // a full wind
	RunSeen    RunKind = "seen"  // somebody was there and it was going
)

// RunEvent is one fact from the log about a train's running.
type RunEvent struct {
	At   time.Time
	Kind RunKind
	// Since is, for a stop, when it had stopped, if that is known and before
	// At; zero otherwise.
	Since time.Time
	// Exact says, for a stop, that At is when it stopped: by hand.
	Exact bool
}

// Exposure is a span of run-hours: never under Lower, never over Upper as far
// as the log can tell, and Likely in between.
type Exposure struct{ Lower, Likely, Upper float64 }

// Running is how long a train has run, from its log. It does not change once
// made, and its methods look up in the logarithm of the number of events.
//
// Between two events that prove a train was going it ran; what is missing from
// the log is never read as a stop. The reserve of a hand-wound train is where
// doubt comes in:
//
//   - A wind that comes later than the reserve after the one before: Lower has
//     it run down in between. Likely too, when the gap is no more than twice
//     the reserve (one wind was missed); a longer gap means that winds were
//     not written down, and Likely runs on. Upper always runs on.
//   - A train seen going, or stopped at a known instant, later than the
//     reserve after its last wind was wound by somebody who did not write it
//     down: Likely and Upper run on, from then with a full reserve; Lower ran
//     down and counts again from the next wind.
//   - After the last event Lower runs down with the reserve, the others run on.
//
// A train found stopped at an unknown instant ran, by Lower, to the last event
// that shows it going; by Upper, until it was found or had run down; by
// Likely, to the middle. Once stopped it stays so until a start is logged: a
// visit or a wind in between says nothing. Time stopped does not use the
// reserve.
type Running struct {
	from    time.Time
	reserve time.Duration
	winds   []time.Duration // since from, rising
	// Lower's stretches lie within Likely's, and those within Upper's.
	lower, likely, upper stretches
	stood                stretches // stopped as far as the log says
}

// never is the end of a stretch that has none.
const never = time.Duration(math.MaxInt64)

// longest is how much history a Running takes: 200 years, within the 292 that
// a Duration holds.
const longest = 200 * 366 * 24 * time.Hour

// NewRunning makes the running total of a train from when its history starts.
// reserve is how long a full wind runs a hand-wound train; zero otherwise. The
// events must be in order of time. The train is taken as going at from, unless
// the history begins with a start, or with a wind and a start within a day of
// it: then it starts there.
//
// Errors name the instant: events out of order or before from, a start while
// going, a stop while stopped, a stop said to have begun before the train was
// last shown going, an unknown kind.
func NewRunning(from time.Time, reserve time.Duration, events []RunEvent) (Running, error) {
	if from.IsZero() || reserve < 0 {
		return Running{}, fmt.Errorf("run-hours: a history needs an instant to start from, and a reserve of nothing or more")
	}
	c := runCount{r: Running{from: from, reserve: reserve}, going: !startsStopped(events)}
	for _, e := range events {
		if err := c.take(e); err != nil {
			return Running{}, fmt.Errorf("run-hours: %w", err)
		}
	}
	c.finish()
	return c.r, nil
}

// startsStopped reports whether a history begins with a start: winds for it
// may come first, but none more than a day before, or the train was going.
func startsStopped(events []RunEvent) bool {
	for _, e := range events {
		if e.Kind != RunWound {
			return e.Kind == RunStarted && e.At.Sub(events[0].At) <= 24*time.Hour
		}
	}
	return false
}

// At returns the run-hours from the start of the history to t.
func (r Running) At(t time.Time) Exposure {
	d := r.since(t)
	return Exposure{r.lower.until(d).Hours(), r.likely.until(d).Hours(), r.upper.until(d).Hours()}
}

// Between returns the run-hours from a to b; negative when b is before a.
func (r Running) Between(a, b time.Time) Exposure {
	x, y := r.since(a), r.since(b)
	return Exposure{
		(r.lower.until(y) - r.lower.until(x)).Hours(),
		(r.likely.until(y) - r.likely.until(x)).Hours(),
		(r.upper.until(y) - r.upper.until(x)).Hours(),
	}
}

// Going reports whether the train was likely going at t. It is not before the
// history starts, nor while a missed wind has it run down.
func (r Running) Going(t time.Time) bool {
	d := r.since(t)
	i := r.likely.last(d)
	return i >= 0 && d < r.likely[i].end
}

// StoppedSince returns when a train that is not going at t likely stopped. ok
// is false when it is going, or t is before the history.
func (r Running) StoppedSince(t time.Time) (since time.Time, ok bool) {
	d := r.since(t)
	i := r.likely.last(d)
	switch {
	case d < 0 || i >= 0 && d < r.likely[i].end:
		return time.Time{}, false
	case i < 0:
		return r.from, true
	}
	return r.from.Add(r.likely[i].end), true
}

// RunsDown returns when the last full wind at or before t runs out, if the
// train goes on as it does at t; time that the log has it stopped up to t does
// not count. ok is false for a train that is not hand-wound or has no wind yet.
func (r Running) RunsDown(t time.Time) (at time.Time, ok bool) {
	d := r.since(t)
	i := sort.Search(len(r.winds), func(i int) bool { return r.winds[i] > d }) - 1
	if r.reserve == 0 || i < 0 {
		return time.Time{}, false
	}
	wind := r.winds[i]
	down := wind + r.reserve
	for { // a stop puts it off, but only one that comes before it has run down
		next := wind + r.reserve + r.stood.until(min(d, down)) - r.stood.until(wind)
		if next <= down {
			return r.from.Add(down), true
		}
		down = next
	}
}

// When returns the first instant, not before after, at which the likely total
// from the start of the history reaches runHours; beyond the last event a
// train that is going goes on. It is the zero time when that never comes, or
// not within 200 years.
func (r Running) When(runHours float64, after time.Time) time.Time {
	if math.IsNaN(runHours) || runHours > longest.Hours() {
		return time.Time{}
	}
	// Hours in floating point are good to nanoseconds; one too many would fall
	// beyond a stop.
	d, ok := r.likely.reach(time.Duration(runHours * float64(time.Hour)).Truncate(time.Microsecond))
	if !ok {
		return time.Time{}
	}
	if at := r.from.Add(d); at.After(after) {
		return at
	}
	return after
}

// Duty returns the share of the time from a to b that the train likely ran;
// 0 unless b is after a.
func (r Running) Duty(a, b time.Time) float64 {
	if !b.After(a) {
		return 0
	}
	return float64(r.likely.until(r.since(b))-r.likely.until(r.since(a))) / float64(b.Sub(a))
}

// DutyBand returns the 5 %, 50 % and 95 % points of the long-run duty, as far
// as the running from a to b tells: a Beta posterior on days run and days
// stopped, both divided by the mean length of a stop because stopped days come
// in a row (judgement). With no running history it is the whole range.
func (r Running) DutyBand(a, b time.Time) (low, middle, high float64) {
	x, y := r.since(a), r.since(b)
	if y <= x {
		return betaBand(0, 0)
	}
	run := r.likely.until(y) - r.likely.until(x)
	stop := y - x - run
	each := 24 * time.Hour
	if stops := r.likely.gaps(x, y); stops > 0 {
		each = max(each, stop/time.Duration(stops))
	}
	return betaBand(float64(run)/float64(each), float64(stop)/float64(each))
}

// betaBand is the 5, 50 and 95 % points of Beta(1+run, 1+stop).
func betaBand(run, stop float64) (low, middle, high float64) {
	q := func(p float64) float64 { return mathext.InvRegIncBeta(1+run, 1+stop, p) }
	return q(.05), q(.5), q(.95)
}

func (r Running) since(t time.Time) time.Duration { return t.Sub(r.from) }

// stretch is an interval of running, start included and end not, with the
// total of the stretches before it.
type stretch struct{ start, end, before time.Duration }

// stretches are in order and do not touch.
type stretches []stretch

// last returns the index of the last stretch that starts at or before d, or -1.
func (s stretches) last(d time.Duration) int {
	return sort.Search(len(s), func(i int) bool { return s[i].start > d }) - 1
}

// until returns the total up to d.
func (s stretches) until(d time.Duration) time.Duration {
	i := s.last(d)
	if i < 0 {
		return 0
	}
	return s[i].before + min(d, s[i].end) - s[i].start
}

// reach returns when the total first is sum.
func (s stretches) reach(sum time.Duration) (time.Duration, bool) {
	if sum <= 0 {
		return 0, true
	}
	i := sort.Search(len(s), func(i int) bool { return s[i].before >= sum }) - 1
	if i < 0 {
		return 0, false
	}
	d := s[i].start + sum - s[i].before
	return d, d <= s[i].end
}

// gaps returns how many spans between stretches lie at least partly in [a, b).
func (s stretches) gaps(a, b time.Duration) int {
	n, at := 0, a
	for _, x := range s {
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
func (s *stretches) add(start, end time.Duration) {
	if end <= start {
		return
	}
	before := time.Duration(0)
	if n := len(*s); n > 0 {
		last := &(*s)[n-1]
		if last.end == start {
			last.end = end
			return
		}
		before = last.before + last.end - last.start
	}
	*s = append(*s, stretch{start, end, before})
}

// runCount walks the events of a train in order.
type runCount struct {
	r     Running
	at    time.Duration // the last event
	going bool
	bound bool // hand-wound, and a full wind has been logged: the two below hold
	// While going: the instants at which the wind runs out for Lower and for
	// the others. While stopped: what is left of it.
	lowDue, due time.Duration
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

func (c *runCount) take(e RunEvent) error {
	d := c.r.since(e.At)
	switch {
	case d < 0:
		return fmt.Errorf("the event of %s is before the history starts: begin the history earlier", stamp(e.At))
	case d < c.at:
		return fmt.Errorf("the event of %s comes after a later one: put the events in order of time", stamp(e.At))
	case d > longest:
		return fmt.Errorf("the event of %s is more than 200 years after the start of the history: check the year", stamp(e.At))
	}
	switch e.Kind {
	case RunStarted:
		if c.going {
			return fmt.Errorf("started at %s, but the log has it going already: log the stop before it, or correct one of the two starts", stamp(e.At))
		}
		c.r.stood.add(c.at, d)
		c.going, c.lowDue, c.due = true, d+c.lowDue, d+c.due
	case RunStopped:
		if !c.going {
			return fmt.Errorf("stopped at %s, but the log has it stopped already: log the start before it, or correct one of the two stops", stamp(e.At))
		}
		return c.stop(e, d)
	case RunWound:
		c.wind(d)
	case RunSeen:
		if c.going {
			c.shown(d)
		} else {
			c.r.stood.add(c.at, d)
		}
	default:
		return fmt.Errorf("the event of %s has unknown kind %q", stamp(e.At), e.Kind)
	}
	c.at = d
	return nil
}

// shown has it run from the last event to d, which proves it going then.
func (c *runCount) shown(d time.Duration) {
	c.r.likely.add(c.at, d)
	c.r.upper.add(c.at, d)
	switch {
	case !c.bound || d <= c.due:
		c.r.lower.add(c.at, d)
		c.lowDue = max(c.lowDue, d)
	default: // a wind nobody wrote down
		c.r.lower.add(c.at, c.lowDue)
		c.lowDue, c.due = d, d+c.r.reserve
	}
}

// wind has it run from the last event to a full wind at d.
func (c *runCount) wind(d time.Duration) {
	c.r.winds = append(c.r.winds, d)
	if !c.going {
		c.r.stood.add(c.at, d)
		c.bound, c.lowDue, c.due = c.r.reserve > 0, c.r.reserve, c.r.reserve
		return
	}
	low, likely := d, d
	if c.bound {
		low = min(d, max(c.at, c.lowDue))
		if gap := d - (c.due - c.r.reserve); d > c.due && gap <= 2*c.r.reserve {
			likely = c.due
		}
	}
	c.r.lower.add(c.at, low)
	c.r.likely.add(c.at, likely)
	c.r.upper.add(c.at, d)
	c.bound, c.lowDue, c.due = c.r.reserve > 0, d+c.r.reserve, d+c.r.reserve
}

// stop takes a stop logged at d.
func (c *runCount) stop(e RunEvent, d time.Duration) error {
	known := d
	if !e.Exact && !e.Since.IsZero() {
		known = c.r.since(e.Since)
	}
	switch {
	case known > d:
		return fmt.Errorf("stopped at %s, but said to have stood since later: correct the entry", stamp(e.At))
	case known < c.at:
		return fmt.Errorf("stopped at %s, but said to have stood since before it was last logged going, at %s: correct one of the two",
			stamp(e.At), stamp(c.r.from.Add(c.at)))
	case e.Exact || !e.Since.IsZero():
		c.shown(known)
		c.lowDue, c.due = max(0, c.lowDue-known), max(0, c.due-known)
	default:
		known = c.lost(d)
	}
	c.r.stood.add(known, d)
	c.at, c.going = d, false
	return nil
}

// lost has it run from the last event to an unknown instant before d, and
// returns the likely one.
func (c *runCount) lost(d time.Duration) time.Duration {
	end := d
	if c.bound {
		end = max(c.at, min(d, c.due))
	}
	likely := c.at + (end-c.at)/2
	c.r.likely.add(c.at, likely)
	c.r.upper.add(c.at, end)
	c.lowDue, c.due = max(0, c.lowDue-end), max(0, c.due-likely)
	return likely
}

// finish lets the last state run on.
func (c *runCount) finish() {
	if !c.going {
		c.r.stood.add(c.at, never)
		return
	}
	low := never
	if c.bound {
		low = max(c.at, c.lowDue)
	}
	c.r.lower.add(c.at, low)
	c.r.likely.add(c.at, never)
	c.r.upper.add(c.at, never)
}
