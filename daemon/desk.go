package daemon

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"endshake/db"
	"endshake/db/failpoint"
	"endshake/schedule"
)

// deskWait bounds how long one use of the database may hold the desk.
const deskWait = 15 * time.Second

// Facts is the part of the store that holds the fleet and its log, with what cannot
// be read left out, and said.
type Facts interface {
	ReadableFleet(ctx context.Context) (schedule.Fleet, error)
	ReadableLog(ctx context.Context) (log map[string][]schedule.Entry, torn map[string][]string, err error)
}

// Ledger is the part of the store that the desk keeps the log in.
type Ledger interface {
	Lessons
	Facts
	RoundBook
	ReadableEntries(ctx context.Context, clock string) (log []schedule.Entry, torn []string, err error)
	Head(ctx context.Context) (db.Head, error)
	NewsSince(ctx context.Context, h db.Head) (db.News, error)
	AppendShown(ctx context.Context, actor string, now time.Time, e schedule.Entry, pictures []schedule.Picture, known []schedule.Entry,
		check func(log []schedule.Entry) error, owed ...schedule.Notice) (stored schedule.Entry, already bool, err error)
	AppendTogether(ctx context.Context, actor string, now time.Time, es []schedule.Entry, known map[string][]schedule.Entry,
		check func(logs map[string][]schedule.Entry, fresh []schedule.Entry) error) (stored []schedule.Entry, err error)
}

// Desk holds the snapshot of the fleet and takes log entries. It may be used
// from many goroutines.
type Desk struct {
	ledger Ledger
	now    func() time.Time
	model  schedule.Model
	snap   atomic.Pointer[schedule.Snapshot]
	lesson atomic.Pointer[schedule.Learned] // the model's; nil: none yet
	former atomic.Pointer[schedule.Learned] // the one before it; nil: there was none

	back atomic.Bool // the ledger was found older than it was

	turn chan struct{} // holds a token while facts change
	log  map[string][]schedule.Entry
	torn map[string][]string // what cannot be read of the log, by Clock.Slug
	head db.Head             // up to where what others changed is known
}

// OpenDesk reads the fleet and its log and assesses every clock.
func OpenDesk(ctx context.Context, ledger Ledger, now func() time.Time) (*Desk, error) {
	d := &Desk{ledger: ledger, now: now, turn: make(chan struct{}, 1)}
	if err := d.reload(ctx); err != nil {
		return nil, err
	}
	return d, nil
}

// Snapshot is the answer for the whole fleet as last worked out.
func (d *Desk) Snapshot() *schedule.Snapshot { return d.snap.Load() }

// Facts are all that is known of one clock, at one time: what the desk's
// answers come from.
func (d *Desk) Facts(ctx context.Context, clock string) (schedule.Facts, error) {
	_, done, err := d.take(ctx)
	if err != nil {
		return schedule.Facts{}, err
	}
	defer done()
	a, ok := d.snap.Load().Clock(clock)
	if !ok {
		return schedule.Facts{}, &schedule.Error{Code: schedule.NotFound, Field: "clock", Message: fmt.Sprintf("there is no clock %q", clock)}
	}
	return schedule.Facts{Clock: a.Clock, Site: a.Site, Entries: d.log[clock], Model: d.model, Before: &a}, nil
}

// take waits for the desk; give it back with the function returned. It waits no
// longer than the context or deskWait allow, and the returned context ends then.
func (d *Desk) take(ctx context.Context) (context.Context, func(), error) {
	return d.takeFor(ctx, deskWait)
}

func (d *Desk) takeFor(ctx context.Context, wait time.Duration) (context.Context, func(), error) {
	ctx, cancel := context.WithTimeout(ctx, wait)
	select {
	case d.turn <- struct{}{}:
		return ctx, func() { <-d.turn; cancel() }, nil
	case <-ctx.Done():
		cancel()
		return ctx, nil, fmt.Errorf("the desk is busy with a database that does not answer: %w", ctx.Err())
	}
}

