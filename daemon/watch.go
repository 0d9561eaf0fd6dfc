package daemon

import (
	"context"
	"log/slog"
	"math/rand/v2"
	"strings"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// How often the loops look.
const (
	wakeEvery     = time.Minute
	followEvery   = 2 * time.Second
	reassessEvery = 10 * time.Minute
	// followGap is how long what is told waits after what was followed: many
	// changes in a row are followed together.
	followGap = 100 * time.Millisecond
)

// follower keeps a desk at what other processes change.
type follower struct {
	desk  *Desk
	pulse *pulse
	log   *slog.Logger
	// wentBack is called when the database is found older than it was.
	wentBack func()
	failing  bool
	said     map[torn][]string // what was said to be damaged
}

// watch follows what other processes change, as soon as it is told of it and
// every two seconds however little is told, and works the snapshot out again as
// time passes. While the database is away the snapshot is served as it is.
func (f *follower) watch(ctx context.Context, told <-chan struct{}) {
	follow, reassess := time.NewTicker(followEvery), time.NewTicker(reassessEvery)
	defer follow.Stop()
	defer reassess.Stop()
	f.said = sayDamage(f.log, f.desk, nil)
	hear, quiet := told, (<-chan time.Time)(nil)
	for {
		select {
		case <-ctx.Done():
			return
		case <-reassess.C:
			f.desk.Reassess(ctx)
		case <-hear:
			f.follow(ctx)
			hear, quiet = nil, time.After(followGap)
		case <-quiet:
			hear, quiet = told, nil
		case <-follow.C:
			f.follow(ctx)
		}
	}
}

// sayDamage says of each thing once that part of it cannot be read, and gives of
// which it was said.
func sayDamage(log *slog.Logger, desk *Desk, said map[torn][]string) map[torn][]string {
	now := desk.Damage()
	for t, why := range now {
		if said[t] == nil {
			log.Error(schedule.DataProblem+": "+tornWords[t.kind]+" until it is mended", t.kind, t.of, "why", strings.Join(why, "; "))
		}
	}
	return now
}

// tornWords say what comes of what cannot be read.
var tornWords = map[string]string{
	"clock":  "nothing is worked out for this clock",
	"person": "no letter is written to this person",
	"rows":   "some rows belong to nothing that is there, and are left out",
}

// follow reads what was changed, unless the database is away. Why it is away
// others say.
func (f *follower) follow(ctx context.Context) {
	if !f.pulse.answers() || f.pulse.newer() { // what it cannot know it could read wrongly
		return
	}
	at := f.pulse.now()
	changed, err := f.desk.Follow(ctx)
	if changed {
		f.said = sayDamage(f.log, f.desk, f.said)
	}
	switch {
	case ctx.Err() != nil:
		return
	case err == nil:
		f.pulse.known(at)
	case db.Passing(err):
		return
	}
	if failing := err != nil; failing != f.failing {
		f.failing = failing
		if failing {
			f.log.Error("what was changed cannot be read; the pages show what was read last", "error", err)
		} else {
			f.log.Info("what was changed can be read again")
		}
	}
	if f.desk.back.Swap(false) {
		f.log.Error("the database is older than it was: what was changed last is lost, and a letter may be owed that has gone out. " +
			"No letter is written or sent until this service is started again: first see that this is the right database")
		f.wentBack()
	}
}

// teller is the part of the store that tells of changes as they are committed.
type teller interface {
	// Listen calls told once it listens and at each change, until the context ends
	// or its line breaks, with the reason; nil: it never tells.
	Listen(ctx context.Context, told func()) error
}

// The rests between tries to listen.
const (
	firstListen = time.Second
	lastListen  = 30 * time.Second
)

// listen is told of changes until the context ends, over one line after another.
// Without it they are seen all the same, when next looked for: so what goes wrong
// is no news.
func listen(ctx context.Context, t teller, told func(), log *slog.Logger) {
	rest := firstListen
	for {
		err := t.Listen(ctx, func() { rest = firstListen; told() })
		if err == nil || ctx.Err() != nil {
			return
		}
		log.Debug("nobody tells of changes; they are looked for", "again in", rest, "error", err)
		if !paused(ctx, rest) {
			return
		}
		rest = min(2*rest, lastListen)
	}
}

// paused waits about so long, half of it by chance, so that services that lost
// one database do not all come back at once; false: the context ended first.
func paused(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d/2 + rand.N(d/2+1))
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}
