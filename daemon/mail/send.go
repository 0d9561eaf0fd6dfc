package mail

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net/mail"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

// Outbox is where letters wait. Only the owner of a claim may settle it.
type Outbox interface {
	// ClaimNotices claims up to n notices that are owed and due to be tried,
	// for the length of the lease, and counts an attempt for each.
	ClaimNotices(ctx context.Context, owner string, now time.Time, lease time.Duration, n int) ([]schedule.Notice, error)
	// Handed commits that a claimed notice is about to be handed over: from
	// now on it may have gone out.
	Handed(ctx context.Context, id, owner string, now time.Time) error
	// Settle commits what became of a claimed notice and ends the claim.
	Settle(ctx context.Context, id, owner string, o schedule.Outcome) error
}

// Timeouts bound each stage of sending. A zero field takes its default, which
// for Command and Reply is the figure of RFC 5321 4.5.3.2.
type Timeouts struct {
	Dial    time.Duration // to connect: 10 s
	Command time.Duration // greeting and each command: 5 min
	Body    time.Duration // to take the body of a letter: 5 min
	Reply   time.Duration // after the final dot: 10 min
	Grace   time.Duration // after the final dot, once the context is done: 10 s
	Total   time.Duration // one batch in all: the lease, which also bounds it
}

// Sender hands claimed letters to a mail server.
//
// The lease decides how long a batch may last, for after it another sender may
// claim the same letters. A fifteenth of it is kept for settling and for clocks
// that differ. A letter is handed over only while the whole wait for the final
// reply (Timeouts.Reply) still fits; what is left before that is for all else.
// With the defaults that is 30 - 2 - 10 = 18 minutes, so a server may take any
// three commands to the limits of RFC 5321. What does not fit in time goes back
// at once and is claimed afresh.
type Sender struct {
	Outbox Outbox
	Server Server
	Owner  string // names this process in a claim; unique among senders
	Name   string // said in EHLO; empty: localhost

	Lease     time.Duration // of one batch; zero: 30 min
	Batch     int           // letters claimed at a time; zero: 20
	Timeouts  Timeouts
	TLSConfig *tls.Config      // nil: system roots, TLS 1.2 or later
	Now       func() time.Time // what is stored; nil: time.Now
	Log       *slog.Logger     // nil: slog.Default
}

// Tally counts what became of the letters of one Drain.
type Tally struct{ Sent, Retry, Refused, Uncertain int }

// withDefaults fills what is not set. It returns an error where the lease does
// not cover the wait for a reply.
func (s *Sender) withDefaults() (*Sender, error) {
	d := *s
	set := func(v *time.Duration, def time.Duration) {
		if *v <= 0 {
			*v = def
		}
	}
	set(&d.Lease, 30*time.Minute)
	set(&d.Timeouts.Dial, 10*time.Second)
	set(&d.Timeouts.Command, 5*time.Minute)
	set(&d.Timeouts.Body, 5*time.Minute)
	set(&d.Timeouts.Reply, 10*time.Minute)
	set(&d.Timeouts.Grace, 10*time.Second)
	set(&d.Timeouts.Total, d.Lease)
	if d.Batch <= 0 {
		d.Batch = 20
	}
	if d.Name == "" {
		d.Name = "localhost"
	}
	if d.Now == nil {
		d.Now = time.Now
	}
	if d.Log == nil {
		d.Log = slog.Default()
	}
	if d.span() <= d.Timeouts.Reply {
		return nil, fmt.Errorf("mail: a lease of %s does not cover the wait of %s for the last reply: make the lease or Timeouts.Total longer", d.Lease, d.Timeouts.Reply)
	}
	return &d, nil
}

// span is how long one batch may talk to the server.
func (s *Sender) span() time.Duration { return min(s.Lease-s.Lease/15, s.Timeouts.Total) }

