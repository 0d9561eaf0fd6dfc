package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Fleet gives the description of all clocks, as it was saved. A row that cannot be
// read is its error.
func (s *Store) Fleet(ctx context.Context) (schedule.Fleet, error) { return s.fleet(ctx, nil) }

// ReadableFleet is Fleet, where a row that cannot be read takes nothing with it but
// its clock: that says so in Clock.Damage, and must not be saved again.
func (s *Store) ReadableFleet(ctx context.Context) (schedule.Fleet, error) {
	torn := damage{}
	f, err := s.fleet(ctx, torn)
	if err == nil {
		torn.mark(&f)
	}
	return f, err
}

func (s *Store) fleet(ctx context.Context, torn damage) (f schedule.Fleet, err error) {
	err = s.read(ctx, func(tx *sql.Tx) (err error) {
		f, err = readFleet(ctx, tx, torn)
		return err
	})
	if err != nil {
		return schedule.Fleet{}, fmt.Errorf("read the fleet: %w", err)
	}
	return f, nil
}

// fleetReader puts rows into the clocks they belong to.
type fleetReader struct {
	ctx  context.Context
	q    querier
	f    schedule.Fleet
	at   map[string]int // slug to place in f.Clocks
	torn damage         // nil: a row that cannot be read is an error
}

// readFleet reads each table once, in order.
func readFleet(ctx context.Context, q querier, torn damage) (schedule.Fleet, error) {
	r := &fleetReader{ctx: ctx, q: q, at: map[string]int{}, torn: torn}
	for _, step := range []func() error{r.sites, r.people, r.clocks, r.duties, r.policies, r.trains, r.arbors, r.bearings, r.meshes} {
		if err := step(); err != nil {
			return schedule.Fleet{}, err
		}
	}
	return r.f, nil
}

// rows calls row for each row of the answer, which gives what it belongs to.
func (r *fleetReader) rows(query string, row func(*sql.Rows) (of string, err error)) error {
	return each(r.ctx, r.q, query, nil, func(rows *sql.Rows) error {
		of, err := row(rows)
		if err == nil || r.torn == nil {
			return err
		}
		r.torn.add(of, err)
		return nil
	})
}

// clock is the clock that a row names.
func (r *fleetReader) clock(slug string) (*schedule.Clock, error) {
	i, ok := r.at[slug]
	if !ok {
		return nil, fmt.Errorf("a row names the clock %q, which is not there", slug)
	}
	return &r.f.Clocks[i], nil
}

// train is the train that a row names by its place.
func (r *fleetReader) train(clock string, train int) (*wear.Train, error) {
	c, err := r.clock(clock)
	if err != nil {
		return nil, err
	}
	if train < 0 || train >= len(c.Trains) {
		return nil, fmt.Errorf("clock %s: a row names train %d of %d", clock, train+1, len(c.Trains))
	}
	return &c.Trains[train], nil
}

func (r *fleetReader) sites() error {
	return r.rows(`SELECT slug, name, zone, place, access, caution, detail FROM site ORDER BY ord, slug`,
		func(rows *sql.Rows) (string, error) {
			var x schedule.Site
			var detail []byte
			err := rows.Scan(&x.Slug, &x.Name, &x.Zone, &x.Place, &x.Access, &x.Caution, &detail)
			var more siteDetail
			if err == nil {
				err = json.Unmarshal(detail, &more)
			}
			x.Climate, x.Reach = more.Climate, more.Reach
			r.f.Sites = append(r.f.Sites, x)
			return siteKey + x.Slug, named("site "+x.Slug, err)
		})
}

func (r *fleetReader) people() error {
	return r.rows(`SELECT slug, name, email, zone, units, wishes, going FROM person ORDER BY ord, slug`,
		func(rows *sql.Rows) (string, error) {
			var x schedule.Person
			var wishes, going []byte
			err := rows.Scan(&x.Slug, &x.Name, &x.Email, &x.Zone, &x.Units, &wishes, &going)
			if err == nil {
				err = json.Unmarshal(wishes, &x.Mail)
			}
			if err == nil {
				err = json.Unmarshal(going, &x.Going)
			}
			r.f.People = append(r.f.People, x)
			return personKey + x.Slug, named("person "+x.Slug, err)
		})
}

func (r *fleetReader) clocks() error {
	return r.rows(`SELECT slug, name, kind, site, in_care, note, cautions, detail FROM clock ORDER BY ord, slug`,
		func(rows *sql.Rows) (string, error) {
			var c schedule.Clock
			var cautions, detail []byte
			err := rows.Scan(&c.Slug, &c.Name, &c.Kind, &c.Site, day{&c.InCare}, &c.Note, &cautions, &detail)
			if err == nil {
				err = json.Unmarshal(detail, &c.Care)
			}
			if err == nil {
				err = json.Unmarshal(cautions, &c.Cautions)
			}
			r.at[c.Slug] = len(r.f.Clocks)
			r.f.Clocks = append(r.f.Clocks, c)
			return c.Slug, named("clock "+c.Slug, err)
		})
}

func (r *fleetReader) duties() error {
	return r.rows(`SELECT clock, person, role FROM duty ORDER BY clock, ord`,
		func(rows *sql.Rows) (string, error) {
			var clock string
			var d schedule.Duty
			if err := rows.Scan(&clock, &d.Person, &d.Role); err != nil {
				return clock, err
			}
			c, err := r.clock(clock)
			if err == nil {
				c.Duties = append(c.Duties, d)
			}
			return clock, err
		})
}

