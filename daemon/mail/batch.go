package mail

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/mail"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// batch is what one connection is to carry.
type batch struct {
	*Sender
	book   *book
	left   []schedule.Notice // claimed and not settled yet
	began  time.Time         // when it was claimed
	handBy time.Time         // no letter is handed over after this
	end    time.Time         // nothing is waited for after this
	tally  Tally
	errs   []error // of settling
	// late is the letter before, whose outcome is being kept.
	late *settling
	// hopeless: what ended the batch ends the others too.
	hopeless bool
}

// run sends the batch over a line that is open already, or over a new one, and
// gives the line for the next batch; nil: it is of no further use. An error
// means that going on at once is of no use.
func (b *batch) run(ctx context.Context, l *line) (*line, error) {
	if l != nil {
		l.tether.renew(b.handBy)
	}
	for tried := 0; len(b.left) > 0; tried++ {
		if l == nil {
			failpoint.Hit("K15") // claimed, and not connected
			var err error
			if l, err = b.open(ctx, b.handBy); err != nil {
				return nil, b.unreached(ctx, err)
			}
			failpoint.Hit("K16") // greeted
		}
		if !time.Now().Before(b.handBy) {
			b.giveBack(ctx, 0, "not tried: the time of the batch was used up")
			if tried == 0 {
				return l, b.failed(errors.New("mail: the server was too slow to take one letter in the time of a batch"))
			}
			break
		}
		n := b.left[0]
		b.left = b.left[1:]
		err := b.send(ctx, l, n)
		if errors.Is(err, errWorn) { // not tried: it goes on, or back
			b.left = append([]schedule.Notice{n}, b.left...)
		}
		if ctx.Err() != nil {
			l.close()
			return nil, b.stopped(ctx)
		}
		if err == nil {
			l.carried++
			continue
		}
		l.close()
		if l = nil; !errors.Is(err, errWorn) {
			b.giveBack(ctx, firstDelay, "not tried: "+reply(err))
			b.hopeless = errors.Is(err, ErrSetup) || errors.Is(err, errOutbox)
			return nil, b.failed(err)
		}
	}
	return l, b.failed(nil)
}

// errWorn marks the end of a line that carried letters before and took none of
// this one, as of a server that takes only so many at a time: another line is
// opened for it.
var errWorn = errors.New("mail: the server has had enough of this line")

// errLost marks a letter that is not ours to send any more: it came back from an
// earlier try meanwhile, or another sender has claimed it.
var errLost = errors.New("mail: the letter is not this sender's any more")

// unreached settles the batch when no line could be opened.
func (b *batch) unreached(ctx context.Context, err error) error {
	b.hopeless = true
	if ctx.Err() != nil {
		return b.stopped(ctx)
	}
	for _, n := range b.left {
		b.settle(ctx, n, judge(n, err, false, b.Now()))
	}
	b.left = nil
	return b.failed(err)
}

// failed joins the reason for an end with what went wrong in settling.
func (b *batch) failed(err error) error {
	b.keep()
	if len(b.errs) > 0 {
		b.hopeless = true
	}
	return errors.Join(append(b.errs, err)...)
}

// stopped gives the rest back because ctx is done.
func (b *batch) stopped(ctx context.Context) error {
	b.hopeless = true
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
	now := b.Now()
	if err := sendable(n, l.client); err != nil {
		b.settle(ctx, n, schedule.Outcome{State: schedule.Refused, At: now, Reply: reply(err)})
		return nil
	}
	// It may have come into the reader's night while it waited.
	if next := b.takes(n, now); next.After(now) {
		b.settle(ctx, n, schedule.Outcome{State: schedule.Owed, At: now, NextTry: next, Reply: "not tried: it waits for its reader's hours"})
		return nil
	}
	word, handed, err := b.transmit(ctx, l, n)
	if errors.Is(err, errWorn) {
		return err
	}
	if errors.Is(err, errLost) { // whoever has it keeps what becomes of it
		b.Log.Info("letter left out", "id", n.ID, "kind", string(n.Kind), "reason", err.Error())
		return b.reset(l)
	}
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
	return b.reset(l)
}