// Drain claims batches and sends each over one connection, until nothing that is
// due is left. It returns early, with one error, when the line fails, the login
// or the encryption is refused (ErrSetup), the outbox fails or ctx is done; what
// was claimed is then owed again. A letter that is refused is not an error.
func (s *Sender) Drain(ctx context.Context) (Tally, error) {
	var sum Tally
	d, err := s.withDefaults()
	if err != nil {
		return sum, err
	}
	for {
		if err := ctx.Err(); err != nil {
			return sum, err
		}
		began := time.Now()
		claimed, err := d.Outbox.ClaimNotices(ctx, d.Owner, d.Now(), d.Lease, d.Batch)
		if err != nil {
			return sum, fmt.Errorf("%w: claim letters: %w", errOutbox, err)
		}
		if len(claimed) == 0 {
			return sum, nil
		}
		end := began.Add(d.span())
		b := &batch{Sender: d, left: claimed, end: end, handBy: end.Add(-d.Timeouts.Reply), tally: &sum}
		if err := b.run(ctx); err != nil {
			return sum, err
		}
	}
}

// errOutbox marks a failure that is ours and not the server's.
var errOutbox = errors.New("mail: outbox")

// batch is what one connection is to carry.
type batch struct {
	*Sender
	left   []schedule.Notice // claimed and not settled yet
	handBy time.Time         // no letter is handed over after this
	end    time.Time         // nothing is waited for after this
	tally  *Tally
	errs   []error // of settling
}

// run sends the batch. An error means that going on is of no use now.
func (b *batch) run(ctx context.Context) error {
	l, err := b.open(ctx, b.handBy)
	if err != nil {
		if ctx.Err() != nil {
			return b.stopped(ctx)
		}
		for _, n := range b.left {
			b.settle(ctx, n, judge(n, err, false, b.Now()))
		}
		return b.failed(err)
	}
	defer l.close()
	for tried := 0; len(b.left) > 0; tried++ {
		if !time.Now().Before(b.handBy) {
			b.giveBack(ctx, 0, "not tried: the time of the batch was used up")
			if tried == 0 {
				return b.failed(errors.New("mail: the server was too slow to take one letter in the time of a batch"))
			}
			return b.failed(nil)
		}
		n := b.left[0]
		b.left = b.left[1:]
		err := b.send(ctx, l, n)
		if ctx.Err() != nil {
			return b.stopped(ctx)
		}
		if err != nil {
			b.giveBack(ctx, firstDelay, "not tried: "+reply(err))
			return b.failed(err)
		}
	}
	l.quit(b.Timeouts.Grace)
	return b.failed(nil)
}

// failed joins the reason for an end with what went wrong in settling.
func (b *batch) failed(err error) error { return errors.Join(append(b.errs, err)...) }

// stopped gives the rest back because ctx is done.
func (b *batch) stopped(ctx context.Context) error {
	b.giveBack(ctx, 0, "not tried: the sender was told to stop")
	return b.failed(ctx.Err())
}

// giveBack makes what was not tried owed again after a delay: at once where the
// server is not to blame, else after the first step only, so that one letter at
// which the line breaks does not hold up those behind it.
func (b *batch) giveBack(ctx context.Context, delay time.Duration, why string) {
	now := b.Now()
	for _, n := range b.left {
		b.settle(ctx, n, schedule.Outcome{State: schedule.Owed, At: now, NextTry: now.Add(delay), Reply: why})
	}
	b.left = nil
}

// send tries one letter and settles it. An error means that the line is of no
// further use.
func (b *batch) send(ctx context.Context, l *line, n schedule.Notice) error {
	if err := sendable(n, l.client); err != nil {
		b.settle(ctx, n, schedule.Outcome{State: schedule.Refused, At: b.Now(), Reply: reply(err)})
		return nil
	}
	word, handed, err := b.transmit(ctx, l, n)
	o := judge(n, err, handed, b.Now())
	if err == nil {
		o.Reply = clip(clean("250 "+word), maxReply)
	} else if !handed && ctx.Err() != nil {
		o = schedule.Outcome{State: schedule.Owed, At: o.At, NextTry: o.At, Reply: "not sent: the sender was told to stop"}
	}
	b.settle(ctx, n, o)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, errOutbox):
		return err
	case broken(err):
		return fmt.Errorf("mail server %s: %w", b.Server.addr(), err)
	case handed:
		return nil // a reply to the final dot ends the transaction by itself
	}
	if err := l.client.Reset(); err != nil {
		return fmt.Errorf("mail server %s: %w", b.Server.addr(), err)
	}
	return nil
}

