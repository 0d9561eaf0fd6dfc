package db

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"net"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// Write lets tests put transactions in each other's way.
func (s *Store) Write(ctx context.Context, what string, do func(*sql.Tx) error) error {
	return s.write(ctx, what, do)
}

// MigrateTo brings the schema to an older version than the newest.
func (s *Store) MigrateTo(ctx context.Context, version int64) error {
	p, err := s.provider()
	if err != nil {
		return err
	}
	_, err = p.UpTo(ctx, version)
	return err
}

// CheckStartWithin is CheckStart of a start that waits so long.
func (s *Store) CheckStartWithin(ctx context.Context, wait time.Duration) error {
	return s.checkStart(ctx, wait)
}

// Tries is how often a transaction is run at most.
const Tries = tries

// Lose makes the store take an error for a transaction that was lost.
func (s *Store) Lose(is func(error) bool) {
	before := s.dialect.fault
	s.dialect.fault = func(err error) fault {
		if is(err) {
			return retryFault
		}
		return before(err)
	}
}

// LeftBehind are the tables that a move does not copy, with why.
var LeftBehind = leftBehind

// OpenOver opens a database over connections that a test wraps.
func OpenOver(address string, wrap func(driver.Connector) driver.Connector) (*Store, error) {
	s, _, err := connect(address, true, false)
	if err != nil {
		return nil, err
	}
	var c driver.Connector
	if s.file != "" {
		c = namedConnector{s.db.Driver(), fileURL(s.file, sqliteSettings)}
	} else {
		cfg, err := pgx.ParseConfig(address)
		if err != nil {
			return nil, err
		}
		c = stdlib.GetConnector(*cfg)
	}
	s.db.Close()
	over := newStore(sql.OpenDB(wrap(c)), s.dialect)
	over.file = s.file
	return over, nil
}

// namedConnector opens one name again and again.
type namedConnector struct {
	driver driver.Driver
	name   string
}

func (n namedConnector) Connect(context.Context) (driver.Conn, error) { return n.driver.Open(n.name) }
func (n namedConnector) Driver() driver.Driver                        { return n.driver }

// AnswerWait is how long an answer may take.
var AnswerWait = answerWait

// NewLine is a connection on which an answer is waited for only so long.
func NewLine(c net.Conn, wait time.Duration) net.Conn { return &line{Conn: c, wait: wait} }

// SetHost gives the store another clock of this machine.
func (s *Store) SetHost(now func() time.Time) { s.host = now }
