package db

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
)

// Erase takes a person away for good, and audits it under the number that they
// get: their name, address, zone, wishes, rounds and duties, their account, logins, links
// and the tokens that they gave to programs, the letters to them and from them,
// and what the audit says of them. What they did stays; wherever a short name is
// given, theirs is then Erasure.Name. An unknown person is NotFound; the last
// conservator who can log in is a Conflict.
func (s *Store) Erase(ctx context.Context, actor string, now time.Time, person string) (e schedule.Erasure, err error) {
	err = s.write(ctx, "erase a person", func(tx *sql.Tx) error {
		e = schedule.Erasure{Person: person, At: micro(now)}
		had, err := s.eraseLocked(ctx, tx, person)
		if err != nil {
			return err
		}
		known := 0
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM person WHERE slug = $1`, person).Scan(&known); err != nil {
			return err
		}
		if known == 0 {
			return refuse(schedule.NotFound, "person", "there is no person %q", person)
		}
		if err := tx.QueryRowContext(ctx, `SELECT COALESCE(MAX(n), 0) + 1 FROM erased`).Scan(&e.Number); err != nil {
			return err
		}
		gave, err := s.erase(ctx, tx, e)
		if err != nil {
			return err
		}
		has, err := conservators(ctx, tx)
		if err != nil {
			return err
		}
		if had > 0 && has == 0 {
			return refuse(schedule.Conflict, "person", "they are the last conservator who can log in: let another in first")
		}
		return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "erased", Subject: e.Name(), Detail: "gave up " + schedule.Count(gave, "duty", "duties")})
	})
	return e, err
}

// EraseAgain erases those of a list whom this database does not know as erased: it
// was restored from a backup made before. Each keeps the number that the list
// gives, where nobody else has it. It gives those whom it erased.
func (s *Store) EraseAgain(ctx context.Context, actor string, now time.Time, list []schedule.Erasure) (done []schedule.Erasure, err error) {
	for _, e := range list {
		if err := checkStorable(e); err != nil {
			return done, err
		}
		if e.Person == "" || e.Number < 1 || e.At.IsZero() {
			return done, refuse(schedule.Invalid, "person", "an erasure needs a short name, a number and a time")
		}
		e.At = micro(e.At)
		fresh := false
		err = s.write(ctx, "erase a person again", func(tx *sql.Tx) error {
			if _, err := s.eraseLocked(ctx, tx, e.Person); err != nil {
				return err
			}
			known, err := erasures(ctx, tx)
			if err != nil {
				return err
			}
			fresh = !slices.ContainsFunc(known, func(x schedule.Erasure) bool { return x.Person == e.Person })
			if !fresh {
				return nil
			}
			if slices.ContainsFunc(known, func(x schedule.Erasure) bool { return x.Number == e.Number }) {
				e.Number = known[len(known)-1].Number + 1
			}
			if _, err := s.erase(ctx, tx, e); err != nil {
				return err
			}
			return s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: "erased again", Subject: e.Name()})
		})
		if err != nil {
			return done, err
		}
		if fresh {
			done = append(done, e)
		}
	}
	return done, nil
}

// Erasures lists who was erased, by their numbers.
func (s *Store) Erasures(ctx context.Context) ([]schedule.Erasure, error) {
	all, err := erasures(ctx, s.db)
	if err != nil {
		return nil, fmt.Errorf("read who was erased: %w", err)
	}
	return all, nil
}

func erasures(ctx context.Context, q querier) ([]schedule.Erasure, error) {
	var all []schedule.Erasure
	err := each(ctx, q, `SELECT slug, n, at FROM erased ORDER BY n`, nil, func(rows *sql.Rows) error {
		var e schedule.Erasure
		err := rows.Scan(&e.Person, &e.Number, instant{&e.At})
		all = append(all, e)
		return err
	})
	return all, err
}

// erasedNames are the names that stand for those who were erased.
func erasedNames(ctx context.Context, q querier) (map[string]bool, error) {
	all, err := erasures(ctx, q)
	names := map[string]bool{}
	for _, e := range all {
		names[e.Name()] = true
	}
	return names, err
}

// eraseLocked holds the clocks that a person looks after, and the revision, and
// counts the conservators who can log in.
func (s *Store) eraseLocked(ctx context.Context, tx *sql.Tx, person string) (conservatorsNow int, err error) {
	clocks, err := texts(ctx, tx, `SELECT DISTINCT clock FROM duty WHERE person = $1`, person)
	if err != nil {
		return 0, err
	}
	if _, err := s.lockClocks(ctx, tx, clocks); err != nil {
		return 0, err
	}
	if _, err := tx.ExecContext(ctx, `UPDATE revision SET n = n WHERE one = 1`); err != nil {
		return 0, err
	}
	return conservators(ctx, tx)
}

// erase does it, and counts the duties that the person had. The ledger comes
// first: what is emptied of the audit must name somebody who stands in it.
func (s *Store) erase(ctx context.Context, tx *sql.Tx, e schedule.Erasure) (duties int, err error) {
	if _, err := tx.ExecContext(ctx, `INSERT INTO erased (slug, n, at) VALUES ($1, $2, $3)`, e.Person, e.Number, e.At); err != nil {
		return 0, err
	}
	addresses, err := addressesOf(ctx, tx, e.Person)
	if err != nil {
		return 0, err
	}
	if err := endTokensOf(ctx, tx, e); err != nil {
		return 0, err
	}
	for _, step := range []func(context.Context, *sql.Tx, schedule.Erasure, []string) error{eraseLetters, eraseInward, eraseFromAudit} {
		if err := step(ctx, tx, e, addresses); err != nil {
			return 0, err
		}
	}
	if err := forgetSessions(ctx, tx, e.Person); err != nil {
		return 0, err
	}
	if err := eraseMarks(ctx, tx, e); err != nil {
		return 0, err
	}
	for _, table := range []string{"pass", "decline", "account"} {
		if _, err := tx.ExecContext(ctx, `DELETE FROM `+table+` WHERE person = $1`, e.Person); err != nil {
			return 0, err
		}
	}
	r, err := tx.ExecContext(ctx, `DELETE FROM duty WHERE person = $1`, e.Person)
	if err != nil {
		return 0, err
	}
	n, err := r.RowsAffected()
	if err == nil {
		_, err = tx.ExecContext(ctx, `DELETE FROM person WHERE slug = $1`, e.Person)
	}
	return int(n), err
}

// addressesOf are those that somebody has, or had as far as letters to them tell,
// in small letters; none that another person has.
func addressesOf(ctx context.Context, tx *sql.Tx, person string) ([]string, error) {
	return texts(ctx, tx, `SELECT a FROM (SELECT lower(email) AS a FROM person WHERE slug = $1
			UNION SELECT lower(to_addr) FROM notice WHERE person = $1
			UNION SELECT lower(mail_from) FROM inward WHERE person = $1) AS had
		WHERE a <> '' AND NOT EXISTS (SELECT 1 FROM person p WHERE lower(p.email) = a AND p.slug <> $1)`, person)
}

// endTokensOf takes back the tokens that somebody gave to programs, which the
// audit tells.
func endTokensOf(ctx context.Context, tx *sql.Tx, e schedule.Erasure) error {
	_, err := tx.ExecContext(ctx, `UPDATE machine SET ended = $1 WHERE ended IS NULL AND EXISTS (SELECT 1 FROM audit a
		WHERE a.action = 'token given' AND a.actor = $2 AND a.subject = 'program ' || machine.name AND a.at = machine.made)`, e.At, e.Person)
	return err
}

// What stands in the place of the title of an erased letter, and why one is not
// sent that was owed.
const (
	erasedTitle  = "A letter that was erased"
	erasedReason = "not sent: its reader was erased"
)

// eraseLetters empties the letters to somebody. That there was one stays, of what
// kind, about which clock, and what became of it.
func eraseLetters(ctx context.Context, tx *sql.Tx, e schedule.Erasure, addresses []string) error {
	const theirs = ` notice IN (SELECT id FROM notice WHERE person = $1)`
	for _, query := range []string{`DELETE FROM notice_body WHERE` + theirs, `DELETE FROM covered WHERE` + theirs,
		`UPDATE notice_event SET words = '' WHERE` + theirs} {
		if _, err := tx.ExecContext(ctx, query, e.Person); err != nil {
			return err
		}
	}
	_, err := tx.ExecContext(ctx, `UPDATE notice SET key = 'erased|' || id, person = $2, to_addr = '', title = $3, subject = '',
			reply = CASE WHEN state IN ('owed', 'sending') THEN $4 ELSE '' END, owner = '', lease_until = NULL, handed_at = NULL,
			state = CASE WHEN state IN ('owed', 'sending') THEN 'refused' ELSE state END
		WHERE person = $1`, e.Person, e.Name(), erasedTitle, erasedReason)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `UPDATE notice_event SET words = $1 WHERE words = $2`, "by "+e.Name(), "by "+e.Person)
	if err != nil {
		return err
	}
	return parts(addresses, func(in string, args []any) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM mailbox WHERE address IN `+in, args...)
		return err
	})
}

