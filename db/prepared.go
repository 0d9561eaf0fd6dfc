package db

import (
	"context"
	"database/sql"
	"sync"
)

// prepared keeps statements that are run again and again. On the embedded
// engine reading a statement's text takes longer than running it; the driver of
// the other keeps them by itself.
type prepared struct {
	mu  sync.Mutex
	all map[string]*sql.Stmt
}

// of gives the statement of a text, for one transaction; nil: it is not kept.
func (p *prepared) of(ctx context.Context, db *sql.DB, d dialect, tx *sql.Tx, text string) (*sql.Stmt, error) {
	if !d.local {
		return nil, nil
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	st := p.all[text]
	if st == nil {
		var err error
		if st, err = db.PrepareContext(context.WithoutCancel(ctx), text); err != nil {
			return nil, err
		}
		if p.all == nil {
			p.all = map[string]*sql.Stmt{}
		}
		p.all[text] = st
	}
	return tx.StmtContext(ctx, st), nil
}

// often is each for a statement that is run again and again.
func (s *Store) often(ctx context.Context, tx *sql.Tx, text string, args []any, row func(*sql.Rows) error) error {
	st, err := s.prepared.of(ctx, s.db, s.dialect, tx, text)
	if err != nil {
		return err
	}
	if st == nil {
		return each(ctx, tx, text, args, row)
	}
	rows, err := st.QueryContext(ctx, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := row(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// oftenExec runs a statement without rows that is run again and again.
func (s *Store) oftenExec(ctx context.Context, tx *sql.Tx, text string, args ...any) error {
	st, err := s.prepared.of(ctx, s.db, s.dialect, tx, text)
	if err != nil {
		return err
	}
	if st == nil {
		_, err = tx.ExecContext(ctx, text, args...)
		return err
	}
	_, err = st.ExecContext(ctx, args...)
	return err
}
