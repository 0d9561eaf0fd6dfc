package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"

	"endshake/daemon/mail"
)

// drainer is what sends: mail.Sender.
type drainer interface {
	Drain(ctx context.Context) (mail.Tally, error)
}

// drains is how many rounds of sending may run at a time, so that one that is
// held up by a stalled server does not keep what comes to be owed meanwhile.
const drains = 2

// A server that does not take our login is asked again after a rest that grows,
// for trying too often locks an account (common practice, no source).
const (
	firstRest = 5 * time.Minute
	lastRest  = time.Hour
)

// postState is how sending stands.
type postState string

const (
	going    postState = "going"   // as far as we know
	failing  postState = "failing" // the line to the server, or our own store
	setWrong postState = "set up wrongly"
)

// drained is what came of one round.
type drained struct {
	tally mail.Tally
	err   error
}

// postman drains the outbox each time it is poked.
type postman struct {
	sender drainer
	log    *slog.Logger
	tally  func(mail.Tally)

	state   postState
	running int
	ended   chan drained
	rest    time.Duration    // of the last rest; zero: none
	resting <-chan time.Time // nil: not resting
}

// post drains the outbox each time it is poked, until the context ends.
func post(ctx context.Context, s drainer, poke <-chan struct{}, log *slog.Logger, tally func(mail.Tally)) {
	p := &postman{sender: s, log: log, tally: tally, state: going, ended: make(chan drained)}
	for {
		select {
		case <-ctx.Done():
			for ; p.running > 0; p.running-- {
				tally((<-p.ended).tally)
			}
			return
		case <-poke:
			most := drains
			if p.state == setWrong {
				most = 1
			}
			if p.resting == nil && p.running < most {
				p.begin(ctx)
			}
		case <-p.resting:
			p.resting = nil
			p.begin(ctx)
		case d := <-p.ended:
			p.running--
			p.settle(ctx, d)
		}
	}
}

// begin starts a round.
func (p *postman) begin(ctx context.Context) {
	p.running++
	go func() {
		var d drained
		defer func() {
			if r := recover(); r != nil {
				d.err = fmt.Errorf("a panic in sending: %v\n%s", r, debug.Stack())
			}
			p.ended <- d
		}()
		d.tally, d.err = p.sender.Drain(ctx)
	}()
}

// settle counts what came of a round, and says how sending stands now, once for
// each change.
func (p *postman) settle(ctx context.Context, d drained) {
	p.tally(d.tally)
	if d.tally.Sent > 0 {
		p.log.Info("mail sent", "sent", d.tally.Sent, "again", d.tally.Retry, "refused", d.tally.Refused)
	}
	state := p.state
	switch {
	case ctx.Err() != nil:
		return
	case errors.Is(d.err, mail.ErrSetup):
		state = setWrong
		p.rest = min(max(2*p.rest, firstRest), lastRest)
		p.resting = time.After(p.rest)
	case d.err != nil:
		state = failing
	case d.tally != mail.Tally{}: // an empty round tells nothing
		state = going
	}
	if state != setWrong {
		p.rest = 0
	}
	level := slog.LevelDebug
	if state != p.state {
		level = slog.LevelError
	}
	p.state = state
	switch {
	case d.err == nil && level == slog.LevelError:
		p.log.Info("mail goes out again")
	case d.err == nil:
	case state == setWrong:
		p.log.Log(ctx, level, "no mail is sent until this is mended; it is kept", "next try in", p.rest, "error", d.err)
	default:
		p.log.Log(ctx, level, "mail could not be sent; it is kept and tried again", "error", d.err)
	}
}