func (r *fleetReader) policies() error {
	return r.rows(`SELECT clock, task, train, bearing, days, run_hours, lead, grace, reason, source, risk, line, minutes, two
		FROM policy ORDER BY clock, ord`,
		func(rows *sql.Rows) (string, error) {
			var clock string
			var p schedule.Policy
			err := rows.Scan(&clock, &p.Task, &p.Train, &p.Bearing, &p.Days, &p.RunHours, &p.Lead, &p.Grace, &p.Reason, &p.Source,
				&p.Risk, &p.Line, &p.Minutes, &p.Two)
			if err != nil {
				return clock, err
			}
			c, err := r.clock(clock)
			if err == nil {
				c.Policies = append(c.Policies, p)
			}
			return clock, err
		})
}

func (r *fleetReader) trains() error {
	return r.rows(`SELECT clock, code, name, kind, drive, reserve_ns, strokes_per_day, detail FROM train ORDER BY clock, ord`,
		func(rows *sql.Rows) (string, error) {
			var clock string
			var reserve int64
			var detail []byte
			var t wear.Train
			err := rows.Scan(&clock, &t.Code, &t.Name, &t.Kind, &t.Drive, &reserve, &t.StrokesPerDay, &detail)
			var more trainDetail
			if err == nil {
				err = json.Unmarshal(detail, &more)
			}
			if err != nil {
				return clock, named("train "+t.Code, err)
			}
			t.Weight, t.Striking, t.MeterHours = more.Weight, more.Striking, more.MeterHours
			t.Reserve = time.Duration(reserve)
			c, err := r.clock(clock)
			if err == nil {
				c.Trains = append(c.Trains, t)
			}
			return clock, err
		})
}

func (r *fleetReader) arbors() error {
	return r.rows(`SELECT clock, train_ord, code, name, revs FROM arbor ORDER BY clock, train_ord, ord`,
		func(rows *sql.Rows) (string, error) {
			var clock string
			var train int
			var a wear.Arbor
			if err := rows.Scan(&clock, &train, &a.Code, &a.Name, &a.Revs); err != nil {
				return clock, named("arbor "+a.Code, err)
			}
			t, err := r.train(clock, train)
			if err == nil {
				t.Arbors = append(t.Arbors, a)
			}
			return clock, err
		})
}

func (r *fleetReader) bearings() error {
	return r.rows(`SELECT clock, train_ord, arbor_ord, code, name, form, shake, pair, surroundings, load_n,
			outer_um, inner_um, bore_um, pivot_um, long_um, fitted_at, fitted_um, fitted_sd_um,
			watch_um, watch_source, act_um, act_source, stand_um, shaft, frame
		FROM bearing ORDER BY clock, train_ord, arbor_ord, ord`,
		func(rows *sql.Rows) (string, error) {
			var clock string
			var train, arbor int
			var b wear.Bearing
			var watch, act sql.Null[int64]
			var watchSource, actSource sql.Null[string]
			err := rows.Scan(&clock, &train, &arbor, &b.Code, &b.Name, &b.Form, &b.Shake, &b.Pair, &b.In, &b.Load,
				&b.Outer, &b.Inner, &b.Bore, &b.Pivot, &b.Long, instant{&b.FittedAt}, &b.Fitted, &b.FittedSD,
				&watch, &watchSource, &act, &actSource, &b.Stand, &b.Shaft, &b.Frame)
			if err != nil {
				return clock, named("bearing "+b.Code, err)
			}
			b.Watch, b.Act = limit(watch, watchSource), limit(act, actSource)
			t, err := r.train(clock, train)
			if err != nil {
				return clock, err
			}
			if arbor < 0 || arbor >= len(t.Arbors) {
				return clock, fmt.Errorf("bearing %s names arbor %d of %d", b.Code, arbor+1, len(t.Arbors))
			}
			t.Arbors[arbor].Bearings = append(t.Arbors[arbor].Bearings, b)
			return clock, nil
		})
}

func (r *fleetReader) meshes() error {
	return r.rows(`SELECT clock, train_ord, code, name, bearing, kind, module_mm, pressure_deg,
			cycloidal, teeth, mate, cone_deg, on_drop, mounted_um, backlash_um, to_hand
		FROM mesh ORDER BY clock, train_ord, ord`,
		func(rows *sql.Rows) (string, error) {
			var clock string
			var train int
			var m wear.Mesh
			err := rows.Scan(&clock, &train, &m.Code, &m.Name, &m.Bearing, &m.Kind, &m.Module, &m.PressureAngle,
				&m.Cycloidal, &m.Teeth, &m.Mate, &m.Cone, &m.Drop, &m.Mounted, &m.Backlash, &m.ToHand)
			if err != nil {
				return clock, named("mesh "+m.Code, err)
			}
			t, err := r.train(clock, train)
			if err == nil {
				t.Meshes = append(t.Meshes, m)
			}
			return clock, err
		})
}

// named says of what an error is; nil stays nil.
func named(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", what, err)
}

func limit(size sql.Null[int64], source sql.Null[string]) *wear.Limit {
	if !size.Valid {
		return nil
	}
	return &wear.Limit{Size: wear.Length(size.V), Source: source.V}
}
