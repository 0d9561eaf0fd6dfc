package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/mail"
)

// scriptedDrainer ends each round as the script says at that moment.
type scriptedDrainer struct {
	began time.Time
	at    []time.Duration // when each round began
	round func(ctx context.Context, n int) (mail.Tally, error)
}

func (s *scriptedDrainer) Drain(ctx context.Context) (mail.Tally, error) {
	s.at = append(s.at, time.Since(s.began))
	return s.round(ctx, len(s.at))
}

// poked runs the post loop for a while, poked each minute as the wake does, and
// gives its log.
func poked(t *testing.T, d *scriptedDrainer, long time.Duration) string {
	t.Helper()
	var log bytes.Buffer
	poke := make(chan struct{}, 1)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	d.began = time.Now()
	go func() {
		defer close(ended)
		post(ctx, d, poke, slog.New(slog.NewTextHandler(&log, nil)), func(mail.Tally) {})
	}()
	for range long / time.Minute {
		select {
		case poke <- struct{}{}:
		default:
		}
		time.Sleep(time.Minute)
	}
	cancel()
	<-ended
	return log.String()
}

// A login that is turned down stops all sending but for a few tries, with one
// line at error level, and one more when it goes again and fails again.
func TestPostRestsWhileTheLoginIsRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		refused := fmt.Errorf("%w: 535 no", mail.ErrSetup)
		d := &scriptedDrainer{round: func(_ context.Context, n int) (mail.Tally, error) {
			if n <= 6 {
				return mail.Tally{Retry: 20}, refused
			}
			return mail.Tally{}, nil
		}}
		log := poked(t, d, 4*time.Hour)
		want := []time.Duration{0, 5 * time.Minute, 15 * time.Minute, 35 * time.Minute, 75 * time.Minute, 135 * time.Minute, 195 * time.Minute}
		if len(d.at) < 8 || !slices.Equal(d.at[:7], want) {
			t.Errorf("tried at %v, want first at %v and then each minute", d.at, want)
		}
		if n := strings.Count(log, "level=ERROR"); n != 1 || !strings.Contains(log, "535 no") {
			t.Errorf("%d lines at error level, want 1 with the reason:\n%s", n, log)
		}
		if strings.Contains(log, "goes out again") {
			t.Error("an empty round is taken for a good sign")
		}
	})
}

func TestPostSaysEachChangeOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &scriptedDrainer{round: func(_ context.Context, n int) (mail.Tally, error) {
			switch {
			case n <= 10 || n > 20 && n <= 30:
				return mail.Tally{Retry: 1}, errors.New("cannot be reached")
			case n == 31:
				panic("oh")
			}
			return mail.Tally{Sent: 1}, nil
		}}
		log := poked(t, d, 40*time.Minute)
		if len(d.at) != 40 {
			t.Errorf("%d rounds in 40 minutes: failing lines are no reason to rest, and a panic none to end", len(d.at))
		}
		if bad, good := strings.Count(log, "level=ERROR"), strings.Count(log, "goes out again"); bad != 2 || good != 2 {
			t.Errorf("%d lines at error level and %d that it goes again, want 2 and 2:\n%s", bad, good, log)
		}
	})
}

// A round that a stalled server holds for half an hour does not hold up those
// that come after it.
func TestPostGoesOnBesideAStalledRound(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &scriptedDrainer{round: func(ctx context.Context, n int) (mail.Tally, error) {
			if n == 1 {
				select {
				case <-time.After(30 * time.Minute):
				case <-ctx.Done():
				}
			}
			return mail.Tally{Sent: 1}, nil
		}}
		poked(t, d, 10*time.Minute)
		if len(d.at) != 10 {
			t.Errorf("%d rounds in 10 minutes beside one that stalls, want 10", len(d.at))
		}
	})
}
