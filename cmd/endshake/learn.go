package main

import (
	"context"
	"fmt"
	"io"

	"endshake/schedule"
)

type learnCmd struct{ database }

// Run learns from the fleet and prints what it taught.
func (c *learnCmd) Run(ctx context.Context, out io.Writer) error {
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
