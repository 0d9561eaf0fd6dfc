package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"endshake/daemon/oldbook"
	"endshake/schedule"
)

type oldBookCmd struct {
	database
	File     string   `arg:"" help:"The logbook: a CSV or XLSX file." type:"existingfile"`
	Keep     bool     `help:"Log it: all of it, or nothing. Otherwise it is only shown what would be logged."`
	Column   []string `help:"What a column is, like date=A or \"reading of centre-front=E\"; a column is named by its letters or its header." placeholder:"ROLE=COLUMN" sep:"none"`
	Unit     []string `help:"Unit of figures that have none: mm, thou, in or um; of one column as D=mm." placeholder:"UNIT"`
	Dates    string   `help:"How dates are written: day-first, month-first or year-first." placeholder:"ORDER"`
	Clock    string   `help:"Short name of the clock, where a row names none." placeholder:"CLOCK"`
	Sheet    string   `help:"The sheet of a workbook." placeholder:"NAME"`
	Answer   []string `help:"Another answer, like \"what serviced=oiled\"." placeholder:"QUESTION=ANSWER" sep:"none"`
	Sure     []int    `help:"Numbers of rows whose readings are right as written, though they were asked back." placeholder:"ROWS"`
	LeaveOut bool     `help:"Leave refused rows out."`
	Answers  string   `help:"A file of answers (JSON) to begin with." type:"existingfile" placeholder:"FILE"`
	SaveTo   string   `name:"save-answers" help:"Write all answers to a file, to be given with --answers." placeholder:"FILE"`
}

// Run shows what comes of an old logbook, and with --keep logs it.
func (c *oldBookCmd) Run(ctx context.Context, out io.Writer) error {
	data, err := readBounded(c.File, oldbook.OfCommand.Bytes)
	if err != nil {
		return err
	}
	answers, err := c.answers()
	if err != nil {
		return err
	}
	sheet, err := oldbook.Open(ctx, c.File, data, oldbook.OfCommand, answers)
	if err != nil {
		return err
	}
	if answers, err = c.columns(sheet, answers); err != nil {
		return err
	}
	if c.SaveTo != "" {
		if err := os.WriteFile(c.SaveTo, answers.JSON(), 0o600); err != nil {
			return fmt.Errorf("--save-answers: %w: name a file that can be written", err)
		}
	}
	desk, done, err := c.desk(ctx)
	if err != nil {
		return err
	}
	defer done()
	logs, model, err := desk.Logs(ctx)
	if err != nil {
		return err
	}
	now := time.Now()
	book := oldbook.Take(sheet, desk.Snapshot().Fleet, answers, schedule.DateOf(now, time.Local), "command")
	if err := book.Against(ctx, oldbook.Log{Entries: logs, Model: model, Now: now}); err != nil {
		return err
	}
	if err := book.Write(out); err != nil {
		return err
	}
	es, err := book.Keep()
	switch {
	case !c.Keep && err == nil && len(es) > 0:
		_, err = fmt.Fprintln(out, "\nNothing is logged yet: give --keep to log it.")
		return err
	case !c.Keep:
		_, err = fmt.Fprintln(out, "\nNothing is logged.")
		return err
	case err != nil:
		return err
	}
	book, sheet, data, logs = nil, nil, nil, nil // a long book takes much, and is not needed any more
	stored, err := desk.LogTogether(ctx, es)
	var one *schedule.OneOfMany
	if errors.As(err, &one) {
		return fmt.Errorf("nothing is logged: somebody logged something meanwhile that this does not fit (%w): run it again", err)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "\nLogged %s from the old book.\n", schedule.Count(len(stored), "entry", "entries"))
	return err
}

// readBounded reads a file that is no larger than most bytes.
func readBounded(name string, most int) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, int64(most)+1)) // one more shows that it is too large
}

// answers are those of the file and of the flags, which go before it.
func (c *oldBookCmd) answers() (oldbook.Answers, error) {
	a := oldbook.Answers{}
	if c.Answers != "" {
		data, err := readBounded(c.Answers, 1<<20)
		if err != nil {
			return nil, err
		}
		if a, err = oldbook.ParseAnswers(data); err != nil {
			return nil, fmt.Errorf("%s: %w", c.Answers, err)
		}
	}
	for _, u := range c.Unit {
		column, unit, ok := strings.Cut(u, "=")
		if !ok {
			column, unit = "", u
		}
		a[strings.TrimSpace("unit "+strings.ToUpper(column))] = unit
	}
	for key, value := range map[string]string{"dates": c.Dates, "clock": c.Clock, "sheet": c.Sheet} {
		if value != "" {
			a[key] = value
		}
	}
	for _, said := range c.Answer {
		at := strings.LastIndexByte(said, '=')
		if at < 0 {
			return nil, fmt.Errorf("--answer: %q has no answer: write it like \"what serviced=oiled\"", said)
		}
		a[strings.TrimSpace(said[:at])] = strings.TrimSpace(said[at+1:])
	}
	if len(c.Sure) > 0 {
		var rows []string
		for _, n := range c.Sure {
			rows = append(rows, strconv.Itoa(n))
		}
		a = a.With(oldbook.Answers{"sure": strings.Join(rows, " ")})
	}
	if c.LeaveOut {
		a["leave out"] = "yes"
	}
	return a, nil
}

// columns puts in what --column says, once the columns are known by their headers.
func (c *oldBookCmd) columns(sheet *oldbook.Sheet, a oldbook.Answers) (oldbook.Answers, error) {
	for _, said := range c.Column {
		role, column, ok := strings.Cut(said, "=")
		letters, found := sheet.Column(column)
		if !ok || !found {
			return nil, fmt.Errorf("--column: %q names no column: write it like date=A, or date=\"the header of the column\"", said)
		}
		a["column "+letters] = strings.TrimSpace(role)
	}
	return a, nil
}
