package mail

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/emersion/go-smtp"

	"endshake/schedule"
)

// When to try again: 5 minutes, doubling to 4 hours, for 5 days. RFC 5321
// 4.5.4.1 asks for a give-up after 4 to 5 days and leaves the delays to us; a
// server that greylists wants its second try within minutes (common practice,
// no source).
const (
	firstDelay = 5 * time.Minute
	lastDelay  = 4 * time.Hour
	giveUp     = 5 * 24 * time.Hour
)

// maxReply bounds what is stored of a server's words, in characters.
const maxReply = 300

// delay is how long to wait after the nth attempt.
func delay(attempts int) time.Duration {
	d := firstDelay
	for ; attempts > 1 && d < lastDelay; attempts-- {
		d *= 2
	}
	return min(d, lastDelay)
}

// judge says what became of a letter. err is nil after a 250; handed tells that
// the final dot may have been sent.
func judge(n schedule.Notice, err error, handed bool, now time.Time) schedule.Outcome {
	o := schedule.Outcome{State: schedule.Owed, At: now, NextTry: now.Add(delay(n.Attempts)), Reply: reply(err)}
	code := codeOf(err)
	switch {
	case err == nil || handed && code/100 == 2:
		return schedule.Outcome{State: schedule.Sent, At: now, Reply: o.Reply}
	case handed && code/100 != 4 && code/100 != 5:
		o.Uncertain = true // no reply, or none that says yes or no
	case errors.Is(err, ErrSetup):
		// The queue is kept until somebody mends the setup, and goes then.
		o.NextTry = now.Add(firstDelay)
	case code/100 == 5 && !broken(err):
		return schedule.Outcome{State: schedule.Refused, At: now, Reply: o.Reply, Blame: blameOf(err)}
	case !n.FirstTry.IsZero() && now.Sub(n.FirstTry) >= giveUp:
		return schedule.Outcome{State: schedule.Refused, At: now, Reply: clip("no server took it in 5 days; last: "+o.Reply, maxReply)}
	}
	return o
}

// atRecipient marks a reply to RCPT.
type atRecipient struct{ error }

func (e atRecipient) Unwrap() error { return e.error }

// blameOf is what a refusal for good says of the address: something only where
// it was the answer to it, and not to the letter.
func blameOf(err error) schedule.Blame {
	var r *smtp.SMTPError
	if !errors.As(err, new(atRecipient)) || !errors.As(err, &r) {
		return schedule.NoBlame
	}
	if r.EnhancedCode == smtp.NoEnhancedCode || r.EnhancedCode == (smtp.EnhancedCode{}) {
		return schedule.BlameFor("")
	}
	return schedule.BlameFor(fmt.Sprintf("%d.%d.%d", r.EnhancedCode[0], r.EnhancedCode[1], r.EnhancedCode[2]))
}

// broken reports whether an error leaves the line of no use: all but a plain
// 4xx or 5xx reply. With 421 the server says that it closes.
func broken(err error) bool {
	code := codeOf(err)
	return errors.Is(err, ErrSetup) || code == 421 || code/100 != 4 && code/100 != 5
}

// setupReply marks the replies to MAIL that are about the login and not about
// the letter (RFC 4954 section 6).
func setupReply(err error) error {
	switch codeOf(err) {
	case 530, 534, 535, 538:
		return fmt.Errorf("%w: %w", ErrSetup, err)
	}
	return err
}

// codeOf is the reply code in an error, 0 where there is none.
func codeOf(err error) int {
	var r *smtp.SMTPError
	if errors.As(err, &r) {
		return r.Code
	}
	return 0
}

// reply is what is kept of an error: the server's own words where it has any.
func reply(err error) string {
	var r *smtp.SMTPError
	switch {
	case err == nil:
		return ""
	case errors.Is(err, ErrSetup):
		return clip(clean(err.Error()), maxReply)
	case errors.As(err, &r):
		words := fmt.Sprintf("%d ", r.Code)
		if r.EnhancedCode != (smtp.EnhancedCode{}) {
			words += fmt.Sprintf("%d.%d.%d ", r.EnhancedCode[0], r.EnhancedCode[1], r.EnhancedCode[2])
		}
		return clip(clean(words+r.Message), maxReply)
	case errors.Is(err, context.Canceled):
		return "the sender was told to stop"
	}
	return clip(clean(strings.TrimPrefix(err.Error(), "mail: ")), maxReply)
}
