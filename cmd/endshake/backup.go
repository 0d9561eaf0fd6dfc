package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"endshake/daemon"
	"endshake/daemon/backup"
	"endshake/db"
	"endshake/schedule"
)

type backupCmd struct {
	Make    backupMakeCmd    `cmd:"" default:"withargs" help:"Make a whole, checked copy of the database now; the service may go on running."`
	Restore backupRestoreCmd `cmd:"" help:"Fill an empty place with what a backup holds."`
	Drill   backupDrillCmd   `cmd:"" help:"Try whether a backup can be restored: into a scratch place, with every row compared, and timed."`
}

// backups are where copies go, the same for the service and for a copy made now.
type backups struct {
	Backups     string   `help:"Folder for backups, best on another machine's disk; serve makes one there each night." env:"ENDSHAKE_BACKUPS" placeholder:"FOLDER"`
	BackupsKeep string   `help:"How many backups are kept: the newest of so many days, weeks and months." default:"7,4,12" env:"ENDSHAKE_BACKUPS_KEEP" placeholder:"DAYS,WEEKS,MONTHS"`
	BackupsFor  []string `help:"Public key (age1...), or file of such keys, that backups are encrypted for; without one they are not encrypted." env:"ENDSHAKE_BACKUPS_FOR" placeholder:"KEY"`
}

// settings reads them; its errors name the flag.
func (b backups) settings() (s backup.Settings, err error) {
	s.Folder = b.Backups
	if s.Keep, err = backup.ParseKeep(b.BackupsKeep); err != nil {
		return s, fmt.Errorf("--backups-keep: %w", err)
	}
	if s.Recipients, err = backup.ReadRecipients(b.BackupsFor); err != nil {
		return s, fmt.Errorf("--backups-for: %w", err)
	}
	return s, nil
}

type backupMakeCmd struct {
	database
	backups
}

// Run makes a copy.
func (c *backupMakeCmd) Run(ctx context.Context, out io.Writer) error {
	s, err := c.settings()
	if err != nil {
		return err
	}
	if s.Folder == "" {
		return errors.New("--backups: say into which folder")
	}
	store, err := db.OpenExisting(ctx, c.Database)
	if err != nil {
		return err
	}
	defer store.Close()
	m, err := backup.Make(ctx, store, s, time.Now())
	if m.Size > 0 {
		fmt.Fprintf(out, "%s\nIt holds %s.\n", m.Path, m.Extent.Words())
	}
	for _, path := range m.Removed {
		fmt.Fprintf(out, "Removed, as %s are kept: %s\n", s.Keep.Words(), path)
	}
	return err
}

// keyFile is the flag of what reads an encrypted backup.
type keyFile struct {
	Key string `help:"File that holds the private key (AGE-SECRET-KEY-...) of an encrypted backup." type:"existingfile" placeholder:"FILE"`
}

type backupRestoreCmd struct {
	database
	keyFile
	Erasures     string `help:"File that says who was erased, so that a backup brings nobody back; beside the file of the database where it has one." env:"ENDSHAKE_ERASURES" placeholder:"FILE"`
	NobodyErased bool   `help:"There is no list of who was erased, and nobody was."`
	Mark         string `help:"File that keeps how far the database has come, so that a restored one sends nothing twice; beside the file of the database where it has one." env:"ENDSHAKE_MARK" placeholder:"FILE"`
	Backup       string `arg:"" help:"The backup." type:"existingfile"`
}

// Run fills an empty place with what a backup holds.
func (c *backupRestoreCmd) Run(ctx context.Context, out io.Writer) error {
	file, err := db.FileOf(c.Database)
	if err != nil {
		return err
	}
	list := daemon.ErasuresFile(c.Erasures, file)
	if _, err := os.Stat(list); err != nil && !c.NobodyErased {
		return errors.New("nothing was restored, for without the list of who was erased since, the backup would bring them back: name it with --erasures (beside the old database it is endshake.db.erased), or say --nobody-erased")
	}
	r, err := backup.Restore(ctx, backup.Order{Backup: c.Backup, Database: c.Database, Key: c.Key, Mark: c.Mark,
		Erasures: func(string) ([]schedule.Erasure, error) { return daemon.ErasuresIn(list) }}, time.Now())
	if err != nil {
		return err
	}
	fmt.Fprint(out, r.Words())
	fmt.Fprintln(out, "Start the service with --from-backup the first time: until then it shows everything, takes entries, and sends no mail, for what this copy owes may have gone out already.")
	return nil
}

type backupDrillCmd struct {
	database
	keyFile
	Scratch string `help:"Where to restore to: an empty PostgreSQL database, which stays filled; with SQLite a folder, out of which it is taken again." placeholder:"WHERE"`
	Backup  string `arg:"" optional:"" help:"The backup to try; without one, a copy is made first." type:"existingfile"`
}

// Run tries whether a backup can be restored.
func (c *backupDrillCmd) Run(ctx context.Context, out io.Writer) error {
	store, err := db.OpenExisting(ctx, c.Database)
	if err != nil {
		return err
	}
	defer store.Close()
	if c.Scratch == "" && store.File() == "" {
		return errors.New("--scratch: name an empty PostgreSQL database to restore to (createdb)")
	}
	if !db.IsServer(c.Scratch) {
		dir, err := os.MkdirTemp(strings.TrimPrefix(c.Scratch, "sqlite:"), "endshake-drill-")
		if err != nil {
			return fmt.Errorf("--scratch: nothing can be written there (%w): name a folder that can be", err)
		}
		defer os.RemoveAll(dir)
		c.Scratch = filepath.Join(dir, "endshake.db")
	}
	d, err := backup.Drill(ctx, store, backup.Order{Backup: c.Backup, Database: c.Scratch, Key: c.Key}, time.Now)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(out, d.Words())
	return err
}
