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

// kept is a transaction whose statements are kept.
type kept struct {
	*Store
	tx *sql.Tx
}

// QueryContext runs a statement with rows.
func (k kept) QueryContext(ctx context.Context, text string, args ...any) (*sql.Rows, error) {
	st, err := k.prepared.of(ctx, k.db, k.dialect, k.tx, text)
	if err != nil {
		return nil, err
	}
	if st == nil {
		return k.tx.QueryContext(ctx, text, args...)
	}
	return st.QueryContext(ctx, args...)
}

// QueryRowContext runs a statement with one row.
func (k kept) QueryRowContext(ctx context.Context, text string, args ...any) *sql.Row {
	st, err := k.prepared.of(ctx, k.db, k.dialect, k.tx, text)
	if err != nil || st == nil { // the transaction says what is wrong with it
		return k.tx.QueryRowContext(ctx, text, args...)
	}
	return st.QueryRowContext(ctx, args...)
}

// exec runs a statement without rows.
func (k kept) exec(ctx context.Context, text string, args ...any) error {
	st, err := k.prepared.of(ctx, k.db, k.dialect, k.tx, text)
	if err != nil {
		return err
	}
	if st == nil {
		_, err = k.tx.ExecContext(ctx, text, args...)
		return err
	}
	_, err = st.ExecContext(ctx, args...)
	return err
}
