package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"endshake/daemon/backup"
	"endshake/db"
)

// backupJob is the job of making a backup.
const backupJob = "backup"

// backups makes the copies of each night, and knows when the last one was made.
type backups struct {
	store    *db.Store
	settings backup.Settings
	log      *slog.Logger

	mu     sync.Mutex
	failed bool // the last one, since this service was started
}

// make makes a copy, and takes away those that need not stay.
func (b *backups) make(ctx context.Context, now func() time.Time) (note string, err error) {
	defer func() {
		b.mu.Lock()
		b.failed = err != nil
		b.mu.Unlock()
	}()
	began := now()
	m, err := backup.Make(ctx, b.store, b.settings, began)
	if err != nil {
		return "", err
	}
	b.log.Info("backup made", "file", m.Path, "bytes", m.Size, "took", now().Sub(began).Round(time.Millisecond), "holds", m.Extent.Words(), "audit", m.Extent.Head, "removed", len(m.Removed))
	return fmt.Sprintf("%s, %d bytes", m.Path, m.Size), nil
}

// LastBackup is when the newest backup in the folder was begun, zero where there is
// none, and whether the last one that was tried failed.
func (b *backups) LastBackup() (at time.Time, failed bool, err error) {
	b.mu.Lock()
	failed = b.failed
	b.mu.Unlock()
	all, err := backup.List(b.settings.Folder)
	if err != nil || len(all) == 0 {
		return at, failed, err
	}
	return all[0].At, failed, nil
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

// keepMark keeps how far the database has come, where it has come further.
func (d *Daemon) keepMark(ctx context.Context) error {
	path := d.markFile()
	if path == "" || d.held != "" {
		return nil
	}
	m, err := backup.MarkOf(ctx, d.store, d.o.Now())
	if err != nil {
		return err
	}
	if was := d.mark; was.Audit == m.Audit && was.Head == m.Head && was.Sent == m.Sent {
		return nil
	}
	if err := m.Keep(path); err != nil {
		return err
	}
	d.mark = m
	return nil
}
