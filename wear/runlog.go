package wear

import (
	"fmt"
	"maps"
	"slices"
	"time"
)

// RunLog is a history of a train's running that grows at its end: what each
// event does is worked out as it is added. It may not be used by several at
// once; a [RunLog.Clone] goes its own way.
type RunLog struct {
	c      runCount
	paused time.Time // the latest pause
	stale  bool      // an event bears on how one before it was taken
}

// NewRunLog begins a history: from and reserve are as for [NewRunning]. The
// error is for one with nothing to start from.
func NewRunLog(from time.Time, reserve time.Duration) (*RunLog, error) {
	if from.IsZero() || reserve < 0 {
		return nil, fmt.Errorf("run-hours: a history needs an instant to start from, and a reserve of nothing or more")
	}
	l := &RunLog{}
	l.c.begin(Running{from: from, reserve: reserve}, nil, nil)
	return l, nil
}

// Add adds an event, which must be no earlier than those before it.
func (l *RunLog) Add(e RunEvent) {
	c := &l.c
	c.events = append(c.events, &e)
	switch e.Kind {
	case RunStarted:
		l.stale = l.stale || c.startsStopped() != c.stopped || e.At.Sub(l.paused) < saidWithin
	case RunStopped:
		l.stale = l.stale || e.At.Sub(l.paused) < saidWithin
	case RunPause:
		if e.At.After(l.paused) {
			l.paused = e.At
		}
	}
	if i := len(c.events) - 1; !l.stale && c.step(i) {
		c.walkAgain(c.out)
	}
}

// Events are those added, in their order. They must not be changed.
func (l *RunLog) Events() []*RunEvent { return l.c.events }

// Running is how long the train has run by the events added so far. As with
// [Sift], those that contradict others are left out and named.
func (l *RunLog) Running() (Running, []Oddity) {
	if l.stale {
		l.c.walkAgain(nil)
		l.stale = false
	}
	c := l.c
	c.own()
	c.finish()
	return c.r, oddities(c.out)
}

// Clone is a copy to which other events may be added.
func (l *RunLog) Clone() *RunLog {
	next := *l
	next.c.events, next.c.out = slices.Clip(l.c.events), maps.Clone(l.c.out)
	next.c.own()
	return &next
}

// own gives a count that was copied memory of its own for what is written on.
func (c *runCount) own() {
	for _, s := range []*stretches{&c.r.lower, &c.r.likely, &c.r.upper, &c.r.stood} {
		*s = slices.Clone(*s)
	}
	c.r.charges, c.pauses, c.meters.spans = slices.Clip(c.r.charges), slices.Clip(c.pauses), slices.Clip(c.meters.spans)
	c.cuts = slices.Clone(c.cuts)
}
