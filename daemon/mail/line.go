package mail

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"sync"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"endshake/db/failpoint"
)

// ErrSetup marks a refusal that no waiting mends: the login, the encryption or
// the address of the mail server is set up wrongly. Nothing is given up for it.
var ErrSetup = errors.New("the mail server does not take us as we are set up")

// maxReplies bounds what a server may send us for one batch, in bytes:
// 80 letters need a dozen kilobytes.
const maxReplies = 1 << 20

// line is one open connection to the mail server, logged in.
type line struct {
	client *smtp.Client
	tether *tether
	forget func() bool // stops watching the context
	// carried counts the letters that went over it.
	carried int
}

// close drops the connection without a word.
func (l *line) close() {
	l.forget()
	l.tether.Close()
}

// quit takes leave and closes.
func (l *line) quit(wait time.Duration) {
	l.client.CommandTimeout = wait
	_ = l.client.Quit() // all is settled: nothing follows from its reply
	l.close()
}

// open connects, encrypts and logs in, until an instant at the latest.
func (s *Sender) open(ctx context.Context, until time.Time) (*line, error) {
	how := s.Server.TLS
	if how == Opportunistic {
		l, err := s.connect(ctx, until, Clear)
		if err != nil {
			return nil, err
		}
		if ok, _ := l.client.Extension("STARTTLS"); !ok {
			return s.login(l)
		}
		// The library can only start TLS on a fresh line.
		l.close()
		how = Require
	}
	l, err := s.connect(ctx, until, how)
	if err != nil {
		return nil, err
	}
	return s.login(l)
}

// connect dials and greets, with TLS unless how is Clear.
func (s *Sender) connect(ctx context.Context, until time.Time, how Encryption) (*line, error) {
	dialing, stop := context.WithTimeout(ctx, s.Timeouts.Dial)
	conn, err := s.Dial(dialing, "tcp", s.Server.addr())
	stop()
	if err != nil {
		return nil, fmt.Errorf("mail server %s cannot be reached: %w", s.Server.addr(), err)
	}
	t := &tether{Conn: conn, left: maxReplies, talk: s.talk, clear: true}
	if s.talk != nil {
		s.talk.note("connected to %s", conn.RemoteAddr())
	}
	l := &line{tether: t, forget: context.AfterFunc(ctx, func() { t.interrupt(s.Timeouts.Grace) })}
	// Greeting, EHLO and STARTTLS: each a command, together at most three.
	t.limit(sooner(until, time.Now().Add(3*s.Timeouts.Command)))
	if l.client, err = s.greet(ctx, t, how); err != nil {
		l.close()
		return nil, s.openError(err, how)
	}
	t.limit(until)
	return l, nil
}

func (s *Sender) greet(ctx context.Context, t *tether, how Encryption) (*smtp.Client, error) {
	var c *smtp.Client
	switch {
	case how == Clear:
		c = smtp.NewClient(t)
	case s.Server.Implicit:
		t.clear = false
		conn := tls.Client(t, s.tlsConfig())
		if err := conn.HandshakeContext(ctx); err != nil {
			return nil, err
		}
		c = smtp.NewClient(conn)
	default:
		var err error
		if c, err = smtp.NewClientStartTLS(t, s.tlsConfig()); err != nil {
			return nil, err
		}
		t.clear = false
	}
	if s.talk != nil && !t.clear {
		c.DebugWriter = underTLS{t}
	}
	c.CommandTimeout, c.SubmissionTimeout = s.Timeouts.Command, s.Timeouts.Reply
	return c, c.Hello(s.Name)
}

func (s *Sender) tlsConfig() *tls.Config {
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if s.TLSConfig != nil {
		config = s.TLSConfig.Clone()
	}
	if config.ServerName == "" {
		config.ServerName = s.Server.Host
	}
	return config
}

// openError says which failures of a greeting are a matter of setting up: all
// that TLS adds, unless the line broke or the server asks to come again.
func (s *Sender) openError(err error, how Encryption) error {
	err = fmt.Errorf("mail server %s: %w", s.Server.addr(), err)
	if how == Clear || lineBroke(err) || passing(err) {
		return err
	}
	return fmt.Errorf("%w: no encrypted line, and tls=%s allows none in clear: %w", ErrSetup, s.Server.TLS, err)
}

// login identifies the sender where a user is set. A password never goes over
// a line in clear, except to this machine itself.
func (s *Sender) login(l *line) (*line, error) {
	if s.Server.User == "" {
		return l, nil
	}
	if err := s.auth(l.client); err != nil {
		l.close()
		if lineBroke(err) || passing(err) {
			return nil, fmt.Errorf("mail server %s: login: %w", s.Server.addr(), s.hush(err))
		}
		return nil, fmt.Errorf("%w: login of %q: %w", ErrSetup, s.Server.User, s.hush(err))
	}
	return l, nil
}

