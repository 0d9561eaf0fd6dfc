package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"endshake/schedule"
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
	a, ok := desk.Snapshot().Clock(c.Clock)
	if !ok {
		return c.flagged(noClock(desk.Snapshot(), c.Clock))
	}
	e, err := c.entry(a.Zone)
	if err != nil {
		return err
	}
	stored, err := desk.Log(ctx, e)
	if err != nil {
		return c.flagged(err)
	}
	a, _ = desk.Snapshot().Clock(c.Clock)
	fmt.Fprintf(out, "Logged %s for %s (%s). %s\n", stored.Kind, a.Clock.Name, stored.ID, a.Status)
	if o, ok := a.Outlook(stored.Bearing); ok {
		fmt.Fprintln(out, o.Sentence)
	}
	return nil
}

// mostNamed is how many clocks are named to whoever asked for one that is not there.
const mostNamed = 12

// noClock says that a clock is not there, and which are.
func noClock(snap *schedule.Snapshot, asked string) error {
	var names []string
	for _, a := range snap.Clocks {
		if len(snap.Clocks) <= mostNamed || strings.EqualFold(a.Clock.Name, asked) {
			names = append(names, a.Clock.Slug)
		}
	}
	which := "its short name stands at the end of the address of its page, and in what endshake fleet print prints"
	switch len(names) {
	case 0:
	case 1:
		which = "say " + names[0]
	default:
		which = "say one of " + strings.Join(names, ", ")
	}
	return &schedule.Error{Code: schedule.NotFound, Field: "clock", Message: fmt.Sprintf("there is no clock %q: %s", asked, which)}
}
