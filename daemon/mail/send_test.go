package mail

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

func many(n int) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = "a" + strings.Repeat("x", i) + "@example.org"
	}
	return out
}

func TestDrainSendsEachOnceOverOneConnectionABatch(t *testing.T) {
	s := &script{}
	b := newBox(many(25)...)
	drain(t, sender(b, s.start(t, nil)), Tally{Sent: 25}, nil)
	for _, n := range b.list {
		if n.State != schedule.Sent || s.taken(n.To) != 1 || s.got[n.To][0] != string(n.Raw) {
			t.Errorf("%s is %s and arrived as %q", n.ID, n.State, s.got[n.To])
		}
	}
	if s.conns > 2 { // a second line may find the rest claimed
		t.Errorf("%d connections for 25 letters in batches of 20, want 2 at most", s.conns)
	}
	if r := b.list[0].Reply; !strings.HasPrefix(r, "250 ") {
		t.Errorf("reply kept: %q", r)
	}
}

func TestEachRecipientHasTheirOwnOutcome(t *testing.T) {
	s := &script{
		rcpt: func(to string, _ *smtp.Conn) error {
			switch to[0] {
			case 'b':
				return says(450, "mailbox busy")
			case 'c':
				return says(550, "no such person")
			}
			return nil
		},
		data: func(to string, _ *smtp.Conn) error {
			switch to[0] {
			case 'd':
				return says(554, "not liked")
			case 'e':
				return says(451, "disk full")
			}
			return nil
		},
	}
	b := newBox("a@example.org", "b@example.org", "c@example.org", "d@example.org", "e@example.org", "f@example.org")
	snd := sender(b, s.start(t, nil))
	drain(t, snd, Tally{Sent: 2, Retry: 2, Refused: 2}, nil)
	if got := b.states(t); got != "sent owed refused refused owed sent" || s.conns != 1 {
		t.Errorf("states %s over %d connections", got, s.conns)
	}
	if r := b.list[2].Reply; r != "550 5.1.1 no such person" {
		t.Errorf("reply kept: %q", r)
	}
	// Only those with a 4xx are tried again, and not before their time.
	drain(t, snd, Tally{}, nil)
	snd.Now = func() time.Time { return sampleNow.Add(firstDelay) }
	drain(t, snd, Tally{Retry: 2}, nil)
	if s.taken("a@example.org") != 1 || s.taken("f@example.org") != 1 || len(b.replies["n2"]) != 2 {
		t.Error("the wrong letters were tried again")
	}
}

func TestGreylistedThenDeliveredOnce(t *testing.T) {
	seen := map[string]bool{}
	s := &script{rcpt: func(to string, _ *smtp.Conn) error {
		if !seen[to] {
			seen[to] = true
			return says(451, "come again")
		}
		return nil
	}}
	b := newBox("a@example.org")
	snd := sender(b, s.start(t, nil))
	drain(t, snd, Tally{Retry: 1}, nil)
	snd.Now = func() time.Time { return sampleNow.Add(firstDelay) }
	drain(t, snd, Tally{Sent: 1}, nil)
	if b.states(t) != "sent" || s.taken("a@example.org") != 1 {
		t.Errorf("%s, taken %d times", b.states(t), s.taken("a@example.org"))
	}
}

// With 421 the server closes (RFC 5321 3.8): nobody's address is to blame.
func TestServerCloses(t *testing.T) {
	s := &script{rcpt: func(to string, c *smtp.Conn) error {
		if to[0] == 'b' {
			return says(421, "going down")
		}
		return nil
	}}
	b := newBox("a@example.org", "b@example.org", "c@example.org")
	drain(t, sender(b, s.start(t, nil)), Tally{Sent: 1, Retry: 2}, errAny)
	if got := b.states(t); got != "sent owed owed" {
		t.Errorf("states %s", got)
	}
	// At the greeting.
	b = newBox("a@example.org", "b@example.org")
	v := raw(t, func(_ *bufio.Reader, out net.Conn) { io.WriteString(out, "421 too busy\r\n") })
	drain(t, sender(b, v), Tally{Retry: 2}, errAny)
	if got := b.states(t); got != "owed owed" || b.list[0].Reply != "421 too busy" || !b.list[0].NextTry.Equal(sampleNow.Add(firstDelay)) {
		t.Errorf("states %s, %+v", got, b.list[0])
	}
}

func TestNoServer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	v := serverAt(l.Addr())
	l.Close()
	b := newBox("a@example.org", "b@example.org")
	b.list[1].Attempts = 3
	err = drain(t, sender(b, v), Tally{Retry: 2}, errAny)
	if b.states(t) != "owed owed" || !b.list[1].NextTry.Equal(sampleNow.Add(8*firstDelay)) || !strings.Contains(err.Error(), "cannot be reached") {
		t.Errorf("%+v, %v", b.list[1], err)
	}
}

