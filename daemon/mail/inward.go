package mail

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log"
	"log/slog"
	"net"
	"net/url"
	"os"
	"regexp"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// Listening is where messages from outside come in.
type Listening struct {
	LMTP          bool   // RFC 2033, one answer for each recipient; else SMTP
	Network, Addr string // "tcp" and host:port, or "unix" and a path
}

// ParseListening reads lmtp://127.0.0.1:2424, smtp://127.0.0.1:2525 or
// lmtp+unix:/run/endshake/inward. Only this machine may hand messages in: a mail
// server on it does, which knows whom to take mail from.
func ParseListening(s string) (Listening, error) {
	u, err := url.Parse(s)
	if err != nil {
		return Listening{}, errors.New("the address cannot be read: write it like lmtp://127.0.0.1:2424, smtp://127.0.0.1:2525 or lmtp+unix:/run/endshake/inward")
	}
	if u.Scheme == "lmtp+unix" && u.Host == "" && strings.HasPrefix(u.Path, "/") {
		return Listening{LMTP: true, Network: "unix", Addr: u.Path}, nil
	}
	if u.Scheme != "lmtp" && u.Scheme != "smtp" || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.User != nil {
		return Listening{}, fmt.Errorf("%q is not understood: write it like lmtp://127.0.0.1:2424, smtp://127.0.0.1:2525 or lmtp+unix:/run/endshake/inward", u.Redacted())
	}
	if u.Port() == "" || !Loopback(u.Hostname()) {
		return Listening{}, fmt.Errorf("%s is not a port of this machine alone: have a mail server on it hand messages in at 127.0.0.1, like lmtp://127.0.0.1:2424", u.Host)
	}
	return Listening{LMTP: u.Scheme == "lmtp", Network: "tcp", Addr: u.Host}, nil
}

// InwardStore keeps what comes in.
type InwardStore interface {
	// TakeIn keeps a message, in the state Taken, so that it outlives a crash.
	// It is false where one with the same Mark was kept before.
	TakeIn(ctx context.Context, m schedule.Inward) (taken bool, err error)
}

// Bounds of the receiving server.
const (
	maxInwardConns = 20
	maxRecipients  = 50
	inwardWait     = 2 * time.Minute  // for a command, and for a whole message
	keepWait       = 30 * time.Second // for the store
	inwardStop     = time.Second      // for whoever is connected when it stops
)

// Receiver takes messages for the address that answers go to, and keeps them. It
// says 250 only when a message is committed, and says it again, with no new
// effect, when the same message comes again.
type Receiver struct {
	Store InwardStore
	Own   Own
	Now   func() time.Time
	Log   *slog.Logger
	Taken func() // is called after a message was kept; nil: nobody

	server *smtp.Server
	limit  *limited
	served chan error
}

// Start listens, and returns the address it got.
func (r *Receiver) Start(l Listening) (string, error) {
	if l.Network == "unix" {
		if err := freeSocket(l.Addr); err != nil {
			return "", err
		}
	}
	ln, err := net.Listen(l.Network, l.Addr)
	if err != nil {
		return "", fmt.Errorf("cannot listen for mail on %s: %w", l.Addr, err)
	}
	if l.Network == "unix" {
		// Whoever may reach the folder may hand messages in.
		if err := os.Chmod(l.Addr, 0o666); err != nil {
			return "", errors.Join(fmt.Errorf("cannot open the socket %s to the mail server: %w", l.Addr, err), ln.Close())
		}
	}
	r.server = smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return &inwardSession{r: r}, nil }))
	r.server.LMTP = l.LMTP
	r.server.Domain = domainOf(r.Own.Answers)
	r.server.MaxMessageBytes = MaxInward
	r.server.MaxRecipients = maxRecipients
	r.server.MaxLineLength = 64 << 10 // not every program breaks its lines
	r.server.ReadTimeout, r.server.WriteTimeout = inwardWait, time.Minute
	r.server.EnableSMTPUTF8 = true
	r.server.ErrorLog = log.New(io.Discard, "", 0)
	r.served = make(chan error, 1)
	r.limit = &limited{Listener: ln, open: map[net.Conn]bool{}}
	go func() { r.served <- r.server.Serve(r.limit) }()
	return ln.Addr().String(), nil
}

// freeSocket takes away the socket of a process that is gone.
func freeSocket(path string) error {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil || info.Mode()&fs.ModeSocket == 0 {
		return fmt.Errorf("cannot listen for mail on %s: something else is there: choose another path with --inward", path)
	}
	if c, err := net.DialTimeout("unix", path, time.Second); err == nil {
		_ = c.Close()
		return fmt.Errorf("%s is in use by another program: stop it, or choose another path with --inward", path)
	}
	return os.Remove(path)
}

// Stop takes nothing more, lets a message that is being kept be kept, and
// returns when all is quiet or the context ends.
func (r *Receiver) Stop(ctx context.Context) error {
	if r.server == nil {
		return nil
	}
	quiet, cancel := context.WithTimeout(ctx, inwardStop)
	defer cancel()
	_ = r.limit.Close() // by ourselves: the server may not know it yet
	_ = r.server.Shutdown(quiet)
	r.limit.closeAll() // whoever is connected and silent is cut off; what had no 250 comes again
	select {
	case err := <-r.served:
		if errors.Is(err, net.ErrClosed) {
			return nil
		}
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// limited refuses connections beyond so many at once.
type limited struct {
	net.Listener
	mu   sync.Mutex
	open map[net.Conn]bool
}

// Accept waits for a connection that there is room for.
func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		l.mu.Lock()
		room := len(l.open) < maxInwardConns
		if room {
			l.open[c] = true
		}
		l.mu.Unlock()
		if room {
			return limitedConn{c, l}, nil
		}
		_ = c.SetWriteDeadline(time.Now().Add(time.Second))
		_, _ = io.WriteString(c, "421 4.7.0 Too many connections, try again later\r\n")
		_ = c.Close()
	}
}

