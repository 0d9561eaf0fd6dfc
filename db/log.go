package db

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"endshake/schedule"
	"endshake/wear"
)

const entryColumns = `id, clock, kind, at, train, bearing, person, note, detail, replaces, why, recorded_at, source, key`

// selectEntries also tells whether who did it, and who logged it in their name
// (the source after the nine letters of schedule.PagePrefix), was erased since.
const selectEntries = `SELECT e.id, e.clock, e.kind, e.at, e.train, e.bearing, e.person, e.note, e.detail, e.replaces, e.why,
		e.recorded_at, e.source, e.key, r.shake, r.value_um, r.gauge_um, r.instrument, r.celsius, r.load, x.n, y.n
	FROM entry e LEFT JOIN reading r ON r.entry_id = e.id
		LEFT JOIN erased x ON x.slug = e.person LEFT JOIN erased y ON y.slug = substr(e.source, 10)`

// Entries gives the whole log of a clock, corrections included, in order of
// At, then RecordedAt, then ID. An unknown clock has none.
func (s *Store) Entries(ctx context.Context, clock string) ([]schedule.Entry, error) {
	log, err := entries(ctx, s.db, nil, ` WHERE e.clock = $1`, clock)
	return log[clock], err
}

// ReadableEntries is Entries, where one that cannot be read is left out; torn says
// of each what is wrong with it.
func (s *Store) ReadableEntries(ctx context.Context, clock string) (log []schedule.Entry, torn []string, err error) {
	bad := damage{}
	all, err := entries(ctx, s.db, bad, ` WHERE e.clock = $1`, clock)
	return all[clock], bad[clock], err
}

// Log gives the logs of the whole fleet by Clock.Slug, each in the order of
// Entries.
func (s *Store) Log(ctx context.Context) (map[string][]schedule.Entry, error) {
	return entries(ctx, s.db, nil, ``)
}

// ReadableLog is Log, where entries that cannot be read are left out; torn says of
// each what is wrong with it, by Clock.Slug.
func (s *Store) ReadableLog(ctx context.Context) (log map[string][]schedule.Entry, torn map[string][]string, err error) {
	bad := damage{}
	log, err = entries(ctx, s.db, bad, ``)
	return log, bad, err
}

