package backup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"time"

	"filippo.io/age"

	"endshake/db"
	"endshake/db/failpoint"
)

// Settings are where copies go, how many stay, and who can read them.
type Settings struct {
	Folder     string
	Keep       Keep
	Recipients []age.Recipient // none: copies are not encrypted
}

// Made is a copy that was made.
type Made struct {
	File
	Extent  db.Extent
	Removed []string // older copies that need not stay
}

// Make makes a copy of a database that may be in use. The copy gets its final name
// once it is whole, looked through and flushed; then older ones go. After an error
// nothing is kept, and nothing has gone, but where the error is one of taking older
// ones away.
func Make(ctx context.Context, store *db.Store, s Settings, now time.Time) (m Made, err error) {
	if err := CheckFolder(s.Folder); err != nil {
		return m, err
	}
	kind := kindSQLite
	if store.File() == "" {
		kind = kindPostgres
	}
	m.File = File{At: now.UTC().Truncate(time.Second), Kind: kind, Sealed: len(s.Recipients) > 0}
	m.Path = filepath.Join(s.Folder, nameAt(now, kind, m.Sealed))
	if _, err := os.Lstat(m.Path); !errors.Is(err, fs.ErrNotExist) {
		return m, fmt.Errorf("%s is there already: wait a second, and try again", m.Path)
	}
	clear(s.Folder, now)
	part := filepath.Join(s.Folder, partName(now))
	defer os.Remove(part)
	if m.Extent, err = write(ctx, store, s, part, now); err != nil {
		return m, fmt.Errorf("the backup was not made: %w", err)
	}
	if !m.Sealed {
		if err := keepSum(part, m.Path); err != nil {
			return m, fmt.Errorf("the backup was not made: %w", err)
		}
	}
	if err := rename(part, m.Path); err != nil {
		return m, fmt.Errorf("the backup was not made: %w", err)
	}
	info, err := os.Stat(m.Path)
	if err != nil {
		return m, err
	}
	m.Size = info.Size()
	// By a clock that is not behind what was logged last, no other copy holds more.
	m.Removed, err = s.remove(now, !now.Before(m.Extent.Newest))
	return m, err
}

// CheckFolder sees that backups can be written into a folder.
func CheckFolder(folder string) error {
	info, err := os.Stat(folder)
	if err != nil || !info.IsDir() {
		return fmt.Errorf("%s is not a folder for backups: make it first, on a disk that is there, and give it to whoever runs this service", folder)
	}
	return nil
}

// write writes the copy, whole and looked through.
func write(ctx context.Context, store *db.Store, s Settings, part string, now time.Time) (e db.Extent, err error) {
	if len(s.Recipients) == 0 {
		if e, err = store.CopyTo(ctx, part, false); err != nil {
			return e, err
		}
		return e, flush(part)
	}
	if store.File() == "" { // what is not encrypted lies nowhere
		err = seal(part, s.Recipients, func(w io.Writer) error {
			e, err = store.DumpTo(ctx, w)
			return err
		})
		return e, err
	}
	// What is not encrypted yet lies where the database does.
	private := filepath.Dir(store.File())
	clear(private, now)
	plain := filepath.Join(private, partName(now))
	defer os.Remove(plain)
	if e, err = store.CopyTo(ctx, plain, false); err != nil {
		return e, err
	}
	in, err := os.Open(plain)
	if err != nil {
		return e, err
	}
	defer in.Close()
	return e, seal(part, s.Recipients, func(w io.Writer) error {
		_, err := io.Copy(w, in)
		return err
	})
}

// remove takes away the copies that need not stay; now may be sure to be right.
func (s Settings) remove(now time.Time, sure bool) (gone []string, err error) {
	all, err := List(s.Folder)
	if err != nil {
		return nil, err
	}
	for _, f := range s.Keep.surplus(all, now, sure) {
		if err := os.Remove(f.Path); err != nil {
			return gone, fmt.Errorf("the backup was made, and an older one cannot be removed: %w", err)
		}
		gone = append(gone, f.Path)
		if !f.Sealed {
			os.Remove(f.Path + sumEnd) // older programs wrote none
		}
	}
	return gone, nil
}

// partName is the name of what is not whole yet. It is never taken for a copy.
func partName(now time.Time) string { return ".endshake-" + now.UTC().Format(stampLayout) + ".part" }

var partOf = regexp.MustCompile(`^\.endshake-(\d{8}T\d{6}Z)\.part(-journal|-wal|-shm)?$`)

// leftAfter is how long what is not whole is left alone: somebody may be at it.
const leftAfter = 12 * time.Hour

// clear takes away what a program that was killed has left behind.
func clear(folder string, now time.Time) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return // whoever writes there next says it
	}
	for _, e := range entries {
		m := partOf.FindStringSubmatch(e.Name())
		if m == nil || !e.Type().IsRegular() {
			continue
		}
		path := filepath.Join(folder, e.Name())
		at, err := time.Parse(stampLayout, m[1])
		info, other := e.Info()
		if err != nil || other != nil || now.Sub(at) < leftAfter || now.Sub(info.ModTime()) < leftAfter {
			continue
		}
		if _, _, err := Look(path); err == nil || info.Size() == 0 || m[2] != "" {
			os.Remove(path)
		}
	}
}

// rename gives a flushed file its final name, for good.
func rename(from, to string) error {
	if err := os.Rename(from, to); err != nil {
		return err
	}
	failpoint.Hit("K30") // it has its name, and the folder is not flushed
	return flush(filepath.Dir(to))
}

// flush has a file or folder on the disk.
func flush(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