// Five days are counted from the first try: what waited long for one, while no
// server was set up, has them all before it.
func TestGivenUpFiveDaysAfterTheFirstTry(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	v := serverAt(l.Addr())
	l.Close()
	b := newBox("a@example.org")
	now := sampleNow.Add(10 * giveUp) // owed long ago
	snd := sender(b, v)
	snd.Now = func() time.Time { return now }
	drain(t, snd, Tally{Retry: 1}, errAny)
	now = now.Add(giveUp - time.Second)
	drain(t, snd, Tally{Retry: 1}, errAny)
	now = now.Add(lastDelay)
	drain(t, snd, Tally{Refused: 1}, errAny)
	if r := b.list[0].Reply; b.states(t) != "refused" || !strings.HasPrefix(r, "no server took it in 5 days; last: ") {
		t.Errorf("%s, reply kept: %q", b.states(t), r)
	}
	if o := judge(schedule.Notice{Created: sampleNow}, errors.New("no route"), false, now); o.State != schedule.Owed {
		t.Errorf("without a first try on record: %s, want owed", o.State)
	}
}

// A line that breaks before the final dot is certain: the letter did not go.
// Those behind it in the queue are not held up by it.
func TestLineBreaksBeforeTheDot(t *testing.T) {
	s := &script{rcpt: func(to string, c *smtp.Conn) error {
		if to[0] == 'a' {
			c.Conn().Close()
		}
		return nil
	}}
	b := newBox("a@example.org", "b@example.org", "c@example.org")
	snd := sender(b, s.start(t, nil))
	drain(t, snd, Tally{Retry: 3}, errAny)
	for i := 1; i <= 2; i++ {
		snd.Now = func() time.Time { return sampleNow.Add(time.Duration(i) * firstDelay) }
		_, _ = snd.Drain(t.Context())
	}
	if got := b.states(t); got != "owed sent sent" || b.list[0].Uncertain != 0 {
		t.Errorf("states %s, %d uncertain", got, b.list[0].Uncertain)
	}
}

// After the final dot nobody knows: tried again once, then parked.
func TestLineBreaksAfterTheDot(t *testing.T) {
	cut := func(_ string, c *smtp.Conn) error { c.Conn().Close(); return nil }
	for what, v := range map[string]Server{
		"cut":                (&script{data: cut}).start(t, nil),
		"garbage":            raw(t, upTo(".\r\n", "how do you do\r\n")),
		"a 10 KB line":       raw(t, upTo(".\r\n", "250 "+strings.Repeat("x", 10000)+"\r\n")),
		"neither yes nor no": raw(t, upTo(".\r\n", "354 go on\r\n")),
	} {
		t.Run(what, func(t *testing.T) {
			b := newBox("a@example.org", "b@example.org")
			snd := sender(b, v)
			drain(t, snd, Tally{Uncertain: 1, Retry: 1}, errAny)
			if o := b.replies["n1"][0]; !o.Uncertain || o.State != schedule.Owed || b.states(t) != "owed owed" {
				t.Errorf("first outcome %+v", o)
			}
			b.list = b.list[:1]
			snd.Now = func() time.Time { return sampleNow.Add(firstDelay) }
			drain(t, snd, Tally{Uncertain: 1}, errAny)
			if b.states(t) != "parked" {
				t.Errorf("after the second uncertain try: %s", b.states(t))
			}
		})
	}
}

func TestOddRepliesThatMeanYes(t *testing.T) {
	for what, answer := range map[string]string{
		"many lines": "250-one\r\n250-two\r\n250 three\r\n",
		"8-bit":      "250 d\xe9j\xe0 vu \x1b[31m\x00\r\n",
		"251":        "251 will forward\r\n",
	} {
		t.Run(what, func(t *testing.T) {
			b := newBox("a@example.org")
			v := raw(t, func(in *bufio.Reader, out net.Conn) { upTo(".\r\n", answer)(in, out) })
			if tally, err := sender(b, v).Drain(t.Context()); tally.Sent != 1 {
				t.Errorf("tally %+v, %v", tally, err)
			}
			if r := b.list[0].Reply; b.states(t) != "sent" || r != clean(r) || !strings.HasPrefix(r, "25") {
				t.Errorf("%s, reply kept %q", b.states(t), r)
			}
		})
	}
}

