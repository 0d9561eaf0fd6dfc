package daemon

import (
	"context"
	"log/slog"

	"endshake/daemon/mail"
)

// drainer is what sends: mail.Sender.
type drainer interface {
	Drain(ctx context.Context) (mail.Tally, error)
}

// post drains the outbox each time it is poked, until the context ends.
func post(ctx context.Context, s drainer, poke <-chan struct{}, log *slog.Logger, tally func(mail.Tally)) {
	for {
		select {
		case <-ctx.Done():
			return
		case <-poke:
			t, err := s.Drain(ctx)
			tally(t)
			if err != nil && ctx.Err() == nil {
				log.Error("mail could not be sent; it is kept and tried again", "error", err)
			}
			if t.Sent > 0 {
				log.Info("mail sent", "sent", t.Sent, "again", t.Retry, "refused", t.Refused)
			}
		}
	}
}
