package main

import (
	"fmt"
	"io"
	"slices"
	"time"

	"endshake/daemon"
	"endshake/daemon/reckon"
	"endshake/schedule"
)

type reckonCmd struct {
	Args []string `arg:"" optional:"" help:"A sheet and its inputs; none: list the sheets."`
}

// Run reckons one sheet, or lists them. It needs no database.
func (c *reckonCmd) Run(out io.Writer) error {
	if len(c.Args) == 0 || isHelp(c.Args[0]) {
		_, err := io.WriteString(out, reckon.List())
		return err
	}
	sheet, ok := reckon.Find(c.Args[0])
	if !ok {
		return fmt.Errorf("there is no sheet %q: endshake reckon lists them", c.Args[0])
	}
	if slices.ContainsFunc(c.Args[1:], isHelp) {
		_, err := io.WriteString(out, sheet.Help())
		return err
	}
	given, json, err := sheet.ParseArgs(c.Args[1:])
	if err != nil {
		return err
	}
	answer, faults := sheet.Reckon(given, schedule.DateOf(time.Now(), time.Local))
	if len(faults) > 0 {
		return faults[0]
	}
	if json {
		return daemon.WriteJSON(out, answer)
	}
	_, err = io.WriteString(out, answer.Text())
	return err
}

func isHelp(arg string) bool { return arg == "--help" || arg == "-h" }
