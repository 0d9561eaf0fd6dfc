package db

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"endshake/schedule"
)

// link is what chains an audit row to the one before. seal is SHA-256 over salt,
// subject and detail; hash is SHA-256 over the hash before, the row's number, time,
// actor and action, and seal. Whoever empties a row of what it said of a person
// takes its salt away too: nobody can try names against the seal then, and the
// chain goes through it all the same.
type link struct{ salt, seal, hash []byte }

// newLink chains a row to the one before, under new salt.
func newLink(before []byte, r AuditRow) link {
	salt := make([]byte, 16)
	_, _ = rand.Read(salt) // ends the program rather than fail
	l := link{salt: salt, seal: sealOf(salt, r)}
	l.hash = hashOfRow(before, r, l.seal)
	return l
}

func sealOf(salt []byte, r AuditRow) []byte {
	return digest(salt, []byte(r.Subject), []byte(r.Detail))
}

func hashOfRow(before []byte, r AuditRow, seal []byte) []byte {
	var n [16]byte
	binary.BigEndian.PutUint64(n[:8], uint64(r.ID))
	binary.BigEndian.PutUint64(n[8:], uint64(micro(r.At).UnixMicro()))
	return digest(before, n[:], []byte(r.Actor), []byte(r.Action), seal)
}

// digest is SHA-256 over parts, each after its length, so that no two lists of
// parts give the same bytes.
func digest(parts ...[]byte) []byte {
	h := sha256.New()
	for _, p := range parts {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(p)))
		h.Write(n[:])
		h.Write(p)
	}
	return h.Sum(nil)
}

// hashBefore is the hash that the row of a number follows. Rows that were written
// before there was a chain are chained first. Where the row before was taken away
// it is nothing: CheckAudit says so.
func hashBefore(ctx context.Context, tx *sql.Tx, id int64) (hash []byte, err error) {
	for range 2 {
		err = tx.QueryRowContext(ctx, `SELECT hash FROM audit WHERE id = $1`, id-1).Scan(&hash)
		if errors.Is(err, sql.ErrNoRows) {
			return nil, nil
		}
		if err != nil || len(hash) > 0 {
			return hash, err
		}
		if err := chainOld(ctx, tx); err != nil {
			return nil, err
		}
	}
	return hash, nil
}

// chain chains the rows that were written before there was a chain.
func (s *Store) chain(ctx context.Context) error {
	return s.write(ctx, "chain the audit", func(tx *sql.Tx) error {
		// Held to the end, so that no row comes between.
		if _, err := tx.ExecContext(ctx, `UPDATE revision SET n = n WHERE one = 1`); err != nil {
			return err
		}
		return chainOld(ctx, tx)
	})
}

// chainOld chains rows that have no hash, in their order. The revision is held.
func chainOld(ctx context.Context, tx *sql.Tx) error {
	var first sql.Null[int64]
	if err := tx.QueryRowContext(ctx, `SELECT MIN(id) FROM audit WHERE length(hash) = 0`).Scan(&first); err != nil || !first.Valid {
		return err
	}
	var before []byte
	err := tx.QueryRowContext(ctx, `SELECT hash FROM audit WHERE id < $1 ORDER BY id DESC LIMIT 1`, first.V).Scan(&before)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return err
	}
	for next := first.V; ; {
		rows, _, err := chained(ctx, tx, next-1)
		if err != nil || len(rows) == 0 {
			return err
		}
		for _, r := range rows {
			l := newLink(before, r)
			_, err := tx.ExecContext(ctx, `UPDATE audit SET salt = $1, seal = $2, hash = $3 WHERE id = $4`, l.salt, l.seal, l.hash, r.ID)
			if err != nil {
				return err
			}
			before, next = l.hash, r.ID+1
		}
	}
}

// chainPart is how many rows are read at once.
const chainPart = 5000

