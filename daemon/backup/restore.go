package backup

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"endshake/db"
	"endshake/schedule"
)

// Order says what is restored, and into what.
type Order struct {
	Backup   string // file
	Database string // an address, see db.Open, at which nothing is yet
	Key      string // file of the private key, where the backup is encrypted
	// Mark is the file in which is kept how far the database has come; empty: beside the
	// file of the database, and of a server nowhere. Where there is none yet it says that
	// a backup was restored, so that nothing is sent twice.
	Mark string
	// Erasures reads who was erased, of a database that lies at a file or ("") in a
	// server; nil: it is a drill, in which nothing is changed.
	Erasures func(file string) ([]schedule.Erasure, error)
}

// Restored is what was restored.
type Restored struct {
	From   string
	Into   string    // what was filled, with no password
	At     time.Time // when the backup was begun, by its name; zero: it has another
	Extent db.Extent // as it was backed up
	Erased []schedule.Erasure
	Summed bool // its SHA-256 was known, or it was encrypted: that it is what was made is sure
	ready  bool // not a drill
}

// Restore fills an empty place with what a backup holds, sees that it is whole,
// brings its schema up to date, and erases again who was erased since. It never
// writes over anything. After an error a SQLite place is as it was; of a server the
// error says whether its database must be made anew.
func Restore(ctx context.Context, o Order, now time.Time) (r Restored, err error) {
	r.From = o.Backup
	if f, ok := parseName(filepath.Base(o.Backup)); ok {
		r.At = f.At
	}
	kind, sealed, err := Look(o.Backup)
	if err != nil {
		return r, err
	}
	if r.Summed = sealed; !sealed {
		if r.Summed, err = checkSum(o.Backup); err != nil {
			return r, err
		}
	}
	file, err := db.FileOf(o.Database)
	if err != nil {
		return r, err
	}
	if file != "" {
		r.Into = file
		return r, r.intoFile(ctx, o, file, kind, sealed, now)
	}
	return r, r.intoServer(ctx, o, kind, sealed, now)
}

// wrongKind says that a backup is of the other engine.
func wrongKind(kind string) error {
	if kind == kindPostgres {
		return errors.New("the backup is of a PostgreSQL database: name an empty one with --database, like postgres://user@host/name")
	}
	return errors.New("the backup is of a SQLite database: name a new folder with --database")
}

// intoFile fills the file of a SQLite database.
func (r *Restored) intoFile(ctx context.Context, o Order, file, kind string, sealed bool, now time.Time) (err error) {
	if kind == kindPostgres {
		return wrongKind(kind)
	}
	if err := vacant(file); err != nil {
		return err
	}
	folder := filepath.Dir(file)
	made, err := makeFolder(folder)
	if err != nil {
		return err
	}
	part := filepath.Join(folder, partName(now))
	defer func() {
		for _, end := range []string{"", "-wal", "-shm", "-journal"} {
			os.Remove(part + end)
		}
		if err != nil && made {
			os.Remove(folder) // which succeeds only where it is empty
		}
	}()
	if err := plain(o, sealed, part); err != nil {
		return err
	}
	if kind, _, err := Look(part); err != nil || kind != kindSQLite {
		return errors.Join(err, wrongKind(kind))
	}
	if r.Extent, err = db.CheckFile(ctx, part); err != nil {
		return fmt.Errorf("the backup is not sound, so nothing was restored: take an older one: %w", err)
	}
	store, err := db.OpenExisting(ctx, "sqlite:"+part)
	if err != nil {
		return err
	}
	if err = errors.Join(r.upToDate(ctx, o, store, file, now), store.Close()); err != nil {
		return err
	}
	if err := db.OneFile(ctx, part); err != nil {
		return err
	}
	if err := flush(part); err != nil {
		return err
	}
	if err := r.keepMark(cmp.Or(o.Mark, file+MarkSuffix), now); err != nil {
		return err
	}
	if err := place(part, file); err != nil {
		return fmt.Errorf("%s cannot be put in its place: %w", file, err)
	}
	return nil
}

// vacant refuses a place where there is a database, or what is left of one.
func vacant(file string) error {
	for _, end := range []string{"", "-wal", "-shm", "-journal"} {
		if _, err := os.Lstat(file + end); !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s is there, and nothing is ever restored over another: stop the service, move that away with whatever begins with the same name and ends in -wal or -shm, or name a new folder with --database", file+end)
		}
	}
	return nil
}

