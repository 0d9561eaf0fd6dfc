package daemon

import (
	"context"
	"fmt"
	"maps"

	"endshake/schedule"
)

// Lessons is the part of the store that keeps what the fleet has taught.
type Lessons interface {
	Learned(ctx context.Context) (schedule.Learned, bool, error)
	LearnedVersion(ctx context.Context, version int) (schedule.Learned, bool, error)
	SaveLearned(ctx context.Context, l schedule.Learned) (schedule.Learned, error)
}

// Teach learns from the whole fleet as its log stands, keeps the lesson, and
// assesses every clock by it. The desk stays free while it learns, which takes
// from a second for a small fleet to minutes for a very large one.
func (d *Desk) Teach(ctx context.Context) (schedule.Learned, error) {
	fleet, log, err := d.facts(ctx)
	if err != nil {
		return schedule.Learned{}, err
	}
	l, err := schedule.Teach(ctx, fleet, log, d.now())
	if err != nil {
		return schedule.Learned{}, fmt.Errorf("learn from the fleet: %w", err)
	}
	ctx, done, err := d.take(ctx)
	if err != nil {
		return schedule.Learned{}, err
	}
	defer done()
	if l, err = d.ledger.SaveLearned(ctx, l); err != nil {
		return schedule.Learned{}, err
	}
	former, err := d.lessonBefore(ctx, l)
	if err != nil {
		return schedule.Learned{}, err
	}
	d.moved(ctx, 1)
	d.learn(schedule.Model{Learned: &l}, former)
	d.snap.Store(d.snap.Load().Again(d.log, d.model, d.now()))
	return l, nil
}

// Lesson is what the fleet has taught, as the answers of the desk rest on it;
// ok is false where it has taught nothing yet. It never waits for the database.
func (d *Desk) Lesson() (l schedule.Learned, ok bool) {
	if p := d.lesson.Load(); p != nil {
		return *p, true
	}
	return l, false
}

// Former is what the fleet had taught before that; ok is false where it had taught
// nothing. It never waits for the database.
func (d *Desk) Former() (l schedule.Learned, ok bool) {
	if p := d.former.Load(); p != nil {
		return *p, true
	}
	return l, false
}

// facts are the fleet and its log as they stand now.
func (d *Desk) facts(ctx context.Context) (schedule.Fleet, map[string][]schedule.Entry, error) {
	_, done, err := d.take(ctx)
	if err != nil {
		return schedule.Fleet{}, nil, err
	}
	defer done()
	return d.snap.Load().Fleet, maps.Clone(d.log), nil
}

// teach does the nightly lesson.
func (r *runner) teach(ctx context.Context) (note string, err error) {
	if _, err := r.desk.Follow(ctx); err != nil {
		return "", err
	}
	l, err := r.desk.Teach(ctx)
	if err != nil {
		return "", err
	}
	note = fmt.Sprintf("version %d, from %d bearings with %d readings", l.Version, l.Model.Bearings, l.Model.Readings)
	r.log.Info("learned from the fleet", "version", l.Version, "bearings", l.Model.Bearings, "readings", l.Model.Readings,
		"taught", l.Model.Taught, "oil", l.OilInForce)
	return note, nil
}

// night is the work of each night: the lesson, and old mail is emptied.
func (r *runner) night(ctx context.Context) (note string, err error) {
	if r.empty != nil {
		inward, notices, err := r.empty(ctx, r.now())
		if err != nil {
			return "", err
		}
		if inward+notices > 0 {
			r.log.Info("old mail emptied", "came in", inward, "notices", notices)
		}
	}
	return r.teach(ctx)
}
