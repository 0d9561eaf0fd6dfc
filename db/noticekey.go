package db

import (
	"context"
	"database/sql"
	"fmt"
)

// stands: a notice has its letter, and was not refused at an address that is its
// reader's no more.
const stands = `(attempts > 0 OR ` + hasBody + `) AND NOT (state = 'refused' AND EXISTS (SELECT 1 FROM person WHERE slug = notice.person AND email <> ''
				AND lower(email) <> lower(notice.to_addr) AND lower(email) NOT LIKE '%<' || lower(notice.to_addr) || '>'))`

// KnownKeys tells which of the keys are those of notices that are, or were,
// owed. One whose letter could not be written is not, nor one that was refused at
// an address that is its reader's no more: it is owed anew once it can be.
func (s *Store) KnownKeys(ctx context.Context, keys []string) (map[string]bool, error) {
	known := map[string]bool{}
	err := parts(keys, func(in string, args []any) error {
		return each(ctx, s.db, `SELECT k.key FROM (SELECT key, id FROM notice WHERE key IN `+in+`
			UNION SELECT key, notice FROM covered WHERE key IN `+in+`) k JOIN notice ON notice.id = k.id
			WHERE `+stands, args, func(rows *sql.Rows) error {
			var k string
			err := rows.Scan(&k)
			known[k] = true
			return err
		})
	})
	if err != nil {
		return nil, fmt.Errorf("look up the keys of notices: %w", err)
	}
	return known, nil
}
