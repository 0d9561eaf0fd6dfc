package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"endshake/daemon/chart"
	"endshake/daemon/paper"
	"endshake/schedule"
	"endshake/wear"
)

// sumFlags are the rates that planning sums of reports go by.
type sumFlags struct {
	SumHour     float64 `help:"What an hour of work on a clock costs, for the planning sums of reports; without rates they say hours and no money." env:"ENDSHAKE_SUM_HOUR" placeholder:"MONEY"`
	SumBearing  float64 `help:"What the work on one bearing costs, all in all; else it goes by the hour." env:"ENDSHAKE_SUM_BEARING" placeholder:"MONEY"`
	SumCurrency string  `help:"How money is written, like EUR." env:"ENDSHAKE_SUM_CURRENCY" placeholder:"WORD"`
	SumSource   string  `help:"Where the rates come from, like an offer with its date; each sum names it." env:"ENDSHAKE_SUM_SOURCE" placeholder:"WORDS"`
}

func (f sumFlags) sums() schedule.Sums {
	return schedule.Sums{Hour: f.SumHour, Bearing: f.SumBearing, Currency: f.SumCurrency, Source: f.SumSource}
}

type reportCmd struct {
	database
	sumFlags
	Clock string `help:"Short name of the clock whose condition report is wanted; else it is the report on all clocks." placeholder:"SLUG"`
	Owner string `help:"Short name of the owner whose annual report is wanted." placeholder:"PERSON"`
	From  string `help:"First day to look back on; else the twelve months up to the last." placeholder:"DAY"`
	Until string `help:"Last day to look back on; else today." placeholder:"DAY"`
	Unit  string `help:"Unit of lengths that stands first: mm or thou." enum:"mm,thou" default:"mm"`
	Out   string `help:"Write it into a file that ends in .pdf or .txt, instead of printing it." placeholder:"FILE"`
}

// Run prints or writes a report.
func (c *reportCmd) Run(ctx context.Context, out io.Writer) error {
	opt, kind, err := c.options()
	if err != nil {
		return err
	}
	desk, done, err := c.desk(ctx)
	if err != nil {
		return err
	}
	defer done()
	s := desk.Snapshot()
	var r schedule.Report
	switch {
	case c.Clock != "":
		r, err = s.ClockReport(c.Clock, opt)
	case c.Owner != "":
		r, err = s.OwnerReport(c.Owner, opt)
	default:
		r, err = s.FleetReport(opt)
	}
	if err != nil {
		return fmt.Errorf("report: %w", err)
	}
	unit := wear.Unit(c.Unit)
	if kind == ".pdf" {
		data, err := paper.PDF(r, unit, paper.For(unit), paper.Drawn(s, chart.Wide))
		if err != nil {
			return err
		}
		return os.WriteFile(c.Out, data, 0o644)
	}
	text := r.In(func(s string) string { return wear.OwnFirst(unit, s) }).Text()
	if c.Out != "" {
		return os.WriteFile(c.Out, []byte(text), 0o644)
	}
	_, err = io.WriteString(out, text)
	return err
}

// options reads the flags, and the kind of file that is asked for.
func (c *reportCmd) options() (opt schedule.ReportOptions, kind string, err error) {
	if c.Clock != "" && c.Owner != "" {
		return opt, "", errors.New("--clock and --owner ask for two reports: give one of them")
	}
	kind = strings.ToLower(filepath.Ext(c.Out))
	if c.Out != "" && kind != ".pdf" && kind != ".txt" {
		return opt, "", fmt.Errorf("--out: %q must end in .pdf or .txt", c.Out)
	}
	opt.Sums = c.sums()
	if err := opt.Sums.Check(); err != nil {
		return opt, "", err
	}
	for _, x := range []struct {
		name, text string
		to         *schedule.Date
	}{{"from", c.From, &opt.From}, {"until", c.Until, &opt.To}} {
		if x.text == "" {
			continue
		}
		if *x.to, err = schedule.ParseDate(x.text); err != nil {
			return opt, "", fmt.Errorf("--%s: %w", x.name, err)
		}
	}
	return opt, kind, nil
}
