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

// Fleet gives the description of all clocks, as it was saved.
func (s *Store) Fleet(ctx context.Context) (schedule.Fleet, error) {
	var f schedule.Fleet
	err := s.read(ctx, func(tx *sql.Tx) (err error) {
		f, err = readFleet(ctx, tx)
		return err
	})
	if err != nil {
		return schedule.Fleet{}, fmt.Errorf("read the fleet: %w", err)
	}
	return f, nil
}

// readFleet reads each table once, in order, and puts its rows into the clock
// they belong to.
func readFleet(ctx context.Context, q querier) (schedule.Fleet, error) {
	var f schedule.Fleet
	at := map[string]int{} // slug to place in f.Clocks
	steps := []func() error{
		func() error { return readSites(ctx, q, &f) },
		func() error { return readPeople(ctx, q, &f) },
		func() error { return readClocks(ctx, q, &f, at) },
		func() error { return readDuties(ctx, q, &f, at) },
		func() error { return readPolicies(ctx, q, &f, at) },
		func() error { return readTrains(ctx, q, &f, at) },
		func() error { return readArbors(ctx, q, &f, at) },
		func() error { return readBearings(ctx, q, &f, at) },
		func() error { return readMeshes(ctx, q, &f, at) },
	}
	for _, step := range steps {
		if err := step(); err != nil {
			return schedule.Fleet{}, err
		}
	}
	return f, nil
}

func readSites(ctx context.Context, q querier, f *schedule.Fleet) error {
	return each(ctx, q, `SELECT slug, name, zone, place, access, caution, detail FROM site ORDER BY ord, slug`, nil,
		func(rows *sql.Rows) error {
			var x schedule.Site
			var detail []byte
			if err := rows.Scan(&x.Slug, &x.Name, &x.Zone, &x.Place, &x.Access, &x.Caution, &detail); err != nil {
				return err
			}
			var more siteDetail
			if err := json.Unmarshal(detail, &more); err != nil {
				return fmt.Errorf("site %s: %w", x.Slug, err)
			}
			x.Climate = more.Climate
			f.Sites = append(f.Sites, x)
			return nil
		})
}

func readPeople(ctx context.Context, q querier, f *schedule.Fleet) error {
	return each(ctx, q, `SELECT slug, name, email, zone, units, wishes FROM person ORDER BY ord, slug`, nil,
		func(rows *sql.Rows) error {
			var x schedule.Person
			var wishes []byte
			if err := rows.Scan(&x.Slug, &x.Name, &x.Email, &x.Zone, &x.Units, &wishes); err != nil {
				return err
			}
			if err := json.Unmarshal(wishes, &x.Mail); err != nil {
				return fmt.Errorf("person %s: %w", x.Slug, err)
			}
			f.People = append(f.People, x)
			return nil
		})
}

func readClocks(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT slug, name, kind, site, in_care, note, cautions, detail FROM clock ORDER BY ord, slug`, nil,
		func(rows *sql.Rows) error {
			var c schedule.Clock
			var cautions, detail []byte
			if err := rows.Scan(&c.Slug, &c.Name, &c.Kind, &c.Site, day{&c.InCare}, &c.Note, &cautions, &detail); err != nil {
				return err
			}
			if err := json.Unmarshal(detail, &c.Care); err != nil {
				return fmt.Errorf("clock %s: %w", c.Slug, err)
			}
			at[c.Slug] = len(f.Clocks)
			err := json.Unmarshal(cautions, &c.Cautions)
			f.Clocks = append(f.Clocks, c)
			return err
		})
}

func readDuties(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT clock, person, role FROM duty ORDER BY clock, ord`, nil,
		func(rows *sql.Rows) error {
			var clock string
			var d schedule.Duty
			if err := rows.Scan(&clock, &d.Person, &d.Role); err != nil {
				return err
			}
			c := &f.Clocks[at[clock]]
			c.Duties = append(c.Duties, d)
			return nil
		})
}

