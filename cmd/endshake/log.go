package main

import (
	"context"
	"fmt"
	"io"
	"time"
)

type logCmd struct {
	database
	Kind    string `arg:"" help:"What happened: wound, oiled, inspected, measured, cleaned, repaired, stopped, started, set, regulated, noted."`
	Clock   string `arg:"" help:"Short name of the clock."`
	At      string `help:"When, in the clock's zone: 2026-11-25 14:30 or 2026-11-25; otherwise now." placeholder:"TIME"`
	By      string `help:"Short name of who did it." placeholder:"PERSON"`
	Train   string `help:"Code of the train; otherwise the whole clock." placeholder:"CODE"`
	Bearing string `help:"Code of the bearing." placeholder:"CODE"`
	Note    string `help:"In words." placeholder:"TEXT"`

	measuredFlags `group:"Measured:"`
	woundFlags    `group:"Wound, and a train's meter:"`
	oiledFlags    `group:"Oiled:"`
	lookedFlags   `group:"Inspected, and lines:"`
	repairedFlags `group:"Repaired:"`
	stoppedFlags  `group:"Stopped:"`
	timeFlags     `group:"Set and regulated, and any look at its going:"`
	notedFlags    `group:"Noted:"`

	Replaces string `help:"Identity of the entry that this one corrects." placeholder:"ID"`
	Why      string `help:"Why it is corrected." placeholder:"TEXT"`
	Old      bool   `help:"Copied from an old book: it is taken as it stands."`
	Key      string `help:"A name for this entry: logging it twice logs it once." placeholder:"KEY"`
}

// Run logs one entry.
func (c *logCmd) Run(ctx context.Context, out io.Writer) error {
	desk, done, err := c.desk(ctx)
	if err != nil {
		return err
	}
	defer done()
	zone := time.UTC
	if a, ok := desk.Snapshot().Clock(c.Clock); ok {
		zone = a.Zone
	}
	e, err := c.entry(zone)
	if err != nil {
		return err
	}
	stored, err := desk.Log(ctx, e)
	if err != nil {
		return c.flagged(err)
	}
	a, _ := desk.Snapshot().Clock(c.Clock)
	fmt.Fprintf(out, "Logged %s for %s (%s). %s\n", stored.Kind, a.Clock.Name, stored.ID, a.Status)
	if o, ok := a.Outlook(stored.Bearing); ok {
		fmt.Fprintln(out, o.Sentence)
	}
	return nil
}