// reload reads everything anew. The head is read first, so that a change made
// meanwhile is seen next time.
func (d *Desk) reload(ctx context.Context) error {
	head, err := d.ledger.Head(ctx)
	if err != nil {
		return err
	}
	fleet, log, torn, err := readFacts(ctx, d.ledger)
	if err != nil {
		return err
	}
	model, former, err := d.taught(ctx)
	if err != nil {
		return err
	}
	d.log, d.torn, d.head = log, torn, head
	d.learn(model, former)
	d.snap.Store(schedule.Survey(fleet, log, model, d.now()))
	return nil
}

// readFacts reads the fleet and its log. Clocks of which something cannot be read say
// so in Clock.Damage.
func readFacts(ctx context.Context, from Facts) (fleet schedule.Fleet, log map[string][]schedule.Entry, torn map[string][]string, err error) {
	if fleet, err = from.ReadableFleet(ctx); err != nil {
		return fleet, nil, nil, err
	}
	if log, torn, err = from.ReadableLog(ctx); err != nil {
		return fleet, nil, nil, err
	}
	mark(&fleet, torn)
	return fleet, log, torn, nil
}

// mark has clocks say what of their logs cannot be read, and the fleet what is of no
// clock that is there.
func mark(fleet *schedule.Fleet, torn map[string][]string) {
	for _, of := range slices.Sorted(maps.Keys(torn)) {
		damage := &fleet.Damage
		if i := slices.IndexFunc(fleet.Clocks, func(c schedule.Clock) bool { return c.Slug == of }); i >= 0 {
			damage = &fleet.Clocks[i].Damage
		}
		*damage = append(*damage, torn[of]...)
	}
}

// taught is the model with the newest lesson, and the lesson before it: the desk's
// own where those have not changed.
func (d *Desk) taught(ctx context.Context) (m schedule.Model, former *schedule.Learned, err error) {
	l, ok, err := d.ledger.Learned(ctx)
	if err != nil || !ok || d.model.Learned != nil && d.model.Learned.Version == l.Version {
		return d.model, d.former.Load(), err
	}
	former, err = d.lessonBefore(ctx, l)
	return schedule.Model{Learned: &l}, former, err
}

// lessonBefore is the lesson before one; nil: there was none.
func (d *Desk) lessonBefore(ctx context.Context, l schedule.Learned) (*schedule.Learned, error) {
	if was := d.model.Learned; was != nil && was.Version == l.Version-1 {
		return was, nil
	}
	was, ok, err := d.ledger.LearnedVersion(ctx, l.Version-1)
	if err != nil || !ok {
		return nil, err
	}
	return &was, nil
}

func (d *Desk) learn(m schedule.Model, former *schedule.Learned) {
	d.model = m
	d.lesson.Store(m.Learned)
	d.former.Store(former)
}

// Follow reads what another process has changed, and reports whether any did: of
// the fleet, the logs and the lesson what the ledger tells. Where that is
// not all that may be another, or the ledger is not the one that it was, as after a
// failover to a copy that lacks the last of it, all is read anew.
func (d *Desk) Follow(ctx context.Context) (bool, error) {
	ctx, done, err := d.take(ctx)
	if err != nil {
		return false, err
	}
	defer done()
	if head, err := d.ledger.Head(ctx); err != nil || head == d.head {
		return false, err
	}
	news, err := d.ledger.NewsSince(ctx, d.head)
	if err != nil {
		return false, err
	}
	if news.Other || news.All {
		d.back.Store(d.back.Load() || news.Other)
		return true, d.reload(ctx)
	}
	log, torn, grown, err := d.grown(ctx, news)
	if err != nil {
		return false, err
	}
	snap, now := d.snap.Load(), d.now()
	fleet := snap.Fleet
	if news.Fleet || len(torn)+len(d.Damage()) > 0 { // what could not be read may have been mended
		if fleet, err = d.ledger.ReadableFleet(ctx); err != nil {
			return false, err
		}
		mark(&fleet, torn)
	}
	model, former := d.model, d.former.Load()
	if news.Lesson {
		if model, former, err = d.taught(ctx); err != nil {
			return false, err
		}
	}
	snap = snap.Followed(fleet, log, grown, d.model, now)
	if model.Learned != d.model.Learned {
		snap = snap.Again(log, model, now)
	}
	d.log, d.torn, d.head = log, torn, news.Head
	d.learn(model, former)
	d.snap.Store(snap)
	return true, nil
}

