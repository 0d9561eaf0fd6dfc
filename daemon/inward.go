package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"
	"time"

	"github.com/google/uuid"

	"endshake/daemon/mail"
	"endshake/schedule"
)

// inwardBook is the part of the store that keeps what comes in.
type inwardBook interface {
	ToSettle(ctx context.Context, n int) ([]schedule.Inward, error)
	SettleIn(ctx context.Context, m schedule.Inward, owed ...schedule.Notice) error
	SettleBounce(ctx context.Context, m schedule.Inward, b schedule.Blame) error
	Pass(ctx context.Context, token string) (schedule.Pass, error)
	Notice(ctx context.Context, id string) (schedule.Notice, error)
	NoticesTo(ctx context.Context, kind schedule.NoticeKind, to string, since time.Time) (int, error)
}

// inwardDesk is the desk as what comes in is logged at it.
type inwardDesk interface {
	Snapshot() *schedule.Snapshot
	LogAnswer(ctx context.Context, p schedule.Pass, e schedule.Entry) (schedule.Entry, error)
}

// mostTold is how many times a day one person is told that a reply is held
// (judgement, no source).
const mostTold = 3

// clerk settles what came in: one message after the other, in the order in which
// they came.
type clerk struct {
	book    inwardBook
	desk    inwardDesk
	own     mail.Own
	compose mail.Composer
	now     func() time.Time
	log     *slog.Logger
	owed    func() // is called when a letter is owed
}

// run settles what came in each time it is poked, until the context ends.
func (c *clerk) run(ctx context.Context, poke <-chan struct{}) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-poke:
			if err := c.settleAll(ctx); err != nil && ctx.Err() == nil {
				c.log.Error("what came in could not be settled; it is kept and tried again", "error", err)
			}
		}
	}
}

// settleAll settles messages until none is left. Its error is of the first that
// could not be settled now: those behind it wait, so that nothing is overtaken.
func (c *clerk) settleAll(ctx context.Context) error {
	for {
		list, err := c.book.ToSettle(ctx, 20)
		if err != nil || len(list) == 0 {
			return err
		}
		for _, m := range list {
			if err := c.settle(ctx, m); err != nil {
				return fmt.Errorf("settle message %s: %w", m.ID, err)
			}
		}
	}
}

// settle settles one message. A kill at any point of it has the message settled
// anew with the same outcome: an entry is known by its key.
func (c *clerk) settle(ctx context.Context, m schedule.Inward) error {
	facts, v, err := c.judged(ctx, m)
	if err != nil {
		return err
	}
	entry := v.logged
	if v.entry != nil {
		stored, err := c.desk.LogAnswer(ctx, *facts.pass, *v.entry)
		switch {
		case err == nil:
			entry = stored.ID
		case schedule.CodeOf(err) != "":
			if mend, ok := errors.AsType[*schedule.Error](err); ok && mend.Field == "pass" { // somebody was faster
				v = v.by(mail.ByNewer)
			}
			v = v.held("%s", err)
		default:
			return err
		}
	}
	m.State, m.Why, m.Person, m.Clock, m.Notice, m.Entry, m.Settled = v.state, v.why, v.person, v.clock, v.notice, entry, c.now()
	c.log.Info("message settled", "id", m.ID, "state", string(m.State), "clock", m.Clock)
	if v.state == schedule.Bounced {
		return taken(c.book.SettleBounce(ctx, m, v.blame))
	}
	var owed []schedule.Notice
	if v.state == schedule.Held && v.tell {
		if owed, err = c.tell(ctx, facts, v); err != nil {
			return err
		}
	}
	if err := taken(c.book.SettleIn(ctx, m, owed...)); err != nil {
		return err
	}
	if len(owed) > 0 {
		c.owed()
	}
	return nil
}

// judged decides what becomes of a message. One that we stumble over is held, or
// it would keep all behind it waiting.
func (c *clerk) judged(ctx context.Context, m schedule.Inward) (f cameIn, v verdict, err error) {
	defer func() {
		if p := recover(); p != nil {
			c.log.Error("a message could not be judged for a fault of ours; it is held", "id", m.ID, "panic", p, "stack", string(debug.Stack()))
			f, v, err = cameIn{Inward: m}, verdict{}.held("this service stumbled over it: its log says where"), nil
		}
	}()
	if f, err = c.facts(ctx, m); err != nil {
		return f, v, err
	}
	return f, judge(f), nil
}

