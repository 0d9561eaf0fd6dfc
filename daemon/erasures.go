package daemon

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"endshake/schedule"
)

// erasedSuffix makes the name of the list of erasures out of that of the database.
const erasedSuffix = ".erased"

// ReadErasures reads a list of who was erased, one JSON object a line, as
// WriteErasures writes it. Its errors name the line.
func ReadErasures(data []byte) (list []schedule.Erasure, err error) {
	lines := bufio.NewScanner(bytes.NewReader(data))
	for n := 1; lines.Scan(); n++ {
		if len(bytes.TrimSpace(lines.Bytes())) == 0 {
			continue
		}
		var e schedule.Erasure
		err := json.Unmarshal(lines.Bytes(), &e)
		if err != nil || e.Person == "" || e.Number < 1 || e.At.IsZero() {
			return nil, fmt.Errorf("line %d of the list of erasures is not like {\"person\":\"ned\",\"number\":1,\"at\":\"2026-11-25T10:00:00Z\"}: take the list from a backup, or mend the line", n)
		}
		list = append(list, e)
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("the list of erasures cannot be read: %w", err)
	}
	return list, nil
}

// FormatErasures writes a list of who was erased, one JSON object a line.
func FormatErasures(list []schedule.Erasure) []byte {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	for _, e := range list {
		_ = enc.Encode(e) // texts, a number and a time: it cannot fail
	}
	return b.Bytes()
}

// erasuresFile is where it is kept who was erased, apart from the database: by
// --erasures, or beside the file of the database; empty: nowhere.
func (d *Daemon) erasuresFile() string { return ErasuresFile(d.o.Erasures, d.store.File()) }

// ErasuresFile is where it is kept who was erased: where it is said, or beside the
// file of a database; empty: nowhere.
func ErasuresFile(said, database string) string {
	if said != "" || database == "" {
		return said
	}
	return database + erasedSuffix
}

// ErasuresIn reads the list of erasures in a file; one that is not there, or that is
// nowhere, is empty.
func ErasuresIn(path string) ([]schedule.Erasure, error) {
	if path == "" {
		return nil, nil
	}
	data, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("the list of erasures cannot be read (%w): give it to whoever runs this program", err)
	}
	list, err := ReadErasures(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return list, nil
}

// eraseAgain erases once more whom a restored backup has brought back, and brings
// the list up to date.
func (d *Daemon) eraseAgain(ctx context.Context) error {
	path := d.erasuresFile()
	if path == "" {
		return nil
	}
	list, err := ErasuresIn(path)
	if err != nil {
		return err
	}
	done, err := d.store.EraseAgain(ctx, "serve", d.o.Now(), list)
	if err != nil {
		return fmt.Errorf("erase again by %s: %w", path, err)
	}
	for _, e := range done {
		d.o.Log.Warn("erased again whom this database still had, as of a backup made before", "now", e.Name())
	}
	return d.keepErasures(ctx)
}

// keepErasures writes the list of erasures: all of it, or nothing.
func (d *Daemon) keepErasures(ctx context.Context) error {
	path := d.erasuresFile()
	if path == "" {
		return nil
	}
	list, err := d.store.Erasures(ctx)
	if err != nil {
		return err
	}
	data := FormatErasures(list)
	// Of nobody, too: so whoever restores a backup has a list to name.
	if old, err := os.ReadFile(path); err == nil && bytes.Equal(old, data) {
		return nil
	}
	return writeErasures(path, data)
}

func writeErasures(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".erased-*")
	if err == nil {
		defer os.Remove(f.Name())
		_, err = f.Write(data)
		err = errors.Join(err, f.Sync(), f.Close())
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("the list of erasures cannot be written to %s (%w): make its folder one that this service can write", path, err)
	}
	return nil
}

// erase erases somebody, keeps that apart from the database, and has it assessed.
func (d *Daemon) erase(ctx context.Context, actor, person string) (schedule.Erasure, error) {
	e, err := d.store.Erase(ctx, actor, d.o.Now(), person)
	if err != nil {
		return e, err
	}
	if d.erasuresFile() == "" {
		d.o.Log.Warn("somebody was erased, and no list of that is kept apart from the database: name a file with --erasures, or keep what endshake account erased prints apart from backups")
	}
	if err := d.keepErasures(ctx); err != nil { // they are erased all the same
		d.o.Log.Error("a restored backup would bring them back: "+err.Error(), "now", e.Name())
	}
	_, err = d.desk.Follow(ctx)
	return e, err
}