// reset ends a transaction that goes no further.
func (b *batch) reset(l *line) error {
	if err := l.client.Reset(); err != nil {
		return fmt.Errorf("mail server %s: %w", b.Server.addr(), err)
	}
	return nil
}

// transmit hands one letter over. handed tells that it may have gone out.
func (b *batch) transmit(ctx context.Context, l *line, n schedule.Notice) (word string, handed bool, err error) {
	if err := l.client.Mail(n.From, &smtp.MailOptions{Size: int64(len(n.Raw))}); err != nil {
		if err = setupReply(err); l.carried > 0 && broken(err) && !errors.Is(err, ErrSetup) && ctx.Err() == nil {
			err = fmt.Errorf("%w: %w", errWorn, err)
		}
		return "", false, err
	}
	if err := l.client.Rcpt(n.To, nil); err != nil {
		return "", false, atRecipient{err}
	}
	failpoint.Hit("K17 open") // the recipient is taken, and what became of the letter before may not be kept
	// Nothing of this letter may come before what became of the last is kept,
	// or a death here would send that one again. That it may have gone out itself
	// is kept along with that, in one commit.
	going := b.book.write(schedule.Mark{Notice: n.ID, At: b.Now()}, true)
	if b.late != nil {
		b.kept(<-b.late.answer)
	}
	if len(b.errs) > 0 {
		return "", false, b.errs[0]
	}
	if err := <-going; schedule.CodeOf(err) == schedule.Conflict {
		return "", false, errLost
	} else if err != nil {
		// Without the final dot no server delivers (RFC 5321 4.1.1.4).
		return "", false, fmt.Errorf("%w: mark letter %s as handed over: %w", errOutbox, n.ID, err)
	}
	failpoint.Hit("K17") // the recipient is taken, and the letter marked as handed over
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
	failpoint.Hit("K18") // in the body, before the final dot
	if err := l.tether.hand(b.end); err != nil {
		return "", false, err
	}
	defer l.tether.settle(b.handBy)
	got, err := w.CloseWithResponse()
	if err != nil {
		return "", true, err
	}
	failpoint.Hit("K20") // taken, and not kept yet
	return got.StatusText, true, nil
}

// settling is an outcome that is being kept.
type settling struct {
	mark   schedule.Mark
	answer <-chan error
}

// keep waits until the outcome of the letter before is kept.
func (b *batch) keep() {
	if b.late != nil {
		b.kept(b.book.await(b.late.answer))
	}
}

// kept takes the answer for the outcome of the letter before. A letter that was
// sent is tried hardest, for its loss would be a second copy.
func (b *batch) kept(err error) {
	late := b.late
	b.late = nil
	for wait := 100 * time.Millisecond; err != nil && late.mark.Outcome.State == schedule.Sent && wait < 2*time.Second; wait *= 2 {
		time.Sleep(wait)
		err = <-b.book.write(late.mark, true)
	}
	if err != nil {
		b.errs = append(b.errs, fmt.Errorf("%w: store what became of letter %s: %w", errOutbox, late.mark.Notice, err))
	}
}

// takes is the first instant from one on at which a letter may go.
func (b *batch) takes(n schedule.Notice, at time.Time) time.Time {
	if b.Takes == nil {
		return at
	}
	return b.Takes(n, at)
}

// settle begins to store an outcome, and counts it. The context's end does not
// stop it.
func (b *batch) settle(ctx context.Context, n schedule.Notice, o schedule.Outcome) {
	b.keep()
	if o.State == schedule.Owed && o.NextTry.After(o.At) {
		o.NextTry = b.takes(n, o.NextTry)
	}
	m := schedule.Mark{Notice: n.ID, Outcome: &o}
	b.late = &settling{m, b.book.write(m, false)}
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
	b.Log.Log(context.WithoutCancel(ctx), level, "letter", "id", n.ID, "kind", string(n.Kind), "state", string(o.State), "uncertain", o.Uncertain, "reply", o.Reply)
}

// sendable finds what would upset the exchange, before it begins.
func sendable(n schedule.Notice, c *smtp.Client) error {
	for i, addr := range []string{n.From, n.To} {
		if i == 0 && addr == "" {
			continue // the null sender, of letters that no program answers
		}
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
