package db

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"endshake/schedule"
)

// Head is a state of the database: its revision, and the hash of the row of the audit
// that came with it. Two databases that went different ways have different hashes.
type Head struct {
	Revision int64
	Hash     string // as bytes; empty before there was any change
}

// Head gives the state of the database as it is.
func (s *Store) Head(ctx context.Context) (Head, error) {
	h, err := headOf(ctx, s.db)
	if err != nil {
		return Head{}, fmt.Errorf("read the revision: %w", err)
	}
	return h, nil
}

func headOf(ctx context.Context, q querier) (h Head, err error) {
	var hash []byte
	err = q.QueryRowContext(ctx, `SELECT n, hash FROM revision LEFT JOIN audit ON id = n WHERE one = 1`).Scan(&h.Revision, &hash)
	h.Hash = string(hash)
	return h, err
}

// News is what was changed since a state of the database, by any process.
type News struct {
	Head Head // the state since
	// Other: the database never was in that state, as after a failover to a copy
	// that lacks the last of it. All: anything may have changed. Then nothing else
	// counts.
	Other, All bool
	Fleet      bool // the description, or who is in it
	Lesson     bool // what the fleet has taught
	Logs       bool // any log may be longer
	// Logged are the entries that were logged, by Clock.Slug, in the order in which
	// they were: a clock with none has a log to be read whole.
	Logged map[string][]schedule.Entry
}

// The actions of the audit that say what a desk has to read.
const (
	actLogged    = "logged"
	actTogether  = "logged together"
	actMany      = "logged many"
	actDescribed = "described"
	actLearned   = "learned"
	actMarked    = "round marked"
	actUnmarked  = "mark of a round taken back"
)

// aside are the actions that change neither log, fleet nor lesson. Marks of rounds are
// read whenever they are asked for.
var aside = map[string]bool{"resend": true, "set going": true, "closed": true, "exported": true, "token given": true, "token taken back": true,
	actMarked: true, actUnmarked: true}

// NewsSince tells what was changed since a state that Head gave. Every change has its
// row in the audit, under the number of its revision: only that is asked, and the
// entries that it names are read.
func (s *Store) NewsSince(ctx context.Context, h Head) (n News, err error) {
	err = s.read(ctx, func(tx *sql.Tx) (err error) {
		n = News{Logged: map[string][]schedule.Entry{}}
		if n.Head, err = headOf(ctx, tx); err != nil {
			return err
		}
		return n.since(ctx, tx, h)
	})
	if err != nil {
		return News{}, fmt.Errorf("read what was changed: %w", err)
	}
	return n, nil
}

func (n *News) since(ctx context.Context, tx *sql.Tx, h Head) error {
	hash, last := "", h.Revision
	logged := map[string]string{} // by ID, the clock
	var ids []string
	err := each(ctx, tx, `SELECT id, hash, action, subject, CASE WHEN action = '`+actLogged+`' THEN detail ELSE '' END
		FROM audit WHERE id >= $1 ORDER BY id`, []any{h.Revision}, func(rows *sql.Rows) error {
		var r AuditRow
		var of []byte
		if err := rows.Scan(&r.ID, &of, &r.Action, &r.Subject, &r.Detail); err != nil {
			return err
		}
		if r.ID == h.Revision {
			hash = string(of)
			return nil
		}
		n.All = n.All || r.ID != last+1 // rows are missing
		last = r.ID
		if id := n.take(r); id != "" {
			logged[id], ids = strings.TrimPrefix(r.Subject, ofClock), append(ids, id)
		}
		return nil
	})
	if err != nil {
		return err
	}
	n.Other = n.Head.Revision < h.Revision || h.Hash != "" && hash != h.Hash
	n.All = n.All || last != n.Head.Revision
	if n.Other || n.All {
		return nil
	}
	return n.read(ctx, tx, ids, logged)
}

// ofClock begins the subject of a row about a clock, ofPerson of one about a person.
const (
	ofClock  = "clock "
	ofPerson = "person "
)

// take takes in a row of the audit. It gives the ID of the entry that it names, if
// that is all that was changed. What is not known here may have changed anything.
func (n *News) take(r AuditRow) (id string) {
	clock, about := strings.CutPrefix(r.Subject, ofClock)
	switch {
	case r.Action == actLogged && about:
		if _, id, _ = strings.Cut(r.Detail, " "); id == "" {
			n.Logged[clock] = nil
		}
	case r.Action == actTogether && about:
		n.Logged[clock] = nil
	case r.Action == actMany:
		n.Logs = true
	case r.Action == actDescribed:
		n.Fleet = true
	case r.Action == actLearned:
		n.Lesson = true
	case aside[r.Action]:
	case strings.HasPrefix(r.Subject, ofPerson) && !strings.HasPrefix(r.Action, "erased"): // of their account and their letters
	default:
		n.All = true
	}
	return id
}

// read reads entries by their IDs. A clock that one of them cannot be read of, or is
// not there any more, has its log read whole.
func (n *News) read(ctx context.Context, tx *sql.Tx, ids []string, logged map[string]string) error {
	whole := map[string]bool{}
	for clock := range n.Logged {
		whole[clock] = true
	}
	found, bad := map[string]schedule.Entry{}, damage{}
	err := parts(ids, func(in string, args []any) error {
		some, err := entries(ctx, tx, bad, ` WHERE e.id IN `+in, args...)
		for _, list := range some {
			for _, e := range list {
				found[e.ID] = e
			}
		}
		return err
	})
	if err != nil {
		return err
	}
	for _, id := range ids {
		clock := logged[id]
		switch e, ok := found[id]; {
		case whole[clock]:
		case !ok || e.Clock != clock:
			whole[clock], n.Logged[clock] = true, nil
		default:
			n.Logged[clock] = append(n.Logged[clock], e)
		}
	}
	return nil
}
