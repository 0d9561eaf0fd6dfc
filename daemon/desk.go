package daemon

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"endshake/schedule"
)

// Ledger is the part of the store that the desk keeps the log in.
type Ledger interface {
	Fleet(ctx context.Context) (schedule.Fleet, error)
	Log(ctx context.Context) (map[string][]schedule.Entry, error)
	Entries(ctx context.Context, clock string) ([]schedule.Entry, error)
	Append(ctx context.Context, actor string, now time.Time, e schedule.Entry, owed ...schedule.Notice) (schedule.Entry, bool, error)
	Revision(ctx context.Context) (int64, error)
}

// Desk holds the snapshot of the fleet and takes log entries. It may be used
// from many goroutines.
type Desk struct {
	ledger Ledger
	now    func() time.Time
	model  schedule.Model
	snap   atomic.Pointer[schedule.Snapshot]

	mu       sync.Mutex // held while facts change
	log      map[string][]schedule.Entry
	revision int64
}

// OpenDesk reads the fleet and its log and assesses every clock.
func OpenDesk(ctx context.Context, ledger Ledger, now func() time.Time) (*Desk, error) {
	d := &Desk{ledger: ledger, now: now}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := d.reload(ctx); err != nil {
		return nil, err
	}
	return d, nil
}

// Snapshot is the answer for the whole fleet as last worked out.
func (d *Desk) Snapshot() *schedule.Snapshot { return d.snap.Load() }

// reload reads everything anew. The revision is read first, so that a change
// made meanwhile is seen next time.
func (d *Desk) reload(ctx context.Context) error {
	revision, err := d.ledger.Revision(ctx)
	if err != nil {
		return err
	}
	fleet, err := d.ledger.Fleet(ctx)
	if err != nil {
		return err
	}
	log, err := d.ledger.Log(ctx)
	if err != nil {
		return err
	}
	d.log, d.revision = log, revision
	d.snap.Store(schedule.Survey(fleet, log, d.model, d.now()))
	return nil
}

// Follow reads everything anew where another process has changed something,
// and reports whether it did.
func (d *Desk) Follow(ctx context.Context) (bool, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	revision, err := d.ledger.Revision(ctx)
	if err != nil || revision == d.revision {
		return false, err
	}
	return true, d.reload(ctx)
}

// Reassess works out the snapshot again from the facts at hand: time has passed.
func (d *Desk) Reassess() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.snap.Store(schedule.Survey(d.snap.Load().Fleet, d.log, d.model, d.now()))
}

// Log takes an entry: validates it against the clock's log as it stands in the
// store, appends it, and assesses the clock again before it returns. An entry
// with a Key that is logged already is returned as it was logged. Errors that
// a person can mend are *schedule.Error; then nothing is stored.
func (d *Desk) Log(ctx context.Context, e schedule.Entry) (schedule.Entry, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.now()
	e.At = e.At.UTC().Truncate(time.Microsecond)
	old, err := d.ledger.Entries(ctx, e.Clock)
	if err != nil {
		return e, fmt.Errorf("log %s of %s: %w", e.Kind, e.Clock, err)
	}
	for _, o := range old {
		if e.Key != "" && o.Key == e.Key {
			return o, nil
		}
	}
	if err := schedule.Validate(e, d.snap.Load().Fleet, old, now); err != nil {
		return e, err
	}
	stored, _, err := d.ledger.Append(ctx, actor(e), now, e)
	if err != nil {
		return e, err
	}
	d.log[e.Clock] = append(old, stored)
	d.snap.Store(d.snap.Load().With(e.Clock, d.log[e.Clock], d.model, now))
	// Where nobody else changed anything meanwhile there is nothing to follow.
	if revision, err := d.ledger.Revision(ctx); err == nil && revision == d.revision+1 {
		d.revision = revision
	}
	return stored, nil
}

// actor is who the audit row names: the person, or the way in.
func actor(e schedule.Entry) string {
	if e.By != "" {
		return e.By
	}
	return e.Source
}
