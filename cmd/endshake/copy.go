package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"endshake/daemon"
	"endshake/daemon/export"
	"endshake/db"
	"endshake/schedule"
)

type copyCmd struct {
	Out copyOutCmd `cmd:"" help:"Write the whole fleet with its logs and pictures as an export file, and no password or token."`
	In  copyInCmd  `cmd:"" help:"Read an export file into an empty database: all of it, or nothing."`
}

type copyOutCmd struct {
	database
	Out string `help:"File to write; otherwise it is printed." placeholder:"FILE"`
}

// Run writes the file: under its name only once it is whole.
func (c *copyOutCmd) Run(ctx context.Context, out io.Writer) (err error) {
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	if c.Out == "" {
		_, err = daemon.CopyOut(ctx, store, loader, version, time.Now(), out)
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(c.Out), ".export-*")
	if err != nil {
		return fmt.Errorf("--out: the file cannot be written (%w): name one in a folder that can be", err)
	}
	defer os.Remove(f.Name()) // not there any more where all went well
	foot, err := daemon.CopyOut(ctx, store, loader, version, time.Now(), f)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), c.Out)
	}
	if err == nil {
		_, err = fmt.Fprintf(out, "Wrote %s to %s. It holds everybody's name and address: keep it as you would keep a letter.\n", counted(foot), c.Out)
	}
	return err
}

// counted is what a file holds.
func counted(f export.Foot) string {
	return schedule.And([]string{schedule.Count(f.Counts["clock"], "clock", "clocks"), schedule.Count(f.Counts["entry"], "entry", "entries"),
		schedule.Count(f.Counts["picture"], "picture", "pictures")})
}

type copyInCmd struct {
	database
	File string `arg:"" help:"Export file; - reads what is piped in."`
}

// Run reads the file.
func (c *copyInCmd) Run(ctx context.Context, out io.Writer) error {
	in := io.Reader(os.Stdin)
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("read the export file: %w", err)
		}
		defer f.Close()
		in = f
	}
	store, err := c.open(ctx, db.Open)
	if err != nil {
		return err
	}
	defer store.Close()
	foot, err := daemon.CopyIn(ctx, store, loader, time.Now(), in)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "Copied %s in. Who may log in is not part of it: endshake account first, or the log of serve, tells how the first conservator comes in.\n", counted(foot))
	return err
}
