package dbtest

import (
	"bytes"
	"context"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// Proxy is a line to a PostgreSQL server that can be spoiled. It carries bytes
// over TCP until it is told otherwise.
type Proxy struct {
	// Address is that of the same database, through the proxy.
	Address string

	network, server string // what it leads to
	ln              net.Listener
	mu              sync.Mutex
	open            map[*span]bool
	way             way
	held            chan struct{} // closed once nothing is held back any more
	commits         int           // of which the answer is yet to be lost
	lost            int           // commits whose answer was lost
}

// way is what the proxy does with bytes.
type way int

const (
	carry   way = iota
	refuse      // no connection is taken
	swallow     // nothing comes through, either way, and nobody is told
)

// span is one connection through the proxy.
type span struct{ client, server net.Conn }

func (s *span) cut() {
	for _, c := range []net.Conn{s.client, s.server} {
		if t, ok := c.(*net.TCPConn); ok {
			_ = t.SetLinger(0) // as a line breaks: no good-bye
		}
		c.Close()
	}
}

// NewProxy starts a proxy to the database at an address, which ends with the test.
func NewProxy(t testing.TB, address string) *Proxy {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{open: map[*span]bool{}, network: "tcp", server: u.Host}
	if dir := u.Query().Get("host"); filepath.IsAbs(dir) {
		p.network, p.server = "unix", filepath.Join(dir, ".s.PGSQL.5432")
	}
	if p.ln, err = net.Listen("tcp", "127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	u.Host = p.ln.Addr().String()
	q := u.Query()
	q.Del("host")
	q.Set("sslmode", "disable")
	u.RawQuery = q.Encode()
	p.Address = u.String()
	var running sync.WaitGroup
	running.Go(func() { p.take(&running) })
	t.Cleanup(func() {
		p.ln.Close()
		p.set(refuse)
		p.Cut()
		running.Wait()
	})
	return p
}

// take takes connections until the proxy ends.
func (p *Proxy) take(running *sync.WaitGroup) {
	for {
		c, err := p.ln.Accept()
		if err != nil {
			return
		}
		p.mu.Lock()
		refused := p.way == refuse
		p.mu.Unlock()
		if refused {
			(&span{c, c}).cut()
			continue
		}
		running.Go(func() { p.join(c, running) })
	}
}

// join carries one connection to the server and back.
func (p *Proxy) join(c net.Conn, running *sync.WaitGroup) {
	p.hold()
	server, err := net.DialTimeout(p.network, p.server, 5*time.Second)
	if err != nil {
		(&span{c, c}).cut()
		return
	}
	s := &span{c, server}
	p.mu.Lock()
	p.open[s] = true
	late := p.way == refuse
	p.mu.Unlock()
	if late {
		s.cut()
	}
	var committing sync.Mutex
	lose := false
	running.Go(func() {
		p.pump(s, s.server, s.client, func(b []byte) bool {
			committing.Lock()
			defer committing.Unlock()
			if lose { // the server has answered: it is done, and nobody hears of it
				p.mu.Lock()
				p.lost++
				p.mu.Unlock()
			}
			return !lose
		})
	})
	p.pump(s, s.client, s.server, func(b []byte) bool {
		if bytes.Contains(b, []byte("commit\x00")) {
			p.mu.Lock()
			if p.commits > 0 {
				p.commits--
				committing.Lock()
				lose = true
				committing.Unlock()
			}
			p.mu.Unlock()
		}
		return true
	})
	p.mu.Lock()
	delete(p.open, s)
	p.mu.Unlock()
}

// pump carries bytes one way, until either end closes or keep says no.
func (p *Proxy) pump(s *span, from, to net.Conn, keep func([]byte) bool) {
	defer s.cut()
	b := make([]byte, 64<<10)
	for {
		n, err := from.Read(b)
		if n > 0 {
			p.hold()
			if !keep(b[:n]) {
				return
			}
			if _, err := to.Write(b[:n]); err != nil {
				return
			}
		}
		if err != nil {
			p.hold() // neither is told that the other is gone
			return
		}
	}
}

// hold waits while everything is swallowed.
func (p *Proxy) hold() {
	p.mu.Lock()
	held := p.held
	p.mu.Unlock()
	if held != nil {
		<-held
	}
}

func (p *Proxy) set(w way) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.way = w
	if w == swallow && p.held == nil {
		p.held = make(chan struct{})
	}
	if w != swallow && p.held != nil {
		close(p.held)
		p.held = nil
	}
}

// Carry lets everything through again; what was held back too.
func (p *Proxy) Carry() { p.set(carry) }

// Refuse takes no new connection. Those that are there stay, see Cut.
func (p *Proxy) Refuse() { p.set(refuse) }

// Swallow holds everything back, either way: connections are taken, and nothing
// is heard on them.
func (p *Proxy) Swallow() { p.set(swallow) }

// Cut breaks all connections that are there, without a good-bye, and counts them.
func (p *Proxy) Cut() int {
	p.mu.Lock()
	all := p.open
	p.open = map[*span]bool{}
	p.mu.Unlock()
	for s := range all {
		s.cut()
	}
	return len(all)
}

// LoseCommits has the answers to the next n commits lost, each with its line,
// after the server has done what it was asked.
func (p *Proxy) LoseCommits(n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.commits = n
}

// Lost counts the commits whose answer was lost.
func (p *Proxy) Lost() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.lost
}

// Server is a PostgreSQL server of one test, that can be stopped and started.
type Server struct {
	// Address is that of an empty database in it.
	Address string

	t        testing.TB
	bin, dir string
	settings []string
	running  *running
}

// OwnServer starts a server for one test, with settings like "max_connections=8".
// Its socket stays where it is, so Address holds over stops and starts. Where
// there is no PostgreSQL the test is skipped, see Need.
func OwnServer(t testing.TB, settings ...string) *Server {
	t.Helper()
	bin, err := findPostgres()
	if err != nil {
		Need(t, err.Error())
	}
	dir, err := os.MkdirTemp("", "endshake-pg-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	s := &Server{t: t, bin: bin, dir: dir, settings: settings}
	if err := initCluster(bin, dir); err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(s.Stop)
	u, err := url.Parse(adminOf(dir))
	if err != nil {
		t.Fatal(err)
	}
	d := raw(t, u.String())
	if _, err := d.ExecContext(context.Background(), `CREATE DATABASE clocks`); err != nil {
		t.Fatal(err)
	}
	d.Close()
	u.Path = "/clocks"
	s.Address = u.String()
	return s
}

// Start starts it, and waits until it answers.
func (s *Server) Start() {
	s.t.Helper()
	if s.running != nil {
		return
	}
	r, err := startServer(s.bin, s.dir, s.settings...)
	if err != nil {
		s.t.Fatal(err)
	}
	s.running = r
}

// Stop stops it in order, where it runs.
func (s *Server) Stop() { s.end(os.Interrupt) }

// Kill ends it as a crash does.
func (s *Server) Kill() { s.end(os.Kill) }

func (s *Server) end(with os.Signal) {
	if s.running == nil {
		return
	}
	s.running.end(with)
	s.running = nil
}
