package db_test

import (
	"bufio"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"

	"endshake/db"
	"endshake/db/dbtest"
)

// killEnv says before which of its statements a child that migrates kills itself; 0:
// before none, and it says how many there were.
const killEnv = "ENDSHAKE_TEST_MIGRATE_KILL"

// dying counts the statements of this process, and ends it before one of them.
var dying struct {
	at, n atomic.Int64
}

func hit() {
	if dying.n.Add(1) == dying.at.Load() {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {} // nothing more is done
	}
}

// dyingConnector makes connections that count.
type dyingConnector struct{ driver.Connector }

func (c dyingConnector) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := c.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	return dyingConn{conn}, nil
}

type dyingConn struct{ driver.Conn }

func (c dyingConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	hit()
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
}

func (c dyingConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	hit()
	return c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
}

func (c dyingConn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	hit()
	return c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, query)
}

func (c dyingConn) BeginTx(ctx context.Context, opts driver.TxOptions) (driver.Tx, error) {
	hit()
	tx, err := c.Conn.(driver.ConnBeginTx).BeginTx(ctx, opts)
	if err != nil {
		return nil, err
	}
	return dyingTx{tx}, nil
}

func (c dyingConn) CheckNamedValue(v *driver.NamedValue) error {
	if own, ok := c.Conn.(driver.NamedValueChecker); ok {
		return own.CheckNamedValue(v)
	}
	return driver.ErrSkip
}

type dyingTx struct{ driver.Tx }

// Commit counts twice: before it is asked for, and before anybody hears of it.
func (t dyingTx) Commit() error {
	hit()
	err := t.Tx.Commit()
	hit()
	return err
}

