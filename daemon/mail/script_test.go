package mail

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"io"
	"log"
	"log/slog"
	"math/big"
	"net"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

// script is a real go-smtp server on loopback that answers as it is told.
type script struct {
	rcpt func(to string, c *smtp.Conn) error
	data func(to string, c *smtp.Conn) error
	auth func(user, password string) error // nil: no AUTH
	tls  *tls.Config                       // not nil: TLS from the first byte

	mu    sync.Mutex
	conns int
	got   map[string][]string // messages taken, by recipient
}

func (s *script) start(t *testing.T, set func(*smtp.Server)) Server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr()
	if s.tls != nil {
		l = tls.NewListener(l, s.tls)
	}
	s.got = map[string][]string{}
	srv := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.conns++
		session := &scriptSession{script: s, conn: c}
		if s.auth == nil {
			return session, nil
		}
		return authSession{session}, nil
	}))
	srv.AllowInsecureAuth = true
	srv.ErrorLog = log.New(io.Discard, "", 0)
	if set != nil {
		set(srv)
	}
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	return serverAt(addr)
}

func (s *script) taken(to string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.got[to])
}

type scriptSession struct {
	script *script
	conn   *smtp.Conn
	to     string
}

func (s *scriptSession) Mail(string, *smtp.MailOptions) error { return nil }

func (s *scriptSession) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = to
	if s.script.rcpt == nil {
		return nil
	}
	return s.script.rcpt(to, s.conn)
}

func (s *scriptSession) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if s.script.data != nil {
		if err := s.script.data(s.to, s.conn); err != nil {
			return err
		}
	}
	s.script.mu.Lock()
	defer s.script.mu.Unlock()
	s.script.got[s.to] = append(s.script.got[s.to], string(raw))
	return nil
}

func (s *scriptSession) Reset()        {}
func (s *scriptSession) Logout() error { return nil }

type authSession struct{ *scriptSession }

func (authSession) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s authSession) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error { return s.script.auth(user, password) }), nil
}

func says(code int, text string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{code / 100, 1, 1}, Message: text}
}

// raw is a server that talks as talk does, for what no proper one would say.
func raw(t *testing.T, talk func(in *bufio.Reader, out net.Conn)) Server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var open sync.WaitGroup
	stop := make(chan struct{})
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			open.Add(1)
			go func() {
				defer open.Done()
				talk(bufio.NewReader(c), c)
				c.Close()
			}()
			go func() { <-stop; c.Close() }()
		}
	}()
	t.Cleanup(func() { l.Close(); close(stop); open.Wait() })
	return serverAt(l.Addr())
}

// upTo answers a session properly, and the line that begins with word as told.
func upTo(word, answer string) func(*bufio.Reader, net.Conn) {
	return func(in *bufio.Reader, out net.Conn) {
		io.WriteString(out, "220 here\r\n")
		body := false
		for {
			got, err := in.ReadString('\n')
			switch {
			case err != nil:
				return
			case strings.HasPrefix(got, word):
				io.WriteString(out, answer)
				body = false
			case body:
			case strings.HasPrefix(got, "DATA"):
				io.WriteString(out, "354 go on\r\n")
				body = true
			default:
				io.WriteString(out, "250 fine\r\n")
			}
		}
	}
}

func serverAt(a net.Addr) Server {
	host, port, _ := net.SplitHostPort(a.String())
	n, _ := strconv.Atoi(port)
	return Server{Host: host, Port: n, TLS: Clear}
}

// box is an outbox in memory with the rules of Outbox.
type box struct {
	mu        sync.Mutex
	list      []*schedule.Notice
	claims    int
	replies   map[string][]schedule.Outcome
	onHanded  func(id string) error
	onSettle  func(id string) error
	unclaimed bool // something was settled that was not claimed
}

func newBox(to ...string) *box {
	b := &box{replies: map[string][]schedule.Outcome{}}
	for i, addr := range to {
		b.list = append(b.list, &schedule.Notice{ID: "n" + strconv.Itoa(i+1), Kind: schedule.DueList, From: "clocks@example.org", To: addr,
			Raw:   []byte("From: clocks@example.org\r\nSubject: " + addr + "\r\n\r\n.dot\r\nbody\r\n"),
			State: schedule.Owed, Created: sampleNow, NextTry: sampleNow})
	}
	return b
}

func (b *box) ClaimNotices(ctx context.Context, _ string, now time.Time, _ time.Duration, n int) ([]schedule.Notice, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.claims++
	var out []schedule.Notice
	for _, x := range b.list {
		if x.State == schedule.Owed && !x.NextTry.After(now) && len(out) < n {
			x.State = schedule.Sending
			x.Attempts++
			if x.FirstTry.IsZero() {
				x.FirstTry = now
			}
			out = append(out, *x)
		}
	}
	return out, ctx.Err()
}

func (b *box) Record(_ context.Context, _ string, marks []schedule.Mark) []error {
	errs := make([]error, len(marks))
	for i, m := range marks {
		switch {
		case m.Outcome != nil:
			errs[i] = b.settle(m.Notice, *m.Outcome)
		case b.onHanded != nil:
			errs[i] = b.onHanded(m.Notice)
		}
	}
	return errs
}

func (b *box) settle(id string, o schedule.Outcome) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.onSettle != nil {
		if err := b.onSettle(id); err != nil {
			return err
		}
	}
	for _, x := range b.list {
		if x.ID != id {
			continue
		}
		b.unclaimed = b.unclaimed || x.State != schedule.Sending
		x.State, x.NextTry, x.Reply = o.State, o.NextTry, o.Reply
		if o.Uncertain {
			if x.Uncertain++; x.Uncertain > 1 {
				x.State = schedule.Parked
			}
		}
	}
	b.replies[id] = append(b.replies[id], o)
	return nil
}

// states lists the state of each letter in order, and checks that none is left
// claimed.
func (b *box) states(t *testing.T) string {
	t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	var out []string
	for _, x := range b.list {
		out = append(out, string(x.State))
		if x.State == schedule.Sending {
			t.Errorf("letter %s is still claimed", x.ID)
		}
	}
	if b.unclaimed {
		t.Error("a letter was settled that was not claimed")
	}
	return strings.Join(out, " ")
}

// sender has short waits: each is far longer than loopback needs and is only
// used up where a server stalls.
func sender(b *box, v Server) *Sender {
	now := sampleNow
	return &Sender{Outbox: b, Server: v, Owner: "test", Now: func() time.Time { return now }, Log: slog.New(slog.DiscardHandler),
		Lease: time.Minute, Timeouts: Timeouts{Dial: 5 * time.Second, Command: 5 * time.Second, Body: 5 * time.Second, Reply: 5 * time.Second, Grace: 5 * time.Second}}
}

func drain(t *testing.T, s *Sender, want Tally, wantErr error) error {
	t.Helper()
	got, err := s.Drain(t.Context())
	if got != want {
		t.Errorf("tally %+v, want %+v", got, want)
	}
	if (err != nil) != (wantErr != nil) || wantErr != errAny && !errors.Is(err, wantErr) {
		t.Errorf("Drain error %v, want %v", err, wantErr)
	}
	return err
}

// errAny stands for any error.
var errAny = errors.New("any")

// certificate makes a certificate for 127.0.0.1 that signs itself, and the
// configuration of a client that trusts it.
func certificate(t *testing.T) (server, client *tls.Config) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "mail.example.org"}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}, &tls.Config{RootCAs: pool}
}
