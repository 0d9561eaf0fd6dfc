package mail

import (
	"bufio"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

// piped is a sender whose every line leads to talk, with no network between, so
// that hours pass at once in a bubble of synctest. Its waits are the usual ones.
func piped(t *testing.T, b *box, talk func(*bufio.Reader, net.Conn)) *Sender {
	t.Helper()
	var open sync.WaitGroup
	t.Cleanup(open.Wait)
	for _, n := range b.list {
		n.Created, n.NextTry = time.Now(), time.Now()
	}
	s := sender(b, Server{Host: "mail.example.org", Port: 25, TLS: Clear})
	s.Lease, s.Timeouts, s.Now = 0, Timeouts{}, time.Now
	s.Dial = func(context.Context, string, string) (net.Conn, error) {
		near, far := net.Pipe()
		open.Go(func() {
			talk(bufio.NewReader(far), far)
			far.Close()
		})
		return near, nil
	}
	return s
}

// A server that refuses connections for three days is tried less and less often,
// and gets the letter once when it is back.
func TestServerRefusesConnectionsForThreeDays(t *testing.T) {
	b := newBox("a@example.org")
	now := sampleNow
	snd := sender(b, Server{Host: "127.0.0.1", Port: 1, TLS: Clear})
	snd.Now = func() time.Time { return now }
	snd.Dial = func(context.Context, string, string) (net.Conn, error) {
		return nil, &net.OpError{Op: "dial", Err: syscall.ECONNREFUSED}
	}
	var tries []time.Time
	for ; now.Before(sampleNow.Add(3 * 24 * time.Hour)); now = now.Add(time.Minute) {
		before := b.list[0].Attempts
		_, _ = snd.Drain(t.Context())
		if b.list[0].Attempts > before {
			tries = append(tries, now)
		}
	}
	for i := 2; i < len(tries); i++ {
		last, gap := tries[i-1].Sub(tries[i-2]), tries[i].Sub(tries[i-1])
		if gap < last || i > 4 && gap < 30*time.Minute { // RFC 5321 4.5.4.1: 30 minutes at least
			t.Errorf("try %d comes %v after the one before, which came after %v", i+1, gap, last)
		}
	}
	if b.states(t) != "owed" || len(tries) < 18 || len(tries) > 30 || tries[1].Sub(tries[0]) > 10*time.Minute {
		t.Errorf("%s after %d tries, the second after %v", b.states(t), len(tries), tries[1].Sub(tries[0]))
	}
	s := &script{}
	snd.Server, snd.Dial = s.start(t, nil), nil
	now = now.Add(lastDelay)
	drain(t, snd, Tally{Sent: 1}, nil)
	if s.taken("a@example.org") != 1 {
		t.Errorf("taken %d times", s.taken("a@example.org"))
	}
}

// A server that no packet comes back from costs no more than the wait to dial.
func TestServerSwallowsConnections(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBox("a@example.org", "b@example.org")
		snd := piped(t, b, nil)
		snd.Dial = func(ctx context.Context, _, _ string) (net.Conn, error) {
			<-ctx.Done()
			return nil, ctx.Err()
		}
		began := time.Now()
		drain(t, snd, Tally{Retry: 2}, errAny)
		if took := time.Since(began); took != 10*time.Second || b.states(t) != "owed owed" {
			t.Errorf("%s after %v, want one wait of 10 s for both", b.states(t), took)
		}
	})
}

// A greeting of one byte each ten seconds ends with the wait for a command.
func TestServerDripsItsGreeting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBox("a@example.org")
		snd := piped(t, b, func(_ *bufio.Reader, out net.Conn) {
			for {
				time.Sleep(10 * time.Second)
				if _, err := io.WriteString(out, "2"); err != nil {
					return
				}
			}
		})
		began := time.Now()
		drain(t, snd, Tally{Retry: 1}, errAny)
		if took := time.Since(began); took != 5*time.Minute || b.replies["n1"][0].Uncertain {
			t.Errorf("left after %v, want 5 minutes, and nothing uncertain", took)
		}
	})
}