// chained gives rows after one, oldest first, with what chains them.
func chained(ctx context.Context, q querier, after int64) (out []AuditRow, links []link, err error) {
	err = each(ctx, q, `SELECT id, at, actor, action, subject, detail, salt, seal, hash FROM audit WHERE id > $1 ORDER BY id LIMIT $2`,
		[]any{after, chainPart}, func(rows *sql.Rows) error {
			var r AuditRow
			var l link
			err := rows.Scan(&r.ID, instant{&r.At}, &r.Actor, &r.Action, &r.Subject, &r.Detail, &l.salt, &l.seal, &l.hash)
			out, links = append(out, r), append(links, l)
			return err
		})
	return out, links, err
}

// CheckAudit goes through every row of the audit and names the first that does
// not fit those before it: one that was changed, one that was taken away, one that
// somebody put in. What was taken off at the end shows by the revision. Whoever
// may write to the database can make a whole new chain: Head, kept elsewhere,
// tells that too.
func (s *Store) CheckAudit(ctx context.Context, now time.Time) (schedule.AuditCheck, error) {
	c := schedule.AuditCheck{At: micro(now)}
	last, err := s.Revision(ctx) // what is added from now on is looked at another time
	if err != nil {
		return c, err
	}
	gone, err := erasedNames(ctx, s.db)
	if err != nil {
		return c, err
	}
	var before []byte
	for c.Rows < last && c.Sound() {
		rows, links, err := chained(ctx, s.db, c.Rows)
		if err != nil {
			return c, fmt.Errorf("look through the audit: %w", err)
		}
		if len(rows) == 0 {
			c.Broken, c.Why = c.Rows+1, "it is missing"
		}
		for i, r := range rows {
			emptied := len(links[i].salt) == 0 && r.Detail == "" && gone[r.Subject]
			if c.Why = wrongWith(before, c.Rows+1, r, links[i], emptied); c.Why != "" {
				c.Broken = c.Rows + 1
				break
			}
			if emptied {
				c.Emptied++
			}
			c.Rows, before = r.ID, links[i].hash
			if c.Rows == last {
				break
			}
		}
	}
	c.Head = hex.EncodeToString(before)
	return c, nil
}

// wrongWith says what does not fit of a row that should have a number; empty:
// nothing.
func wrongWith(before []byte, id int64, r AuditRow, l link, emptied bool) string {
	switch {
	case r.ID != id:
		return "it is missing"
	case len(l.hash) == 0:
		return "it was never chained"
	case !bytes.Equal(l.hash, hashOfRow(before, r, l.seal)):
		return "its number, time, actor or action is not what was written, or the row before is not"
	case !emptied && !bytes.Equal(l.seal, sealOf(l.salt, r)):
		return "what it speaks of is not what was written"
	}
	return ""
}

// KeepAuditCheck keeps what a look at the audit found, in the place of the one
// before.
func (s *Store) KeepAuditCheck(ctx context.Context, c schedule.AuditCheck) error {
	return s.write(ctx, "keep what a look at the audit found", func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, `INSERT INTO audit_check (one, at, n, emptied, broken, why) VALUES (1, $1, $2, $3, $4, $5)
			ON CONFLICT (one) DO UPDATE SET at = $1, n = $2, emptied = $3, broken = $4, why = $5`, micro(c.At), c.Rows, c.Emptied, c.Broken, c.Why)
		return err
	})
}

// LastAuditCheck gives what the last look at the audit found; false where nobody
// has looked yet.
func (s *Store) LastAuditCheck(ctx context.Context) (c schedule.AuditCheck, ok bool, err error) {
	err = each(ctx, s.db, `SELECT at, n, emptied, broken, why FROM audit_check`, nil, func(rows *sql.Rows) error {
		ok = true
		return rows.Scan(instant{&c.At}, &c.Rows, &c.Emptied, &c.Broken, &c.Why)
	})
	if err != nil {
		return c, false, fmt.Errorf("read what the last look at the audit found: %w", err)
	}
	return c, ok, nil
}