// grown is the log with what was logged since, and whose logs are longer than the
// desk knew. Only what the desk cannot put in its place is read whole, and what could
// not be read before: it may have been mended.
func (d *Desk) grown(ctx context.Context, news db.News) (log map[string][]schedule.Entry, torn map[string][]string, grown map[string]bool, err error) {
	torn, grown = map[string][]string{}, map[string]bool{}
	if news.Logs {
		if log, torn, err = d.ledger.ReadableLog(ctx); err != nil {
			return nil, nil, nil, err
		}
		for clock := range log {
			if grown[clock] = len(log[clock]) != len(d.log[clock]); !grown[clock] {
				log[clock] = d.log[clock] // in the memory that the answers rest on
			}
		}
		return log, torn, grown, nil
	}
	log = maps.Clone(d.log)
	whole := slices.Collect(maps.Keys(d.torn))
	for clock, es := range news.Logged {
		fresh := slices.DeleteFunc(es, func(e schedule.Entry) bool { return holds(log[clock], e) }) // it was logged here
		switch {
		case len(es) == 0:
			whole = append(whole, clock)
		case d.torn[clock] == nil:
			for _, e := range fresh {
				log[clock], grown[clock] = schedule.Grown(log[clock], e), true
			}
		}
	}
	for _, clock := range whole {
		var bad []string
		if log[clock], bad, err = d.ledger.ReadableEntries(ctx, clock); err != nil {
			return nil, nil, nil, err
		}
		if len(bad) > 0 {
			torn[clock] = bad
		}
		grown[clock] = true
	}
	return log, torn, grown, nil
}

// holds reports whether an entry is in a log; one that is new is mostly the last.
func holds(log []schedule.Entry, e schedule.Entry) bool {
	for _, old := range slices.Backward(log) {
		if old.ID == e.ID {
			return true
		}
	}
	return false
}

// whole refuses to log for a clock of which something cannot be read.
func whole(s *schedule.Snapshot, clock string) error {
	a, ok := s.Clock(clock)
	if !ok || len(a.Clock.Damage) == 0 {
		return nil
	}
	return &schedule.Error{Code: schedule.Conflict, Field: "clock", Message: fmt.Sprintf(
		"nothing can be logged for %s while there is a %s (%s): keep what you wanted to log, and tell whoever runs this service",
		a.Clock.Name, schedule.DataProblem, strings.Join(a.Clock.Damage, "; "))}
}

// torn is what cannot be read of one thing.
type torn struct{ kind, of string } // clock or person, and its short name; or rows of nothing that is there

// Damage gives what cannot be read; empty: all can.
func (d *Desk) Damage() map[torn][]string {
	out, snap := map[torn][]string{}, d.Snapshot()
	say := func(kind, of string, why []string) {
		if len(why) > 0 {
			out[torn{kind, of}] = why
		}
	}
	for i := range snap.Clocks {
		say("clock", snap.Clocks[i].Clock.Slug, snap.Clocks[i].Clock.Damage)
	}
	for i := range snap.Fleet.People {
		say("person", snap.Fleet.People[i].Slug, snap.Fleet.People[i].Damage)
	}
	say("rows", "", snap.Fleet.Damage)
	return out
}

// Reassess works out the snapshot again from the facts at hand: time has
// passed. A desk that is busy is left alone; it will be free next time.
func (d *Desk) Reassess(ctx context.Context) {
	_, done, err := d.take(ctx)
	if err != nil {
		return
	}
	defer done()
	d.snap.Store(d.snap.Load().Again(d.log, d.model, d.now()))
}

// Log takes an entry: in one transaction it is validated against the clock's
// log as it stands in the store, and appended; then the clock is assessed again
// before Log returns. An entry with a Key that is logged already, and says the
// same, is returned as it was logged. Errors that a person can mend are
// *schedule.Error; then nothing is stored.
func (d *Desk) Log(ctx context.Context, e schedule.Entry) (schedule.Entry, error) {
	return d.LogShown(ctx, e, nil)
}

