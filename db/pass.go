package db

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"time"

	"endshake/schedule"
)

const passColumns = `hash, deed, notice, person, clock, task, subject, kind, made, ends, ended`

// hashOf is all that is kept of a token. One that is no token has a hash as
// well, which no pass has.
func hashOf(token string) string {
	if read, ok := schedule.ReadToken(token); ok {
		token = read
	}
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// Pass finds what a token lets its holder do, whether or not it still does:
// Ended and Ends tell, and what was given to somebody ended with their account. The pass has the token as it was made. An unknown token
// and what can be none are the same NotFound, after the same work.
func (s *Store) Pass(ctx context.Context, token string) (schedule.Pass, error) {
	var found []schedule.Pass
	err := each(ctx, s.db, `SELECT `+passColumns+` FROM pass WHERE hash = $1`, []any{hashOf(token)}, func(rows *sql.Rows) error {
		var p schedule.Pass
		err := rows.Scan(&p.Token, &p.Deed, &p.Notice, &p.Person, &p.Clock, &p.Task, &p.Subject, &p.Kind,
			instant{&p.Made}, instant{&p.Ends}, instant{&p.Ended})
		found = append(found, p)
		return err
	})
	if err != nil {
		return schedule.Pass{}, fmt.Errorf("look for a pass: %w", err)
	}
	read, ok := schedule.ReadToken(token)
	if !ok || len(found) == 0 {
		return schedule.Pass{}, refuse(schedule.NotFound, "token", "no pass has this token: it may be mistyped, or cut off by a mail program")
	}
	p := found[0]
	p.Token = read
	if p.Deed == schedule.Declining || !p.Ended.IsZero() { // anybody may have letters end
		return p, nil
	}
	of, err := accounts(ctx, s.db, `WHERE person = $1`, p.Person)
	if err != nil {
		return schedule.Pass{}, fmt.Errorf("look whose a pass is: %w", err)
	}
	if len(of) > 0 {
		p.Ended = of[0].Ended
	}
	return p, nil
}

// GivePass keeps a pass that no letter carries, and audits it. Made is now where
// it is empty.
func (s *Store) GivePass(ctx context.Context, actor string, now time.Time, p schedule.Pass) error {
	if err := checkPass(p); err != nil {
		return err
	}
	if p.Made.IsZero() {
		p.Made = now
	}
	return s.write(ctx, "give a pass", func(tx *sql.Tx) error {
		if err := insertPasses(ctx, tx, p); err != nil {
			return err
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "pass given", Subject: "person " + p.Person, Detail: string(p.Deed)})
	})
}

// EndPasses takes back all passes of a person for a deed, from now on, and
// counts those that were not taken back before.
func (s *Store) EndPasses(ctx context.Context, actor string, now time.Time, person string, deed schedule.Deed) (ended int, err error) {
	err = s.write(ctx, "take back passes", func(tx *sql.Tx) error {
		r, err := tx.ExecContext(ctx, `UPDATE pass SET ended = $1 WHERE person = $2 AND deed = $3 AND ended IS NULL`, micro(now), person, string(deed))
		if err != nil {
			return err
		}
		n, err := r.RowsAffected()
		if ended = int(n); err != nil || n == 0 {
			return err
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "passes taken back", Subject: "person " + person, Detail: string(deed)})
	})
	if err != nil {
		return 0, err
	}
	return ended, nil
}

func checkPass(p schedule.Pass) error {
	if err := checkStorable(p); err != nil {
		return err
	}
	if _, ok := schedule.ReadToken(p.Token); !ok || p.Deed == "" || p.Person == "" {
		return refuse(schedule.Invalid, "token", "a pass needs a token of 32 letters, a deed and a person")
	}
	return nil
}

// insertPasses keeps passes. One whose token is there is refused: nobody makes
// the same by chance.
func insertPasses(ctx context.Context, tx *sql.Tx, passes ...schedule.Pass) error {
	for _, p := range passes {
		ok, err := touched(tx.ExecContext(ctx, `INSERT INTO pass (`+passColumns+`)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) ON CONFLICT (hash) DO NOTHING`,
			hashOf(p.Token), string(p.Deed), p.Notice, p.Person, p.Clock, string(p.Task), p.Subject, string(p.Kind),
			micro(p.Made), stamp(p.Ends), stamp(p.Ended)))
		if err != nil {
			return fmt.Errorf("keep a pass of %s: %w", p.Person, err)
		}
		if !ok {
			return refuse(schedule.Conflict, "token", "a pass with this token is there already: make a new token")
		}
	}
	return nil
}