// hush hides our secrets in a reply that repeats them.
func (s *Sender) hush(err error) error {
	var r *smtp.SMTPError
	if !errors.As(err, &r) {
		return err
	}
	said := *r
	said.Message = scrub(r.Message, secretsOf(s.Server))
	return &said
}

func (s *Sender) auth(c *smtp.Client) error {
	if _, secret := c.TLSConnectionState(); !secret && !Loopback(s.Server.Host) {
		return errors.New("the line is not encrypted, so the password stays here: use tls=require or smtps://")
	}
	switch {
	case c.SupportsAuth(sasl.Plain):
		return c.Auth(sasl.NewPlainClient("", s.Server.User, s.Server.Password))
	case c.SupportsAuth(sasl.Login):
		return c.Auth(sasl.NewLoginClient(s.Server.User, s.Server.Password))
	}
	return errors.New("the server offers neither PLAIN nor LOGIN: check the port, or leave out the user")
}

// lineBroke reports whether an error came from the line and not from a reply,
// nor from two sides that cannot agree on TLS.
func lineBroke(err error) bool {
	if op, ok := errors.AsType[*net.OpError](err); ok && (op.Op == "remote error" || op.Op == "local error") {
		return false // an alert of crypto/tls
	}
	var ne net.Error
	return errors.As(err, &ne) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) ||
		errors.Is(err, net.ErrClosed) || errors.Is(err, context.Canceled)
}

// passing reports whether an error is a reply that asks to try again later.
func passing(err error) bool {
	var r *smtp.SMTPError
	return errors.As(err, &r) && r.Temporary()
}

// tether is a connection whose every deadline is bounded from outside, so that
// no server can hold a sender, however slowly it talks.
type tether struct {
	net.Conn

	mu     sync.Mutex
	end    time.Time // no deadline goes beyond
	want   time.Time // deadline asked for; zero: none
	cut    time.Time // set once the context is done
	handed bool      // the letter in hand may have gone out
	left   int       // bytes that may still be read

	talk  *dialogue // nil: the exchange is not written down
	clear bool      // what goes over the line can be read as it is
	ours  bool      // we spoke last
}

// underTLS writes down what a client says and hears inside TLS. The line below
// knows whose turn it was.
type underTLS struct{ t *tether }

func (u underTLS) Write(b []byte) (int, error) {
	u.t.talk.said(u.t.ours, b)
	return len(b), nil
}

// Write writes.
func (t *tether) Write(b []byte) (int, error) {
	if t.ours = true; t.talk != nil && t.clear {
		t.talk.said(true, b)
	}
	return t.Conn.Write(b)
}

// SetDeadline sets the deadline asked for, or the bound where it is sooner.
func (t *tether) SetDeadline(at time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.want = at
	return t.apply()
}

// limit moves the bound.
func (t *tether) limit(end time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.end = end
	_ = t.apply() // fails only on a closed line, which the next use reports
}

// renew gives the line another batch: its bound, and its share of replies.
func (t *tether) renew(end time.Time) {
	t.left = maxReplies
	t.limit(end)
}

// hand marks that the letter in hand may go out from now on, and gives it until
// end. It fails once the context is done.
func (t *tether) hand(end time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.cut.IsZero() {
		return context.Canceled
	}
	t.handed, t.end, t.want = true, end, time.Time{}
	return t.apply()
}

// settle marks that the letter in hand is over, and restores the bound.
func (t *tether) settle(end time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.handed, t.end = false, end
	_ = t.apply()
}

// interrupt ends all waiting at once; a letter that is handed over has grace to
// hear the reply.
func (t *tether) interrupt(grace time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.cut = time.Now()
	if t.handed {
		t.cut = t.cut.Add(grace)
	}
	_ = t.apply()
}

func (t *tether) apply() error {
	at := sooner(t.end, t.cut)
	return t.Conn.SetDeadline(sooner(at, t.want))
}

// Read reads, up to what may be sent for one batch in all.
func (t *tether) Read(b []byte) (int, error) {
	if t.handed {
		failpoint.Hit("K19") // the final dot is sent, and its answer not read
	}
	n, err := t.Conn.Read(b)
	if t.ours = false; t.talk != nil && t.clear {
		t.talk.said(false, b[:n])
	}
	if t.left -= n; t.left < 0 {
		return 0, fmt.Errorf("mail server sent more than %d bytes of replies: is it one? %w", maxReplies, io.ErrUnexpectedEOF)
	}
	return n, err
}

// sooner is the earlier instant, where a zero one is no instant.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}
