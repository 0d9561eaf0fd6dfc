package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// SaveFleet stores sites, people and clocks by their slugs, in one transaction.
// A clock that is there already has its trains, duties and policies replaced;
// what the fleet does not name stays. Each thing that changed leaves one audit
// row; what is the same leaves none. The order is the fleet's where it names
// everything that is there; otherwise what was there keeps its order and the
// new comes after it. The fleet has passed schedule.Fleet.Validate. What cannot be
// read of something that it does not name hinders nothing.
//
// Before anything is changed check, where it is not nil, is asked with the fleet
// that is stored and the logs of the clocks that f names; nobody changes either
// until the fleet is saved. An error of check comes back as it is, and nothing
// is stored. check may be asked more than once, and must not use the Store.
func (s *Store) SaveFleet(ctx context.Context, actor string, now time.Time, f schedule.Fleet,
	check func(stored schedule.Fleet, log map[string][]schedule.Entry) error) error {
	if err := checkStorable(f); err != nil {
		return err
	}
	if err := (damage{}).refuse(f); err != nil {
		return err
	}
	f = canonical(f)
	slugs := make([]string, len(f.Clocks))
	for i, c := range f.Clocks {
		slugs[i] = c.Slug
	}
	return s.write(ctx, "save the fleet", func(tx *sql.Tx) error {
		if _, err := s.lockClocks(ctx, tx, slugs); err != nil {
			return err
		}
		// Held from here on, so that two descriptions do not mix.
		if _, err := tx.ExecContext(ctx, `UPDATE revision SET n = n WHERE one = 1`); err != nil {
			return err
		}
		torn := damage{}
		old, err := readFleet(ctx, tx, torn)
		if err != nil {
			return err
		}
		if err := torn.refuse(f); err != nil {
			return err
		}
		if err := checkFleet(ctx, tx, old, slugs, check); err != nil {
			return err
		}
		return s.fleetError(s.dialect.saveChanges(ctx, tx, actor, now, old, f))
	})
}

// checkFleet asks the caller's check, if any.
func checkFleet(ctx context.Context, tx *sql.Tx, old schedule.Fleet, slugs []string,
	check func(schedule.Fleet, map[string][]schedule.Entry) error) error {
	if check == nil {
		return nil
	}
	log, torn := map[string][]schedule.Entry{}, damage{}
	err := parts(slugs, func(in string, args []any) error {
		part, err := entries(ctx, tx, torn, ` WHERE e.clock IN `+in, args...)
		maps.Copy(log, part)
		return err
	})
	if err != nil {
		return err
	}
	for clock, why := range torn {
		if err := (damage{clock: why}).refuse(schedule.Fleet{Clocks: []schedule.Clock{{Slug: clock}}}); err != nil {
			return err
		}
	}
	if err := check(old, log); err != nil {
		return refusal{err}
	}
	return nil
}

func (s *Store) fleetError(err error) error {
	switch s.dialect.fault(err) {
	case uniqueFault:
		return refuse(schedule.Invalid, "clocks", "the fleet uses a code or short name twice: give each its own")
	case foreignFault:
		return refuse(schedule.NotFound, "clocks", "the fleet names a site or a person that is not described: describe them first")
	}
	return err
}

// saveChanges writes what differs between the old fleet and the new.
func (d dialect) saveChanges(ctx context.Context, tx *sql.Tx, actor string, now time.Time, old, f schedule.Fleet) error {
	if err := refuseErased(ctx, tx, f.People); err != nil {
		return err
	}
	var rows []AuditRow
	sites, err := saveList(ctx, tx, "site", old.Sites, f.Sites, func(x schedule.Site) string { return x.Slug }, saveSite)
	if err != nil {
		return err
	}
	people, err := saveList(ctx, tx, "person", old.People, f.People, func(x schedule.Person) string { return x.Slug }, savePerson)
	if err != nil {
		return err
	}
	clocks, err := saveList(ctx, tx, "clock", old.Clocks, f.Clocks, func(x schedule.Clock) string { return x.Slug }, saveClock)
	if err != nil {
		return err
	}
	rows = slices.Concat(sites, people, clocks)
	if len(rows) == 0 {
		return nil
	}
	return d.audit(ctx, tx, now, actor, rows...)
}

