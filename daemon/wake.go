package daemon

import (
	"context"
	"fmt"
	"log/slog"

	"github.com/robfig/cron/v3"
)

// wake has cron call do every minute until the context ends, and waits for the
// last call. Cron only wakes: what is owed is worked out from the database,
// because cron itself misses and doubles jobs when clocks change. A call never
// overlaps itself, and a panic in one does not end the others.
func wake(ctx context.Context, log *slog.Logger, do func(context.Context)) {
	l := cronLog{log}
	c := cron.New(cron.WithLogger(l))
	job := cron.NewChain(cron.SkipIfStillRunning(l), cron.Recover(l)).Then(cron.FuncJob(func() { do(ctx) }))
	c.Schedule(cron.Every(wakeEvery), job)
	job.Run()
	c.Start()
	<-ctx.Done()
	<-c.Stop().Done()
}

// cronLog hands cron's errors to the log; its chatter is dropped.
type cronLog struct{ log *slog.Logger }

// Info drops what cron says of every wake.
func (cronLog) Info(string, ...any) {}

// Error logs what cron recovered from.
func (l cronLog) Error(err error, msg string, kv ...any) {
	l.log.Error("wake: "+msg, "error", err, "more", fmt.Sprint(kv...))
}
