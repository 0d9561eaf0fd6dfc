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

	"github.com/jackc/pgx/v5/pgconn"
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
	lostFault           // the server is away, or the line to it broke
	readOnlyFault       // the server takes no changes
	slowFault           // a statement that the server gave up
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
	// raise moves the revision on by $1 and gives it; on PostgreSQL it has the
	// commit tell who listens.
	raise string
	// ready gives whether changes are refused, and fails where nothing answers.
	ready string
	// size gives what the database takes, in bytes.
	size  string
	fault func(error) fault
	// check refuses a database that cannot hold what we store.
	check func(context.Context, *sql.DB) error
	// options of the migration provider.
	options func() ([]goose.ProviderOption, error)
	move    moveDialect
}

// moveDialect is what differs where everything is moved.
type moveDialect struct {
	columns string // of each table: table, column, kind
	foreign string // tables, and the table that each names
	// others counts the other connections of the name $1 to this database; empty:
	// its file is locked instead. claim takes the database for one move; empty: so too.
	others, claim string
	// unchanging is said in a transaction that may take long, or wait; patience on
	// a connection whose statements may take long. later has what rows name looked at
	// when the transaction ends. Empty: nothing is to be said.
	unchanging, patience, later string
	// numbered lists what the server numbers by itself: table, column, sequence.
	numbered string
	// fill puts rows into a table, all or none.
	fill func(context.Context, *Store, moveTable, *moving) error
	// empty takes everything out of tables, those first that name others.
	empty func(context.Context, *Store, []string) error
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
	raise:     `UPDATE revision SET n = n + $1 WHERE one = 1 RETURNING n, ''`,
	ready:     `SELECT n < 0 FROM revision`, // whether its file can be written was seen when it was opened
	size:      `SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()`,
	fault:     sqliteFault,
	check:     func(context.Context, *sql.DB) error { return nil },
	options:   func() ([]goose.ProviderOption, error) { return nil, nil },
	move: moveDialect{
		columns: `SELECT m.name, p.name, p.type FROM sqlite_master m, pragma_table_info(m.name) p
			WHERE m.type = 'table' AND substr(m.name, 1, 7) <> 'sqlite_' ORDER BY m.name, p.cid`,
		foreign: `SELECT m.name, f."table" FROM sqlite_master m, pragma_foreign_key_list(m.name) f WHERE m.type = 'table'`,
		later:   `PRAGMA defer_foreign_keys = ON`,
		fill:    fillSQLite,
		empty:   emptySQLite,
	},
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
	raise:      `UPDATE revision SET n = n + $1 WHERE one = 1 RETURNING n, pg_notify('` + channel + `', '')`,
	ready:      `SELECT current_setting('transaction_read_only') = 'on'`,
	size:       `SELECT pg_database_size(current_database())`,
	fault:      postgresFault,
	check:      postgresCheck,
	options:    postgresOptions,
	move: moveDialect{
		columns: `SELECT c.table_name, c.column_name, c.data_type FROM information_schema.columns c
			JOIN information_schema.tables t ON t.table_schema = c.table_schema AND t.table_name = c.table_name
			WHERE c.table_schema = current_schema() AND t.table_type = 'BASE TABLE' ORDER BY c.table_name, c.ordinal_position`,
		foreign: `SELECT a.relname, b.relname FROM pg_constraint c JOIN pg_class a ON a.oid = c.conrelid JOIN pg_class b ON b.oid = c.confrelid
			WHERE c.contype = 'f' AND c.connamespace = current_schema()::regnamespace`,
		others:     `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND application_name = $1`,
		claim:      `SELECT pg_try_advisory_lock(7261524)`, // a number of our own
		unchanging: `SET LOCAL statement_timeout = 0; SET LOCAL idle_in_transaction_session_timeout = 0`,
		patience:   `SET statement_timeout = 0`,
		numbered: `SELECT table_name, column_name, pg_get_serial_sequence(quote_ident(table_name), column_name) FROM information_schema.columns
			WHERE table_schema = current_schema() AND pg_get_serial_sequence(quote_ident(table_name), column_name) IS NOT NULL`,
		fill:  fillPostgres,
		empty: emptyPostgres,
	},
}

// What connections are called on a server: of all that share a database, and of
// a move, which does not.
const (
	programName = "endshake"
	moverName   = "endshake move"
)

// sqliteSettings: WAL so that readers and the writer do not wait for each
// other, FULL so that a commit is on disk, immediate so that a transaction
// never fails half way for the lock. With these time settings a time round
// trips and compares to the microsecond.
const sqliteSettings = "_pragma=journal_mode(WAL)&_pragma=busy_timeout(5000)&_pragma=foreign_keys(1)" +
	"&_pragma=synchronous(FULL)&_txlock=immediate&" + sqliteTimes

const sqliteTimes = "_time_format=sqlite&_timezone=UTC&_texttotime=1"

// sqliteAlone: the file is locked from the first look to the close, and where
// another has it open that look fails.
const sqliteAlone = "_pragma=busy_timeout(1000)&_pragma=locking_mode(EXCLUSIVE)&_pragma=journal_mode(WAL)&_pragma=foreign_keys(1)" +
	"&_pragma=synchronous(FULL)&_txlock=exclusive&" + sqliteTimes

// openSQLite opens a file given by its absolute path.
func openSQLite(path, settings string) (*sql.DB, error) {
	file := url.URL{Scheme: "file", Path: path, RawQuery: settings}
	return sql.Open("sqlite", file.String())
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
		return lineFault(err)
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
	case "25006": // read_only_sql_transaction
		return readOnlyFault
	case "57014": // query_canceled, by statement_timeout
		return slowFault
	case "53300", "57P01", "57P02", "57P03", "25P03": // too_many_connections, admin_shutdown, crash_shutdown, cannot_connect_now, idle_in_transaction_session_timeout
		return lostFault
	}
	if strings.HasPrefix(e.Code, "08") { // connection_exception
		return lostFault
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