func (l *limited) closeAll() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for c := range l.open {
		_ = c.Close()
	}
}

// limitedConn gives its place back when it is closed.
type limitedConn struct {
	net.Conn
	of *limited
}

func (c limitedConn) Close() error {
	c.of.mu.Lock()
	delete(c.of.open, c.Conn)
	c.of.mu.Unlock()
	return c.Conn.Close()
}

// inwardSession is one connection.
type inwardSession struct {
	r    *Receiver
	from string
	to   []string
}

func (s *inwardSession) Mail(from string, _ *smtp.MailOptions) error {
	if len(from) > 320 {
		return &smtp.SMTPError{Code: 501, EnhancedCode: smtp.EnhancedCode{5, 1, 7}, Message: "That sender is too long"}
	}
	s.from = from
	return nil
}

// Rcpt takes the address for answers alone, with or without what follows a +.
func (s *inwardSession) Rcpt(to string, _ *smtp.RcptOptions) error {
	if _, ok := s.r.Own.After(to); !ok {
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "No such mailbox here"}
	}
	s.to = append(s.to, to)
	return nil
}

// Data is for SMTP: one answer for all recipients. What was kept for some when
// it fails for another is known by its mark when it comes again.
func (s *inwardSession) Data(b io.Reader) error {
	raw, err := io.ReadAll(b)
	if err != nil {
		return unread(err)
	}
	failpoint.Hit("K24") // read, and not looked at
	for _, to := range s.to {
		if err := s.r.keep(s.from, to, raw); err != nil {
			return err
		}
	}
	failpoint.Hit("K26") // kept, and not answered
	return nil
}

// LMTPData is for LMTP: an answer for each recipient.
func (s *inwardSession) LMTPData(b io.Reader, status smtp.StatusCollector) error {
	raw, err := io.ReadAll(b)
	if err != nil {
		return unread(err)
	}
	failpoint.Hit("K24") // read, and not looked at
	for _, to := range s.to {
		err := s.r.keep(s.from, to, raw)
		if err == nil {
			failpoint.Hit("K26") // kept, and not answered
		}
		status.SetStatus(to, err)
	}
	return nil
}

func (s *inwardSession) Reset()        { s.from, s.to = "", nil }
func (s *inwardSession) Logout() error { return nil }

// unread answers for a message that could not be read to its end: for good where
// it is what it is, and else for now, as where its server went silent.
func unread(err error) error {
	switch {
	case errors.As(err, new(*smtp.SMTPError)): // too large
		return err
	case errors.Is(err, smtp.ErrTooLongLine):
		return &smtp.SMTPError{Code: 554, EnhancedCode: smtp.EnhancedCode{5, 6, 0}, Message: "It has a line that is too long"}
	}
	return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 4, 2}, Message: "It broke off, try again later"}
}

// keep commits a message for one recipient.
func (r *Receiver) keep(from, to string, raw []byte) error {
	m := readKnown(raw)
	ctx, cancel := context.WithTimeout(context.Background(), keepWait)
	defer cancel()
	taken, err := r.Store.TakeIn(ctx, schedule.Inward{Mark: m.Mark(to), At: r.Now(), From: strings.ToValidUTF8(from, "\ufffd"), To: to, Title: m.Title, Raw: raw})
	if schedule.CodeOf(err) == schedule.Invalid { // it is the same however often it comes
		r.Log.Warn("a message that came in is refused for what it is", "error", err)
		return &smtp.SMTPError{Code: 554, EnhancedCode: smtp.EnhancedCode{5, 6, 0}, Message: "It holds what cannot be kept"}
	}
	if err != nil {
		r.Log.Error("a message that came in could not be kept; its server will try again", "error", err)
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "It could not be kept now, try again later"}
	}
	if taken && r.Taken != nil {
		r.Taken()
	}
	return nil
}

// after is what may follow the + of an address for answers.
var after = regexp.MustCompile(`^[A-Za-z0-9._-]{0,80}$`)

// After is what follows the + in an address of ours, empty where there is none.
// It is false for any other address.
func (o Own) After(to string) (string, bool) {
	at, ours := strings.LastIndexByte(to, '@'), strings.LastIndexByte(o.Answers, '@')
	if at < 0 || ours < 0 || !strings.EqualFold(to[at:], o.Answers[ours:]) {
		return "", false
	}
	local, rest, _ := strings.Cut(to[:at], "+")
	return rest, strings.EqualFold(local, o.Answers[:ours]) && after.MatchString(rest)
}

// bounceMark begins what follows the + of an address that bounces go to.
const bounceMark = "bounce-"

// BounceOf is the ID of the notice that a bounce to an address is of; empty:
// it is no address for bounces.
func (o Own) BounceOf(to string) string {
	rest, _ := o.After(to)
	id, ok := strings.CutPrefix(strings.ToLower(rest), bounceMark)
	if !ok {
		return ""
	}
	return id
}
