package backup

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// The kinds of copies, as their names end.
const (
	kindSQLite   = "db"
	kindPostgres = "pgdump"
	sealedEnd    = ".age"
)

// heads are how each kind begins (SQLite file format, 1.3; pg_dump's custom format;
// age-encryption.org/v1).
var heads = map[string]string{
	kindSQLite:   "SQLite format 3\x00",
	kindPostgres: "PGDMP",
	sealedEnd:    "age-encryption.org/v1\n",
}

// File is a copy that this package made.
type File struct {
	Path   string
	At     time.Time // when it was begun, to the second, in UTC
	Kind   string    // db or pgdump: what it is, once decrypted
	Sealed bool      // it is encrypted
	Size   int64     // in bytes
}

const stampLayout = "20060102T150405Z"

var fileName = regexp.MustCompile(`^endshake-(\d{8}T\d{6}Z)\.(db|pgdump)(\.age)?$`)

// nameAt is the name of a copy.
func nameAt(at time.Time, kind string, sealed bool) string {
	name := "endshake-" + at.UTC().Format(stampLayout) + "." + kind
	if sealed {
		name += sealedEnd
	}
	return name
}

// parseName reads the name of a copy; false: it is the name of something else.
func parseName(name string) (f File, ok bool) {
	m := fileName.FindStringSubmatch(name)
	if m == nil {
		return f, false
	}
	at, err := time.Parse(stampLayout, m[1])
	return File{At: at, Kind: m[2], Sealed: m[3] != ""}, err == nil
}

// Look finds out what a file is, by how it begins and not by its name.
func Look(path string) (kind string, sealed bool, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", false, fmt.Errorf("the backup cannot be read: %w", err)
	}
	defer f.Close()
	return look(f, path)
}

// look does so of what is read, which goes by a name.
func look(r io.Reader, path string) (kind string, sealed bool, err error) {
	head := make([]byte, 32)
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return "", false, fmt.Errorf("the backup cannot be read: %w", err)
	}
	for kind, begins := range heads {
		if bytes.HasPrefix(head[:n], []byte(begins)) {
			return strings.TrimPrefix(kind, sealedEnd), kind == sealedEnd, nil
		}
	}
	return "", false, fmt.Errorf("%s is no backup of this program: it begins neither as a SQLite database, nor as what pg_dump writes, nor as what is encrypted for an age key", path)
}

// List finds the copies in a folder, the newest first, by their names and by how
// they begin; what is not both is not listed. Of two of one second the longer name
// comes first.
func List(folder string) ([]File, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, fmt.Errorf("the folder of the backups cannot be read (%w): make it, and give it to whoever runs this service", cause(err))
	}
	var all []File
	for _, e := range entries {
		f, ok := parseName(e.Name())
		if !ok || !e.Type().IsRegular() {
			continue
		}
		f.Path = filepath.Join(folder, e.Name())
		kind, sealed, err := Look(f.Path)
		if err != nil || sealed != f.Sealed || !sealed && kind != f.Kind {
			continue
		}
		info, err := e.Info()
		if err != nil {
			continue // it has just gone
		}
		f.Size = info.Size()
		all = append(all, f)
	}
	slices.SortFunc(all, func(a, b File) int { return cmp.Or(b.At.Compare(a.At), cmp.Compare(b.Path, a.Path)) })
	return all, nil
}

// cause is what the system said, without the path that we say ourselves.
func cause(err error) error {
	if e, ok := errors.AsType[*fs.PathError](err); ok {
		return e.Err
	}
	return err
}