// taken: a message that another process has settled meanwhile is settled.
func taken(err error) error {
	if schedule.CodeOf(err) == schedule.Conflict {
		return nil
	}
	return err
}

// facts gathers what bears on a message.
func (c *clerk) facts(ctx context.Context, m schedule.Inward) (cameIn, error) {
	f := cameIn{Inward: m, reply: mail.ReadReply(m.Raw, m.From, c.own), own: c.own, snap: c.desk.Snapshot()}
	after, _ := c.own.After(m.To)
	id := c.own.BounceOf(m.To)
	if after != "" && id == "" {
		p, err := c.book.Pass(ctx, after)
		switch {
		case err == nil:
			f.pass = &p
		case schedule.CodeOf(err) != schedule.NotFound:
			return f, err
		}
	}
	if r := f.reply.Report; id == "" && r != nil {
		id, _, _ = strings.Cut(strings.Trim(r.MessageID, "<>"), "@")
	}
	if id != "" {
		n, err := c.book.Notice(ctx, id)
		switch {
		case err == nil:
			f.letter = &n
		case schedule.CodeOf(err) != schedule.NotFound:
			return f, err
		}
	}
	return f, nil
}

// tell writes the letter that says that a reply is held; none where its sender
// was told often enough today.
func (c *clerk) tell(ctx context.Context, f cameIn, v verdict) ([]schedule.Notice, error) {
	who, ok := f.sender()
	if !ok || c.compose.From == "" {
		return nil, nil
	}
	id, err := uuid.NewV7()
	if err != nil {
		return nil, err
	}
	clock, _ := f.snap.Fleet.Clock(v.clock)
	now := c.now()
	zone := time.UTC
	if a, ok := f.snap.Clock(v.clock); ok {
		zone = a.Zone
	}
	n, err := c.compose.Held(mail.HeldReply{Person: who, Clock: clock, Reply: f.reply, To: f.To,
		Key: schedule.NoticeKey(who.Slug, schedule.ReplyHeld, v.clock, f.Mark), Why: v.why, Way: v.way, When: schedule.DateOf(f.At, zone).Words()}, id.String(), now)
	if err != nil {
		c.log.Warn("a person is not told that their reply is held", "person", who.Slug, "error", err)
		return nil, nil
	}
	told, err := c.book.NoticesTo(ctx, schedule.ReplyHeld, n.To, now.Add(-24*time.Hour))
	if err != nil || told >= mostTold {
		return nil, err
	}
	return []schedule.Notice{n}, nil
}

// validateInward reads where messages come in, and the address that they are for.
func (c Config) validateInward() (l mail.Listening, own mail.Own, err error) {
	if c.Inward == "" {
		return l, own, nil
	}
	if l, err = mail.ParseListening(c.Inward); err != nil {
		return l, own, fmt.Errorf("--inward: %w", err)
	}
	if c.Answers == "" {
		return l, own, errors.New("--inward: say with --answers which address the messages that come in are for, like answers@clocks.example.org")
	}
	if own = c.own(); own.Answers == "" {
		return l, own, fmt.Errorf("--answers: %q is no address: use one like answers@clocks.example.org", c.Answers)
	}
	return l, own, nil
}

// own is what the service is called by in mail.
func (c Config) own() mail.Own {
	var own mail.Own
	if a, err := schedule.ParseMail(c.MailFrom); err == nil {
		own.From = a.Address
	}
	if a, err := schedule.ParseMail(c.Answers); err == nil {
		own.Answers = a.Address
	}
	return own
}

// receive takes messages in, where an address for them is set, and has the clerk
// settle them.
func (d *Daemon) receive(compose mail.Composer) error {
	l, own, err := d.o.validateInward()
	if err != nil || l.Addr == "" {
		return err
	}
	if d.o.SMTP == "" {
		compose = mail.Composer{} // nobody is told
	}
	d.clerk = &clerk{book: d.undoubted(), desk: counted{d.desk, d.metrics, d.pulse, d.clock}, own: own, compose: compose, now: d.o.Now, log: d.o.Log, owed: d.drain}
	r := &mail.Receiver{Store: d.undoubted(), Own: own, Now: d.o.Now, Log: d.o.Log, Taken: func() { poke(d.pokeIn) }}
	if d.inward, err = r.Start(l); err != nil {
		return err
	}
	d.life.started("inward mail", r.Stop)
	return nil
}

// poke wakes a loop; a poke that waits already is enough.
func poke(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
