package backup

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// Drilled is how a drill went.
type Drilled struct {
	Restored
	Copied time.Duration // how long the copy took, with its check; zero: an older one was tried
	Back   time.Duration // how long restoring it took, until it was ready
	Tables int           // compared, row by row; 0: nothing to compare with
}

// Drill restores into a scratch place, which is empty, and sees that every table
// came back. With a backup in the order that one is tried; without, a copy of the
// store is made first, and every row of what was restored is compared with what was
// copied. The watch says what time it is.
func Drill(ctx context.Context, store *db.Store, o Order, watch func() time.Time) (d Drilled, err error) {
	var copied db.Extent
	if o.Backup == "" {
		dir, err := os.MkdirTemp("", "endshake-drill-")
		if err != nil {
			return d, err
		}
		defer os.RemoveAll(dir)
		kind := kindSQLite
		if store.File() == "" {
			kind = kindPostgres
		}
		began := watch()
		o.Backup = filepath.Join(dir, nameAt(began, kind, false))
		if copied, err = store.CopyTo(ctx, o.Backup, true); err != nil {
			return d, err
		}
		d.Copied = watch().Sub(began)
	}
	began := watch()
	if d.Restored, err = Restore(ctx, o, began); err != nil {
		return d, err
	}
	d.Back = watch().Sub(began)
	if copied.Sums == nil {
		return d, nil
	}
	d.Summed = true // row by row, below
	back, err := db.OpenExisting(ctx, o.Database)
	if err != nil {
		return d, err
	}
	sums, err := back.Sums(ctx)
	if err = errors.Join(err, back.Close()); err != nil {
		return d, err
	}
	if wrong := differing(copied.Sums, sums); len(wrong) > 0 {
		return d, fmt.Errorf("what was restored is not what was copied: %s differ", strings.Join(wrong, ", "))
	}
	d.Tables = len(sums)
	return d, nil
}

// differing names what differs between two maps.
func differing(a, b map[string]string) (names []string) {
	for name, sum := range a {
		if b[name] != sum {
			names = append(names, name)
		}
	}
	for name := range b {
		if _, ok := a[name]; !ok {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	return names
}

// Words says how a drill went.
func (d Drilled) Words() string {
	out := d.Restored.Words()
	if d.Copied > 0 {
		out += fmt.Sprintf("Copied and checked in %.1f s. ", d.Copied.Seconds())
	}
	out += fmt.Sprintf("Restored and checked in %.1f s.\n", d.Back.Seconds())
	if d.Tables > 0 {
		out += fmt.Sprintf("Every row of %s is as it was copied.\n", schedule.Count(d.Tables, "table", "tables"))
	}
	return out
}
