package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"

	"endshake/db/failpoint"
	"endshake/schedule"
)

// mostPicture is the largest picture that is kept, in bytes: one of 1600 pixels
// comes to a tenth of it (judgement, no source).
const mostPicture = 8 << 20

// AppendShown is AppendTo of an entry with its pictures, in the same transaction:
// either all of it is kept or nothing. The pictures get an ID where they have
// none, and the clock, the time and the ID of the entry. An entry that is stored
// already keeps those that it has.
func (s *Store) AppendShown(ctx context.Context, actor string, now time.Time, e schedule.Entry, pictures []schedule.Picture, known []schedule.Entry,
	check func(log []schedule.Entry) error, owed ...schedule.Notice) (stored schedule.Entry, already bool, err error) {
	if e, err = prepare(now, e); err != nil {
		return schedule.Entry{}, false, err
	}
	if err := checkNotices(owed); err != nil {
		return schedule.Entry{}, false, err
	}
	ready, err := preparePictures(e, pictures)
	if err != nil {
		return schedule.Entry{}, false, err
	}
	write := s.write
	if e.Key != "" {
		write = s.writeKeyed
	}
	err = write(ctx, "log an entry for "+e.Clock, func(tx *sql.Tx) error {
		var err error
		stored, already, err = s.appendOne(ctx, tx, e, known, check)
		if err != nil || already {
			return err
		}
		failpoint.Hit("K02") // the entry is stored, and not in the audit
		for _, p := range ready {
			_, err := tx.ExecContext(ctx, `INSERT INTO picture (`+pictureColumns+`, jpeg, small) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
				p.ID, p.Clock, p.Entry, p.At, p.Words, p.Width, p.Height, p.JPEG, p.Small)
			if err != nil {
				return fmt.Errorf("keep a picture: %w", err)
			}
		}
		if _, err := oweAll(ctx, tx, now, owed); err != nil {
			return err
		}
		err = s.dialect.audit(ctx, tx, now, actor, AuditRow{Action: actLogged, Subject: ofClock + e.Clock, Detail: string(e.Kind) + " " + e.ID})
		failpoint.Hit("K03") // it is in the audit as well, and nothing is committed
		return err
	})
	if err != nil {
		return schedule.Entry{}, false, err
	}
	return stored, already, nil
}

// preparePictures gives the pictures of an entry as they will be stored.
func preparePictures(e schedule.Entry, pictures []schedule.Picture) ([]schedule.Picture, error) {
	out := make([]schedule.Picture, len(pictures))
	for i, p := range pictures {
		p.Clock, p.Entry, p.At = e.Clock, e.ID, e.At
		if err := checkPicture(p); err != nil {
			return nil, fmt.Errorf("picture %d of the entry: %w", i+1, err)
		}
		if p.ID == "" {
			id, err := uuid.NewV7()
			if err != nil {
				return nil, fmt.Errorf("make an ID: %w", err)
			}
			p.ID = id.String()
		}
		out[i] = p
	}
	return out, nil
}

func checkPicture(p schedule.Picture) error {
	if p.Width < 1 || p.Height < 1 || len(p.JPEG) == 0 || len(p.Small) == 0 || len(p.JPEG)+len(p.Small) > mostPicture {
		return refuse(schedule.Invalid, "picture", "it is empty or too large to be kept: make it smaller")
	}
	return checkText("words", p.Words)
}

const pictureColumns = `id, clock, entry, at, words, width, height`

// Pictures lists the pictures of a clock's entries, oldest first, without what
// they show. A clock that is not known has none.
func (s *Store) Pictures(ctx context.Context, clock string) ([]schedule.Picture, error) {
	return pictures(ctx, s.db, clock)
}

func pictures(ctx context.Context, q querier, clock string) ([]schedule.Picture, error) {
	var all []schedule.Picture
	err := each(ctx, q, `SELECT `+pictureColumns+` FROM picture WHERE clock = $1 ORDER BY at, id`, []any{clock}, func(rows *sql.Rows) error {
		var p schedule.Picture
		err := rows.Scan(&p.ID, &p.Clock, &p.Entry, instant{&p.At}, &p.Words, &p.Width, &p.Height)
		all = append(all, p)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("read the pictures of %s: %w", clock, err)
	}
	return all, nil
}

// Picture finds one with what it shows; NotFound where there is none.
func (s *Store) Picture(ctx context.Context, id string) (schedule.Picture, error) {
	return picture(ctx, s.db, id)
}

func picture(ctx context.Context, q querier, id string) (schedule.Picture, error) {
	p, found := schedule.Picture{}, false
	if textProblem(id) == "" {
		err := each(ctx, q, `SELECT `+pictureColumns+`, jpeg, small FROM picture WHERE id = $1`, []any{id}, func(rows *sql.Rows) error {
			found = true
			return rows.Scan(&p.ID, &p.Clock, &p.Entry, instant{&p.At}, &p.Words, &p.Width, &p.Height, &p.JPEG, &p.Small)
		})
		if err != nil {
			return p, fmt.Errorf("read a picture: %w", err)
		}
	}
	if !found {
		return p, refuse(schedule.NotFound, "picture", "there is no such picture")
	}
	return p, nil
}
