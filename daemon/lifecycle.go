package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"time"
)

// stopTime bounds the whole stop.
const stopTime = 15 * time.Second

// lifecycle keeps what was started, to stop it in the opposite order.
type lifecycle struct {
	log   *slog.Logger
	stops []stop
}

type stop struct {
	name string
	do   func(context.Context) error
}

// started notes how to stop something that runs now.
func (l *lifecycle) started(name string, do func(context.Context) error) {
	l.stops = append(l.stops, stop{name, do})
}

// stop stops everything, the last started first, and joins what went wrong.
// A second call does nothing.
func (l *lifecycle) stop() error {
	ctx, cancel := context.WithTimeout(context.Background(), stopTime)
	defer cancel()
	var errs []error
	for i := len(l.stops) - 1; i >= 0; i-- {
		s := l.stops[i]
		if err := s.do(ctx); err != nil {
			errs = append(errs, fmt.Errorf("stop %s: %w", s.name, err))
		}
		l.log.Debug("stopped", "what", s.name)
	}
	l.stops = nil
	return errors.Join(errs...)
}

// restartAfter is how long a loop rests after a panic.
const restartAfter = 10 * time.Second

// survives runs something and reports whether it ended in a panic, which is
// logged with its stack.
func (l *lifecycle) survives(name string, run func()) (panicked bool) {
	defer func() {
		if r := recover(); r != nil {
			panicked = true
			l.log.Error("a loop ended in a panic and is begun again", "what", name, "panic", r, "stack", string(debug.Stack()))
		}
	}()
	run()
	return false
}

// loop starts a goroutine that ends when its context does, and notes how to
// stop it and wait for it.
func (l *lifecycle) loop(name string, run func(context.Context)) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for l.survives(name, func() { run(ctx) }) && ctx.Err() == nil {
			// What ended in a panic is begun again, but not in a hurry.
			select {
			case <-ctx.Done():
			case <-time.After(restartAfter):
			}
		}
	}()
	l.started(name, func(limit context.Context) error {
		cancel()
		select {
		case <-done:
			return nil
		case <-limit.Done():
			return fmt.Errorf("it did not end in time")
		}
	})
}
