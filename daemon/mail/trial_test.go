package mail

import (
	"bufio"
	"bytes"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"io"
	"net"
	"net/mail"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// try sends a trial letter to a server and gives the exchange as written down.
func try(t *testing.T, v Server, trusting *tls.Config) (string, error) {
	t.Helper()
	n, err := Composer{From: "Clock desk <clocks@example.org>"}.Trial("Ada <ada@example.org>", "trial-1", sampleNow)
	if err != nil {
		t.Fatal(err)
	}
	s := Sender{Server: v, TLSConfig: trusting, Timeouts: Timeouts{Command: 5 * time.Second, Body: 5 * time.Second, Reply: 5 * time.Second}}
	var out bytes.Buffer
	err = s.Try(t.Context(), n, &out)
	if err != nil && strings.ContainsAny(err.Error(), "\r\n") {
		t.Errorf("not one sentence: %q", err)
	}
	return out.String(), err
}

// inOrder sees that lines of a text hold what is wanted, in that order.
func inOrder(t *testing.T, text string, want ...string) {
	t.Helper()
	at := 0
	for _, w := range want {
		i := strings.Index(text[at:], w)
		if i < 0 {
			t.Errorf("%q is missing, or not in its place, in:\n%s", w, text)
			return
		}
		at += i + len(w)
	}
}

func TestTrialShowsTheWholeExchange(t *testing.T) {
	s := &script{}
	out, err := try(t, s.start(t, nil), nil)
	if err != nil || s.taken("ada@example.org") != 1 {
		t.Fatalf("taken %d, %v\n%s", s.taken("ada@example.org"), err, out)
	}
	inOrder(t, out, "-- connected to 127.0.0.1:", "S: 220 ", "C: EHLO localhost", "S: 250-", "-- the line is not encrypted", "C: MAIL FROM:<clocks@example.org>", "S: 250 ",
		"C: RCPT TO:<ada@example.org>", "S: 250 ", "C: DATA", "S: 354 ", "C: From: ", "C: Subject: A trial letter of endshake", "C: .", "S: 250 ", "C: QUIT", "S: 221 ")
	for line := range strings.Lines(out) {
		if len(line) < 15 || line[8:12] != " s  " || line[4] != '.' || !strings.Contains("C: S: --", line[12:14]) {
			t.Errorf("a line has no time or no speaker: %q", line)
		}
	}
	m, err := mail.ReadMessage(strings.NewReader(s.got["ada@example.org"][0]))
	if err != nil || m.Header.Get("Message-ID") != "<trial-1@example.org>" || m.Header.Get("Auto-Submitted") != "auto-generated" {
		t.Errorf("the letter is %v, %v", m, err)
	}
}

// secretServer takes u with the password it is given, by PLAIN or LOGIN.
func secretServer(t *testing.T, mechanism string, config *tls.Config) Server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	srv := smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) {
		return loginSession{authSession{&scriptSession{script: &script{got: map[string][]string{}}, conn: c}}, mechanism}, nil
	}))
	srv.AllowInsecureAuth, srv.TLSConfig = true, config
	go srv.Serve(l)
	t.Cleanup(func() { srv.Close() })
	v := serverAt(l.Addr())
	v.User = "desk@example.org"
	return v
}

type loginSession struct {
	authSession
	mechanism string
}

func (s loginSession) AuthMechanisms() []string { return []string{s.mechanism} }

// Auth turns everybody down, and says back what it was given, in the clear and
// in base64.
func (s loginSession) Auth(string) (sasl.Server, error) {
	return &tattler{login: s.mechanism == sasl.Login}, nil
}

type tattler struct {
	login bool
	asked int
}

func (a *tattler) Next(response []byte) ([]byte, bool, error) {
	a.asked++
	switch {
	case a.login && a.asked == 1 && response == nil:
		return []byte("Username:"), false, nil
	case a.login && a.asked <= 2:
		return []byte("Password:"), false, nil
	}
	words := strings.ReplaceAll(string(response), "\x00", " ")
	return nil, false, &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8},
		Message: "not " + words + " nor " + base64.StdEncoding.EncodeToString(response)}
}

