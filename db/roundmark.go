package db

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"endshake/schedule"
)

// RoundMarks lists what was decided by hand of the rounds from a day on, by day, site,
// person and kind.
func (s *Store) RoundMarks(ctx context.Context, from schedule.Date) ([]schedule.RoundMark, error) {
	return roundMarks(ctx, s.db, from)
}

func roundMarks(ctx context.Context, q querier, from schedule.Date) ([]schedule.RoundMark, error) {
	var all []schedule.RoundMark
	err := each(ctx, q, `SELECT kind, site, person, day, tasks, why, whose, at FROM round_mark WHERE day >= $1 ORDER BY day, site, person, kind`,
		[]any{from.String()}, func(rows *sql.Rows) error {
			var m schedule.RoundMark
			err := rows.Scan(&m.Kind, &m.Site, &m.Person, day{&m.Day}, (*taskRefs)(&m.Tasks), &m.Why, &m.By, instant{&m.At})
			all = append(all, m)
			return err
		})
	if err != nil {
		return nil, fmt.Errorf("read what was decided of rounds: %w", err)
	}
	return all, nil
}

// MarkRound keeps a mark and audits it in the name of RoundMark.By. It has passed
// schedule.RoundMark.Validate. A visit that is set lifts the bar for the same site,
// person and day, and a bar what was set. The same mark again changes nothing but
// its reason and its tasks. A site or a person that is not there is NotFound.
func (s *Store) MarkRound(ctx context.Context, m schedule.RoundMark) error {
	return s.changeRounds(ctx, "mark a round", decider(m), m.At, func(tx *sql.Tx) ([]AuditRow, error) {
		return mark(ctx, tx, m)
	})
}

// UnmarkRound takes back the mark of the same kind, site, person and day, and audits
// it; one that is not there is NotFound.
func (s *Store) UnmarkRound(ctx context.Context, actor string, m schedule.RoundMark, now time.Time) error {
	return s.changeRounds(ctx, "take a mark of a round back", actor, now, func(tx *sql.Tx) ([]AuditRow, error) {
		ok, err := unmark(ctx, tx, m)
		if err == nil && !ok {
			err = refuse(schedule.NotFound, "day", "nobody has decided on %s: it may have been taken back already, look at the rounds again", m.Words())
		}
		return []AuditRow{markRow(actUnmarked, m)}, err
	})
}

// MoveRound has a visit on another day, or made by another person, in one
// transaction: it bars from, which may have been kept by hand or not, and sets to,
// which says who decided so, and when. Where somebody moved the visit elsewhere
// meanwhile, or ruled it out, it is a Conflict: it would be made twice.
func (s *Store) MoveRound(ctx context.Context, from, to schedule.RoundMark) error {
	from.Kind, to.Kind, from.By, from.At, from.Tasks = schedule.BarVisit, schedule.SetVisit, to.By, to.At, nil
	if from.Site == to.Site && from.Person == to.Person && from.Day == to.Day {
		return refuse(schedule.Invalid, "day", "%s is where the visit is already: name another day, or another person", to.Day.Words())
	}
	return s.changeRounds(ctx, "move a visit", decider(to), to.At, func(tx *sql.Tx) ([]AuditRow, error) {
		gone, err := marked(ctx, tx, from)
		if err != nil {
			return nil, err
		}
		here, err := marked(ctx, tx, to)
		if err != nil {
			return nil, err
		}
		if gone && !here {
			return nil, refuse(schedule.Conflict, "day", "somebody has moved or ruled out the visit of %s meanwhile: look at the rounds again", from.Day.Words())
		}
		barred, err := mark(ctx, tx, from)
		if err != nil {
			return nil, err
		}
		set, err := mark(ctx, tx, to)
		return slices.Concat(barred, set), err
	})
}

// decider is how the audit names who decided.
func decider(m schedule.RoundMark) string {
	return cmp.Or(m.By, schedule.Actor{Conservator: true}.Name())
}

// changeRounds does so in one transaction that nobody changes people or sites in, and
// audits what it came to.
func (s *Store) changeRounds(ctx context.Context, what, actor string, now time.Time, do func(*sql.Tx) ([]AuditRow, error)) error {
	return s.write(ctx, what, func(tx *sql.Tx) error {
		if _, err := tx.ExecContext(ctx, `UPDATE revision SET n = n WHERE one = 1`); err != nil {
			return err
		}
		rows, err := do(tx)
		if err != nil || len(rows) == 0 {
			return err
		}
		return s.dialect.audit(ctx, tx, now, actor, rows...)
	})
}

