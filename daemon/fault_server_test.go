package daemon

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	netmail "net/mail"
	"net/textproto"
	"strings"
	"sync"
	"time"
)

// simServer is a mail server in the bubble of a simulation, that does what it may.
type simServer struct {
	mu    sync.Mutex
	taken map[string][]*simHand        // who handed a letter over, by Message-ID
	sure  map[string]map[*simHand]bool // who kept that they had, by Notice.ID
}

// kept notes that a life has kept that a letter went out.
func (s *simServer) kept(notice string, h *simHand) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.sure[notice] == nil {
		s.sure[notice] = map[*simHand]bool{}
	}
	s.sure[notice][h] = true
}

// came says how often a letter came, and whether each who handed it over has kept
// that they had: then there was no ground for another copy.
func (s *simServer) came(id, notice string) (times int, known bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	known = true
	seen := map[*simHand]bool{}
	for _, h := range s.taken[id] {
		known = known && s.sure[notice][h] && !seen[h]
		if seen[h] { // the first time without an answer, or it would not have been handed over again
			known = false
		}
		seen[h] = true
	}
	return len(s.taken[id]), known
}

// dial connects a life to the server, which may refuse, or greet nobody.
func (s *simServer) dial(h *simHand) func(context.Context, string, string) (net.Conn, error) {
	return func(context.Context, string, string) (net.Conn, error) {
		if h.dies(200) || h.one(20) {
			return nil, errors.New("connection refused")
		}
		ours, theirs := net.Pipe()
		go func() {
			defer ours.Close()
			s.serve(h, ours)
		}()
		return theirs, nil
	}
}

// serve is one line.
func (s *simServer) serve(h *simHand, c net.Conn) {
	in := textproto.NewReader(bufio.NewReader(c))
	say := func(format string, args ...any) { fmt.Fprintf(c, format+"\r\n", args...) }
	if h.one(50) { // it stalls
		time.Sleep(20 * time.Minute)
		return
	}
	say("220 mail.example.org")
	for {
		line, err := in.ReadLine()
		if err != nil {
			return
		}
		switch verb, _, _ := strings.Cut(strings.ToUpper(line), " "); verb {
		case "EHLO":
			say("250 mail.example.org")
		case "RCPT":
			if h.one(20) {
				say("451 4.7.1 come again later")
				continue
			}
			say("250 ok")
		case "DATA":
			say("354 go on")
			raw, err := in.ReadDotBytes()
			if err != nil || h.dies(100) || h.one(40) { // it did not get the final dot
				return
			}
			m, err := netmail.ReadMessage(bytes.NewReader(raw))
			if err != nil {
				say("554 that is no letter")
				continue
			}
			s.mu.Lock()
			id := m.Header.Get("Message-Id")
			s.taken[id] = append(s.taken[id], h)
			s.mu.Unlock()
			switch {
			case h.dies(100), h.one(40): // taken, and the line is cut
				return
			case h.one(100): // taken, and its answer comes too late
				time.Sleep(15 * time.Minute)
				return
			}
			say("250 2.0.0 taken")
		case "QUIT":
			say("221 bye")
			return
		default:
			say("250 ok")
		}
	}
}
