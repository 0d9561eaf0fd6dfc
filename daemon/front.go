package daemon

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"endshake/db"
)

// front is the port that is listened on, and what answers there.
type front struct {
	ln      net.Listener
	server  *http.Server
	handler atomic.Pointer[http.Handler]
	once    sync.Once
	failed  chan error // why it stopped being served
}

// answer has a handler answer from now on.
func (f *front) answer(h http.Handler) { f.handler.Store(&h) }

// serve begins to answer; a second call does nothing.
func (f *front) serve() {
	f.once.Do(func() { go func() { f.failed <- f.server.Serve(f.ln) }() })
}

// takePort listens where it is to; nothing answers yet.
func (d *Daemon) takePort() error {
	ln, err := net.Listen("tcp", d.o.Listen)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return fmt.Errorf("%s is in use by another program: stop it, or choose another address with --listen", d.o.Listen)
	case err != nil:
		return fmt.Errorf("cannot listen on %s: %w", d.o.Listen, err)
	}
	f := &front{ln: ln, failed: make(chan error, 1)}
	f.answer(waiting())
	f.server = &http.Server{
		Handler:           http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { (*f.handler.Load()).ServeHTTP(w, r) }),
		ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute,
		WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10,
	}
	d.front = f
	d.life.started("listener", func(context.Context) error {
		if err := ln.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			return err
		}
		return f.server.Close()
	})
	return nil
}

// waiting answers while the database has not answered yet.
func waiting() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /healthz", healthz)
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Retry-After", "10")
		text := "This service has only just started, and its database does not answer: nothing can be shown yet. Load this page again in a minute."
		if r.URL.Path == "/readyz" {
			text = "not ready: the database does not answer; it is waited for"
		}
		http.Error(w, text, http.StatusServiceUnavailable)
	})
	return mux
}

// mostPause is the longest rest between tries to open a database that is away.
const mostPause = 30 * time.Second

// await opens the database and assesses the fleet. A server that is away is
// waited for until the context ends: it may be started later than this service.
func (d *Daemon) await(ctx context.Context) error {
	for pause := time.Second; ; pause = min(2*pause, mostPause) {
		err := d.openStore(ctx)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err == nil || !db.Passing(err) || !db.IsServer(d.o.Database):
			return err
		case pause == time.Second:
			d.o.Log.Error("the database does not answer; it is waited for", "error", err)
			d.front.serve()
		}
		if !paused(ctx, pause) {
			return ctx.Err()
		}
	}
}

// openStore opens the database, brings its schema up to date and assesses the
// fleet: all of it, or nothing is left open.
func (d *Daemon) openStore(ctx context.Context) (err error) {
	if d.store = d.o.store; d.store == nil {
		if d.store, err = db.Open(ctx, d.o.Database); err != nil {
			return err
		}
		before, release := len(d.life.stops), func() error { return nil }
		d.life.started("database", func(context.Context) error { return errors.Join(d.store.Close(), release()) })
		defer func() {
			if err != nil { // which says enough
				d.life.stops = d.life.stops[:before]
				_, _ = d.store.Close(), release()
			}
		}()
		if release, err = d.store.HoldFile(); err != nil {
			release = func() error { return nil }
			return err
		}
		if err := d.store.CheckStart(ctx); err != nil {
			return err
		}
		from, to, err := d.store.Migrate(ctx)
		if err != nil {
			return err
		}
		if from != to {
			d.o.Log.Info("database schema brought up to date", "from", from, "to", to)
		}
		if newest, err := d.store.LastChange(ctx); err != nil && db.Passing(err) {
			return err
		} else if err == nil && !d.o.ClockIsRight { // one that cannot be read, the audit tells
			d.clock.notBefore(newest)
		}
		if err := errors.Join(d.readMark(ctx), d.eraseAgain(ctx)); err != nil {
			return err
		}
	}
	d.desk, err = OpenDesk(ctx, d.store, d.o.Now)
	return err
}
