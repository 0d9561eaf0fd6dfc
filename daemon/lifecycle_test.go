package daemon

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"endshake/daemon/mail"
)

func TestLifecycleStopsInOppositeOrder(t *testing.T) {
	l := lifecycle{log: slog.New(slog.DiscardHandler)}
	var order []string
	for _, name := range []string{"first", "second", "third"} {
		l.started(name, func(context.Context) error {
			order = append(order, name)
			if name == "second" {
				return errors.New("it sticks")
			}
			return nil
		})
	}
	err := l.stop()
	if !slices.Equal(order, []string{"third", "second", "first"}) {
		t.Errorf("stopped in order %v, want the opposite of the start", order)
	}
	if err == nil || !strings.Contains(err.Error(), "stop second: it sticks") {
		t.Errorf("stop() = %v, want the failure named", err)
	}
	if err := l.stop(); err != nil || len(order) != 3 {
		t.Errorf("a second stop() = %v after %v, want nothing done", err, order)
	}
}

func TestLifecycleStopIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := lifecycle{log: slog.New(slog.DiscardHandler)}
		hold := make(chan struct{})
		l.loop("deaf", func(context.Context) { <-hold })
		began := time.Now()
		err := l.stop()
		if err == nil || time.Since(began) != stopTime {
			t.Errorf("stop() of a loop that does not listen = %v after %v, want a failure after %v", err, time.Since(began), stopTime)
		}
		close(hold)
	})
}

// A loop that panics is begun again after a rest, and still stops when told.
func TestLoopIsBegunAgainAfterAPanic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := lifecycle{log: slog.New(slog.DiscardHandler)}
		var begun []time.Time
		l.loop("shaky", func(ctx context.Context) {
			begun = append(begun, time.Now())
			if len(begun) < 3 {
				panic("a bad letter")
			}
			<-ctx.Done()
		})
		time.Sleep(3 * restartAfter)
		synctest.Wait()
		if err := l.stop(); err != nil {
			t.Errorf("stop() = %v, want a clean stop", err)
		}
		if len(begun) != 3 || begun[1].Sub(begun[0]) != restartAfter {
			t.Errorf("begun at %v, want three times with a rest of %v between", begun, restartAfter)
		}
	})
}

type fakeDrainer struct {
	calls int
	err   error
}

func (f *fakeDrainer) Drain(context.Context) (mail.Tally, error) {
	f.calls++
	return mail.Tally{Sent: 1}, f.err
}

func TestPostDrainsWhenPokedAndStops(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeDrainer{err: errors.New("the server is away")}
		poke := make(chan struct{}, 1)
		sent := 0
		ctx, cancel := context.WithCancel(t.Context())
		ended := make(chan struct{})
		go func() {
			defer close(ended)
			post(ctx, f, poke, slog.New(slog.DiscardHandler), func(t mail.Tally) { sent += t.Sent })
		}()
		for range 3 {
			poke <- struct{}{}
			synctest.Wait()
		}
		cancel()
		<-ended
		if f.calls != 3 || sent != 3 {
			t.Errorf("%d drains and %d tallied after three pokes, want 3 and 3: a failure must not end the loop", f.calls, sent)
		}
	})
}

func TestWatchStops(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		f := follower{desk: h.desk, pulse: h.pulse, log: slog.New(slog.DiscardHandler)}
		f.watch(ctx, make(chan struct{}))
	}()
	cancel()
	<-ended
}