// No secret is shown, in whatever form it goes over the line or comes back,
// with or without TLS; nor in the errors, which are logged and stored.
func TestTrialHidesSecrets(t *testing.T) {
	trusted, trusting := certificate(t)
	const password = "corr3ct horse"
	for _, mechanism := range []string{sasl.Plain, sasl.Login} {
		for _, how := range []Encryption{Clear, Require} {
			t.Run(mechanism+" "+string(how), func(t *testing.T) {
				v := secretServer(t, mechanism, trusted)
				v.Password, v.TLS = password, how
				out, err := try(t, v, trusting)
				if err == nil || !strings.Contains(err.Error(), "535") || !strings.Contains(err.Error(), "check the user and the password") {
					t.Fatalf("%v\n%s", err, out)
				}
				inOrder(t, out, "C: AUTH "+mechanism, hidden, "S: 535")
				b := newBox("a@example.org")
				snd := sender(b, v)
				snd.TLSConfig = trusting
				logged := drain(t, snd, Tally{Retry: 1}, ErrSetup)
				all := out + err.Error() + logged.Error() + b.list[0].Reply
				plain := "\x00" + v.User + "\x00" + password
				for _, secret := range []string{password, base64.StdEncoding.EncodeToString([]byte(password)), base64.StdEncoding.EncodeToString([]byte(plain)),
					base64.RawStdEncoding.EncodeToString([]byte(plain)), base64.StdEncoding.EncodeToString([]byte(v.User))} {
					if strings.Contains(all, secret) {
						t.Errorf("%q is shown in:\n%s", secret, all)
					}
				}
				if how == Require {
					inOrder(t, out, "C: STARTTLS", "S: 220", "C: EHLO", "C: AUTH")
				}
			})
		}
	}
}

func TestTrialShowsTLS(t *testing.T) {
	trusted, trusting := certificate(t)
	for _, tc := range []struct {
		what     string
		implicit bool
	}{{"STARTTLS", false}, {"from the first byte", true}} {
		t.Run(tc.what, func(t *testing.T) {
			s := &script{}
			set := func(srv *smtp.Server) { srv.TLSConfig = trusted }
			if tc.implicit {
				s.tls, set = trusted, nil
			}
			v := s.start(t, set)
			v.TLS, v.Implicit = Require, tc.implicit
			out, err := try(t, v, trusting)
			if err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			inOrder(t, out, "-- encrypted by TLS 1.3, TLS_", "-- its certificate is for 127.0.0.1, from mail.example.org, good from ", ": verified for 127.0.0.1", "C: MAIL FROM", "C: DATA", "S: 354", "S: 250")
			if strings.Contains(out, "C: 2") || strings.Contains(out, "S: EHLO") {
				t.Errorf("the two are taken for each other:\n%s", out)
			}
			// The same with nobody's trust.
			out, err = try(t, v, &tls.Config{})
			if !errors.Is(err, ErrSetup) && err == nil || !strings.Contains(err.Error(), "name the host that the certificate is for") || strings.Contains(out, "MAIL") {
				t.Errorf("%v\n%s", err, out)
			}
			inOrder(t, out, "-- its certificate is for 127.0.0.1, from mail.example.org", ": not accepted")
		})
	}
}

func TestTrialSaysWhatFailed(t *testing.T) {
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := serverAt(closed.Addr())
	closed.Close()
	for _, tc := range []struct {
		what string
		v    Server
		want string
	}{
		{"no server", nobody, "cannot be reached"},
		{"an unknown reader", (&script{rcpt: func(string, *smtp.Conn) error { return says(550, "no such person") }}).start(t, nil), "no such person; check the address"},
		{"not now", raw(t, upTo("MAIL", "451 4.3.0 later\r\n")), "later; it asks to be tried again"},
		{"closes", raw(t, func(_ *bufio.Reader, out net.Conn) { io.WriteString(out, "220 here\r\n") }), "check the host, the port"},
		{"talks nonsense", raw(t, func(_ *bufio.Reader, out net.Conn) { io.WriteString(out, "\x16\x03\x01 \x1b[31m hello\r\n") }), "was not taken"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			out, err := try(t, tc.v, nil)
			if err == nil || !strings.HasPrefix(err.Error(), "the letter to ada@example.org was not taken: ") || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("%v, want %q\n%s", err, tc.want, out)
			}
			if strings.ContainsAny(out, "\x1b\x16") {
				t.Errorf("control characters reach the terminal: %q", out)
			}
		})
	}
	for _, to := range []string{"", "nobody", "a@example.org\r\nBcc: b@example.org"} {
		if _, err := (Composer{From: "clocks@example.org"}).Trial(to, "x", sampleNow); err == nil {
			t.Errorf("a trial letter to %q was written", to)
		}
	}
}
