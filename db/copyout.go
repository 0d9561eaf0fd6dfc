package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// Copying reads everything over one unchanging view of the database.
type Copying struct{ tx *sql.Tx }

// CopyOut gives do one unchanging view of the database, for as long as it runs.
func (s *Store) CopyOut(ctx context.Context, do func(Copying) error) error {
	return s.read(ctx, func(tx *sql.Tx) error {
		if s.dialect.move.unchanging != "" {
			if _, err := tx.ExecContext(ctx, s.dialect.move.unchanging); err != nil {
				return err
			}
		}
		return do(Copying{tx})
	})
}

// Fleet is as of Store.Fleet.
func (c Copying) Fleet(ctx context.Context) (schedule.Fleet, error) { return readFleet(ctx, c.tx, nil) }

// Declined is as of Store.Declined.
func (c Copying) Declined(ctx context.Context) ([]schedule.Decline, error) {
	return declined(ctx, c.tx)
}

// Erasures is as of Store.Erasures.
func (c Copying) Erasures(ctx context.Context) ([]schedule.Erasure, error) {
	return erasures(ctx, c.tx)
}

// Lessons are all that the fleet has taught, the first first.
func (c Copying) Lessons(ctx context.Context) ([]schedule.Learned, error) {
	var all []schedule.Learned
	err := each(ctx, c.tx, `SELECT body FROM learned ORDER BY version`, nil, func(rows *sql.Rows) error {
		var body []byte
		if err := rows.Scan(&body); err != nil {
			return err
		}
		var l schedule.Learned
		err := json.Unmarshal(body, &l)
		all = append(all, l)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read what the fleet taught: %w", err)
	}
	return all, nil
}

// Entries is as of Store.Entries.
func (c Copying) Entries(ctx context.Context, clock string) ([]schedule.Entry, error) {
	log, err := entries(ctx, c.tx, nil, ` WHERE e.clock = $1`, clock)
	return log[clock], err
}

// Pictures is as of Store.Pictures.
func (c Copying) Pictures(ctx context.Context, clock string) ([]schedule.Picture, error) {
	return pictures(ctx, c.tx, clock)
}

// Picture is as of Store.Picture.
func (c Copying) Picture(ctx context.Context, id string) (schedule.Picture, error) {
	return picture(ctx, c.tx, id)
}

// Incoming takes what is copied in, in one transaction; see Store.CopyIn.
type Incoming struct {
	s       *Store
	ctx     context.Context
	tx      *sql.Tx
	fleet   schedule.Fleet
	clock   string            // whose log is coming in
	pending []schedule.Entry  // of it
	of      map[string]string // the clock of each entry
}

// CopyIn keeps what from gives on, all of it or nothing, where the database holds
// nothing yet. One row of the audit says what came, as from tells it; the audit of where it came
// from, and who may log in, are not part of it.
func (s *Store) CopyIn(ctx context.Context, actor string, now time.Time, from func(*Incoming) (what string, err error)) error {
	if s.writer != nil {
		s.writer <- struct{}{}
		defer func() { <-s.writer }()
	}
	tables, err := s.columns(ctx)
	if err != nil {
		return err
	}
	err = s.once(ctx, func(tx *sql.Tx) error {
		if s.dialect.move.unchanging != "" { // what is read may come slowly
			if _, err := tx.ExecContext(ctx, s.dialect.move.unchanging); err != nil {
				return err
			}
		}
		if _, err := tx.ExecContext(ctx, `UPDATE revision SET n = n WHERE one = 1`); err != nil {
			return err
		}
		table, err := filled(ctx, tx, slices.Sorted(maps.Keys(tables)))
		if err != nil {
			return err
		}
		if table != "" {
			return refuse(schedule.Conflict, "", "the database is not empty (there is something in its table %s): name a new one with --database", table)
		}
		if s.dialect.move.later != "" {
			if _, err := tx.ExecContext(ctx, s.dialect.move.later); err != nil {
				return err
			}
		}
		in := &Incoming{s: s, ctx: ctx, tx: tx, of: map[string]string{}}
		what, err := from(in)
		if err != nil {
			return err
		}
		if err := in.flush(); err != nil {
			return err
		}
		failpoint.Hit("I04") // all of the file is stored, and not in the audit
		err = s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "copied in", Subject: "the fleet", Detail: what})
		failpoint.Hit("I05") // in the audit as well, and not committed
		return err
	})
	if err == nil {
		failpoint.Hit("I06") // committed, and not told
	}
	switch s.dialect.fault(err) {
	case uniqueFault:
		return refuse(schedule.Conflict, "", "nothing was copied in: an ID, a key or a number stands there twice, or an entry is corrected twice")
	case foreignFault:
		return refuse(schedule.NotFound, "", "nothing was copied in: something names a clock, a site, a person or an entry that is not there")
	case diskFullFault:
		return fmt.Errorf("nothing was copied in: the disk of the database is full: make room: %w", err)
	}
	return err
}

