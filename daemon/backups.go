package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"endshake/daemon/backup"
	"endshake/db"
)

// backupJob is the job of making a backup.
const backupJob = "backup"

const (
	// backupTime is how long a backup may take: whoever tries next has the lease then.
	backupTime = backupLease - 10*time.Minute
	// lookTime is how long the folder may take to say what is in it.
	lookTime = time.Minute
	// letGo is how long what has to end may go on until it is left to itself.
	letGo = 3 * time.Second
)

// errStuck is the error of a disk that does not answer, whatever it is asked.
var errStuck = errors.New("the folder of the backups, or what makes one, does not answer, and is waited for no longer: look at the disk it lies on")

// backups makes the copies of each night, and knows when the last one was made.
type backups struct {
	store    *db.Store
	settings backup.Settings
	log      *slog.Logger
	copy     func(context.Context, *db.Store, backup.Settings, time.Time) (backup.Made, error) // backup.Make
	turn     chan struct{}                                                                     // holds a token while the disk is asked

	mu     sync.Mutex
	newest time.Time // of those in the folder, when last looked; zero: none
	unread error     // why it could not be looked
	failed bool      // the last one, since this service was started
}

func newBackups(store *db.Store, settings backup.Settings, log *slog.Logger) *backups {
	return &backups{store: store, settings: settings, log: log, copy: backup.Make, turn: make(chan struct{}, 1)}
}

// within does what a disk of another machine may never answer, one thing at a time,
// and leaves it to itself where it does not end with its time. What it gives is to be
// read only where there is no error.
func (b *backups) within(ctx context.Context, most time.Duration, do func(context.Context) error) error {
	select {
	case b.turn <- struct{}{}:
	default:
		return errStuck
	}
	ctx, cancel := context.WithTimeout(ctx, most)
	ended := make(chan error, 1)
	go func() {
		err := errors.New("it ended in a panic")
		defer func() {
			if r := recover(); r != nil {
				err = fmt.Errorf("a panic at the backups: %v\n%s", r, debug.Stack())
			}
			<-b.turn
			ended <- err
			cancel()
		}()
		err = do(ctx)
	}()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	select {
	case err := <-ended:
		return err
	case <-time.After(letGo):
		return errStuck
	}
}

// look sees which backup in the folder is the newest.
func (b *backups) look(ctx context.Context, now time.Time) {
	var newest backup.File
	err := b.within(ctx, lookTime, func(context.Context) error {
		all, err := backup.List(b.settings.Folder)
		newest, _ = backup.Newest(all, now)
		return err
	})
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.unread = err; err == nil {
		b.newest = newest.At
	}
}

// make makes a copy, and takes away those that need not stay.
func (b *backups) make(ctx context.Context, now func() time.Time) (note string, err error) {
	defer func() {
		b.mu.Lock()
		b.failed = err != nil
		b.mu.Unlock()
	}()
	began := now()
	var m backup.Made
	err = b.within(ctx, backupTime, func(ctx context.Context) (err error) {
		m, err = b.copy(ctx, b.store, b.settings, began)
		return err
	})
	if err != nil {
		return "", err
	}
	b.log.Info("backup made", "file", m.Path, "bytes", m.Size, "took", now().Sub(began).Round(time.Millisecond), "holds", m.Extent.Words(), "audit", m.Extent.Head, "removed", len(m.Removed))
	return fmt.Sprintf("%s, %d bytes", m.Path, m.Size), nil
}

// LastBackup is when the newest backup in the folder was begun, as last looked, zero
// where there is none, and whether the last one that was tried failed.
func (b *backups) LastBackup() (at time.Time, failed bool, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.newest, b.failed, b.unread
}

// markFile is where it is kept how far the database has come; empty: nowhere.
func (d *Daemon) markFile() string {
	if d.o.Mark != "" || d.store.File() == "" {
		return d.o.Mark
	}
	return d.store.File() + backup.MarkSuffix
}

// heldWords are what every page says while no mail goes out.
const heldWords = "No letter is written or sent: %s. What this copy owes may have gone out already. If it is the one to go on from, start the service once with --from-backup."

// readMark sees whether the database is an older copy of what it was. Then nothing
// goes out by mail until somebody has said that it is the one to go on from, and the
// mark stays as it was.
func (d *Daemon) readMark(ctx context.Context) error {
	path := d.markFile()
	if path == "" {
		return nil
	}
	m, ok, err := backup.ReadMark(path)
	if err != nil && !d.o.FromBackup {
		return err
	}
	if ok {
		why, err := m.Older(ctx, d.store)
		switch {
		case err != nil:
			return err
		case why != "" && !d.o.FromBackup:
			d.held = why
			d.o.Log.Error("no letter is written or sent: "+why, "mend", "if this is the copy to go on from, start once with --from-backup; letters that it owes may have gone out already")
			return nil
		case why != "":
			d.o.Log.Warn("going on from an older copy, as asked; letters that it owes go out, perhaps again", "why", why)
		}
	}
	d.life.started("mark", func(ctx context.Context) error {
		if err := d.keepMark(ctx); err != nil { // of a database that is away; it was kept a minute ago
			d.o.Log.Warn("how far the database has come was not kept at the stop", "error", err)
		}
		return nil
	})
	return d.keepMark(ctx)
}

// keepMark keeps how far the database has come, where it has come further. One that has
// not come as far as it had is older than it was: then no letter goes out, and the mark
// stays as it was.
func (d *Daemon) keepMark(ctx context.Context) error {
	if d.held != "" || d.wentBack.Load() {
		return nil
	}
	why, err := d.mark.Older(ctx, d.store)
	if err != nil {
		return err
	}
	if why != "" {
		d.wentBack.Store(true)
		d.o.Log.Error("no letter is written or sent until this service is started again: "+why, "mend", "first see that this is the right database")
		return nil
	}
	m, err := backup.MarkOf(ctx, d.store, d.o.Now())
	if err != nil {
		return err
	}
	if was := d.mark; was.Audit == m.Audit && was.Head == m.Head && was.Sent == m.Sent {
		return nil
	}
	if path := d.markFile(); path != "" {
		if err := m.Keep(path); err != nil {
			return err
		}
	}
	d.mark = m
	return nil
}
