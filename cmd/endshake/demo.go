package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"time"

	"endshake/daemon"
	"endshake/schedule"
)

type demoCmd struct {
	Listen string `help:"Address of the pages." default:"127.0.0.1:8080"`
	Today  string `help:"Day to stand on, like 2026-11-25; otherwise today." placeholder:"DAY"`
	Seed   uint64 `help:"Seed of the invented fleet." default:"1"`
	Once   bool   `help:"Run one whole cycle for the day, write what came of it to --out, and end."`
	Out    string `help:"Folder for --once: mail, due-list, metrics and pages." default:"endshake-demo" placeholder:"DIR"`
}

// Run serves the invented fleet until it is told to stop, or runs one cycle.
func (c *demoCmd) Run(ctx context.Context, out io.Writer, log *slog.Logger) error {
	now := time.Now
	if c.Today != "" {
		day, err := schedule.ParseDate(c.Today)
		if err != nil {
			return fmt.Errorf("--today: %w", err)
		}
		if day.Year < 1990 || day.Year > 2100 {
			return fmt.Errorf("--today: %s must lie between 1990 and 2100", day)
		}
		// Time goes on from nine in the morning of that day.
		start, nine := time.Now(), day.At(9, 0, daemon.DemoZone())
		now = func() time.Time { return nine.Add(time.Since(start)) }
	}
	listen := c.Listen
	if c.Once {
		listen, log = "127.0.0.1:0", slog.New(slog.DiscardHandler)
	}
	demo, err := daemon.NewDemo(ctx, daemon.DemoOptions{Listen: listen, Seed: c.Seed, Now: now, Version: version, Log: log})
	if err != nil {
		return err
	}
	if c.Once {
		return demo.Once(ctx, c.Out, out)
	}
	fmt.Fprintf(out, "The invented fleet is at http://%s/ and its mail room at http://%s/mail (stop with Ctrl-C).\n", demo.Addr(), demo.Addr())
	fmt.Fprintf(out, "The clocks of %s as a calendar are at http://%s%s.\n", demo.Reader, demo.Addr(), demo.Calendar)
	defer fmt.Fprintln(out, "Stopped. Nothing of the demo is kept.")
	return demo.Run(ctx)
}