// entries reads logs; where is what comes after the tables in the query. Without torn
// an entry that cannot be read is an error, else it is left out and said there.
func entries(ctx context.Context, q querier, torn damage, where string, args ...any) (map[string][]schedule.Entry, error) {
	log := map[string][]schedule.Entry{}
	err := each(ctx, q, selectEntries+where, args, func(rows *sql.Rows) error {
		e, err := scanEntry(rows)
		if torn != nil {
			if err == nil {
				err = soundEntry(e)
			}
			if err != nil {
				torn.add(e.Clock, err)
				return nil
			}
		}
		log[e.Clock] = append(log[e.Clock], e)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	for _, list := range log {
		slices.SortFunc(list, func(a, b schedule.Entry) int {
			return cmp.Or(a.At.Compare(b.At), a.RecordedAt.Compare(b.RecordedAt), cmp.Compare(a.ID, b.ID))
		})
	}
	return log, nil
}

func scanEntry(rows *sql.Rows) (schedule.Entry, error) {
	var e schedule.Entry
	var detail string
	var replaces, shake, instrument, load sql.Null[string]
	var value, gauge sql.Null[int64]
	var celsius sql.Null[float64]
	var byErased, loggedByErased sql.Null[int]
	err := rows.Scan(&e.ID, &e.Clock, &e.Kind, instant{&e.At}, &e.Train, &e.Bearing, &e.By, &e.Note, &detail, &replaces, &e.Why,
		instant{&e.RecordedAt}, &e.Source, &e.Key, &shake, &value, &gauge, &instrument, &celsius, &load, &byErased, &loggedByErased)
	if err != nil {
		return e, fmt.Errorf("entry %s: %w", e.ID, err)
	}
	if byErased.Valid {
		e.By = schedule.Erasure{Number: byErased.V}.Name()
	}
	if loggedByErased.Valid && strings.HasPrefix(e.Source, schedule.PagePrefix) {
		e.Source = schedule.PagePrefix + schedule.Erasure{Number: loggedByErased.V}.Name()
	}
	e.Replaces = replaces.V
	if detail != noDetail {
		if err := json.Unmarshal([]byte(detail), &e.Detail); err != nil {
			return e, fmt.Errorf("entry %s: %w", e.ID, err)
		}
	}
	if shake.Valid {
		e.Reading = &wear.Reading{Shake: wear.Shake(shake.V), Value: wear.Length(value.V), Gauge: wear.Length(gauge.V),
			Instrument: instrument.V, Load: wear.LoadState(load.V)}
		if celsius.Valid {
			e.Reading.Celsius = &celsius.V
		}
	}
	return e, nil
}

// noDetail is the JSON of an empty detail.
const noDetail = `{}`

// Append logs an entry, with its reading, an audit row and any notices it owes,
// in one transaction. It gives the entry its ID and RecordedAt where they are
// empty, and returns it as it is stored. Where its Key is stored already and the
// entry says the same it returns the stored entry and true, and adds nothing;
// where it says something else that is a Conflict. An unknown clock and an
// unknown entry to replace are NotFound; an entry that is replaced already, or
// an ID that is taken, is a Conflict.
//
// check, where it is not nil, is asked with the whole log of the clock, to which
// nobody else adds until the entry is stored: what schedule.Validate says of it
// holds. An error of check comes back as it is, and
// nothing is stored. check may be asked more than once, and must not use the
// Store.
func (s *Store) Append(ctx context.Context, actor string, now time.Time, e schedule.Entry,
	check func(log []schedule.Entry) error, owed ...schedule.Notice) (stored schedule.Entry, already bool, err error) {
	return s.AppendTo(ctx, actor, now, e, nil, check, owed...)
}

// AppendTo is Append by a caller that has read the clock's log before. Entries
// are only ever added, so a log of as many is the same one: it is then not read
// again, and check is asked with it.
func (s *Store) AppendTo(ctx context.Context, actor string, now time.Time, e schedule.Entry, known []schedule.Entry,
	check func(log []schedule.Entry) error, owed ...schedule.Notice) (stored schedule.Entry, already bool, err error) {
	return s.AppendShown(ctx, actor, now, e, nil, known, check, owed...)
}

// prepare gives an entry as it will be stored and read back.
func prepare(now time.Time, e schedule.Entry) (schedule.Entry, error) {
	if err := checkStorable(e); err != nil {
		return e, err
	}
	e.At, e.RecordedAt, e.Since = micro(e.At), micro(e.RecordedAt), micro(e.Since)
	e.CutFrom, e.CutTo, e.Points = micro(e.CutFrom), micro(e.CutTo), own(e.Points)
	if e.At.IsZero() {
		return e, refuse(schedule.Invalid, "at", "an entry for %s has no time: say when it happened", e.Clock)
	}
	if e.ID == "" {
		id, err := uuid.NewV7()
		if err != nil {
			return e, fmt.Errorf("make an ID: %w", err)
		}
		e.ID = id.String()
	}
	if e.RecordedAt.IsZero() {
		e.RecordedAt = micro(now)
	}
	return e, nil
}

// appendOne inserts an entry and its reading where they fit, or finds the one
// with its key.
func (s *Store) appendOne(ctx context.Context, tx *sql.Tx, e schedule.Entry, known []schedule.Entry,
	check func([]schedule.Entry) error) (stored schedule.Entry, already bool, err error) {
	there, err := s.lockClocks(ctx, tx, []string{e.Clock})
	if err != nil {
		return e, false, err
	}
	if !there[e.Clock] {
		return e, false, refuse(schedule.NotFound, "clock", "there is no clock %q: its short name stands at the end of the address of its page, and in what endshake fleet print prints", e.Clock)
	}
	if old, ok, err := byKey(ctx, tx, e); err != nil || ok {
		return old, ok, err
	}
	if check != nil || e.Replaces != "" {
		log, err := logNow(ctx, tx, e.Clock, known)
		if err != nil {
			return e, false, err
		}
		if check != nil {
			if err := check(log); err != nil {
				return e, false, refusal{err}
			}
		}
		if err := checkReplaces(log, e); err != nil {
			return e, false, err
		}
	}
	return s.insertOne(ctx, tx, e)
}

// logNow is the log of a clock, read only where it is not as known.
func logNow(ctx context.Context, tx *sql.Tx, clock string, known []schedule.Entry) ([]schedule.Entry, error) {
	if len(known) > 0 {
		n := 0
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM entry WHERE clock = $1`, clock).Scan(&n); err != nil {
			return nil, fmt.Errorf("count the log of %s: %w", clock, err)
		}
		if n == len(known) {
			return known, nil
		}
	}
	log, err := entries(ctx, tx, nil, ` WHERE e.clock = $1`, clock)
	return log[clock], err
}

func (s *Store) insertOne(ctx context.Context, tx *sql.Tx, e schedule.Entry) (stored schedule.Entry, already bool, err error) {
	args, err := entryArgs(e)
	if err != nil {
		return e, false, err
	}
	ok, err := touched(tx.ExecContext(ctx, `INSERT INTO entry (`+entryColumns+`)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14) ON CONFLICT DO NOTHING`, args...))
	if err != nil {
		return e, false, err
	}
	if !ok { // the ID is taken, or another clock's log has just got the key
		if old, ok, err := byKey(ctx, tx, e); err != nil || ok {
			return old, ok, err
		}
		return e, false, refuse(schedule.Conflict, "id", "an entry with the ID %s is logged already: leave the ID empty", e.ID)
	}
	if e.Reading != nil {
		err = insertMany(ctx, tx, s.dialect, "reading", readingColumns, []schedule.Entry{e}, readingArgs)
	}
	return e, false, err
}

// byKey finds the stored entry with the key of e, which must say the same.
func byKey(ctx context.Context, tx *sql.Tx, e schedule.Entry) (stored schedule.Entry, ok bool, err error) {
	if e.Key == "" {
		return e, false, nil
	}
	known, err := byKeys(ctx, tx, []string{e.Key})
	if err != nil {
		return e, false, err
	}
	if stored, ok = known[e.Key]; ok {
		return stored, true, sameForm(stored, e)
	}
	return e, false, nil
}

// sameForm refuses an entry that has the key of a stored one and does not say
// the same: only a form that was sent twice may be answered with what it logged
// the first time.
func sameForm(stored, e schedule.Entry) error {
	was := stored
	was.ID, was.RecordedAt, was.Source = e.ID, e.RecordedAt, e.Source // not said by who logs it
	if reflect.DeepEqual(was, e) {
		return nil
	}
	return refuse(schedule.Conflict, "key", "this form was logged already as %s on %s: open a new form to log something else",
		stored.Kind, stored.At.Format("2 Jan 2006 at 15:04 UTC"))
}

// checkReplaces sees that the entry to correct, if any, is in the clock's log
// and was not corrected before.
func checkReplaces(log []schedule.Entry, e schedule.Entry) error {
	if e.Replaces == "" {
		return nil
	}
	found := false
	for i := range log {
		o := &log[i]
		found = found || o.ID == e.Replaces
		if o.Replaces == e.Replaces {
			return refuse(schedule.Conflict, "replaces", "that entry was corrected already: correct the newer one instead")
		}
	}
	if !found {
		return refuse(schedule.NotFound, "replaces", "the entry to correct is not in the log of %s", e.Clock)
	}
	return nil
}

// entryArgs are the values of entryColumns.
func entryArgs(e schedule.Entry) ([]any, error) {
	detail := noDetail
	e.Reading = nil // it has a table of its own
	if !reflect.ValueOf(e.Detail).IsZero() {
		text, err := json.Marshal(e.Detail)
		if err != nil {
			return nil, err
		}
		detail = string(text)
	}
	return []any{e.ID, e.Clock, string(e.Kind), e.At, e.Train, e.Bearing, e.By, e.Note, detail,
		maybe(e.Replaces), e.Why, e.RecordedAt, e.Source, e.Key}, nil
}

const readingColumns = `entry_id, clock, bearing, shake, value_um, gauge_um, instrument, celsius, load`

// readingArgs are the values of readingColumns.
func readingArgs(e schedule.Entry) ([]any, error) {
	r := e.Reading
	var celsius sql.Null[float64]
	if r.Celsius != nil {
		celsius = sql.Null[float64]{V: *r.Celsius, Valid: true}
	}
	return []any{e.ID, e.Clock, e.Bearing, string(r.Shake), int64(r.Value), int64(r.Gauge), r.Instrument, celsius, string(r.Load)}, nil
}