// A server that says yes and closes at once has taken the letter; the next one
// goes over a line of its own.
func TestYesAndGone(t *testing.T) {
	v := raw(t, func(in *bufio.Reader, out net.Conn) {
		half, far := net.Pipe()
		defer half.Close()
		go upTo(".\r\n", "250 taken\r\n")(in, far)
		for r := bufio.NewReader(half); ; {
			answer, err := r.ReadString('\n')
			io.WriteString(out, answer)
			if err != nil || strings.Contains(answer, "taken") {
				return
			}
		}
	})
	b := newBox("a@example.org", "b@example.org")
	drain(t, sender(b, v), Tally{Sent: 2}, nil)
	if got := b.states(t); got != "sent sent" {
		t.Errorf("states %s", got)
	}
}

// A tarpit is left at the deadline of the stage it holds.
func TestStalls(t *testing.T) {
	hold := func(in *bufio.Reader, _ net.Conn) { io.Copy(io.Discard, in) }
	drip := func(in *bufio.Reader, out net.Conn) {
		for {
			if _, err := io.WriteString(out, "220-x\r\n"); err != nil {
				return
			}
		}
	}
	short := 150 * time.Millisecond
	for _, tc := range []struct {
		what  string
		talk  func(*bufio.Reader, net.Conn)
		set   func(*Timeouts)
		large bool
		want  Tally
	}{
		{"no greeting", hold, func(w *Timeouts) { w.Command = short }, false, Tally{Retry: 1}},
		{"endless greeting", drip, func(*Timeouts) {}, false, Tally{Retry: 1}},
		{"no answer to RCPT", upTo("RCPT", ""), func(w *Timeouts) { w.Command = short }, false, Tally{Retry: 1}},
		{"no answer within the batch", upTo("RCPT", ""), func(w *Timeouts) { w.Total = w.Reply + short }, false, Tally{Retry: 1}},
		{"body not read", func(in *bufio.Reader, out net.Conn) {
			io.WriteString(out, "220 here\r\n")
			for _, answer := range []string{"250 fine\r\n", "250 fine\r\n", "250 fine\r\n", "354 go on\r\n"} {
				in.ReadString('\n')
				io.WriteString(out, answer)
			}
			time.Sleep(4 * short)
		}, func(w *Timeouts) { w.Body = short }, true, Tally{Retry: 1}},
		{"no answer to the final dot", upTo(".\r\n", ""), func(w *Timeouts) { w.Reply = short }, false, Tally{Uncertain: 1}},
	} {
		t.Run(tc.what, func(t *testing.T) {
			b := newBox("a@example.org")
			if tc.large { // more than the buffers between two sockets hold
				b.list[0].Raw = []byte("Subject: x\r\n\r\n" + strings.Repeat(strings.Repeat("x", 70)+"\r\n", 300_000))
			}
			snd := sender(b, raw(t, tc.talk))
			tc.set(&snd.Timeouts)
			drain(t, snd, tc.want, errAny)
			if b.states(t) != "owed" {
				t.Errorf("state %s", b.states(t))
			}
		})
	}
}

func TestWhatCannotBeSentWedgesNothing(t *testing.T) {
	s := &script{}
	b := newBox("a@example.org", "b@example.org\r\nDATA", "no address", "ü@example.org", "e@example.org", "f@example.org", "g@example.org", "h@example.org")
	b.list[4].Raw = nil
	b.list[5].Raw = []byte("Subject: " + strings.Repeat("x", 998) + "\r\n\r\n")
	b.list[6].Raw = []byte("Subject: x\r\n\r\n" + strings.Repeat("xxxxxxxx\r\n", 200))
	v := s.start(t, func(srv *smtp.Server) { srv.MaxMessageBytes = 1500 })
	drain(t, sender(b, v), Tally{Sent: 2, Refused: 6}, nil)
	if got := b.states(t); got != "sent refused refused refused refused refused refused sent" {
		t.Errorf("states %s", got)
	}
	if r := b.list[6].Reply; !strings.Contains(r, "no more than 1500") {
		t.Errorf("reply kept: %q", r)
	}
}

func TestStopWhileSending(t *testing.T) {
	for _, tc := range []struct {
		what   string
		answer bool // the server answers the final dot after the stop
		dot    bool // the stop comes after the final dot
		want   Tally
		states string
	}{
		{"before the dot", false, false, Tally{Retry: 3}, "owed owed owed"},
		{"after the dot, answered", true, true, Tally{Sent: 1, Retry: 2}, "sent owed owed"},
		{"after the dot, not answered", false, true, Tally{Uncertain: 1, Retry: 2}, "owed owed owed"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			held := make(chan struct{})
			t.Cleanup(func() { close(held) })
			stop := func(string, *smtp.Conn) error {
				cancel()
				if !tc.answer {
					<-held
				}
				return nil
			}
			s := &script{rcpt: stop}
			if tc.dot {
				s = &script{data: stop}
			}
			b := newBox("a@example.org", "b@example.org", "c@example.org")
			snd := sender(b, s.start(t, nil))
			if !tc.answer {
				snd.Timeouts.Grace = 50 * time.Millisecond
			}
			got, err := snd.Drain(ctx)
			if got != tc.want || !errors.Is(err, context.Canceled) || b.states(t) != tc.states {
				t.Errorf("%+v, %v, states %s; want %+v, %s", got, err, b.states(t), tc.want, tc.states)
			}
			for _, n := range b.list[1:] {
				if !n.NextTry.Equal(sampleNow) {
					t.Errorf("%s waits until %v, want at once", n.ID, n.NextTry)
				}
			}
		})
	}
}