// transmit hands one letter over. handed tells that it may have gone out.
func (b *batch) transmit(ctx context.Context, l *line, n schedule.Notice) (word string, handed bool, err error) {
	if err := l.client.Mail(n.From, &smtp.MailOptions{Size: int64(len(n.Raw))}); err != nil {
		return "", false, setupReply(err)
	}
	if err := l.client.Rcpt(n.To, nil); err != nil {
		return "", false, err
	}
	w, err := l.client.Data()
	if err != nil {
		return "", false, err
	}
	if err := l.tether.SetDeadline(time.Now().Add(b.Timeouts.Body)); err != nil {
		return "", false, err
	}
	if _, err := w.Write(n.Raw); err != nil {
		return "", false, err
	}
	if err := l.tether.hand(b.end); err != nil {
		return "", false, err
	}
	defer l.tether.settle(b.handBy)
	if err := b.Outbox.Handed(context.WithoutCancel(ctx), n.ID, b.Owner, b.Now()); err != nil {
		// Without the final dot no server delivers (RFC 5321 4.1.1.4).
		return "", false, fmt.Errorf("%w: mark letter %s as handed over: %w", errOutbox, n.ID, err)
	}
	got, err := w.CloseWithResponse()
	if err != nil {
		return "", true, err
	}
	return got.StatusText, true, nil
}

// settle stores an outcome and counts it. The context's end does not stop it. A
// letter that was sent is tried hardest, for its loss would be a second copy.
func (b *batch) settle(ctx context.Context, n schedule.Notice, o schedule.Outcome) {
	ctx = context.WithoutCancel(ctx)
	err := b.Outbox.Settle(ctx, n.ID, b.Owner, o)
	for wait := 100 * time.Millisecond; err != nil && o.State == schedule.Sent && wait < 2*time.Second; wait *= 2 {
		time.Sleep(wait)
		err = b.Outbox.Settle(ctx, n.ID, b.Owner, o)
	}
	if err != nil {
		b.errs = append(b.errs, fmt.Errorf("%w: store what became of letter %s: %w", errOutbox, n.ID, err))
	}
	level := slog.LevelInfo
	switch {
	case o.State == schedule.Sent:
		b.tally.Sent++
	case o.Uncertain:
		b.tally.Uncertain++
		level = slog.LevelWarn
	case o.State == schedule.Refused:
		b.tally.Refused++
		level = slog.LevelWarn
	default:
		b.tally.Retry++
	}
	b.Log.Log(ctx, level, "letter", "id", n.ID, "kind", string(n.Kind), "state", string(o.State), "uncertain", o.Uncertain, "reply", o.Reply)
}

// sendable finds what would upset the exchange, before it begins.
func sendable(n schedule.Notice, c *smtp.Client) error {
	for _, addr := range []string{n.From, n.To} {
		a, err := mail.ParseAddress(addr)
		if err != nil || envelope(a) != addr || !plainASCII(addr) {
			return fmt.Errorf("the address %q fits no envelope: correct it", clip(clean(addr), maxName))
		}
	}
	if len(n.Raw) == 0 {
		return errors.New("the letter is empty")
	}
	if size, ok := c.MaxMessageSize(); ok && size > 0 && len(n.Raw) > size {
		return fmt.Errorf("the letter has %d bytes and the server takes no more than %d", len(n.Raw), size)
	}
	for line := range bytes.Lines(n.Raw) {
		if line = bytes.TrimSuffix(line, []byte("\r\n")); len(line) > 998 || bytes.ContainsAny(line, "\r\n\x00") {
			return errors.New("the letter has a line that no server must take (RFC 5322 2.1.1)")
		}
	}
	return nil
}
