package main

import (
	"context"
	"fmt"
	"io"

	"endshake/db"
	"endshake/schedule"
)

type learnCmd struct {
	database
	Number int `help:"Print what the fleet taught under this number, as a page names it, instead of learning anew." placeholder:"N"`
}

// Run learns from the fleet, or looks up what it taught, and prints it.
func (c *learnCmd) Run(ctx context.Context, out io.Writer) error {
	if c.Number != 0 {
		return c.print(ctx, out)
	}
	desk, done, err := c.desk(ctx)
	if err != nil {
		return err
	}
	defer done()
	l, err := desk.Teach(ctx)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(out, schedule.LessonText(l))
	return err
}

func (c *learnCmd) print(ctx context.Context, out io.Writer) error {
	store, err := c.open(ctx, db.OpenExisting)
	if err != nil {
		return err
	}
	defer store.Close()
	l, ok, err := store.LearnedVersion(ctx, c.Number)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("--number: the fleet has taught nothing under number %d: the newest is on the page Reckoner", c.Number)
	}
	_, err = fmt.Fprint(out, schedule.LessonText(l))
	return err
}