// mark keeps a mark and gives what the audit says of it; nothing where it was there.
func mark(ctx context.Context, tx *sql.Tx, m schedule.RoundMark) ([]AuditRow, error) {
	if err := storableMark(m); err != nil {
		return nil, err
	}
	for _, named := range [][2]string{{"site", m.Site}, {"person", m.Person}} {
		table, slug, n := named[0], named[1], 0
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM `+table+` WHERE slug = $1`, slug).Scan(&n); err != nil {
			return nil, err
		}
		if slug != "" && n == 0 {
			return nil, refuse(schedule.NotFound, table, "there is no %s %q any more: choose another", table, slug)
		}
	}
	other := m
	if other.Kind = schedule.SetVisit; m.Kind == schedule.SetVisit {
		other.Kind = schedule.BarVisit
	}
	lifted, err := unmark(ctx, tx, other)
	if err != nil {
		return nil, err
	}
	ok, err := touched(insertMark(ctx, tx, m, ` ON CONFLICT (kind, site, person, day)
		DO UPDATE SET tasks = excluded.tasks, why = excluded.why, whose = excluded.whose, at = excluded.at
		WHERE round_mark.why <> excluded.why OR round_mark.tasks <> excluded.tasks`))
	var rows []AuditRow
	if lifted {
		rows = append(rows, markRow(actUnmarked, other))
	}
	if ok {
		rows = append(rows, markRow(actMarked, m))
	}
	return rows, err
}

// marked reports whether there is a mark of the same kind, site, person and day.
func marked(ctx context.Context, tx *sql.Tx, m schedule.RoundMark) (bool, error) {
	if err := storableMark(m); err != nil {
		return false, err
	}
	n := 0
	err := tx.QueryRowContext(ctx, `SELECT count(*) FROM round_mark WHERE kind = $1 AND site = $2 AND person = $3 AND day = $4`,
		string(m.Kind), m.Site, m.Person, m.Day.String()).Scan(&n)
	return n > 0, err
}

// taskRefs reads what a visit was kept for.
type taskRefs []schedule.TaskRef

// Scan reads the text that insertMark writes; none is nil.
func (t *taskRefs) Scan(v any) error {
	var text []byte
	switch v := v.(type) {
	case string:
		text = []byte(v)
	case []byte:
		text = v
	default:
		return fmt.Errorf("the tasks of a visit are %T and not a text", v)
	}
	var refs []schedule.TaskRef
	if err := json.Unmarshal(text, &refs); err != nil {
		return fmt.Errorf("read the tasks of a visit: %w", err)
	}
	if *t = nil; len(refs) > 0 {
		*t = refs
	}
	return nil
}

func insertMark(ctx context.Context, tx *sql.Tx, m schedule.RoundMark, then string) (sql.Result, error) {
	tasks, err := json.Marshal(append([]schedule.TaskRef{}, m.Tasks...))
	if err != nil {
		return nil, err
	}
	return tx.ExecContext(ctx, `INSERT INTO round_mark (kind, site, person, day, tasks, why, whose, at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`+then,
		string(m.Kind), m.Site, m.Person, m.Day.String(), string(tasks), m.Why, m.By, micro(m.At))
}

func unmark(ctx context.Context, tx *sql.Tx, m schedule.RoundMark) (bool, error) {
	if err := storableMark(m); err != nil {
		return false, err
	}
	return touched(tx.ExecContext(ctx, `DELETE FROM round_mark WHERE kind = $1 AND site = $2 AND person = $3 AND day = $4`,
		string(m.Kind), m.Site, m.Person, m.Day.String()))
}

func storableMark(m schedule.RoundMark) error {
	if err := checkStorable(m); err != nil {
		return err
	}
	if !slices.Contains(schedule.MarkKinds, m.Kind) || m.Day.IsZero() {
		return refuse(schedule.Invalid, "kind", "what is decided of a round needs a kind (set or not) and a day")
	}
	return nil
}

// markRow speaks of the person, so that it is emptied when they are erased.
func markRow(action string, m schedule.RoundMark) AuditRow {
	r := AuditRow{Action: action, Subject: "site " + m.Site, Detail: m.Words()}
	if m.Person != "" {
		r.Subject = ofPerson + m.Person
	}
	if m.Why != "" {
		r.Detail += ": " + m.Why
	}
	return r
}

// eraseMarks takes away what was decided of somebody. What they decided of others
// stays, under their number.
func eraseMarks(ctx context.Context, tx *sql.Tx, e schedule.Erasure) error {
	_, err := tx.ExecContext(ctx, `DELETE FROM round_mark WHERE person = $1`, e.Person)
	if err == nil {
		_, err = tx.ExecContext(ctx, `UPDATE round_mark SET whose = $1 WHERE whose = $2`, e.Name(), e.Person)
	}
	return err
}

// RoundMarks are all that stand, of whatever day.
func (c Copying) RoundMarks(ctx context.Context) ([]schedule.RoundMark, error) {
	return roundMarks(ctx, c.tx, schedule.Date{})
}

// RoundMark keeps what was decided of a round.
func (in *Incoming) RoundMark(m schedule.RoundMark) error {
	_, atSite := in.fleet.Site(m.Site)
	_, byPerson := in.fleet.Person(m.Person)
	if m.Site != "" && !atSite || m.Person != "" && !byPerson || m.Site == "" && m.Person == "" || m.At.IsZero() {
		return refuse(schedule.Invalid, "round", "what was decided of a round needs a site or a person of the fleet, and a time")
	}
	if err := storableMark(m); err != nil {
		return err
	}
	_, err := insertMark(in.ctx, in.tx, m, "")
	return err
}