// eraseInward empties what came in from somebody, and what came back of letters
// to them, which eraseLetters has emptied.
func eraseInward(ctx context.Context, tx *sql.Tx, e schedule.Erasure, addresses []string) error {
	empty := func(where string, args ...any) error {
		_, err := tx.ExecContext(ctx, `UPDATE inward SET person = $1, mail_from = '', rcpt_to = '', title = $2, raw = $3, why = '',
				settled = COALESCE(settled, $4), state = CASE WHEN state IN ('taken', 'held') THEN 'closed' ELSE state END
			WHERE `+where, append([]any{e.Name(), erasedTitle, []byte{}, e.At}, args...)...)
		return err
	}
	if err := empty(`person = $5 OR notice IN (SELECT id FROM notice WHERE person = $1)`, e.Person); err != nil {
		return err
	}
	for _, a := range addresses {
		if err := empty(`lower(mail_from) = $5`, a); err != nil {
			return err
		}
	}
	return nil
}

// eraseFromAudit empties the rows that describe somebody or name their address.
func eraseFromAudit(ctx context.Context, tx *sql.Tx, e schedule.Erasure, addresses []string) error {
	subjects := []string{"person " + e.Person}
	for _, a := range addresses {
		subjects = append(subjects, "mailbox "+a)
	}
	for _, subject := range subjects {
		_, err := tx.ExecContext(ctx, `UPDATE audit SET salt = $1, subject = $2, detail = '' WHERE subject = $3`, []byte{}, e.Name(), subject)
		if err != nil {
			return err
		}
	}
	return nil
}