// Whoever is put off is tried again, alone, and nobody's address is blamed.
func TestServerPutsOffARecipient(t *testing.T) {
	for _, code := range []int{450, 451, 452} {
		t.Run(fmt.Sprint(code), func(t *testing.T) {
			away := true
			s := &script{rcpt: func(to string, _ *smtp.Conn) error {
				if away && to[0] == 'b' {
					return says(code, "not now")
				}
				return nil
			}}
			b := newBox("a@example.org", "b@example.org", "c@example.org")
			snd := sender(b, s.start(t, nil))
			drain(t, snd, Tally{Sent: 2, Retry: 1}, nil)
			if o := b.replies["n2"][0]; o.State != schedule.Owed || o.Blame != schedule.NoBlame {
				t.Errorf("%+v", o)
			}
			away = false
			snd.Now = func() time.Time { return sampleNow.Add(firstDelay) }
			drain(t, snd, Tally{Sent: 1}, nil)
			for _, to := range []string{"a@example.org", "b@example.org", "c@example.org"} {
				if s.taken(to) != 1 {
					t.Errorf("%s got it %d times", to, s.taken(to))
				}
			}
		})
	}
}

// A letter waits for its reader's hours, whether it was put off or has not been
// tried yet.
func TestLettersWaitForTheReadersHours(t *testing.T) {
	s := &script{rcpt: func(to string, _ *smtp.Conn) error {
		if to[0] == 'b' {
			return says(451, "not now")
		}
		return nil
	}}
	b := newBox("a@example.org", "b@example.org", "c@example.org")
	snd := sender(b, s.start(t, nil))
	morning := sampleNow.Add(11 * time.Hour)
	snd.Takes = func(n schedule.Notice, at time.Time) time.Time {
		if n.ID == "n2" && !at.Equal(sampleNow) || n.ID == "n3" {
			return morning
		}
		return at
	}
	drain(t, snd, Tally{Sent: 1, Retry: 2}, nil)
	for _, id := range []string{"n2", "n3"} {
		if o := b.replies[id][0]; o.State != schedule.Owed || !o.NextTry.Equal(morning) {
			t.Errorf("%s: %+v, want it owed again at %v", id, o, morning)
		}
	}
	if s.taken("c@example.org") != 0 {
		t.Error("a letter went in its reader's night")
	}
}

// A recipient that is refused for good is not tried again, and the enhanced code
// tells whether the address leads nowhere (RFC 3463 3.2, RFC 7505 4.2).
func TestServerRefusesARecipient(t *testing.T) {
	for answer, want := range map[string]schedule.Blame{
		"550 no":                         schedule.TurnsUs,
		"552 5.2.2 full":                 schedule.TurnsUs,
		"554 5.7.1 not from you":         schedule.NoBlame, // a policy, RFC 3463 3.8
		"550 5.1.1 nobody":               schedule.NoSuch,
		"550 5.1.2 no such domain":       schedule.NoSuch,
		"553 5.1.3 that is no address":   schedule.NoSuch,
		"556 5.1.10 it takes no mail":    schedule.NoSuch,
		"550 5.1.6 moved, nobody knows":  schedule.TurnsUs,
		"550-5.1.1 nobody\r\n550 5.1.1 ": schedule.NoSuch,
	} {
		t.Run(answer, func(t *testing.T) {
			b := newBox("a@example.org")
			snd := sender(b, raw(t, upTo("RCPT", answer+"\r\n")))
			drain(t, snd, Tally{Refused: 1}, nil)
			if o := b.replies["n1"][0]; o.Blame != want || !strings.HasPrefix(o.Reply, "55") {
				t.Errorf("%+v, want the blame %q", o, want)
			}
			snd.Now = func() time.Time { return sampleNow.Add(giveUp) }
			drain(t, snd, Tally{}, nil)
		})
	}
	// What the server says of the letter is not the address's fault.
	for _, word := range []string{"MAIL", "DATA", ".\r\n"} {
		b := newBox("a@example.org")
		drain(t, sender(b, raw(t, upTo(word, "552 5.3.4 too large\r\n"))), Tally{Refused: 1}, nil)
		if o := b.replies["n1"][0]; o.Blame != schedule.NoBlame || o.Reply != "552 5.3.4 too large" {
			t.Errorf("refused at %q: %+v", word, o)
		}
	}
}

