package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
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

// loop starts a goroutine that ends when its context does, and notes how to
// stop it and wait for it.
func (l *lifecycle) loop(name string, run func(context.Context)) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		run(ctx)
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