// migrateDying migrates and dies on the way.
func migrateDying(address, at string) int {
	n, err := strconv.ParseInt(at, 10, 64)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	dying.at.Store(n)
	ctx := context.Background()
	s, err := db.OpenOver(address, func(c driver.Connector) driver.Connector { return dyingConnector{c} })
	if err == nil {
		_, _, err = s.Migrate(ctx)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	fmt.Println("statements", dying.n.Load())
	return 0
}

// dieAt lets a child migrate and die before a statement; it gives how many there were
// where it was not to die.
func dieAt(t *testing.T, address string, at int) int {
	self, err := os.Executable()
	if err != nil {
		t.Error(err)
		return 0
	}
	child := exec.Command(self)
	child.Env = append(os.Environ(), migrateEnv+"="+address, killEnv+"="+strconv.Itoa(at))
	out, err := child.CombinedOutput()
	var exit *exec.ExitError
	switch {
	case at == 0 && err == nil:
		for lines := bufio.NewScanner(strings.NewReader(string(out))); lines.Scan(); {
			if n, ok := strings.CutPrefix(lines.Text(), "statements "); ok {
				v, _ := strconv.Atoi(n)
				return v
			}
		}
		t.Errorf("the child says %s", out)
	case at == 0 || !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL:
		t.Errorf("at statement %d: %v, %s", at, err, out)
	}
	return 0
}

// cloner copies a database of version 1 again and again.
func cloner(t *testing.T, engine string, fresh func(testing.TB) string) func() string {
	address := atVersion(t, fresh, 1)
	if engine == "sqlite" {
		template := filepath.Join(t.TempDir(), "template.db")
		if _, err := beside(t, address).Exec(`VACUUM INTO $1`, template); err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(template)
		if err != nil {
			t.Fatal(err)
		}
		return func() string {
			path := filepath.Join(t.TempDir(), "endshake.db")
			if err := os.WriteFile(path, text, 0o600); err != nil {
				t.Error(err)
			}
			return "sqlite:" + path
		}
	}
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	template := strings.TrimPrefix(u.Path, "/")
	u.Path = "/postgres"
	admin := beside(t, u.String())
	if _, err := admin.Exec(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = $1`, template); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex // a template is copied by one at a time
	n := 0
	return func() string {
		mu.Lock()
		defer mu.Unlock()
		n++
		name := fmt.Sprintf("%s_%d", template, n)
		if _, err := admin.Exec(`CREATE DATABASE "` + name + `" TEMPLATE "` + template + `"`); err != nil {
			t.Error(err)
		}
		clone := *u
		clone.Path = "/" + name
		return clone.String()
	}
}

// drop takes away a clone that has served.
func drop(t *testing.T, address string) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "postgres" {
		return
	}
	name := strings.TrimPrefix(u.Path, "/")
	u.Path = "/postgres"
	d, err := sql.Open("pgx", u.String())
	if err == nil {
		defer d.Close()
		_, err = d.Exec(`DROP DATABASE "` + name + `" WITH (FORCE)`)
	}
	if err != nil {
		t.Error(err)
	}
}

// shapeOf is the whole schema as text.
func shapeOf(t *testing.T, engine, address string) string {
	query := `SELECT type || ' ' || name || ' ' || COALESCE(sql, '') FROM sqlite_master WHERE name NOT LIKE 'sqlite_%' ORDER BY 1`
	if engine == "postgres" {
		query = `SELECT table_name || ' ' || column_name || ' ' || data_type || ' ' || is_nullable || ' ' || COALESCE(column_default, '')
			FROM information_schema.columns WHERE table_schema = 'public'
			UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'
			UNION ALL SELECT event_object_table || ' ' || trigger_name || ' ' || event_manipulation || ' ' || action_statement FROM information_schema.triggers
			UNION ALL SELECT conrelid::regclass || ' ' || pg_get_constraintdef(oid) FROM pg_constraint WHERE connamespace = 'public'::regnamespace ORDER BY 1`
	}
	driverName, source := "pgx", address
	if path, ok := strings.CutPrefix(address, "sqlite:"); ok {
		driverName, source = "sqlite", path
	}
	d, err := sql.Open(driverName, source)
	if err != nil {
		t.Error(err)
		return ""
	}
	defer d.Close()
	rows, err := d.Query(query)
	if err != nil {
		t.Error(err)
		return ""
	}
	defer rows.Close()
	var b strings.Builder
	for rows.Next() {
		var line string
		if err := rows.Scan(&line); err != nil {
			t.Error(err)
		}
		b.WriteString(line + "\n")
	}
	return b.String()
}

// TestMigrateKilledAtEachStatement kills a process before every statement on the way
// from the first version to the newest, and before and after every commit. The next
// start goes on from what is there, ends at the same schema to the letter, and has
// lost nothing.
func TestMigrateKilledAtEachStatement(t *testing.T) {
	for _, engine := range engines {
		t.Run(engine.name, func(t *testing.T) {
			clone := cloner(t, engine.name, engine.fresh)
			first := clone()
			statements := dieAt(t, first, 0)
			if statements < 50 {
				t.Fatalf("%d statements were counted: they are not", statements)
			}
			want := shapeOf(t, engine.name, first)
			step := 1
			if testing.Short() {
				step = 9
			}
			var versions sync.Map
			points := make(chan int)
			var wg sync.WaitGroup
			for range 2 {
				wg.Go(func() {
					for at := range points {
						address := clone()
						dieAt(t, address, at)
						goOn(t, engine.name, address, at, want, &versions)
						drop(t, address)
					}
				})
			}
			killed := 0
			for at := 1; at <= statements; at += step {
				points <- at
				killed++
			}
			close(points)
			wg.Wait()
			drop(t, first)
			seen := 0
			versions.Range(func(any, any) bool { seen++; return true })
			if seen < newest && !testing.Short() {
				t.Errorf("killed at %d versions, want each of the %d", seen, newest)
			}
			t.Logf("%d kills over %d statements", killed, statements)
		})
	}
}

// goOn starts after a kill, and sees that all is there.
func goOn(t *testing.T, engine, address string, at int, want string, versions *sync.Map) {
	ctx := context.Background()
	s, err := db.OpenExisting(ctx, address)
	if err != nil {
		t.Errorf("at statement %d: %v", at, err)
		return
	}
	defer s.Close()
	v, err := s.Version(ctx)
	if err != nil {
		t.Errorf("at statement %d: %v", at, err)
	}
	versions.Store(v, true)
	if _, to, err := s.Migrate(ctx); err != nil || to != newest {
		t.Errorf("at statement %d: then to %d, %v", at, to, err)
		return
	}
	if got := shapeOf(t, engine, address); got != want {
		t.Errorf("at statement %d: the schema is not that of a migration that nobody killed:\n%s\nwant\n%s", at, got, want)
	}
	c, err := s.CheckAudit(ctx, dbtest.Day)
	e, other := s.Extent(ctx)
	if err != nil || other != nil || !c.Sound() || c.Rows == 0 || e.Rows["entry"] != 60 || e.Rows["notice"] != 1 || e.Rows["notice_body"] != 1 {
		t.Errorf("at statement %d: %v, %v, %+v, %+v", at, err, other, c, e.Rows)
	}
}
