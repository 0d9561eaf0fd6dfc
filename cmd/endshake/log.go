package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"endshake/schedule"
	"endshake/wear"
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

	EndShake  string   `help:"measured: the end-shake, like 0.42 mm or 16 thou." placeholder:"LENGTH"`
	SideShake string   `help:"measured: the side-shake." placeholder:"LENGTH"`
	Gauge     string   `help:"measured: uncertainty of the gauge." placeholder:"LENGTH"`
	With      string   `help:"measured: the instrument." placeholder:"TEXT"`
	Celsius   *float64 `help:"measured: temperature." placeholder:"DEGREES"`
	Load      string   `help:"measured: off (weight held) or on."`
	Sure      bool     `help:"measured: it is right as written, though it was asked back."`

	Cause   string   `help:"stopped: why." placeholder:"CAUSE"`
	Since   string   `help:"stopped: when it had stopped, if known." placeholder:"TIME"`
	Until   string   `help:"stopped: the day to go again." placeholder:"DAY"`
	Turns   float64  `help:"wound: turns put on." placeholder:"N"`
	Part    bool     `help:"wound: not fully."`
	Oil     string   `help:"oiled: what oil." placeholder:"TEXT"`
	Found   string   `help:"inspected: sound, watch or act."`
	Work    string   `help:"repaired: new bush, new washer, refaced, pivot polished or other work." placeholder:"WORK"`
	Leaves  string   `help:"repaired: the freedom after it." placeholder:"LENGTH"`
	NewPair string   `help:"repaired: the materials, if they changed." placeholder:"PAIR"`
	Error   *float64 `help:"set, inspected, wound: seconds found, + fast." placeholder:"SECONDS"`
	Left    *float64 `help:"set: seconds left, + fast." placeholder:"SECONDS"`
	Nut     float64  `help:"regulated: turns of the rating nut, + raises the bob." placeholder:"TURNS"`

	Replaces string `help:"Identity of the entry that this one corrects." placeholder:"ID"`
	Why      string `help:"Why it is corrected." placeholder:"TEXT"`
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
		return err
	}
	a, _ := desk.Snapshot().Clock(c.Clock)
	fmt.Fprintf(out, "Logged %s for %s (%s). %s\n", stored.Kind, a.Clock.Name, stored.ID, a.Status)
	if o, ok := a.Outlook(stored.Bearing); ok {
		fmt.Fprintln(out, o.Sentence)
	}
	return nil
}

// entry puts the flags together.
func (c *logCmd) entry(zone *time.Location) (schedule.Entry, error) {
	e := schedule.Entry{
		Clock: c.Clock, Kind: schedule.EntryKind(c.Kind), At: time.Now(), By: c.By, Train: c.Train, Bearing: c.Bearing,
		Note: c.Note, Source: "command", Replaces: c.Replaces, Why: c.Why, Key: c.Key,
	}
	e.Detail = schedule.Detail{
		Sure: c.Sure, Turns: c.Turns, Part: c.Part, Cause: schedule.StopCause(c.Cause), Oil: c.Oil, Found: schedule.Condition(c.Found),
		Work: schedule.RepairWork(c.Work), NewPair: wear.Pair(c.NewPair), ErrorFound: c.Error, ErrorLeft: c.Left, NutTurns: c.Nut,
	}
	var err error
	instant := func(flag, s string, to *time.Time) {
		if s != "" && err == nil {
			if *to, err = schedule.ParseWall(s, zone); err != nil {
				err = fmt.Errorf("%s: %w", flag, err)
			}
		}
	}
	length := func(flag, s string, to *wear.Length) {
		if s != "" && err == nil {
			if *to, err = wear.ParseLength(s); err != nil {
				err = fmt.Errorf("%s: %w", flag, err)
			}
		}
	}
	instant("--at", c.At, &e.At)
	instant("--since", c.Since, &e.Since)
	length("--leaves", c.Leaves, &e.Fitted)
	if c.Until != "" && err == nil {
		e.Until, err = schedule.ParseDate(c.Until)
	}
	if shake, text := wear.EndShake, c.EndShake; text != "" || c.SideShake != "" {
		if text == "" {
			shake, text = wear.SideShake, c.SideShake
		}
		e.Reading = &wear.Reading{Shake: shake, Instrument: c.With, Celsius: c.Celsius, Load: wear.LoadState(c.Load)}
		length("--"+string(shake), text, &e.Reading.Value)
		length("--gauge", c.Gauge, &e.Reading.Gauge)
	}
	return e, err
}
