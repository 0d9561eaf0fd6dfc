package db

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// KnownKeys tells which of the keys are those of notices that are, or were,
// owed.
func (s *Store) KnownKeys(ctx context.Context, keys []string) (map[string]bool, error) {
	known := map[string]bool{}
	for some := range slices.Chunk(keys, 500) {
		args := make([]any, len(some))
		marks := make([]string, len(some))
		for i, k := range some {
			args[i], marks[i] = k, "$"+strconv.Itoa(i+1)
		}
		err := s.read(ctx, func(tx *sql.Tx) error {
			return each(ctx, tx, `SELECT key FROM notice WHERE key IN (`+strings.Join(marks, ", ")+`)`, args, func(rows *sql.Rows) error {
				var k string
				err := rows.Scan(&k)
				known[k] = true
				return err
			})
		})
		if err != nil {
			return nil, fmt.Errorf("look up the keys of notices: %w", err)
		}
	}
	return known, nil
}
