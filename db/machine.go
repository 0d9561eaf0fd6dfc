package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"endshake/schedule"
)

const machineColumns = `name, scopes, clocks, made, ends, ended, used`

// GiveMachine keeps a program and its token, of which only the hash is kept, and
// audits it. A name that another program has is a Conflict.
func (s *Store) GiveMachine(ctx context.Context, actor string, now time.Time, m schedule.Machine) error {
	if err := checkStorable(m); err != nil {
		return err
	}
	if _, ok := schedule.ReadToken(m.Token); !ok || m.Name == "" || len(m.Scopes) == 0 || m.Ends.IsZero() {
		return refuse(schedule.Invalid, "token", "a program needs a name, a token of 32 letters, a scope and an end")
	}
	scopes, err := json.Marshal(m.Scopes)
	if err != nil {
		return err
	}
	clocks, err := json.Marshal(m.Clocks)
	if err != nil {
		return err
	}
	return s.write(ctx, "give a token", func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `INSERT INTO machine (hash, `+machineColumns+`)
			VALUES ($1, $2, $3, $4, $5, $6, NULL, NULL) ON CONFLICT DO NOTHING`,
			hashOf(m.Token), m.Name, string(scopes), string(clocks), micro(now), micro(m.Ends)))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.Conflict, "name", "a program named %q has a token already: take that back first, or choose another name", m.Name)
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "token given", Subject: "program " + m.Name, Detail: string(scopes)})
	})
}

// EndMachine takes a program's token back, and audits it; NotFound where no
// token of that name holds.
func (s *Store) EndMachine(ctx context.Context, actor string, now time.Time, name string) error {
	return s.write(ctx, "take a token back", func(tx *sql.Tx) error {
		ok, err := touched(tx.ExecContext(ctx, `UPDATE machine SET ended = $1 WHERE name = $2 AND ended IS NULL`, micro(now), name))
		if err != nil {
			return err
		}
		if !ok {
			return refuse(schedule.NotFound, "name", "no program named %q has a token", name)
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "token taken back", Subject: "program " + name})
	})
}

// Machines lists the programs whose tokens were not taken back, by name.
func (s *Store) Machines(ctx context.Context) ([]schedule.Machine, error) {
	return machines(ctx, s.db, `WHERE ended IS NULL ORDER BY name`)
}

// usedEvery is how exactly the last use of a token is known.
const usedEvery = time.Minute

// Machine finds the program of a token that holds at now, and marks it as used.
// An unknown token and one that is over are the same NotFound.
func (s *Store) Machine(ctx context.Context, now time.Time, token string) (schedule.Machine, error) {
	hash := hashOf(token)
	found, err := machines(ctx, s.db, `WHERE hash = $1 AND ended IS NULL AND ends > $2`, hash, micro(now))
	if err != nil {
		return schedule.Machine{}, err
	}
	if _, ok := schedule.ReadToken(token); !ok || len(found) == 0 {
		return schedule.Machine{}, refuse(schedule.NotFound, "token", "no program has this token, or its time is over")
	}
	m := found[0]
	if now.Sub(m.Used) < usedEvery {
		return m, nil
	}
	m.Used = micro(now)
	err = s.write(ctx, "mark a token as used", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `UPDATE machine SET used = $1 WHERE hash = $2`, m.Used, hash)
		return err
	})
	if Passing(err) { // it holds all the same
		err = nil
	}
	return m, err
}

func machines(ctx context.Context, q querier, where string, args ...any) ([]schedule.Machine, error) {
	var all []schedule.Machine
	err := each(ctx, q, `SELECT `+machineColumns+` FROM machine `+where, args, func(rows *sql.Rows) error {
		var m schedule.Machine
		var scopes, clocks string
		err := rows.Scan(&m.Name, &scopes, &clocks, instant{&m.Made}, instant{&m.Ends}, instant{&m.Ended}, instant{&m.Used})
		if err == nil {
			err = json.Unmarshal([]byte(scopes), &m.Scopes)
		}
		if err == nil {
			err = json.Unmarshal([]byte(clocks), &m.Clocks)
		}
		all = append(all, m)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the tokens of programs: %w", err)
	}
	return all, nil
}