func readPolicies(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT clock, task, train, bearing, days, run_hours, lead, grace, reason, source, risk, line, minutes
		FROM policy ORDER BY clock, ord`, nil,
		func(rows *sql.Rows) error {
			var clock string
			var p schedule.Policy
			err := rows.Scan(&clock, &p.Task, &p.Train, &p.Bearing, &p.Days, &p.RunHours, &p.Lead, &p.Grace, &p.Reason, &p.Source,
				&p.Risk, &p.Line, &p.Minutes)
			if err != nil {
				return err
			}
			c := &f.Clocks[at[clock]]
			c.Policies = append(c.Policies, p)
			return nil
		})
}

func readTrains(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT clock, code, name, kind, drive, reserve_ns, strokes_per_day, detail FROM train ORDER BY clock, ord`, nil,
		func(rows *sql.Rows) error {
			var clock string
			var reserve int64
			var detail []byte
			var t wear.Train
			err := rows.Scan(&clock, &t.Code, &t.Name, &t.Kind, &t.Drive, &reserve, &t.StrokesPerDay, &detail)
			if err != nil {
				return err
			}
			var more trainDetail
			if err := json.Unmarshal(detail, &more); err != nil {
				return fmt.Errorf("clock %s, train %s: %w", clock, t.Code, err)
			}
			t.Weight, t.Striking, t.MeterHours = more.Weight, more.Striking, more.MeterHours
			t.Reserve = time.Duration(reserve)
			c := &f.Clocks[at[clock]]
			c.Trains = append(c.Trains, t)
			return nil
		})
}

func readArbors(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT clock, train_ord, code, name, revs FROM arbor ORDER BY clock, train_ord, ord`, nil,
		func(rows *sql.Rows) error {
			var clock string
			var train int
			var a wear.Arbor
			if err := rows.Scan(&clock, &train, &a.Code, &a.Name, &a.Revs); err != nil {
				return err
			}
			t := &f.Clocks[at[clock]].Trains[train]
			t.Arbors = append(t.Arbors, a)
			return nil
		})
}

func readBearings(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT clock, train_ord, arbor_ord, code, name, form, shake, pair, surroundings, load_n,
			outer_um, inner_um, bore_um, pivot_um, long_um, fitted_at, fitted_um, fitted_sd_um,
			watch_um, watch_source, act_um, act_source, stand_um, shaft, frame
		FROM bearing ORDER BY clock, train_ord, arbor_ord, ord`, nil,
		func(rows *sql.Rows) error {
			var clock string
			var train, arbor int
			var b wear.Bearing
			var watch, act sql.Null[int64]
			var watchSource, actSource sql.Null[string]
			err := rows.Scan(&clock, &train, &arbor, &b.Code, &b.Name, &b.Form, &b.Shake, &b.Pair, &b.In, &b.Load,
				&b.Outer, &b.Inner, &b.Bore, &b.Pivot, &b.Long, instant{&b.FittedAt}, &b.Fitted, &b.FittedSD,
				&watch, &watchSource, &act, &actSource, &b.Stand, &b.Shaft, &b.Frame)
			if err != nil {
				return err
			}
			b.Watch, b.Act = limit(watch, watchSource), limit(act, actSource)
			a := &f.Clocks[at[clock]].Trains[train].Arbors[arbor]
			a.Bearings = append(a.Bearings, b)
			return nil
		})
}

func readMeshes(ctx context.Context, q querier, f *schedule.Fleet, at map[string]int) error {
	return each(ctx, q, `SELECT clock, train_ord, code, name, bearing, kind, module_mm, pressure_deg,
			cycloidal, teeth, mate, cone_deg, on_drop, mounted_um, backlash_um, to_hand
		FROM mesh ORDER BY clock, train_ord, ord`, nil,
		func(rows *sql.Rows) error {
			var clock string
			var train int
			var m wear.Mesh
			err := rows.Scan(&clock, &train, &m.Code, &m.Name, &m.Bearing, &m.Kind, &m.Module, &m.PressureAngle,
				&m.Cycloidal, &m.Teeth, &m.Mate, &m.Cone, &m.Drop, &m.Mounted, &m.Backlash, &m.ToHand)
			if err != nil {
				return err
			}
			t := &f.Clocks[at[clock]].Trains[train]
			t.Meshes = append(t.Meshes, m)
			return nil
		})
}

func limit(size sql.Null[int64], source sql.Null[string]) *wear.Limit {
	if !size.Valid {
		return nil
	}
	return &wear.Limit{Size: wear.Length(size.V), Source: source.V}
}
