package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// When the wall clock of this machine is doubted, and when it is believed again
// (judgement, no source). A clock that a time server sets is corrected by seconds.
const (
	mostStep = time.Hour        // a larger step is no correction of a clock that goes
	steadily = 10 * time.Minute // one that stepped is believed after going evenly for so long
	evenly   = time.Minute      // which is within so much
)

// moment is what the two clocks of this machine show at once.
type moment struct {
	wall    time.Time     // by the clock that people and servers set
	running time.Duration // by the one that nobody sets, and that may stand while the machine sleeps
}

// hostTime is what is held of the wall clock. While it is doubted, time goes on from
// the last moment that was believed.
type hostTime struct {
	doubted bool
	trusted moment    // the last that was believed
	last    moment    // the last that was looked at
	even    moment    // since when the wall clock has gone evenly
	newest  time.Time // when the newest change in the database was made; zero: not known
}

// hostTimeAt is what is held of the wall clock at the start: that it is right, unless
// it stands before the newest change in the database.
func hostTimeAt(m moment, newest time.Time) hostTime {
	h := hostTime{trusted: m, last: m, even: m, newest: newest}
	if h.before(m) {
		h.doubted, h.trusted.wall = true, newest
	}
	return h
}

// before reports whether the wall clock stands where it cannot.
func (h hostTime) before(m moment) bool { return m.wall.Before(h.newest.Add(-mostStep)) }

// reckoned is the time by what was believed last and what went by since.
func (h hostTime) reckoned(m moment) time.Time {
	return h.trusted.wall.Add(m.running - h.trusted.running)
}

// looked is what is held of the wall clock after a look at it. One that stepped is
// believed when it has come right again, or has gone evenly for long enough; one that
// stands before the newest change, never.
func (h hostTime) looked(m moment) hostTime {
	step := (m.wall.Sub(h.last.wall) - (m.running - h.last.running)).Abs()
	h.last = m
	if step > mostStep || h.doubted && step > evenly {
		h.even = m
	}
	switch {
	case !h.doubted && step <= mostStep:
	case h.before(m):
		h.doubted = true
	default:
		right := m.wall.Sub(h.reckoned(m)).Abs() <= mostStep
		h.doubted = !right && m.running-h.even.running < steadily
	}
	if !h.doubted {
		h.trusted = m
	}
	return h
}

// words say why the wall clock is doubted and what that means; empty: it is not.
func (h hostTime) words() string {
	stood := db.Instant(h.even.wall)
	switch {
	case !h.doubted:
		return ""
	case h.before(h.last):
		return fmt.Sprintf("The clock of this machine is wrong: it stood at %s, before the newest change in the database (%s). Nothing is worked out by it, no letter is written or sent, and nothing can be logged until it is set right. "+
			"If it is right, start the service once with --clock-is-right.", stood, db.Instant(h.newest))
	}
	by, way := h.even.wall.Sub(h.reckoned(h.even)), "on"
	if by < 0 {
		way = "back"
	}
	return fmt.Sprintf("The clock of this machine jumped %s %s, to %s: no letter is written or sent, and nothing can be logged, until it is set right or has gone evenly for %d minutes. What is shown goes by the time of before.",
		way, spanWords(by.Abs()), stood, steadily/time.Minute)
}

// spanWords tells a length of time in days, or in hours where it is short.
func spanWords(d time.Duration) string {
	const day = 24 * time.Hour
	if d < 2*day {
		return schedule.Count(int(d.Round(time.Hour)/time.Hour), "hour", "hours")
	}
	return schedule.Count(int(d.Round(day)/day), "day", "days")
}

// hostClock gives the time to all that runs: the wall clock's while it is believed.
type hostClock struct {
	wall    func() time.Time
	running func() time.Duration // nil: steps of the wall clock cannot be told, and are taken as they come
	log     *slog.Logger

	mu    sync.Mutex
	first time.Time // by the wall clock
	held  hostTime
}

func newHostClock(wall func() time.Time, running func() time.Duration, log *slog.Logger) *hostClock {
	c := &hostClock{wall: wall, running: running, log: log, first: wall()}
	m, _ := c.moment()
	c.held = hostTimeAt(m, time.Time{})
	return c
}

// moment reads both clocks, anew where the process slept between the two.
func (c *hostClock) moment() (m moment, now time.Time) {
	if c.running == nil {
		now = c.wall()
		m.wall = now.Round(0) // without what now knows of the other clock
		m.running = m.wall.Sub(c.first.Round(0))
		return m, now
	}
	for {
		m.running = c.running()
		now = c.wall()
		m.wall = now.Round(0)
		if c.running()-m.running < evenly {
			return m, now
		}
	}
}

// notBefore has the clock doubted while it stands before the newest change.
func (c *hostClock) notBefore(newest time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	m, _ := c.moment()
	c.hold(hostTimeAt(m, newest))
}

// hold holds something of the wall clock, and says each change once.
func (c *hostClock) hold(h hostTime) {
	was := c.held
	c.held = h
	switch {
	case h.doubted && !was.doubted:
		c.log.Error(h.words())
	case !h.doubted && was.doubted:
		c.log.Info("the clock of this machine is believed again; letters and jobs go on", "time", h.last.wall.UTC().Format(time.RFC3339))
	}
}

// look gives the time, and why the wall clock is doubted; empty: it is not.
func (c *hostClock) look() (now time.Time, doubt string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	m, now := c.moment()
	c.hold(c.held.looked(m))
	if c.held.doubted {
		now = c.held.reckoned(m)
	}
	return now, c.held.words()
}

// now is the time.
func (c *hostClock) now() time.Time {
	now, _ := c.look()
	return now
}

// doubt is why the wall clock is doubted; empty: it is not.
func (c *hostClock) doubt() string {
	_, doubt := c.look()
	return doubt
}

// Believed reports whether the wall clock is.
func (c *hostClock) Believed() bool { return c.doubt() == "" }

// undoubted is a store that claims no letter, and takes none in nor gives one out to be
// settled, while the wall clock is doubted: a lease may seem to be over, and what comes in
// would be kept under a wrong time. It does so neither while the database takes no
// changes, and claims no letter of one that has become older than it was.
type undoubted struct {
	*db.Store
	clock    *hostClock
	pulse    *pulse
	wentBack *atomic.Bool
}

// undoubted is the daemon's store as such.
func (d *Daemon) undoubted() undoubted { return undoubted{d.store, d.clock, d.pulse, &d.wentBack} }

// ClaimNotices claims nothing then: so each batch of letters asks.
func (u undoubted) ClaimNotices(ctx context.Context, owner string, now time.Time, lease time.Duration, n int) ([]schedule.Notice, error) {
	if u.clock.doubt() != "" || !u.pulse.takes() || u.wentBack.Load() {
		return nil, nil
	}
	return u.Store.ClaimNotices(ctx, owner, now, lease, n)
}

// TakeIn fails then, so that the server of the message tries again.
func (u undoubted) TakeIn(ctx context.Context, m schedule.Inward) (taken bool, err error) {
	if doubt := u.clock.doubt(); doubt != "" {
		return false, errors.New(doubt)
	}
	if !u.pulse.takes() {
		return false, errAway
	}
	return u.Store.TakeIn(ctx, m)
}

// ToSettle gives nothing then.
func (u undoubted) ToSettle(ctx context.Context, n int) ([]schedule.Inward, error) {
	if u.clock.doubt() != "" || !u.pulse.takes() {
		return nil, nil
	}
	return u.Store.ToSettle(ctx, n)
}