func TestNotHandedOverWithoutTheOutbox(t *testing.T) {
	s := &script{}
	b := newBox("a@example.org", "b@example.org")
	b.onHanded = func(string) error { return errors.New("disk gone") }
	err := drain(t, sender(b, s.start(t, nil)), Tally{Retry: 2}, errAny)
	if s.taken("a@example.org") != 0 || b.states(t) != "owed owed" || !strings.Contains(err.Error(), "disk gone") {
		t.Errorf("taken %d, %s, %v", s.taken("a@example.org"), b.states(t), err)
	}
}

// A letter that came back from its first try while it is about to go once more is
// left out, and the line goes on with the others.
func TestBounceOvertakesTheSecondTryInABatch(t *testing.T) {
	s := &script{}
	b := newBox("a@example.org", "b@example.org", "c@example.org")
	b.onHanded = func(id string) error {
		if id != "n2" {
			return nil
		}
		b.mu.Lock()
		defer b.mu.Unlock()
		b.list[1].State = schedule.Refused
		return &schedule.Error{Code: schedule.Conflict, Message: "notice n2 is not held by tester any more"}
	}
	drain(t, sender(b, s.start(t, nil)), Tally{Sent: 2}, nil)
	if b.states(t) != "sent refused sent" || s.taken("b@example.org") != 0 || len(b.replies["n2"]) != 0 || s.conns != 1 {
		t.Errorf("%s, taken %d, settled %d times, %d lines", b.states(t), s.taken("b@example.org"), len(b.replies["n2"]), s.conns)
	}
}

func TestSettleOfASentLetterIsTriedAgain(t *testing.T) {
	s := &script{}
	b := newBox("a@example.org")
	tries := 0
	b.onSettle = func(string) error {
		if tries++; tries < 3 {
			return errors.New("busy")
		}
		return nil
	}
	drain(t, sender(b, s.start(t, nil)), Tally{Sent: 1}, nil)
	if b.states(t) != "sent" || tries != 3 {
		t.Errorf("%s after %d tries", b.states(t), tries)
	}
}

func TestBatchGoesBackWhenItsTimeIsUp(t *testing.T) {
	s := &script{}
	b := newBox("a@example.org", "b@example.org")
	d, err := sender(b, s.start(t, nil)).withDefaults()
	if err != nil {
		t.Fatal(err)
	}
	claimed, _ := b.ClaimNotices(t.Context(), "test", sampleNow, time.Minute, 5)
	kept := openBook(b, "test")
	defer kept.close()
	late := &batch{Sender: d, book: kept, left: claimed, end: time.Now().Add(time.Minute), handBy: time.Now().Add(time.Minute)}
	b.onHanded = func(string) error { late.handBy = time.Now(); return nil } // the first letter takes all the time
	l, err := late.run(t.Context(), nil)
	if l != nil {
		defer l.close()
	}
	if err != nil {
		t.Errorf("a batch that got something done: %v", err)
	}
	if b.states(t) != "sent owed" || !b.list[1].NextTry.Equal(sampleNow) {
		t.Errorf("states %s, next try %v", b.states(t), b.list[1].NextTry)
	}
}

func TestLeaseMustCoverTheLastReply(t *testing.T) {
	b := newBox("a@example.org")
	snd := sender(b, Server{})
	snd.Lease = snd.Timeouts.Reply
	if _, err := snd.Drain(t.Context()); err == nil || b.claims != 0 {
		t.Errorf("error %v after %d claims", err, b.claims)
	}
}

func TestDelay(t *testing.T) {
	for attempts, want := range map[int]time.Duration{0: 5 * time.Minute, 1: 5 * time.Minute, 2: 10 * time.Minute, 6: 160 * time.Minute, 7: 4 * time.Hour, 1000: 4 * time.Hour} {
		if got := delay(attempts); got != want {
			t.Errorf("delay(%d) = %v, want %v", attempts, got, want)
		}
	}
}