// saveList writes the things of one table that are new or changed, and gives
// an audit row for each.
func saveList[T any](ctx context.Context, tx *sql.Tx, table string, old, list []T, slug func(T) string,
	save func(context.Context, *sql.Tx, T) error) ([]AuditRow, error) {
	have := make(map[string]T, len(old))
	var before, named []string
	for _, x := range old {
		have[slug(x)] = x
		before = append(before, slug(x))
	}
	var rows []AuditRow
	for _, x := range list {
		named = append(named, slug(x))
		if was, ok := have[slug(x)]; ok && reflect.DeepEqual(was, x) {
			continue
		}
		if err := save(ctx, tx, x); err != nil {
			return nil, err
		}
		text, err := json.Marshal(x)
		if err != nil {
			return nil, err
		}
		rows = append(rows, AuditRow{Action: actDescribed, Subject: table + " " + slug(x), Detail: string(text)})
	}
	after := merge(before, named)
	if slices.Equal(before, after) {
		return rows, nil
	}
	for i, name := range after {
		if i < len(before) && before[i] == name {
			continue
		}
		if _, err := tx.ExecContext(ctx, `UPDATE `+table+` SET ord = $1 WHERE slug = $2`, i, name); err != nil {
			return nil, err
		}
	}
	if len(rows) == 0 {
		rows = append(rows, AuditRow{Action: actDescribed, Subject: "order of every " + table})
	}
	return rows, nil
}

// merge gives the order after a save.
func merge(before, named []string) []string {
	in := map[string]bool{}
	for _, n := range named {
		in[n] = true
	}
	if !slices.ContainsFunc(before, func(b string) bool { return !in[b] }) {
		return named
	}
	after := slices.Clone(before)
	for _, n := range named {
		if !slices.Contains(before, n) {
			after = append(after, n)
		}
	}
	return after
}

func saveSite(ctx context.Context, tx *sql.Tx, x schedule.Site) error {
	detail, err := json.Marshal(siteDetail{x.Climate, x.Reach})
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO site (slug, ord, name, zone, place, access, caution, detail)
		VALUES ($1, 0, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (slug) DO UPDATE SET name = excluded.name, zone = excluded.zone, place = excluded.place,
			access = excluded.access, caution = excluded.caution, detail = excluded.detail`,
		x.Slug, x.Name, x.Zone, x.Place, x.Access, x.Caution, string(detail))
	return err
}

func savePerson(ctx context.Context, tx *sql.Tx, x schedule.Person) error {
	wishes, err := json.Marshal(x.Mail)
	if err != nil {
		return err
	}
	going, err := json.Marshal(x.Going)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO person (slug, ord, name, email, zone, units, wishes, going)
		VALUES ($1, 0, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (slug) DO UPDATE SET name = excluded.name, email = excluded.email, zone = excluded.zone,
			units = excluded.units, wishes = excluded.wishes, going = excluded.going`,
		x.Slug, x.Name, x.Email, x.Zone, string(x.Units), string(wishes), string(going))
	return err
}

func saveClock(ctx context.Context, tx *sql.Tx, c schedule.Clock) error {
	cautions, err := json.Marshal(c.Cautions)
	if err != nil {
		return err
	}
	detail, err := json.Marshal(c.Care)
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO clock (slug, ord, name, kind, site, in_care, note, cautions, detail)
		VALUES ($1, 0, $2, $3, $4, $5, $6, $7, $8)
		ON CONFLICT (slug) DO UPDATE SET name = excluded.name, kind = excluded.kind, site = excluded.site,
			in_care = excluded.in_care, note = excluded.note, cautions = excluded.cautions, detail = excluded.detail`,
		c.Slug, c.Name, string(c.Kind), c.Site, c.InCare.String(), c.Note, string(cautions), string(detail))
	if err != nil {
		return err
	}
	for _, table := range []string{"mesh", "bearing", "arbor", "train", "duty", "policy"} {
		if _, err := tx.ExecContext(ctx, `DELETE FROM `+table+` WHERE clock = $1`, c.Slug); err != nil {
			return err
		}
	}
	for i, d := range c.Duties {
		_, err := tx.ExecContext(ctx, `INSERT INTO duty (clock, ord, person, role) VALUES ($1, $2, $3, $4)`,
			c.Slug, i, d.Person, string(d.Role))
		if err != nil {
			return err
		}
	}
	if err := savePolicies(ctx, tx, c); err != nil {
		return err
	}
	return saveTrains(ctx, tx, c)
}

func savePolicies(ctx context.Context, tx *sql.Tx, c schedule.Clock) error {
	for i, p := range c.Policies {
		_, err := tx.ExecContext(ctx, `INSERT INTO policy (clock, ord, task, train, bearing, days, run_hours, lead, grace, reason,
				source, risk, line, minutes, two)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)`,
			c.Slug, i, string(p.Task), p.Train, p.Bearing, p.Days, p.RunHours, p.Lead, p.Grace, p.Reason,
			p.Source, p.Risk, p.Line, p.Minutes, p.Two)
		if err != nil {
			return err
		}
	}
	return nil
}

// siteDetail and trainDetail are what has no column of its own, kept as JSON; a
// clock's is its Care.
type siteDetail struct {
	Climate *schedule.Climate `json:"climate,omitempty"`
	Reach   schedule.Reach    `json:"reach,omitzero"`
}

type trainDetail struct {
	Weight     *wear.Weight   `json:"weight,omitempty"`
	Striking   *wear.Striking `json:"striking,omitempty"`
	MeterHours float64        `json:"meterHours,omitempty"`
}

func saveTrains(ctx context.Context, tx *sql.Tx, c schedule.Clock) error {
	for i, t := range c.Trains {
		detail, err := json.Marshal(trainDetail{t.Weight, t.Striking, t.MeterHours})
		if err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx, `INSERT INTO train (clock, ord, code, name, kind, drive, reserve_ns, strokes_per_day, detail)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			c.Slug, i, t.Code, t.Name, string(t.Kind), string(t.Drive), int64(t.Reserve), t.StrokesPerDay, string(detail))
		if err != nil {
			return err
		}
		for j, a := range t.Arbors {
			_, err := tx.ExecContext(ctx, `INSERT INTO arbor (clock, train_ord, ord, code, name, revs)
				VALUES ($1, $2, $3, $4, $5, $6)`, c.Slug, i, j, a.Code, a.Name, a.Revs)
			if err != nil {
				return err
			}
			for k, b := range a.Bearings {
				if err := saveBearing(ctx, tx, c.Slug, i, j, k, b); err != nil {
					return fmt.Errorf("bearing %s: %w", b.Code, err)
				}
			}
		}
		for j, m := range t.Meshes {
			if err := saveMesh(ctx, tx, c.Slug, i, j, m); err != nil {
				return fmt.Errorf("mesh %s: %w", m.Code, err)
			}
		}
	}
	return nil
}