// A certificate that is out of date or for another host gets nothing over the
// line, whether encryption is required or merely offered, and is seen.
func TestServerHasABadCertificate(t *testing.T) {
	trusted, trusting := certificate(t)
	for _, tc := range []struct {
		what, want string
		client     func(*tls.Config)
	}{
		{"expired", "expired", func(c *tls.Config) { c.Time = func() time.Time { return time.Now().Add(24 * time.Hour) } }},
		{"not valid yet", "not yet valid", func(c *tls.Config) { c.Time = func() time.Time { return time.Now().Add(-24 * time.Hour) } }},
		{"for another host", "mail.example.org", func(c *tls.Config) { c.ServerName = "mail.example.org" }},
		{"too old a protocol", "protocol", func(c *tls.Config) { c.MaxVersion = tls.VersionTLS12 }},
	} {
		t.Run(tc.what, func(t *testing.T) {
			for _, how := range []Encryption{Require, Opportunistic} {
				for _, implicit := range []bool{false, true} {
					asked := false
					s := &script{rcpt: func(string, *smtp.Conn) error { asked = true; return nil }}
					offered := trusted.Clone()
					offered.MinVersion = tls.VersionTLS13
					set := func(srv *smtp.Server) { srv.TLSConfig = offered }
					if implicit {
						s.tls, set, how = offered, nil, Require
					}
					b := newBox("a@example.org")
					snd := sender(b, s.start(t, set))
					snd.Server.TLS, snd.Server.Implicit = how, implicit
					snd.TLSConfig = trusting.Clone()
					tc.client(snd.TLSConfig)
					err := drain(t, snd, Tally{Retry: 1}, ErrSetup)
					if asked || b.states(t) != "owed" || !strings.Contains(err.Error(), tc.want) {
						t.Errorf("%s, implicit %v: %s, mail went over the line: %v; %v", how, implicit, b.states(t), asked, err)
					}
				}
			}
		})
	}
}

// A server that says yes and shuts its side at once has taken the letter.
func TestServerHalfClosesAfterYes(t *testing.T) {
	v := raw(t, func(in *bufio.Reader, out net.Conn) {
		io.WriteString(out, "220 here\r\n")
		for _, answer := range []string{"250 fine\r\n", "250 fine\r\n", "250 fine\r\n", "354 go on\r\n"} {
			in.ReadString('\n')
			io.WriteString(out, answer)
		}
		for line := ""; line != ".\r\n"; {
			line, _ = in.ReadString('\n')
		}
		out.(*net.TCPConn).CloseWrite() // the FIN goes before the answer can
		out.(*net.TCPConn).CloseRead()
	})
	b := newBox("a@example.org")
	drain(t, sender(b, v), Tally{Uncertain: 1}, errAny) // it never said so
	v = raw(t, func(in *bufio.Reader, out net.Conn) {
		upTo(".\r\n", "250 taken\r\n")(in, yesThenShut{out.(*net.TCPConn)})
	})
	b = newBox("a@example.org")
	if tally, _ := sender(b, v).Drain(t.Context()); tally.Sent != 1 || b.states(t) != "sent" {
		t.Errorf("%+v, %s", tally, b.states(t))
	}
}

// yesThenShut shuts its side for writing once it has said yes.
type yesThenShut struct{ *net.TCPConn }

func (c yesThenShut) Write(b []byte) (int, error) {
	n, err := c.TCPConn.Write(b)
	if strings.Contains(string(b), "taken") {
		err = errors.Join(err, c.CloseWrite())
	}
	return n, err
}

// A body that is read at a hundred bytes a second is given up at its deadline,
// and surely did not go out.
func TestServerReadsABodySlowly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := newBox("a@example.org")
		b.list[0].Raw = []byte("Subject: x\r\n\r\n" + strings.Repeat(strings.Repeat("x", 70)+"\r\n", 5000))
		snd := piped(t, b, func(in *bufio.Reader, out net.Conn) {
			io.WriteString(out, "220 here\r\n")
			for _, answer := range []string{"250 fine\r\n", "250 fine\r\n", "250 fine\r\n", "354 go on\r\n"} {
				in.ReadString('\n')
				io.WriteString(out, answer)
			}
			for some := make([]byte, 100); ; time.Sleep(time.Second) {
				if _, err := out.Read(some); err != nil {
					return
				}
			}
		})
		began := time.Now()
		drain(t, snd, Tally{Retry: 1}, errAny)
		if took := time.Since(began); took < 5*time.Minute || took > 6*time.Minute || b.replies["n1"][0].Uncertain {
			t.Errorf("left after %v, want 5 minutes; %+v", took, b.replies["n1"][0])
		}
	})
}