// forgetSessions ends all logins of somebody: those whose data has their short
// name as a whole text, after its length, as gob writes it.
func forgetSessions(ctx context.Context, tx *sql.Tx, person string) error {
	text := append(binary.AppendUvarint(nil, uint64(len(person))), person...)
	var theirs []string
	err := each(ctx, tx, `SELECT hash, data FROM session`, nil, func(rows *sql.Rows) error {
		var hash string
		var data []byte
		err := rows.Scan(&hash, &data)
		if bytes.Contains(data, text) {
			theirs = append(theirs, hash)
		}
		return err
	})
	if err != nil {
		return err
	}
	return parts(theirs, func(in string, args []any) error {
		_, err := tx.ExecContext(ctx, `DELETE FROM session WHERE hash IN `+in, args...)
		return err
	})
}

// refuseErased refuses a description of somebody under a short name that somebody
// had who was erased: an old fleet file brings nobody back.
func refuseErased(ctx context.Context, q querier, people []schedule.Person) error {
	all, err := erasures(ctx, q)
	for _, e := range all {
		if slices.ContainsFunc(people, func(p schedule.Person) bool { return p.Slug == e.Person }) {
			return refuse(schedule.Conflict, "slug", "the short name %q was that of somebody who was erased on %s: take them out, or give another short name",
				e.Person, schedule.DateOf(e.At, time.UTC).Words())
		}
	}
	return err
}

// renamed gives audit rows with the names that stand for those who were erased.
func renamed(all []schedule.Erasure, rows []AuditRow) {
	for _, e := range all {
		for i := range rows {
			r := &rows[i]
			if r.Actor == e.Person {
				r.Actor = e.Name()
			}
			if r.Subject == "person "+e.Person {
				r.Subject = e.Name()
			}
			r.Detail = strings.ReplaceAll(r.Detail, `"`+e.Person+`"`, `"`+e.Name()+`"`)
		}
	}
}
