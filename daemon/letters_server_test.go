package daemon

import (
	"bytes"
	"io"
	"log"
	"net"
	netmail "net/mail"
	"sync"
	"testing"

	"github.com/emersion/go-smtp"

	"endshake/daemon/mail"
)

// countingServer is a real mail server on loopback that asks every fifth letter
// to come again later, and counts what it has taken by Message-ID.
type countingServer struct {
	mu    sync.Mutex
	asked int
	got   map[string]int
}

func (c *countingServer) start(t *testing.T) mail.Server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) { return countingSession{c}, nil }))
	srv.ErrorLog = log.New(io.Discard, "", 0)
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	server, err := mail.ParseServer("smtp://" + l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	return server
}

func (c *countingServer) taken(id string) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.got[id]
}

type countingSession struct{ *countingServer }

func (countingSession) Mail(string, *smtp.MailOptions) error { return nil }
func (countingSession) Reset()                               {}
func (countingSession) Logout() error                        { return nil }

func (s countingSession) Rcpt(string, *smtp.RcptOptions) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.asked++; s.asked%5 == 0 {
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 7, 1}, Message: "come again later"}
	}
	return nil
}

func (s countingSession) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	m, err := netmail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.got[m.Header.Get("Message-Id")]++
	return nil
}
