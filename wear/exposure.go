package wear

import (
	"fmt"
	"maps"
	"math"
	"slices"
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
	RunWound   RunKind = "wound"  // in full, but for a Part
	RunSeen    RunKind = "seen"   // somebody was there and it was going
	RunHeight  RunKind = "height" // of the weight, as found: what run is left
	RunCut     RunKind = "cut"    // of the mains; nothing to a hand-wound train
	RunMeter   RunKind = "meter"  // what its hour meter shows
	RunPause   RunKind = "pause"  // it stood until now, for the hands to be put back
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
	// Run is the run that a wind in Part put on (zero: not known how much), that
	// a weight has left, or by which a pause makes it less.
	Run  time.Duration
	Part bool
	// Until is when a cut ended; zero: not known, but it lasted until Lasted.
	Until, Lasted time.Time
	// Holds is how long an auto-wound train goes on through a cut; negative: not
	// known. One that Restarts stops with the mains and starts with them.
	Holds    time.Duration
	Restarts bool
	// Meter is the hours shown, and Turnover where the meter turns over to
	// nought; zero: not known. Renewed: it was replaced or put back by hand.
	Meter, Turnover float64
	Renewed         bool
	// Old: from an old book. Where it does not fit one that is not, it gives way.
	Old bool
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
//   - A wind that comes later than the run left after the one before: Lower has
//     it run down in between. Likely too, when it comes no more than a reserve
//     late (one wind was missed); a longer gap means that winds were not
//     written down, and Likely runs on. Upper always runs on.
//   - A wind in part adds to what is left, to a full reserve at most. Where it
//     is not known how much, Lower counts on nothing and the others on all.
//   - A train seen going, or stopped at a known instant, later than the run
//     left was wound by somebody who did not write it down: Likely and Upper
//     run on, from then with a full reserve; Lower ran down and counts again
//     from the next wind.
//   - A weight that is read says what is left from then on, in all three. That
//     it still has some, later than the run left, says that it was wound. One
//     found down when its run was over had likely run down then.
//   - After the last event Lower runs down with the reserve, the others run on.
//
// A train found stopped at an unknown instant ran, by Lower, to the last event
// that shows it going; by Upper, until it was found or had run down; by
// Likely, to the middle. Once stopped it stays so until a start is logged: a
// visit or a wind in between says nothing. Time stopped does not use the
// reserve.
//
// An auto-wound train goes through a cut of the mains for as long as it Holds;
// then Lower and Likely have it stopped until a start is logged, and Upper runs
// on, but where a start shows that it had stopped only to the end of the cut. Seen
// going with no start logged it never stopped, by Likely; by Lower it stood till
// then. Where it is not known how long it holds, or how long the cut lasted,
// only Lower has it stopped. One that Restarts stands for the cut in all three;
// of a cut with no known end Upper knows nothing, Likely what was seen of it,
// and Lower counts on no end until it is seen. A train found stopped after a
// cut likely stopped in it.
//
// Between two readings of an hour meter the running is what it says, in all
// three, shared evenly over the stretches in which the log has it going; what
// is more than those hold, over the rest. A meter that falls turned over, where
// that is no more than the time that has passed, and else was replaced: then
// the log's own running stands, as it does where the meter shows more than the
// time passed. Of several turns the one nearest to the log is taken. The run
// left on a weight goes by the log alone.
//
// A pause takes so much off all three, unless a stop or a start logged within a
// day of it says the same.
type Running struct {
	from    time.Time
	reserve time.Duration
	charges []charge // rising
	// Lower's stretches lie within Likely's, and those within Upper's, but for
	// what a meter says.
	lower, likely, upper stretches
	stood                stretches // stopped as far as the log says
}

// charge is an instant at which the run left on a weight is known.
type charge struct{ at, left time.Duration }

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
// last shown going, a meter that shows more than the time passed, an unknown
// kind.
func NewRunning(from time.Time, reserve time.Duration, events []RunEvent) (Running, error) {
	r, odd, err := Sift(from, reserve, events)
	switch {
	case err != nil:
		return Running{}, err
	case len(odd) > 0:
		return Running{}, fmt.Errorf("run-hours: %s", odd[0].Why)
	}
	return r, nil
}

// Oddity is an event that does not fit the others, and was left out.
type Oddity struct {
	Event int    // its place among those given
	Why   string // without a full stop
}

// Sift is NewRunning for a log that need not fit together: events that
// contradict those before them are left out and named, in their order, and all
// else counts. One that is Old gives way to one that is not. The error is for a
// history with nothing to start from.
func Sift(from time.Time, reserve time.Duration, events []RunEvent) (Running, []Oddity, error) {
	l, err := NewRunLog(from, reserve)
	if err != nil {
		return Running{}, nil, err
	}
	for i := range events {
		l.Add(events[i])
	}
	r, odd := l.Running()
	return r, odd, nil
}

func oddities(out map[int]string) []Oddity {
	var odd []Oddity
	for _, i := range slices.Sorted(maps.Keys(out)) {
		odd = append(odd, Oddity{i, out[i]})
	}
	return odd
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

// RunsDown returns when what was left at the last full wind at or before t, or
// the last reading of the weight, with winds of known parts since, runs out if
// the train goes on as it does at t; time that the log has it stopped up to t
// does not count. ok is false for a train that is not hand-wound or of which
// none is logged.
func (r Running) RunsDown(t time.Time) (at time.Time, ok bool) {
	d := r.since(t)
	i := sort.Search(len(r.charges), func(i int) bool { return r.charges[i].at > d }) - 1
	if r.reserve == 0 || i < 0 {
		return time.Time{}, false
	}
	c := r.charges[i]
	down := c.at + c.left
	for { // a stop puts it off, but only one that comes before it has run down
		next := c.at + c.left + r.stood.until(min(d, down)) - r.stood.until(c.at)
		if next <= down {
			return r.from.Add(down), true
		}
		down = next
	}
}

// Stood returns the spans between a and b in which the log has it stopped.
func (r Running) Stood(a, b time.Time) [][2]time.Time {
	var out [][2]time.Time
	for _, s := range r.stood.within(r.since(a), r.since(b)) {
		out = append(out, [2]time.Time{r.from.Add(s.from), r.from.Add(s.to)})
	}
	return out
}

// When returns the first instant, not before after, at which the likely total
// from the start of the history reaches runHours; beyond the last event a
// train that is going goes on. It is the zero time when that never comes, or
// not within 200 years.
func (r Running) When(runHours float64, after time.Time) time.Time {
	if math.IsNaN(runHours) || runHours > longest.Hours() {
		return time.Time{}
	}
	slack := 2*(math.Nextafter(runHours, math.Inf(1))-runHours)*float64(time.Hour) + float64(time.Microsecond)
	d, ok := r.likely.reach(time.Duration(runHours*float64(time.Hour)), time.Duration(slack))
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

// DutyDays returns the days run and the days stopped from a to b, both divided
// by the mean length of a stop in days, of one day at least, because stopped days
// come in a row (judgement). With no running history both are 0.
func (r Running) DutyDays(a, b time.Time) (run, stopped float64) {
	x, y := r.since(a), r.since(b)
	if y <= x {
		return 0, 0
	}
	ran := r.likely.until(y) - r.likely.until(x)
	stop := y - x - ran
	each := 24 * time.Hour
	if stops := r.likely.gaps(x, y); stops > 0 {
		each = max(each, stop/time.Duration(stops))
	}
	return float64(ran) / float64(each), float64(stop) / float64(each)
}

// DutyBand returns the 5 %, 50 % and 95 % points of the long-run duty that
// [Running.DutyDays] tell of: those of Beta(1+run, 1+stopped), the whole range
// where nothing is known.
func DutyBand(run, stopped float64) (low, middle, high float64) {
	return DutyPoint(run, stopped, .05), DutyPoint(run, stopped, .5), DutyPoint(run, stopped, .95)
}

// DutyPoint is one point of [DutyBand], that which is not exceeded with
// probability prob, between 0 and 1.
func DutyPoint(run, stopped, prob float64) float64 {
	return mathext.InvRegIncBeta(1+run, 1+stopped, prob)
}

func (r Running) since(t time.Time) time.Duration { return t.Sub(r.from) }
