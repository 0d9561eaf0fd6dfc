package main

import (
	"context"
	"errors"
	"io"
	"time"

	"endshake/daemon"
)

type checkCmd struct {
	database
	Mark    string `help:"File that keeps how far the database has come; beside the file of the database where it has one." env:"ENDSHAKE_MARK" placeholder:"FILE"`
	Backups string `help:"Folder in which backups are made." env:"ENDSHAKE_BACKUPS" placeholder:"FOLDER"`
}

// Run prints what was looked at, one line each. Where something is wrong it fails.
func (c *checkCmd) Run(ctx context.Context, out io.Writer) error {
	sound, err := daemon.WriteFindings(out, daemon.Check(ctx, daemon.Examination{Database: c.Database, Mark: c.Mark, Backups: c.Backups, Now: time.Now}))
	if err == nil && !sound {
		err = errors.New("check: not all is in order, see the lines that begin with \"mend\"")
	}
	return err
}