// filled is the first of the tables that has something in it which did not come
// with the schema; empty: none has.
func filled(ctx context.Context, q querier, tables []string) (string, error) {
	for _, table := range tables {
		if leftBehind[table] != "" || table == "revision" { // which has a row from the beginning
			continue
		}
		has := 0
		if err := q.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT 1 FROM `+table+` LIMIT 1) AS x`).Scan(&has); err != nil {
			return "", err
		}
		if has > 0 {
			return table, nil
		}
	}
	return "", nil
}

// Fleet keeps the description. It comes first, and has passed schedule.Fleet.Validate.
func (in *Incoming) Fleet(f schedule.Fleet) error {
	if err := checkStorable(f); err != nil {
		return err
	}
	in.fleet = canonical(f)
	_, err := saveList(in.ctx, in.tx, "site", nil, in.fleet.Sites, func(x schedule.Site) string { return x.Slug }, saveSite)
	if err == nil {
		_, err = saveList(in.ctx, in.tx, "person", nil, in.fleet.People, func(x schedule.Person) string { return x.Slug }, savePerson)
	}
	if err == nil {
		_, err = saveList(in.ctx, in.tx, "clock", nil, in.fleet.Clocks, func(x schedule.Clock) string { return x.Slug }, saveClock)
	}
	failpoint.Hit("I01") // what is described is stored
	return in.s.fleetError(err)
}

// Declined keeps that a person will have no more letters of a kind.
func (in *Incoming) Declined(d schedule.Decline) error {
	if _, ok := in.fleet.Person(d.Person); !ok || !slices.Contains(schedule.NoticeKinds, d.Kind) || d.At.IsZero() {
		return refuse(schedule.Invalid, "declined", "what is declined needs a person of the fleet, a kind of letter and a time")
	}
	if err := checkStorable(d); err != nil {
		return err
	}
	_, err := in.tx.ExecContext(in.ctx, `INSERT INTO decline (person, kind, at) VALUES ($1, $2, $3)`, d.Person, string(d.Kind), micro(d.At))
	return err
}

// Erased keeps the number of somebody who was erased. Whose it was is not known
// here: the name that stands for them stands in the place of the short name too,
// which nobody can have, so that the number is never given to another.
func (in *Incoming) Erased(e schedule.Erasure) error {
	if e.Number < 1 || e.At.IsZero() {
		return refuse(schedule.Invalid, "erased", "an erasure needs a number and a time")
	}
	if err := checkStorable(e); err != nil {
		return err
	}
	_, err := in.tx.ExecContext(in.ctx, `INSERT INTO erased (slug, n, at) VALUES ($1, $2, $3)`, e.Name(), e.Number, micro(e.At))
	return err
}

// Lesson keeps what the fleet taught, under the version that it has.
func (in *Incoming) Lesson(l schedule.Learned) error {
	if l.Version < 1 || l.FittedAt.IsZero() {
		return refuse(schedule.Invalid, "lesson", "a lesson needs a version and the time at which it was given")
	}
	if err := checkStorable(l); err != nil {
		return err
	}
	body, err := json.Marshal(l)
	if err != nil {
		return err
	}
	_, err = in.tx.ExecContext(in.ctx, `INSERT INTO learned (version, fitted_at, body) VALUES ($1, $2, $3)`, l.Version, micro(l.FittedAt), string(body))
	return err
}

// Entry keeps an entry as it is. Those of a clock come one after the other.
func (in *Incoming) Entry(e schedule.Entry) error {
	if e.ID == "" || e.RecordedAt.IsZero() {
		return refuse(schedule.Invalid, "id", "an entry needs the ID that it has and the time at which it was logged")
	}
	if e.Clock != in.clock {
		if err := in.flush(); err != nil {
			return err
		}
		in.clock = e.Clock
	}
	if err := schedule.CheckFigures(e); err != nil {
		return err
	}
	e, err := prepare(time.Time{}, e) // which has both already
	in.pending = append(in.pending, e)
	return err
}

// flush keeps the log that has come in, each entry after the one that it corrects.
func (in *Incoming) flush() error {
	if len(in.pending) == 0 {
		return nil
	}
	if _, ok := in.fleet.Clock(in.clock); !ok {
		return refuse(schedule.NotFound, "clock", "the entry %s is of the clock %.40q, which is not described", in.pending[0].ID, in.clock)
	}
	for _, e := range in.pending {
		if _, twice := in.of[e.ID]; twice {
			return refuse(schedule.Conflict, "id", "the entry %.40q stands there twice", e.ID)
		}
		in.of[e.ID] = e.Clock
	}
	ready, err := correctedFirst(in.pending)
	if err != nil {
		return err
	}
	in.pending = nil
	if err := insertMany(in.ctx, in.tx, in.s.dialect, "entry", entryColumns, ready, entryArgs); err != nil {
		return err
	}
	failpoint.Hit("I02") // a log is stored, and none of its readings
	measured := slices.DeleteFunc(ready, func(e schedule.Entry) bool { return e.Reading == nil })
	return insertMany(in.ctx, in.tx, in.s.dialect, "reading", readingColumns, measured, readingArgs)
}

// correctedFirst sorts a log so that each entry stands after the one that it
// corrects, which must be of that log.
func correctedFirst(log []schedule.Entry) ([]schedule.Entry, error) {
	by := map[string]schedule.Entry{} // what each is corrected by
	var out []schedule.Entry
	for _, e := range log {
		if e.Replaces == "" {
			out = append(out, e)
			continue
		}
		if _, twice := by[e.Replaces]; twice {
			return nil, refuse(schedule.Conflict, "replaces", "the entry %.40q is corrected twice", e.Replaces)
		}
		by[e.Replaces] = e
	}
	for i := 0; i < len(out); i++ {
		if e, ok := by[out[i].ID]; ok {
			out = append(out, e)
		}
	}
	if len(out) < len(log) {
		return nil, refuse(schedule.NotFound, "replaces", "an entry of %s corrects one that is not in its log", log[0].Clock)
	}
	return out, nil
}

// Picture keeps a picture of an entry of the log that came last.
func (in *Incoming) Picture(p schedule.Picture) error {
	if err := in.flush(); err != nil {
		return err
	}
	if clock, ok := in.of[p.Entry]; !ok || clock != p.Clock || p.ID == "" || p.At.IsZero() {
		return refuse(schedule.Invalid, "picture", "the picture %.40q is of no entry of the clock %.40q", p.ID, p.Clock)
	}
	if err := errors.Join(checkText("id", p.ID), checkPicture(p)); err != nil {
		return err
	}
	_, err := in.tx.ExecContext(in.ctx, `INSERT INTO picture (`+pictureColumns+`, jpeg, small) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
		p.ID, p.Clock, p.Entry, micro(p.At), p.Words, p.Width, p.Height, p.JPEG, p.Small)
	failpoint.Hit("I03") // a picture is stored
	return err
}