func saveMesh(ctx context.Context, tx *sql.Tx, clock string, train, ord int, m wear.Mesh) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO mesh (clock, train_ord, ord, code, name, bearing, kind, module_mm, pressure_deg,
			cycloidal, teeth, mate, cone_deg, on_drop, mounted_um, backlash_um, to_hand)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)`,
		clock, train, ord, m.Code, m.Name, m.Bearing, string(m.Kind), m.Module, m.PressureAngle,
		m.Cycloidal, m.Teeth, m.Mate, m.Cone, string(m.Drop), int64(m.Mounted), int64(m.Backlash), m.ToHand)
	return err
}

func saveBearing(ctx context.Context, tx *sql.Tx, clock string, train, arbor, ord int, b wear.Bearing) error {
	var watch, act sql.Null[int64]
	var watchSource, actSource sql.Null[string]
	if b.Watch != nil {
		watch, watchSource = sql.Null[int64]{V: int64(b.Watch.Size), Valid: true}, sql.Null[string]{V: b.Watch.Source, Valid: true}
	}
	if b.Act != nil {
		act, actSource = sql.Null[int64]{V: int64(b.Act.Size), Valid: true}, sql.Null[string]{V: b.Act.Source, Valid: true}
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO bearing (clock, train_ord, arbor_ord, ord, code, name, form, shake, pair,
			surroundings, load_n, outer_um, inner_um, bore_um, pivot_um, long_um, fitted_at, fitted_um, fitted_sd_um,
			watch_um, watch_source, act_um, act_source, stand_um, shaft, frame)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25, $26)`,
		clock, train, arbor, ord, b.Code, b.Name, string(b.Form), string(b.Shake), string(b.Pair),
		string(b.In), b.Load, int64(b.Outer), int64(b.Inner), int64(b.Bore), int64(b.Pivot), int64(b.Long),
		stamp(b.FittedAt), int64(b.Fitted), int64(b.FittedSD), watch, watchSource, act, actSource,
		int64(b.Stand), string(b.Shaft), string(b.Frame))
	return err
}

// canonical is a copy of a fleet as it will be read back: times in UTC to the
// microsecond, empty lists nil, what is kept as JSON as that gives it.
func canonical(f schedule.Fleet) schedule.Fleet {
	f.Sites, f.People, f.Clocks = own(f.Sites), own(f.People), own(f.Clocks)
	for i := range f.Sites {
		f.Sites[i].Reach = throughJSON(f.Sites[i].Reach)
	}
	for i := range f.People {
		f.People[i].Going = throughJSON(f.People[i].Going)
	}
	for i := range f.Clocks {
		c := &f.Clocks[i]
		c.Care = throughJSON(c.Care)
		c.Cautions, c.Duties, c.Policies, c.Trains = own(c.Cautions), own(c.Duties), own(c.Policies), own(c.Trains)
		for j := range c.Trains {
			t := &c.Trains[j]
			t.Arbors, t.Meshes = own(t.Arbors), own(t.Meshes)
			if t.Weight != nil {
				w := throughJSON(*t.Weight)
				t.Weight = &w
			}
			for k := range t.Arbors {
				a := &t.Arbors[k]
				a.Bearings = own(a.Bearings)
				for n := range a.Bearings {
					a.Bearings[n].FittedAt = micro(a.Bearings[n].FittedAt)
				}
			}
		}
	}
	return f
}

// throughJSON is a copy of something that checkStorable passed, as JSON gives it
// back.
func throughJSON[T any](v T) T {
	var back T
	text, err := json.Marshal(v)
	if err == nil {
		err = json.Unmarshal(text, &back)
	}
	if err != nil {
		return v // saving it will say why
	}
	return back
}