// LogShown is Log of an entry with its pictures: all of it is kept, or nothing.
func (d *Desk) LogShown(ctx context.Context, e schedule.Entry, pictures []schedule.Picture) (schedule.Entry, error) {
	return d.logIf(ctx, e, pictures, func(schedule.Assessment) error { return nil })
}

// LogAnswer is Log of what the holder of a pass answers. It is a Conflict where
// somebody has done the task meanwhile by the log as it stands in the store, also
// at another desk; that it is not done, said again on the same day, is returned
// as it was logged.
func (d *Desk) LogAnswer(ctx context.Context, p schedule.Pass, e schedule.Entry) (schedule.Entry, error) {
	stored, err := d.logIf(ctx, e, nil, func(a schedule.Assessment) error { return p.Done(a, d.snap.Load().Fleet) })
	if schedule.CodeOf(err) != schedule.Conflict {
		return stored, err
	}
	// Another desk may have logged what this one did not know of.
	if _, other := d.Follow(ctx); other != nil {
		return stored, err
	}
	facts, other := d.Facts(ctx, e.Clock)
	if old, ok := schedule.SaidAlready(facts.Entries, e); ok && other == nil {
		return old, nil
	}
	return stored, err
}

// logIf logs an entry unless open refuses the clock as it stands.
func (d *Desk) logIf(ctx context.Context, e schedule.Entry, pictures []schedule.Picture, open func(schedule.Assessment) error) (schedule.Entry, error) {
	ctx, done, err := d.take(ctx)
	if err != nil {
		return e, err
	}
	defer done()
	now, snap := d.now(), d.snap.Load()
	if err := whole(snap, e.Clock); err != nil {
		return e, err
	}
	e.At = e.At.UTC().Truncate(time.Microsecond)
	failpoint.Hit("K01") // read, and no transaction begun
	var log []schedule.Entry
	stored, already, err := d.ledger.AppendShown(ctx, actor(e), now, e, pictures, d.log[e.Clock], func(old []schedule.Entry) error {
		log = old
		as := snap
		if len(old) != len(d.log[e.Clock]) { // another desk has logged
			as = snap.With(e.Clock, old, d.model, now)
		}
		if a, ok := as.Clock(e.Clock); ok {
			if err := open(a); err != nil {
				return err
			}
		}
		if err := schedule.Validate(e, snap.Fleet, old, d.model, now); err != nil || len(pictures) > 0 {
			return err
		}
		return schedule.ValidateChange(e, old)
	})
	failpoint.Hit("K04") // committed, and not answered
	if err != nil || already {
		return stored, logError(e, err)
	}
	d.log[e.Clock] = schedule.Grown(log, stored) // in order, as the store gives it
	d.snap.Store(d.snap.Load().With(e.Clock, d.log[e.Clock], d.model, now))
	d.moved(ctx, 1)
	return stored, nil
}

// moved takes note of what the desk itself has changed, in so many rows of the audit.
// What others changed meanwhile is followed in its turn.
func (d *Desk) moved(ctx context.Context, rows int) {
	if head, err := d.ledger.Head(ctx); err == nil && head.Revision == d.head.Revision+int64(rows) {
		d.head = head
	}
}

// logError says what was tried, but leaves alone what a person can mend.
func logError(e schedule.Entry, err error) error {
	if err == nil || schedule.CodeOf(err) != "" {
		return err
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("log %s of %s: the database did not answer in time, so the entry may or may not be kept; send the same form again: %w", e.Kind, e.Clock, err)
	}
	return fmt.Errorf("log %s of %s: %w", e.Kind, e.Clock, err)
}

// byCommand is the source of what was logged at the machine itself, by whoever may
// use its terminal, whomever they name.
const byCommand = "command"

// actor is who the audit row names: whoever or what program logged it, else the person,
// or the way in.
func actor(e schedule.Entry) string {
	if who, ok := strings.CutPrefix(e.Source, schedule.PagePrefix); ok {
		return who
	}
	if e.By != "" && e.Source != byCommand && !strings.HasPrefix(e.Source, schedule.ProgramPrefix) {
		return e.By
	}
	return e.Source
}
