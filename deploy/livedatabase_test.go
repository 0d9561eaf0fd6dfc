package deploy_test

import (
	"io"
	"net"
	"net/url"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"endshake/db/dbtest"
)

// relay stands between the service and its PostgreSQL, and can be cut.
type relay struct {
	net.Listener
	mu    sync.Mutex
	cut   bool
	lines []net.Conn
}

// cutTo cuts all lines and lets none in, or lets them in again.
func (r *relay) cutTo(cut bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cut = cut
	for _, c := range r.lines {
		c.Close()
	}
	r.lines = nil
}

// keep keeps both ends of a line to be cut; false: it is cut now.
func (r *relay) keep(ends ...net.Conn) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.cut {
		r.lines = append(r.lines, ends...)
	}
	return !r.cut
}

// relayTo makes one to a database, and gives the address by which it is reached.
func relayTo(t *testing.T, address string) (*relay, string) {
	t.Helper()
	c, err := pgx.ParseConfig(address)
	if err != nil {
		t.Fatal(err)
	}
	network, to := pgconn.NetworkAddress(c.Host, c.Port)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &relay{Listener: l}
	t.Cleanup(func() { l.Close(); r.cutTo(true) })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial(network, to)
			if err != nil || !r.keep(in, out) {
				in.Close()
				if out != nil {
					out.Close()
				}
				continue
			}
			go func() { _, _ = io.Copy(out, in); out.Close() }()
			go func() { _, _ = io.Copy(in, out); in.Close() }()
		}
	}()
	u := url.URL{Scheme: "postgres", User: url.UserPassword(c.User, c.Password), Host: l.Addr().String(), Path: "/" + c.Database, RawQuery: "sslmode=disable"}
	return r, u.String()
}

// A database that goes away is told of, and that it came back.
func TestPrometheusSeesTheDatabase(t *testing.T) {
	tool(t, "prometheus", "prometheus")
	r, address := relayTo(t, dbtest.Postgres(t))
	w := watch(t, serve(t, address))
	w.holds(`endshake_database_answers == 1`)
	r.cutTo(true)
	w.fires("DatabaseAway", true)
	w.holds(`endshake_clock_going{clock="moot-hall"}`) // what is known is told meanwhile
	r.cutTo(false)
	w.fires("DatabaseAway", false)
}
