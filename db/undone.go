package db

import (
	"context"
	"database/sql"
	"fmt"
	"reflect"

	"endshake/schedule"
)

// UndoneBy lists what a fleet describes in another way than it is kept, where
// somebody else than actor has described it last: the audit row of each, in the
// order of the fleet. To save the fleet would undo what they did.
func (s *Store) UndoneBy(ctx context.Context, actor string, f schedule.Fleet) ([]AuditRow, error) {
	if err := checkStorable(f); err != nil {
		return nil, err
	}
	f = canonical(f)
	torn := damage{}
	old, err := readFleet(ctx, s.db, torn)
	if err != nil {
		return nil, fmt.Errorf("read the fleet: %w", err)
	}
	if err := torn.refuse(f); err != nil {
		return nil, err
	}
	last, err := s.lastDescribed(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the audit: %w", err)
	}
	differ := append(differing("site", old.Sites, f.Sites, func(x schedule.Site) string { return x.Slug }),
		differing("person", old.People, f.People, func(x schedule.Person) string { return x.Slug })...)
	differ = append(differ, differing("clock", old.Clocks, f.Clocks, func(x schedule.Clock) string { return x.Slug })...)
	var out []AuditRow
	for _, subject := range differ {
		if r, ok := last[subject]; ok && r.Actor != actor {
			out = append(out, r)
		}
	}
	return out, nil
}

// differing are the things of one table that are kept otherwise than in list.
func differing[T any](table string, old, list []T, slug func(T) string) []string {
	have := make(map[string]T, len(old))
	for _, x := range old {
		have[slug(x)] = x
	}
	var out []string
	for _, x := range list {
		if was, ok := have[slug(x)]; ok && !reflect.DeepEqual(was, x) {
			out = append(out, table+" "+slug(x))
		}
	}
	return out
}

// lastDescribed is the last audit row of each thing that was described.
func (s *Store) lastDescribed(ctx context.Context) (map[string]AuditRow, error) {
	gone, err := erasures(ctx, s.db)
	if err != nil {
		return nil, err
	}
	var rows []AuditRow
	err = each(ctx, s.db, `SELECT id, at, actor, action, subject FROM audit
		WHERE id IN (SELECT MAX(id) FROM audit WHERE action = 'described' GROUP BY subject)`, nil,
		func(in *sql.Rows) error {
			var r AuditRow
			err := in.Scan(&r.ID, instant{&r.At}, &r.Actor, &r.Action, &r.Subject)
			rows = append(rows, r)
			return err
		})
	if err != nil {
		return nil, err
	}
	renamed(gone, rows)
	out := make(map[string]AuditRow, len(rows))
	for _, r := range rows {
		out[r.Subject] = r
	}
	return out, nil
}
