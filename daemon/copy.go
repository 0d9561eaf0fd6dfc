package daemon

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"time"

	"endshake/daemon/export"
	"endshake/db"
)

// CopyOut writes everything that the open form has of a database, as it stands at
// one moment, and audits that. See package export.
func CopyOut(ctx context.Context, store *db.Store, actor, version string, now time.Time, out io.Writer) (foot export.Foot, err error) {
	fleet, err := store.Fleet(ctx)
	if err != nil {
		return foot, err
	}
	slugs := make([]string, len(fleet.Clocks))
	for i, c := range fleet.Clocks {
		slugs[i] = c.Slug
	}
	if err := store.Exported(ctx, actor, now, slugs); err != nil {
		return foot, err
	}
	w := bufio.NewWriterSize(out, 1<<16)
	err = store.CopyOut(ctx, func(c db.Copying) error {
		k, err := besideOf(ctx, c)
		if err != nil {
			return err
		}
		k.Program, k.At, k.Whole = programOf(version), now, true
		if k.Fleet, err = c.Fleet(ctx); err != nil {
			return err
		}
		foot, err = export.Write(ctx, w, k, c, nil)
		return err
	})
	if err == nil {
		err = w.Flush()
	}
	return foot, err
}

// besideOf is what an export holds beside the clocks and their logs.
func besideOf(ctx context.Context, c db.Copying) (k export.Kept, err error) {
	if k.Declined, err = c.Declined(ctx); err != nil {
		return k, err
	}
	if k.Erased, err = c.Erasures(ctx); err != nil {
		return k, err
	}
	if k.Rounds, err = c.RoundMarks(ctx); err != nil {
		return k, err
	}
	k.Lessons, err = c.Lessons(ctx)
	return k, err
}

// beside is that, for the pages.
func (d *Daemon) beside(ctx context.Context) (k export.Kept, err error) {
	err = d.store.CopyOut(ctx, func(c db.Copying) error {
		k, err = besideOf(ctx, c)
		return err
	})
	return k, err
}

func programOf(version string) string { return "endshake " + version }

// CopyIn reads an export file into a database that holds nothing yet: all of it, or
// nothing. Its errors are one sentence.
func CopyIn(ctx context.Context, store *db.Store, actor string, now time.Time, in io.Reader) (foot export.Foot, err error) {
	err = store.CopyIn(ctx, actor, now, func(into *db.Incoming) (string, error) {
		var head export.Head
		head, foot, err = export.Read(in, into)
		return fmt.Sprintf("%d clocks, %d entries, %d pictures, written by %.40s at %s, SHA-256 %s", foot.Counts["clock"], foot.Counts["entry"],
			foot.Counts["picture"], head.Program, head.At.UTC().Format(time.RFC3339), foot.SHA256), err
	})
	return foot, err
}
