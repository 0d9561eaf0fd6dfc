package daemon

import (
	"context"
	"errors"
	"log/slog"
	"sync/atomic"
	"time"

	"endshake/db"
)

// How often it is asked whether the database answers, and for how long: asked
// twice, so that one broken line tells nothing, it is known within 10 s.
const (
	pulseEvery = 2 * time.Second
	pulseWait  = 3 * time.Second
)

// stood is how the database stood when last asked.
type stood struct {
	answers, takes bool // takes: also changes
	newer          bool // its schema is newer than this program knows
}

// pulse keeps how the database stands, and since when what is shown is known.
type pulse struct {
	ask  func(context.Context) error // nil, db.ErrReadOnly, db.ErrNewer, or why it does not answer
	now  func() time.Time
	log  *slog.Logger
	back func() // is called when it answers again

	state atomic.Pointer[stood]
	seen  atomic.Pointer[time.Time]
	since time.Time // of the state, for the log
}

// newPulse is the pulse of a database that has just answered.
func newPulse(ask func(context.Context) error, now func() time.Time, log *slog.Logger, back func()) *pulse {
	p := &pulse{ask: ask, now: now, log: log, back: back, since: now()}
	p.state.Store(&stood{answers: true, takes: true})
	p.known(now())
	return p
}

// known notes that what is shown was the newest at an instant.
func (p *pulse) known(at time.Time) { p.seen.Store(&at) }

// Standing tells whether the database answers, whether it takes changes, and when
// what is shown was last known to be the newest.
func (p *pulse) Standing() (answers, takes bool, seen time.Time) {
	s := p.state.Load()
	return s.answers, s.takes, *p.seen.Load()
}

func (p *pulse) answers() bool { return p.state.Load().answers }
func (p *pulse) takes() bool   { return p.state.Load().takes }
func (p *pulse) newer() bool   { return p.state.Load().newer }

// errAway is the error of what is not asked of a database that does not answer,
// or takes no changes.
var errAway = errors.New("the database does not answer, or takes no changes")

// Passing reports whether an error comes of how the database stands, and whether
// it is open if what was to be kept is.
func (p *pulse) Passing(err error) (passing, open bool) {
	return errors.Is(err, errAway) || db.Passing(err), db.Unsettled(err)
}

// run asks now and then, until the context ends.
func (p *pulse) run(ctx context.Context) {
	t := time.NewTicker(pulseEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			p.look(ctx)
		}
	}
}

// look asks once, and says each change of state once.
func (p *pulse) look(ctx context.Context) {
	err := p.once(ctx)
	asked := func() bool { return err == nil || errors.Is(err, db.ErrReadOnly) || errors.Is(err, db.ErrNewer) }
	if !asked() && p.answers() {
		err = p.once(ctx)
	}
	if ctx.Err() != nil {
		return
	}
	was, is := *p.state.Load(), stood{asked(), err == nil, errors.Is(err, db.ErrNewer)}
	if was == is {
		return
	}
	p.state.Store(&is)
	lasted := p.now().Sub(p.since).Round(time.Second)
	p.since = p.now()
	switch {
	case !is.answers:
		p.log.Error("the database does not answer; the pages show what was read last, and nothing can be logged", "error", err)
	case is.newer:
		p.log.Error("nothing is logged, written or sent, and the pages show what was read last", "error", err)
	case !is.takes:
		p.log.Error("the database takes no changes; the pages are shown, and nothing can be logged", "error", err)
	default:
		p.log.Info("the database answers again", "after", lasted)
	}
	if is.answers {
		p.back()
	}
}

func (p *pulse) once(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, pulseWait)
	defer cancel()
	return p.ask(ctx)
}
