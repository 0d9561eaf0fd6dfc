package daemon

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"time"

	"endshake/schedule"
)

// entryWait is how much longer than usual the desk may be held for each of many
// entries that are logged together.
const entryWait = time.Millisecond

// Logs are the logs by clock, corrections included, and the model by which what is
// logged is judged: for whoever looks ahead at what may be logged. They are not to be
// changed.
func (d *Desk) Logs(ctx context.Context) (map[string][]schedule.Entry, schedule.Model, error) {
	_, done, err := d.take(ctx)
	if err != nil {
		return nil, schedule.Model{}, err
	}
	defer done()
	return maps.Clone(d.log), d.model, nil
}

// LogTogether logs entries, of one clock or of several, all or none, as Log does
// each: in the order of their times, each validated by its clock's log with those
// before it, in one transaction. It gives those that were new. What is wrong with one
// of them is a *schedule.OneOfMany.
//
// They are validated before the desk is held, so that others need not wait for a
// whole book; what somebody logs meanwhile has that clock's done again.
func (d *Desk) LogTogether(ctx context.Context, es []schedule.Entry) ([]schedule.Entry, error) {
	if len(es) == 0 {
		return nil, nil
	}
	es = slices.Clone(es)
	who := ""
	for i := range es {
		es[i].At = es[i].At.UTC().Truncate(time.Microsecond)
		who = cmp.Or(who, actor(es[i])) // one hand typed them all in
	}
	slices.SortStableFunc(es, func(x, y schedule.Entry) int { return x.At.Compare(y.At) })
	held, err := d.ahead(ctx, es)
	if err != nil {
		return nil, err
	}
	ctx, done, err := d.takeFor(ctx, deskWait+time.Duration(len(es))*entryWait)
	if err != nil {
		return nil, err
	}
	defer done()
	now, fleet := d.now(), d.snap.Load().Fleet
	for slug := range byClock(es) {
		if err := whole(d.snap.Load(), slug); err != nil {
			return nil, err
		}
	}
	var logs map[string][]schedule.Entry
	stored, err := d.ledger.AppendTogether(ctx, who, now, es, d.log, func(old map[string][]schedule.Entry, fresh []schedule.Entry) error {
		logs = old
		by := byClock(fresh)
		for _, slug := range slices.Sorted(maps.Keys(by)) {
			if h, ok := held[slug]; ok && h.log == len(old[slug]) && h.fresh == len(by[slug]) && sameFleet(h.fleet, fleet) {
				continue
			}
			if _, err := schedule.ValidateTogether(by[slug], fleet, old[slug], d.model, now); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil || len(stored) == 0 {
		return nil, logError(es[0], err)
	}
	snap, by := d.snap.Load(), byClock(stored)
	for slug, these := range by {
		d.log[slug] = schedule.Merged(logs[slug], these)
		snap = snap.With(slug, d.log[slug], d.model, now)
	}
	d.snap.Store(snap)
	d.moved(ctx, len(by))
	return stored, nil
}

// looked is what the entries of one clock were held to and found right by: a log of so
// many, and a fleet.
type looked struct {
	log, fresh int
	fleet      schedule.Fleet
}

// sameFleet reports whether two fleets are one description: it is made anew whenever
// anything of it changes.
func sameFleet(a, b schedule.Fleet) bool {
	return len(a.Clocks) > 0 && len(b.Clocks) == len(a.Clocks) && &a.Clocks[0] == &b.Clocks[0] && len(a.People) == len(b.People)
}

// ahead validates entries by the logs as the desk knows them. What is refused by these
// is left to be judged by the log as it is stored, and so is what may be stored
// already.
func (d *Desk) ahead(ctx context.Context, es []schedule.Entry) (map[string]looked, error) {
	logs, model, err := d.Logs(ctx)
	if err != nil {
		return nil, err
	}
	now, fleet, out := d.now(), d.snap.Load().Fleet, map[string]looked{}
	for slug, these := range byClock(es) {
		if known(logs[slug], these) || ctx.Err() != nil {
			continue
		}
		if _, err := schedule.ValidateTogether(these, fleet, logs[slug], model, now); err == nil {
			out[slug] = looked{len(logs[slug]), len(these), fleet}
		}
	}
	return out, ctx.Err()
}

// known reports whether any of the entries is logged already, by its key.
func known(log, es []schedule.Entry) bool {
	keys := make(map[string]bool, len(es))
	for i := range es {
		if keys[es[i].Key] = true; es[i].Key == "" {
			return true
		}
	}
	return slices.ContainsFunc(log, func(e schedule.Entry) bool { return e.Key != "" && keys[e.Key] })
}

// byClock parts entries by their clocks, each in the order in which they are given.
func byClock(es []schedule.Entry) map[string][]schedule.Entry {
	out := map[string][]schedule.Entry{}
	for _, e := range es {
		out[e.Clock] = append(out[e.Clock], e)
	}
	return out
}
