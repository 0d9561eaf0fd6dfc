package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// fault sorts the errors that the store does something about.
type fault int

const (
	otherFault    fault = iota
	retryFault          // lost against another transaction: run again
	uniqueFault         // a row with this key is there
	foreignFault        // a row that this one names is not there
	notADBFault         // the file is no database
	diskFullFault       // no room left
)

// dialect is all that differs between the engines, but for column types.
type dialect struct {
	name      string
	folder    string // of migrations
	goose     goose.Dialect
	oneWriter bool // writers queue in Go
	pool      int  // connections, measured in BenchmarkMixed
	batch     int  // rows in one insert, measured in BenchmarkAppendAll
	// local: statements run in this process, and each takes so little that what
	// comes with it counts, see insertMany.
	local bool
	// forUpdate ends a query whose rows are to be locked.
	forUpdate string
	// skipLocked is forUpdate for a query that leaves out what another holds.
	skipLocked string
	// hasTable counts the tables called $1.
	hasTable string
	// clock asks the database for its time.
	clock string
	// tables lists the tables of the schema in use.
	tables string
	// unhurried lets the statements of a transaction take as long as they need;
	// empty: they may.
	unhurried string
	// size gives what the database takes, in bytes.
	size  string
	fault func(error) fault
	// check refuses a database that cannot hold what we store.
	check func(context.Context, *sql.DB) error
	// options of the migration provider.
	options func() ([]goose.ProviderOption, error)
}

var sqliteDialect = dialect{
	name:      "sqlite",
	folder:    "migration/sqlite",
	goose:     goose.DialectSQLite3,
	oneWriter: true,
	pool:      4,
	batch:     1,
	local:     true,
	hasTable:  `SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = $1`,
	clock:     `SELECT strftime('%Y-%m-%d %H:%M:%f', 'now') || '+00:00'`,
	tables:    `SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\_%' ESCAPE '\'`,
	size:      `SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()`,
	fault:     sqliteFault,
	check:     func(context.Context, *sql.DB) error { return nil },
	options:   func() ([]goose.ProviderOption, error) { return nil, nil },
}

var postgresDialect = dialect{
	name:      "postgres",
	folder:    "migration/postgres",
	goose:     goose.DialectPostgres,
	pool:      8,
	batch:     100,
	forUpdate: " FOR UPDATE",

	skipLocked: " FOR UPDATE SKIP LOCKED",
	hasTable:   `SELECT count(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename = $1`,
	unhurried:  `SET LOCAL statement_timeout = 0`,
	clock:      `SELECT clock_timestamp()`,
	tables:     `SELECT tablename FROM pg_tables WHERE schemaname = current_schema()`,
	size:       `SELECT pg_database_size(current_database())`,
	fault:      postgresFault,
	check:      postgresCheck,
	options:    postgresOptions,
}

// sqliteSettings: WAL so that readers and the writer do not wait for each
// other, FULL so that a commit is on disk, immediate so that a transaction
// never fails half way for the lock. With these time settings a time round
// trips and compares to the microsecond.
const sqliteSettings = "_pragma=journal_mode(WAL)&_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)" +
	"&_pragma=synchronous(FULL)&_txlock=immediate&" + sqliteTimes

const sqliteTimes = "_time_format=sqlite&_timezone=UTC&_texttotime=1"

// openSQLite opens a file given by its absolute path.
func openSQLite(path string) (*sql.DB, error) {
	file := url.URL{Scheme: "file", Path: path, RawQuery: sqliteSettings}
	return sql.Open("sqlite", file.String())
}

// postgresLimits end what would hang: a statement that does not come to an end,
// a wait for another transaction's lock (as long as SQLite's busy_timeout), a
// transaction whose client has gone silent. Milliseconds.
var postgresLimits = map[string]string{
	"statement_timeout":                   "30000",
	"lock_timeout":                        "5000",
	"idle_in_transaction_session_timeout": "30000",
}

// openPostgres sets each limit for every connection, unless the address does. To
// read only, the server refuses every change.
func openPostgres(address string, readOnly bool) (*sql.DB, error) {
	cfg, err := pgx.ParseConfig(address)
	if err != nil {
		return nil, err
	}
	if readOnly {
		cfg.RuntimeParams["default_transaction_read_only"] = "on"
	}
	for name, value := range postgresLimits {
		if _, ok := cfg.RuntimeParams[name]; !ok && !strings.Contains(cfg.RuntimeParams["options"], name) {
			cfg.RuntimeParams[name] = value
		}
	}
	return stdlib.OpenDB(*cfg), nil
}

// openSQLiteToRead opens a file that nothing is written to, nor beside: one without
// a journal as what nobody changes meanwhile, for SQLite would else make the journal,
// and leave it there with an owner who may not be the service's.
func openSQLiteToRead(path string) (*sql.DB, error) {
	query := "mode=ro&_pragma=busy_timeout(5000)&" + sqliteTimes
	if info, err := os.Stat(path + "-wal"); err != nil || info.Size() == 0 {
		query += "&immutable=1"
	}
	return sql.Open("sqlite", fileURL(path, query))
}

func sqliteFault(err error) fault {
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return otherFault
	}
	switch e.Code() {
	case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
		return uniqueFault
	case sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
		return foreignFault
	}
	switch e.Code() & 0xff { // the primary code of an extended one
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return retryFault
	case sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT:
		return notADBFault
	case sqlite3.SQLITE_FULL:
		return diskFullFault
	}
	return otherFault
}

// postgresFault goes by SQLSTATE (PostgreSQL manual, appendix A).
func postgresFault(err error) fault {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return otherFault
	}
	switch e.Code {
	case "40001", "40P01", "55P03": // serialization_failure, deadlock_detected, lock_not_available
		return retryFault
	case "23505": // unique_violation
		return uniqueFault
	case "23503": // foreign_key_violation
		return foreignFault
	case "53100": // disk_full
		return diskFullFault
	}
	return otherFault
}

func postgresCheck(ctx context.Context, db *sql.DB) error {
	var encoding string
	if err := db.QueryRowContext(ctx, `SHOW server_encoding`).Scan(&encoding); err != nil {
		return err
	}
	if encoding != "UTF8" {
		return fmt.Errorf("its encoding is %s: create it anew with ENCODING 'UTF8'", encoding)
	}
	return nil
}

// postgresOptions let one process migrate at a time; the others wait.
func postgresOptions() ([]goose.ProviderOption, error) {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 120))
	if err != nil {
		return nil, err
	}
	return []goose.ProviderOption{goose.WithSessionLocker(locker)}, nil
}

// sub is the folder of the dialect's migrations.
func (d dialect) sub() (fs.FS, error) { return fs.Sub(migrations, d.folder) }
