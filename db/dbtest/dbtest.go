// Package dbtest holds every promise of package db on a real database, SQLite
// or PostgreSQL, and lends other packages' tests a throwaway one.
//
// A package whose tests use [Postgres] or [Exercise] runs them through [Main]:
//
//	func TestMain(m *testing.M) { os.Exit(dbtest.Main(m)) }
package dbtest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // raw access
	_ "modernc.org/sqlite"

	"endshake/db"
)

// childEnv names the database that a child process appends to until it is killed.
const childEnv = "ENDSHAKE_DBTEST_CHILD"

// inMain is set once Main cleans up at the end.
var inMain bool

// Main runs a package's tests and stops the private PostgreSQL, where one was
// started. Call it from TestMain.
func Main(m *testing.M) int {
	if address := os.Getenv(childEnv); address != "" {
		return appendForever(address)
	}
	inMain = true
	defer stopCluster()
	return m.Run()
}

// Need skips a test for want of something, and says what is missing and how to
// get it. With ENDSHAKE_CI=1 it fails instead, so that nothing is skipped unseen.
func Need(t testing.TB, missing string) {
	t.Helper()
	if os.Getenv("ENDSHAKE_CI") == "1" {
		t.Fatalf("cannot be left out here: %s", missing)
	}
	t.Skipf("SKIPPED: %s", missing)
}

// SQLite gives the address of a database in a folder that goes with the test.
func SQLite(t testing.TB) string {
	t.Helper()
	return "sqlite:" + filepath.Join(t.TempDir(), "endshake.db")
}

// Open opens and migrates a database, and closes it with the test.
func Open(t testing.TB, address string) *db.Store {
	t.Helper()
	if err := startFromMigrated(address); err != nil {
		t.Fatal(err)
	}
	s, err := db.Open(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if _, _, err := s.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	return s
}

// startFromMigrated puts a file that has all the tables where an SQLite database
// is to be made: to migrate one for every test costs more than most of the tests.
func startFromMigrated(address string) error {
	path := strings.TrimPrefix(address, "sqlite:")
	if strings.Contains(path, "://") {
		return nil
	}
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		path = filepath.Join(path, "endshake.db")
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	file, err := migratedFile()
	if err != nil {
		return err
	}
	return os.WriteFile(path, file, 0o600)
}

// migratedFile is a new SQLite database after all migrations.
var migratedFile = sync.OnceValues(func() (file []byte, err error) {
	dir, err := os.MkdirTemp("", "endshake-migrated-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "endshake.db")
	s, err := db.Open(context.Background(), path)
	if err != nil {
		return nil, err
	}
	_, _, err = s.Migrate(context.Background())
	if err := errors.Join(err, s.Close()); err != nil {
		return nil, err
	}
	return os.ReadFile(path)
})

// raw opens a database beside the store, to do what the store would not.
func raw(t testing.TB, address string) *sql.DB {
	t.Helper()
	driver, source := "pgx", address
	if path, ok := strings.CutPrefix(address, "sqlite:"); ok {
		driver, source = "sqlite", path+"?_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)"
	}
	d, err := sql.Open(driver, source)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

// appendForever is the child that is killed: it says each key once the store
// has acknowledged it.
func appendForever(address string) int {
	ctx := context.Background()
	s, err := db.Open(ctx, address)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	for i := 0; ; i++ {
		e := measured("clock-0", Day.Add(time.Duration(i)*time.Minute), i)
		e.Key = fmt.Sprintf("child-%d-%d", os.Getpid(), i)
		if _, _, err := s.Append(ctx, "child", Day, e, nil, notice(e.Key)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		fmt.Println(e.Key)
	}
}
