package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"endshake/db/failpoint"
	"endshake/schedule"
)

const accountColumns = `person, conservator, hash, secret, last_code, made, changed, ended`

// Account finds the account of a person; NotFound where there is none.
func (s *Store) Account(ctx context.Context, person string) (schedule.Account, error) {
	all, err := accounts(ctx, s.db, `WHERE person = $1`, person)
	if err == nil && len(all) == 0 {
		return schedule.Account{}, refuse(schedule.NotFound, "person", "%q has no account", person)
	}
	if err != nil {
		return schedule.Account{}, fmt.Errorf("read an account: %w", err)
	}
	return all[0], nil
}

// Accounts lists all accounts, closed ones too, by person.
func (s *Store) Accounts(ctx context.Context) ([]schedule.Account, error) {
	all, err := accounts(ctx, s.db, `ORDER BY person`)
	if err != nil {
		return nil, fmt.Errorf("read the accounts: %w", err)
	}
	return all, nil
}

func accounts(ctx context.Context, q querier, where string, args ...any) ([]schedule.Account, error) {
	var all []schedule.Account
	err := each(ctx, q, `SELECT `+accountColumns+` FROM account `+where, args, func(rows *sql.Rows) error {
		var a schedule.Account
		err := rows.Scan(&a.Person, &a.Conservator, &a.Hash, &a.Secret, &a.LastCode, instant{&a.Made}, instant{&a.Changed}, instant{&a.Ended})
		all = append(all, a)
		return err
	})
	return all, err
}

// ChangeAccount keeps an account as change makes it of how it stands: of a person
// who has none, of a new one. It audits what was done, in words. Nobody else
// changes it meanwhile; change may be called again, and an error of it is given
// back and changes nothing. The last conservator that can log in is never taken
// away: Conflict.
func (s *Store) ChangeAccount(ctx context.Context, actor string, now time.Time, person, what string, change func(*schedule.Account) error) error {
	return s.write(ctx, "change an account", func(tx *sql.Tx) error { return s.changeAccount(ctx, tx, actor, now, person, what, change) })
}

func (s *Store) changeAccount(ctx context.Context, tx *sql.Tx, actor string, now time.Time, person, what string, change func(*schedule.Account) error) error {
	if person == "" {
		return refuse(schedule.Invalid, "person", "an account is somebody's: name the person")
	}
	if err := checkText("person", person); err != nil {
		return err
	}
	// The audit comes first: from its lock on, no other account changes.
	if err := s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: what, Subject: "person " + person}); err != nil {
		return err
	}
	had, err := conservators(ctx, tx)
	if err != nil {
		return err
	}
	a, err := s.accountChanged(ctx, tx, schedule.Account{Person: person, Made: now}, change)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO account (`+accountColumns+`) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (person) DO UPDATE SET conservator = $2, hash = $3, secret = $4, last_code = $5, changed = $7, ended = $8`,
		a.Person, a.Conservator, a.Hash, a.Secret, a.LastCode, micro(a.Made), micro(a.Changed), stamp(a.Ended))
	if err != nil {
		return err
	}
	failpoint.Hit("K34") // the new password is stored, and nothing is committed
	has, err := conservators(ctx, tx)
	if err == nil && had > 0 && has == 0 {
		return refuse(schedule.Conflict, "conservator", "%s is the last conservator who can log in: let another in first", a.Person)
	}
	return err
}

// accountChanged is the account of a person as change makes it of what is kept,
// or of none where they have none. A code that was taken stays taken, unless its
// secret goes.
func (s *Store) accountChanged(ctx context.Context, tx *sql.Tx, none schedule.Account, change func(*schedule.Account) error) (schedule.Account, error) {
	was := none
	all, err := accounts(ctx, tx, `WHERE person = $1`+s.dialect.forUpdate, none.Person)
	if err != nil {
		return was, err
	}
	if len(all) > 0 {
		was = all[0]
	}
	a := was
	if err := change(&a); err != nil {
		return a, refusal{err}
	}
	if a.Person = was.Person; a.Secret == was.Secret {
		a.LastCode = max(a.LastCode, was.LastCode)
	}
	return a, checkStorable(a)
}

// conservators counts those who can log in.
func conservators(ctx context.Context, tx *sql.Tx) (n int, err error) {
	all, err := accounts(ctx, tx, ``)
	for _, a := range all {
		if a.Conservator && a.Open() {
			n++
		}
	}
	return n, err
}

// TakeCode marks the time step of a one-time code as used, and reports whether
// it was not before: a code is good once.
func (s *Store) TakeCode(ctx context.Context, person string, step int64) (ok bool, err error) {
	err = s.write(ctx, "take a code", func(tx *sql.Tx) error {
		ok, err = touched(tx.ExecContext(ctx, `UPDATE account SET last_code = $1 WHERE person = $2 AND last_code < $1`, step, person))
		return err
	})
	return ok, err
}

// Join ends a pass that lets somebody choose a password, and changes the account
// as ChangeAccount does, both or neither. A pass that is over or taken already is
// a Conflict.
func (s *Store) Join(ctx context.Context, now time.Time, token string, deed schedule.Deed, person, what string, change func(*schedule.Account) error) error {
	return s.write(ctx, "take a pass", func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `UPDATE pass SET ended = $1 WHERE hash = $2 AND deed = $3 AND ended IS NULL AND (ends IS NULL OR ends > $1)`,
			micro(now), hashOf(token), string(deed)))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.Conflict, "token", "this link was used already, or its time is over: ask for a new one")
		}
		return s.changeAccount(ctx, tx, person, now, person, what, change)
	})
}
