package db

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
)

// postgresLimits end what would hang: a statement that does not come to an end,
// a wait for another transaction's lock (as long as SQLite's busy_timeout), a
// transaction whose client has gone silent and whose locks others wait for.
// Milliseconds.
var postgresLimits = map[string]string{
	statementTimeout:                      "30000",
	"lock_timeout":                        "5000",
	"idle_in_transaction_session_timeout": "10000",
}

const statementTimeout = "statement_timeout"

// What ends a wait for a server that does not answer (judgement, no source): of
// connecting; of an answer, beyond what the server itself may take for a
// statement; for a place, where it has too many connections already; and of an
// idle connection that has a place others may want.
const (
	connectWait = 5 * time.Second
	answerSlack = 10 * time.Second
	placeWait   = 5 * time.Second
	idleMost    = time.Minute
)

// keepAlive notices that the other end of an idle line is gone after 30 s.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 15 * time.Second, Interval: 5 * time.Second, Count: 3}

// readPostgres reads an address, and how many connections the pool may have. Every
// connection has a name, and each limit, unless the address says else. To read only,
// the server refuses every change.
func readPostgres(address, name string, readOnly bool) (cfg *pgx.ConnConfig, pool int, err error) {
	if cfg, err = pgx.ParseConfig(address); err != nil {
		return nil, 0, err
	}
	if cfg.RuntimeParams["application_name"] == "" {
		cfg.RuntimeParams["application_name"] = name
	}
	if readOnly {
		cfg.RuntimeParams["default_transaction_read_only"] = "on"
	}
	pool = postgresDialect.pool
	if v, ok := cfg.RuntimeParams["pool_max_conns"]; ok {
		delete(cfg.RuntimeParams, "pool_max_conns") // of us, and not of the server
		if pool, err = strconv.Atoi(v); err != nil || pool < 1 || pool > 1000 {
			return nil, 0, fmt.Errorf("pool_max_conns: %q is not a number from 1 to 1000", v)
		}
	}
	for name, value := range postgresLimits {
		if _, ok := cfg.RuntimeParams[name]; !ok && !strings.Contains(cfg.RuntimeParams["options"], name) {
			cfg.RuntimeParams[name] = value
		}
	}
	if cfg.ConnectTimeout == 0 {
		cfg.ConnectTimeout = connectWait
	}
	cfg.DialFunc = (&net.Dialer{Timeout: cfg.ConnectTimeout, KeepAliveConfig: keepAlive}).DialContext
	return cfg, pool, nil
}

// impatient has answers waited for only so long: where the server bounds its
// statements, a little longer than that.
func impatient(cfg pgx.ConnConfig) pgx.ConnConfig {
	dial, wait := cfg.DialFunc, answerWait(cfg.RuntimeParams[statementTimeout])
	if wait > 0 {
		cfg.DialFunc = func(ctx context.Context, network, addr string) (net.Conn, error) {
			c, err := dial(ctx, network, addr)
			if err != nil {
				return nil, err
			}
			return &line{Conn: c, wait: wait}, nil
		}
	}
	return cfg
}

// answerWait is how long an answer may take where a statement may take so many
// milliseconds; zero: it is not known.
func answerWait(ms string) time.Duration {
	n, err := strconv.Atoi(ms)
	if err != nil || n <= 0 {
		return 0
	}
	return time.Duration(n)*time.Millisecond + answerSlack
}

func openPostgres(cfg pgx.ConnConfig) *sql.DB {
	d := sql.OpenDB(queueing{stdlib.GetConnector(cfg)})
	d.SetConnMaxIdleTime(idleMost)
	return d
}

// queueing waits for a place where the server has too many connections.
type queueing struct{ driver.Connector }

// Connect opens a connection.
func (q queueing) Connect(ctx context.Context) (driver.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectWait+placeWait)
	defer cancel()
	for waited := time.Duration(0); ; {
		c, err := q.Connector.Connect(ctx)
		e, ok := errors.AsType[*pgconn.PgError](err)
		pause := 50*time.Millisecond + rand.N(100*time.Millisecond)
		if !ok || e.Code != "53300" || waited > placeWait || !sleep(ctx, pause) {
			return c, err
		}
		waited += pause
	}
}

// line is a connection on which an answer is waited for only so long: a server
// that hangs, or a line that swallows all, would be waited for without end.
type line struct {
	net.Conn
	wait  time.Duration
	mu    sync.Mutex
	bound bool // by a deadline of who uses it
}

// Read reads what comes within the wait; else the connection is of no use any more.
func (l *line) Read(b []byte) (int, error) {
	l.mu.Lock()
	ours := !l.bound
	if ours {
		_ = l.Conn.SetReadDeadline(time.Now().Add(l.wait)) // a closed one says so when it is read
	}
	l.mu.Unlock()
	n, err := l.Conn.Read(b)
	if e, ok := errors.AsType[net.Error](err); ok && e.Timeout() && ours {
		l.mu.Lock()
		defer l.mu.Unlock()
		if !l.bound {
			l.Conn.Close()
			err = &net.OpError{Op: "read", Net: "tcp", Err: fmt.Errorf("no answer for %v", l.wait)}
		}
	}
	return n, err
}

// SetDeadline bounds reading and writing, in the place of the wait.
func (l *line) SetDeadline(t time.Time) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.bound = !t.IsZero()
	return l.Conn.SetDeadline(t)
}

// lineFault tells whether an error without a word from the server is of the line
// to it. That somebody's own time was over is not.
func lineFault(err error) fault {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return otherFault
	}
	_, of := errors.AsType[net.Error](err)
	if of || pgconn.SafeToRetry(err) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, driver.ErrBadConn) || errors.Is(err, sql.ErrConnDone) {
		return lostFault
	}
	if _, ok := errors.AsType[*pgconn.ConnectError](err); ok {
		return lostFault
	}
	return otherFault
}