// A server may take 9 minutes and 50 seconds for its last word (RFC 5321
// 4.5.3.2.6 allows ten minutes), and the letter goes once.
func TestServerAnswersTheFinalDotAfterTenMinutes(t *testing.T) {
	for _, tc := range []struct {
		after time.Duration
		want  Tally
		err   error
	}{
		{9*time.Minute + 50*time.Second, Tally{Sent: 2}, nil},
		{10*time.Minute + time.Second, Tally{Uncertain: 1, Retry: 1}, errAny},
	} {
		t.Run(tc.after.String(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBox("a@example.org", "b@example.org")
				taken := 0
				snd := piped(t, b, func(in *bufio.Reader, out net.Conn) {
					slow, body := false, false
					io.WriteString(out, "220 here\r\n")
					for {
						line, err := in.ReadString('\n')
						switch {
						case err != nil:
							return
						case body && line == ".\r\n":
							if taken++; !slow {
								time.Sleep(tc.after)
							}
							slow, body = true, false
							io.WriteString(out, "250 taken\r\n")
						case body:
						case strings.HasPrefix(line, "DATA"):
							body = true
							io.WriteString(out, "354 go on\r\n")
						default:
							io.WriteString(out, "250 fine\r\n")
						}
					}
				})
				drain(t, snd, tc.want, tc.err)
				if tc.want.Sent == 2 && (taken != 2 || b.states(t) != "sent sent") {
					t.Errorf("%s, %d taken", b.states(t), taken)
				}
			})
		})
	}
}

// A server that takes a letter and tells nobody gets it again with the same
// Message-ID, every byte the same, so that mail programs show it once.
func TestServerTakesALetterAndCutsTheLine(t *testing.T) {
	var copies []string
	cut := true
	s := &script{}
	s.data = func(_ string, c *smtp.Conn) error {
		if cut {
			cut = false
			c.Conn().Close()
		}
		return nil
	}
	b := newBox("a@example.org")
	b.list[0].Raw = []byte("Message-ID: <1@example.org>\r\n\r\nWind it.\r\n")
	snd := sender(b, s.start(t, nil))
	drain(t, snd, Tally{Uncertain: 1}, errAny)
	snd.Now = func() time.Time { return sampleNow.Add(firstDelay) }
	drain(t, snd, Tally{Sent: 1}, nil)
	for range 500 { // the server may note the first copy only after it cut the line
		if s.taken("a@example.org") == 2 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if copies = s.got["a@example.org"]; len(copies) != 2 || copies[0] != copies[1] || b.list[0].Uncertain != 1 {
		t.Errorf("%d copies: %q", len(copies), copies)
	}
}

// A line that the server closes after three letters is opened anew for the next,
// with nobody put off.
func TestServerTakesOnlyThreeLettersALine(t *testing.T) {
	var lines, taken atomic.Int64
	v := raw(t, func(in *bufio.Reader, out net.Conn) {
		lines.Add(1)
		io.WriteString(out, "220 here\r\n")
		letters, body := 0, false
		for {
			line, err := in.ReadString('\n')
			switch {
			case err != nil:
				return
			case body && line == ".\r\n":
				taken.Add(1)
				body = false
				io.WriteString(out, "250 taken\r\n")
			case body:
			case strings.HasPrefix(line, "MAIL") && letters == 3:
				io.WriteString(out, "421 4.7.0 enough for one line\r\n")
				return
			case strings.HasPrefix(line, "DATA"):
				letters++
				body = true
				io.WriteString(out, "354 go on\r\n")
			default:
				io.WriteString(out, "250 fine\r\n")
			}
		}
	})
	b := newBox(many(10)...)
	drain(t, sender(b, v), Tally{Sent: 10}, nil)
	if lines.Load() != 4 || taken.Load() != 10 {
		t.Errorf("%d taken over %d lines, want 10 over 4", taken.Load(), lines.Load())
	}
}
