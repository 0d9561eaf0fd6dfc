package mail

import (
	"context"
	"fmt"
	"io"
	"log"
	"net"
	"slices"
	"sync"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

// maxArrival bounds one message that a Sink takes, in bytes.
const maxArrival = 8 << 20

// Sink is a mail server on the loopback address that keeps what arrives in
// memory, for the demo and for tests. Nothing leaves the machine through it.
type Sink struct {
	// Now tells when a message arrived.
	Now func() time.Time

	max    int
	server *smtp.Server
	served chan error

	mu       sync.Mutex
	arrivals []schedule.Arrival // oldest first
	taken    int                // since the start
}

// NewSink makes a sink that keeps the last limit messages, at least one.
func NewSink(limit int) *Sink { return &Sink{max: max(limit, 1), Now: time.Now} }

// Start listens on addr, like 127.0.0.1:0, and returns the address it got. An
// address that is not loopback is refused: anyone could fill the memory.
func (s *Sink) Start(addr string) (string, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil || !Loopback(host) {
		return "", fmt.Errorf("mail sink: %q is not a loopback address with a port: use 127.0.0.1:0", addr)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return "", fmt.Errorf("mail sink: cannot listen on %s: %w", addr, err)
	}
	s.server = smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) {
		return &sinkSession{sink: s}, nil
	}))
	s.server.Domain = "localhost"
	s.server.MaxMessageBytes = maxArrival
	s.server.MaxRecipients = 100
	s.server.ReadTimeout, s.server.WriteTimeout = 5*time.Minute, time.Minute
	s.server.ErrorLog = log.New(io.Discard, "", 0)
	s.served = make(chan error, 1)
	go func() { s.served <- s.server.Serve(l) }()
	return l.Addr().String(), nil
}

// Stop closes the listener and every connection. It returns once the sink takes
// nothing more, or with the error of ctx. Messages that have arrived stay.
func (s *Sink) Stop(ctx context.Context) error {
	if s.server == nil {
		return nil
	}
	if err := s.server.Close(); err != nil {
		return fmt.Errorf("mail sink: stop: %w", err)
	}
	select {
	case err := <-s.served:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Arrivals returns the messages kept, oldest first, each with its Number. They
// are shared: read only.
func (s *Sink) Arrivals() []schedule.Arrival {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.arrivals)
}

func (s *Sink) keep(a schedule.Arrival) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.taken++
	a.Number = s.taken
	s.arrivals = append(s.arrivals, a)
	if over := len(s.arrivals) - s.max; over > 0 {
		s.arrivals = slices.Delete(s.arrivals, 0, over)
	}
}

// sinkSession is one connection to a sink.
type sinkSession struct {
	sink *Sink
	from string
	to   []string
}

func (s *sinkSession) Mail(from string, _ *smtp.MailOptions) error {
	s.from = from
	return nil
}

func (s *sinkSession) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = append(s.to, to)
	return nil
}

func (s *sinkSession) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	s.sink.keep(schedule.Arrival{At: s.sink.Now(), From: s.from, To: slices.Clone(s.to), Raw: raw})
	return nil
}

func (s *sinkSession) Reset()        { s.from, s.to = "", nil }
func (s *sinkSession) Logout() error { return nil }
