package daemon

import (
	"context"
	"log/slog"
	"strings"
	"time"

	"endshake/schedule"
)

// How often the loops look.
const (
	wakeEvery     = time.Minute
	followEvery   = 2 * time.Second
	reassessEvery = 10 * time.Minute
)

// watch follows what other processes change, and works the snapshot out again
// as time passes. A database that is away is said once, and once when it is
// back; the snapshot is served meanwhile.
func watch(ctx context.Context, desk *Desk, log *slog.Logger) {
	follow, reassess := time.NewTicker(followEvery), time.NewTicker(reassessEvery)
	defer follow.Stop()
	defer reassess.Stop()
	away, said := false, sayDamage(log, desk, nil)
	for {
		select {
		case <-ctx.Done():
			return
		case <-reassess.C:
			desk.Reassess(ctx)
		case <-follow.C:
			changed, err := desk.Follow(ctx)
			if changed {
				said = sayDamage(log, desk, said)
			}
			if ctx.Err() != nil {
				return
			}
			if (err != nil) != away {
				away = err != nil
				if away {
					log.Error("the database does not answer; the pages show what was read last", "error", err)
				} else {
					log.Info("the database answers again")
				}
			}
		}
	}
}

// sayDamage says of each clock once that part of it cannot be read, and gives of
// which it was said.
func sayDamage(log *slog.Logger, desk *Desk, said map[string][]string) map[string][]string {
	now := desk.Damage()
	for clock, why := range now {
		if said[clock] == nil {
			log.Error(schedule.DataProblem+": nothing is worked out for this clock until it is mended", "clock", clock, "why", strings.Join(why, "; "))
		}
	}
	return now
}
