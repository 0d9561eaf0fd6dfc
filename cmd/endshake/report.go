package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"endshake/daemon/chart"
	"endshake/daemon/paper"
	"endshake/schedule"
	"endshake/wear"
)

// sumFlags are the rates that planning sums of reports go by.
type sumFlags struct {
	SumHour     money  `help:"What an hour of work on a clock costs, for the planning sums of reports; without rates they say hours and no money." env:"ENDSHAKE_SUM_HOUR" placeholder:"MONEY"`
	SumBearing  money  `help:"What the work on one bearing costs, all in all; else it goes by the hour." env:"ENDSHAKE_SUM_BEARING" placeholder:"MONEY"`
	SumCurrency string `help:"How money is written, like EUR." env:"ENDSHAKE_SUM_CURRENCY" placeholder:"WORD"`
	SumSource   string `help:"Where the rates come from, like an offer with its date; each sum names it." env:"ENDSHAKE_SUM_SOURCE" placeholder:"WORDS"`
}

// money is a sum that a flag names.
type money float64

// UnmarshalText reads a sum.
func (m *money) UnmarshalText(text []byte) error {
	v, err := strconv.ParseFloat(strings.TrimSpace(string(text)), 64)
	if err != nil {
		return fmt.Errorf("%q must be a number like 45 or 45.50", text)
	}
	*m = money(v)
	return nil
}

func (f sumFlags) sums() schedule.Sums {
	return schedule.Sums{Hour: float64(f.SumHour), Bearing: float64(f.SumBearing), Currency: f.SumCurrency, Source: f.SumSource}
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
	Over  bool   `help:"Put it in the place of the file of that name, if there is one."`
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
		return c.write(out, data)
	}
	text := r.In(func(s string) string { return wear.OwnFirst(unit, s) }).Text()
	if c.Out != "" {
		return c.write(out, []byte(text))
	}
	_, err = io.WriteString(out, text)
	return err
}

// write puts a report into its file, and says so. What is there already is kept, unless
// it is to be put in its place.
func (c *reportCmd) write(out io.Writer, data []byte) error {
	how := os.O_WRONLY | os.O_CREATE | os.O_EXCL
	if c.Over {
		how = os.O_WRONLY | os.O_CREATE | os.O_TRUNC
	}
	f, err := os.OpenFile(c.Out, how, 0o644)
	switch {
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("--out: %s is there already: name another file, or put the report in its place with --over", c.Out)
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("--out: %s cannot be written, for there is no such folder: make it first, or name another", c.Out)
	case err != nil:
		return fmt.Errorf("--out: %s cannot be written (%w): name a file that can be", c.Out, errors.Unwrap(err))
	}
	if _, err = f.Write(data); err == nil {
		err = f.Close()
	} else {
		f.Close()
	}
	if err != nil {
		return fmt.Errorf("--out: %s is not written whole (%w): see that there is room", c.Out, err)
	}
	_, err = fmt.Fprintf(out, "Written to %s\n", c.Out)
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
	if c.Over && c.Out == "" {
		return opt, "", errors.New("--over: no file is named that the report is to take the place of: add --out")
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