// makeFolder makes a folder whose parent is there, and reports whether it did.
func makeFolder(folder string) (made bool, err error) {
	err = os.Mkdir(folder, 0o700)
	if errors.Is(err, fs.ErrExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("folder %s cannot be made (%w): make it first, owned by whoever runs this service", folder, cause(err))
	}
	return true, nil
}

// place gives a file its final name, unless something has it.
func place(from, to string) error {
	err := os.Link(from, to)
	if err == nil {
		return errors.Join(os.Remove(from), flush(filepath.Dir(to)))
	}
	if errors.Is(err, fs.ErrExist) {
		return err
	}
	if err := vacant(to); err != nil { // a disk that knows no links
		return err
	}
	return rename(from, to)
}

// plain writes what a backup holds, decrypted, to a new file.
func plain(o Order, sealed bool, to string) error {
	if sealed {
		return unseal(o.Backup, to, o.Key)
	}
	in, err := os.Open(o.Backup)
	if err != nil {
		return err
	}
	defer in.Close()
	return writeNew(to, in)
}

// intoServer fills an empty database of a PostgreSQL server.
func (r *Restored) intoServer(ctx context.Context, o Order, kind string, sealed bool, now time.Time) error {
	open := func() (io.ReadCloser, error) { return os.Open(o.Backup) }
	if sealed { // what is decrypted lies nowhere
		open = func() (io.ReadCloser, error) { return unsealed(o.Backup, o.Key) }
		in, err := open()
		if err != nil {
			return err
		}
		kind, _, err = look(in, o.Backup)
		if in.Close(); err != nil {
			return err
		}
	}
	if kind == kindSQLite {
		return wrongKind(kind)
	}
	store, err := db.Open(ctx, o.Database)
	if err != nil {
		return err
	}
	defer store.Close()
	r.Into = "the PostgreSQL database"
	if r.Extent, err = store.Undump(ctx, open); err != nil {
		return err
	}
	if err := r.upToDate(ctx, o, store, "", now); err != nil {
		return fmt.Errorf("the backup was restored, and could not be made ready (%w): drop the new database, and begin again", err)
	}
	return r.keepMark(o.Mark, now)
}

// keepMark keeps that a backup was restored, where no mark says more.
func (r *Restored) keepMark(path string, now time.Time) error {
	if path == "" || !r.ready {
		return nil
	}
	if _, there, err := ReadMark(path); there || err != nil {
		return err
	}
	return Mark{Audit: r.Extent.Audit, Head: r.Extent.Head, Sent: r.Extent.Sent, At: now.UTC().Truncate(time.Second), Restored: true}.Keep(path)
}

// upToDate brings the schema up to date, erases again who was erased, and ends all
// logins: some of them were ended since.
func (r *Restored) upToDate(ctx context.Context, o Order, store *db.Store, file string, now time.Time) (err error) {
	if _, _, err := store.Migrate(ctx); err != nil || o.Erasures == nil {
		return err
	}
	r.ready = true
	list, err := o.Erasures(file)
	if err != nil {
		return err
	}
	if r.Erased, err = store.EraseAgain(ctx, "restore", now, list); err != nil {
		return err
	}
	return store.EndSessions(ctx)
}

// Words says what was restored, and as of when.
func (r Restored) Words() string {
	var b strings.Builder
	as := "a backup whose name does not say of when"
	if !r.At.IsZero() {
		as = "the backup of " + db.Instant(r.At)
	}
	fmt.Fprintf(&b, "Restored %s into %s.\nIt holds %s.\n", as, r.Into, r.Extent.Words())
	if !r.Summed {
		fmt.Fprintf(&b, "No %s lay beside it, so a bit that flipped in a text or a figure would not have been noticed.\n", filepath.Base(r.From)+sumEnd)
	}
	if r.ready {
		b.WriteString("Whoever was logged in logs in anew. Links and tokens that were taken back after the backup work again: take them back once more, under People.\n")
	}
	if n := len(r.Erased); n > 0 {
		fmt.Fprintf(&b, "%s had to be erased again.\n", schedule.Count(n, "person", "people"))
	}
	return b.String()
}
