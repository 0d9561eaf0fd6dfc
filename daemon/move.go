package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// Move copies everything that one database holds into another, with the list of
// erasures beside it, and prints what arrived. See db.OpenMove for what it refuses.
func Move(ctx context.Context, from, to string, now time.Time, out io.Writer) (err error) {
	m, err := db.OpenMove(ctx, from, to)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, m.Close()) }()
	words, err := moveErasures(ctx, m.From(), m.To())
	if err != nil {
		return err
	}
	tables, err := m.Run(ctx, now)
	if len(tables) > 0 {
		fmt.Fprint(out, db.MovedText(tables))
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, "Both sides were read and are the same. Serve it from there with --database or ENDSHAKE_DATABASE, and serve the old one no more: its letters would go out twice."+words)
	return err
}

// moveErasures brings the list of erasures beside the new database, and says what
// is left to do about it.
func moveErasures(ctx context.Context, from, to *db.Store) (words string, err error) {
	list, err := from.Erasures(ctx)
	if err != nil {
		return "", err
	}
	old := ErasuresFile("", from.File())
	kept, err := ErasuresIn(old)
	if err != nil {
		return "", err
	}
	for _, e := range kept { // whom a restored backup has brought back
		if !slices.ContainsFunc(list, func(x schedule.Erasure) bool { return x.Person == e.Person }) {
			list = append(list, e)
		}
	}
	if to.File() == "" {
		switch {
		case len(kept) > 0:
			return " Who was erased stands in " + old + ": name that file, or a copy of it, with --erasures.", nil
		case len(list) > 0:
			return " People were erased: name the list of them with --erasures, as before.", nil
		}
		return "", nil
	}
	path := ErasuresFile("", to.File())
	there, err := ErasuresIn(path)
	if err != nil || len(list) == 0 && len(there) == 0 {
		return "", err
	}
	data := FormatErasures(list)
	if len(there) > 0 && !bytes.Equal(FormatErasures(there), data) {
		return "", fmt.Errorf("--to: %s lists erasures of another fleet, by which people of this one could be erased: move that file away, or name another database", path)
	}
	return "", writeErasures(path, data)
}
