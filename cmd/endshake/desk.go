package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"endshake/daemon"
	"endshake/db"
	"endshake/schedule"
)

// open opens a database, and brings its schema up to date; the caller closes it.
func (d database) open(ctx context.Context, how func(context.Context, string) (*db.Store, error)) (*db.Store, error) {
	store, err := how(ctx, d.Database)
	if err != nil {
		return nil, err
	}
	if _, _, err := store.Migrate(ctx); err != nil {
		store.Close()
		return nil, err
	}
	return store, nil
}

// desk opens the database and assesses the fleet.
func (d database) desk(ctx context.Context) (*daemon.Desk, func() error, error) {
	store, err := d.open(ctx, db.OpenExisting)
	if err != nil {
		return nil, nil, err
	}
	desk, err := daemon.OpenDesk(ctx, store, time.Now)
	if err != nil {
		store.Close()
		return nil, nil, err
	}
	return desk, store.Close, nil
}

type dueCmd struct {
	database
	JSON   bool `name:"json" help:"Print JSON."`
	Within int  `help:"How many days ahead to look, in the printed list." default:"30"`
	Year   bool `help:"Print the work of the twelve months ahead instead: visits, hours, winds, oil, parts."`
}

// Run prints the due-list.
func (c *dueCmd) Run(ctx context.Context, out io.Writer) error {
	if c.Within < 0 || c.Within > 36500 {
		return fmt.Errorf("--within: %d must be a number of days ahead, from 0 to 36500", c.Within)
	}
	desk, done, err := c.desk(ctx)
	if err != nil {
		return err
	}
	defer done()
	s := desk.Snapshot()
	switch {
	case c.Year && c.JSON:
		return daemon.WriteJSON(out, s.YearAhead())
	case c.Year:
		_, err = io.WriteString(out, s.YearAhead().Text())
		return err
	case c.JSON:
		return daemon.WriteJSON(out, s.DueList())
	}
	_, err = io.WriteString(out, s.DueList().Text(s, c.Within))
	return err
}

type migrateCmd struct{ database }

// Run brings the schema up to date.
func (c *migrateCmd) Run(ctx context.Context, out io.Writer) error {
	store, err := db.Open(ctx, c.Database)
	if err != nil {
		return err
	}
	defer store.Close()
	from, to, err := store.Migrate(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "The schema was at %d and is at %d.\n", from, to)
	return nil
}

type versionCmd struct{}

// Run prints the version.
func (versionCmd) Run(out io.Writer) error {
	_, err := fmt.Fprintln(out, "endshake", version)
	return err
}

type fleetCmd struct {
	Load  fleetLoadCmd  `cmd:"" help:"Read a fleet file and keep it; sites, people and clocks that it does not name stay as they are."`
	Print fleetPrintCmd `cmd:"" help:"Print the fleet as a fleet file."`
}

type fleetLoadCmd struct {
	database
	Over bool   `help:"Put the file in the place of what people have changed on the pages since."`
	File string `arg:"" help:"Fleet file (JSON); see endshake fleet print." type:"existingfile"`
}

// loader is who the audit names for what a fleet file said.
const loader = "command"

// mayUndo refuses a file that would undo what people did on the pages.
func (c *fleetLoadCmd) mayUndo(ctx context.Context, store *db.Store, f schedule.Fleet) error {
	if c.Over {
		return nil
	}
	rows, err := store.UndoneBy(ctx, loader, f)
	if err != nil || len(rows) == 0 {
		return err
	}
	var what []string
	for _, r := range rows[:min(len(rows), mostUndone)] {
		what = append(what, fmt.Sprintf("%s, by %s on %s", r.Subject, r.Actor, schedule.DateOf(r.At, time.UTC).Words()))
	}
	if more := len(rows) - len(what); more > 0 {
		what = append(what, fmt.Sprintf("and %d more", more))
	}
	return fmt.Errorf("%s would undo what was changed on the pages (%s): begin with what endshake fleet print prints and change that, or load the file with --over", c.File, strings.Join(what, "; "))
}

// mostUndone is how many of them a refusal names.
const mostUndone = 6

// Run reads a fleet file: all of it is kept, or nothing.
func (c *fleetLoadCmd) Run(ctx context.Context, out io.Writer) error {
	data, err := os.ReadFile(c.File)
	if err != nil {
		return fmt.Errorf("read the fleet file: %w", err)
	}
	fleet, err := schedule.ParseFleet(data)
	if err != nil {
		return fmt.Errorf("%s: %w", c.File, err)
	}
	store, err := c.open(ctx, db.Open)
	if err != nil {
		return err
	}
	defer store.Close()
	if err := c.mayUndo(ctx, store, fleet); err != nil {
		return err
	}
	now := time.Now()
	err = store.SaveFleet(ctx, loader, now, fleet, func(_ schedule.Fleet, log map[string][]schedule.Entry) error {
		return fleet.CanReplace(log, now)
	})
	if err != nil {
		return fmt.Errorf("%s: %w", c.File, err)
	}
	fmt.Fprintf(out, "Kept %d sites, %d people and %d clocks.\n", len(fleet.Sites), len(fleet.People), len(fleet.Clocks))
	return nil
}

type fleetPrintCmd struct{ database }

// Run prints the fleet.
func (c *fleetPrintCmd) Run(ctx context.Context, out io.Writer) error {
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	fleet, err := store.Fleet(ctx)
	if err != nil {
		return err
	}
	b, err := schedule.FormatFleet(fleet)
	if err != nil {
		return err
	}
	_, err = out.Write(b)
	return err
}
