package schedule

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func TestFleetThatFits(t *testing.T) {
	daily := pump()
	daily.Slug, daily.Kind, daily.Cautions = "gate-house", Post, []Hazard{Radium, Height}
	daily.Trains = []wear.Train{{Code: "going", Kind: wear.Going, Drive: wear.Electric}}
	bare := Clock{Slug: "x", Name: "X", Kind: Private, Site: "pump-yard", InCare: d("1850-01-01")}
	for name, f := range map[string]Fleet{
		"nothing":      {},
		"one clock":    fleetOf("Europe/London", pump()),
		"three clocks": fleetOf("Asia/Kathmandu", pump(), daily, bare),
		"no duties":    {Sites: fleetOf("UTC").Sites, Clocks: []Clock{bare}},
	} {
		if err := f.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// spoilt gives a good fleet with one thing made wrong.
func spoilt(wrong func(f *Fleet, c *Clock)) Fleet {
	f := fleetOf("Europe/London", pump())
	f.Clocks[0].Policies = []Policy{{Task: Oiling, Days: 182, Source: "keeper"}}
	wrong(&f, &f.Clocks[0])
	return f
}

type wrongFleet struct {
	name     string
	wrong    func(f *Fleet, c *Clock)
	code     Code
	field    string
	sentence string
}

func (w wrongFleet) check(t *testing.T) {
	t.Run(w.name, func(t *testing.T) {
		refused(t, spoilt(w.wrong).Validate(), w.code, w.field, w.sentence)
	})
}

func TestSitesAndPeopleRefused(t *testing.T) {
	for _, w := range []wrongFleet{
		{"site without a slug", func(f *Fleet, _ *Clock) { f.Sites[0].Slug = "" }, Invalid, "sites[0]", `sites[0]: the short name ""`},
		{"slug with capitals", func(f *Fleet, _ *Clock) { f.Sites[0].Slug = "Pump-Yard" }, Invalid, "sites[0]", "small letters, digits and hyphens"},
		{"slug with a slash", func(f *Fleet, _ *Clock) { f.Sites[0].Slug = "pump/yard" }, Invalid, "sites[0]", "small letters"},
		{"slug of 61", func(f *Fleet, _ *Clock) { f.Sites[0].Slug = strings.Repeat("a", 61) }, Invalid, "sites[0]", "1 to 60"},
		{"site without a name", func(f *Fleet, _ *Clock) { f.Sites[0].Name = " " }, Invalid, "sites[0]", "site pump-yard has no name"},
		{"unknown zone", func(f *Fleet, _ *Clock) { f.Sites[0].Zone = "Europe/Lundun" }, Invalid, "sites[0]", `zone "Europe/Lundun" is not known`},
		{"no zone", func(f *Fleet, _ *Clock) { f.Sites[0].Zone = "" }, Invalid, "sites[0]", "use an IANA name"},
		{"the machine's zone", func(f *Fleet, _ *Clock) { f.Sites[0].Zone = "Local" }, Invalid, "sites[0]", `zone "Local"`},
		{"zone that climbs", func(f *Fleet, _ *Clock) { f.Sites[0].Zone = "../../etc/passwd" }, Invalid, "sites[0]", "is not known"},
		{"two sites alike", func(f *Fleet, _ *Clock) { f.Sites = append(f.Sites, f.Sites[0]) }, Invalid, "sites[1]", `two sites are called "pump-yard"`},
		{"broken text", func(f *Fleet, _ *Clock) { f.Sites[0].Access = "a\xffb" }, Invalid, "sites[0]", "not valid UTF-8"},
		{"control character", func(f *Fleet, _ *Clock) { f.Sites[0].Place = "bell\x07" }, Invalid, "sites[0]", "control character"},
		{"a whole book", func(f *Fleet, _ *Clock) { f.Sites[0].Caution = strings.Repeat("x", 4001) }, Invalid, "sites[0]", "text of 4001 bytes is too long"},
		{"name on two lines", func(f *Fleet, _ *Clock) { f.Sites[0].Name = "Pump\nYard" }, Invalid, "sites[0]", "several lines"},

		{"person without a slug", func(f *Fleet, _ *Clock) { f.People[1].Slug = "" }, Invalid, "people[1]", "people[1]: the short name"},
		{"person without a name", func(f *Fleet, _ *Clock) { f.People[0].Name = "" }, Invalid, "people[0]", "ann has no name"},
		{"two people alike", func(f *Fleet, _ *Clock) { f.People[1].Slug = "ann" }, Invalid, "people[1]", `two people are called "ann"`},
		{"no mail address", func(f *Fleet, _ *Clock) { f.People[0].Email = "ann at example" }, Invalid, "people[0]", `"ann at example" is not a mail address`},
		{"two addresses", func(f *Fleet, _ *Clock) { f.People[0].Email = "a@example.org, b@example.org" }, Invalid, "people[0]", "write it plainly"},
		{"address with a name", func(f *Fleet, _ *Clock) { f.People[0].Email = "Ann <ann@example.org>" }, Invalid, "people[0]", "write it plainly"},
		{"address with a header in it", func(f *Fleet, _ *Clock) { f.People[0].Email = "ann@example.org\r\nBcc: x@example.org" }, Invalid, "people[0]", "not a mail address"},
		{"address with no letters to spare", func(f *Fleet, _ *Clock) { f.People[0].Email = strings.Repeat("a", 250) + "@example.org" }, Invalid, "people[0]", "is longer than 254 characters"},
		{"domain that cannot be", func(f *Fleet, _ *Clock) { f.People[0].Email = "ann@exa_mple.org" }, Invalid, "people[0]", "has a domain that no mail can reach"},
		{"letters not every server takes", func(f *Fleet, _ *Clock) { f.People[0].Email = "änn@example.org" }, Invalid, "people[0]", "plain letters"},
		{"unknown unit", func(f *Fleet, _ *Clock) { f.People[0].Units = "furlong" }, Invalid, "people[0]", `unit "furlong" is not known: use mm or thou`},
		{"unit in other words", func(f *Fleet, _ *Clock) { f.People[0].Units = "inches" }, Invalid, "people[0]", "use mm or thou"},
		{"person's zone", func(f *Fleet, _ *Clock) { f.People[0].Zone = "Mars/Olympus" }, Invalid, "people[0]", `zone "Mars/Olympus"`},
		{"name for a header", func(f *Fleet, _ *Clock) { f.People[0].Name = "Ann\r\nBcc: x@example.org" }, Invalid, "people[0]", "several lines"},
	} {
		w.check(t)
	}
}

func TestClocksRefused(t *testing.T) {
	const where = "clock pump-room"
	for _, w := range []wrongFleet{
		{"no slug", func(_ *Fleet, c *Clock) { c.Slug = "" }, Invalid, "clocks[0]", "clocks[0]: the short name"},
		{"two clocks alike", func(f *Fleet, c *Clock) { f.Clocks = append(f.Clocks, *c) }, Invalid, "clocks[1]", `two clocks are called "pump-room"`},
		{"no name", func(_ *Fleet, c *Clock) { c.Name = "" }, Invalid, where, "clock pump-room has no name"},
		{"unknown kind", func(_ *Fleet, c *Clock) { c.Kind = "sundial" }, Invalid, where, `kind "sundial" is not known: use turret, post or private`},
		{"no first day", func(_ *Fleet, c *Clock) { c.InCare = Date{} }, Invalid, where, "say from which day its log begins"},
		{"a slip of the year", func(_ *Fleet, c *Clock) { c.InCare = d("0206-11-25") }, Invalid, where, "check the year"},
		{"a year to come", func(_ *Fleet, c *Clock) { c.InCare = d("9999-12-31") }, Invalid, where, "check the year"},
		{"unknown site", func(_ *Fleet, c *Clock) { c.Site = "moon" }, NotFound, where, `there is no site "moon"`},
		{"unknown caution", func(_ *Fleet, c *Clock) { c.Cautions = []Hazard{Radium, "ghosts"} }, Invalid, where, `caution "ghosts" is not known: use one of radium, `},
		{"unknown person", func(_ *Fleet, c *Clock) { c.Duties[0].Person = "eve" }, NotFound, where, `there is no person "eve"`},
		{"unknown role", func(_ *Fleet, c *Clock) { c.Duties[0].Role = "bishop" }, Invalid, where, `role "bishop" is not known: use one of conservator, keeper`},
		{"note with a nought", func(_ *Fleet, c *Clock) { c.Note = "a\x00b" }, Invalid, where, "control character"},
		{"name on two lines", func(_ *Fleet, c *Clock) { c.Name = "Pump\r\nRoom" }, Invalid, where, "several lines"},
	} {
		w.check(t)
	}
}

func TestTrainsRefused(t *testing.T) {
	const where = "clock pump-room"
	train := func(f func(*wear.Train)) func(*Fleet, *Clock) { return func(_ *Fleet, c *Clock) { f(&c.Trains[1]) } }
	arbor := func(f func(*wear.Arbor)) func(*Fleet, *Clock) {
		return func(_ *Fleet, c *Clock) { f(&c.Trains[0].Arbors[0]) }
	}
	bearing := func(f func(*wear.Bearing)) func(*Fleet, *Clock) {
		return func(_ *Fleet, c *Clock) { f(&c.Trains[0].Arbors[0].Bearings[0]) }
	}
	for _, w := range []wrongFleet{
		{"train without a code", train(func(x *wear.Train) { x.Code = "" }), Invalid, where + ": train", "clock pump-room: train: the short name"},
		{"two trains alike", train(func(x *wear.Train) { x.Code = "going" }), Invalid, where, `two trains are called "going"`},
		{"unknown kind", train(func(x *wear.Train) { x.Kind = "alarm" }), Invalid, where, `train strike: kind "alarm" is not known`},
		{"unknown drive", train(func(x *wear.Train) { x.Drive = "steam" }), Invalid, where, `train strike: drive "steam" is not known`},
		{"reserve below nothing", train(func(x *wear.Train) { x.Reserve = -time.Hour }), Invalid, where, "a wind that runs -1h0m0s cannot be right"},
		{"reserve of two years", train(func(x *wear.Train) { x.Reserve = 730 * 24 * time.Hour }), Invalid, where, "cannot be right"},
		{"no strokes", train(func(x *wear.Train) { x.StrokesPerDay = 0 }), Invalid, where, "say how many strokes"},
		{"strokes that are no number", train(func(x *wear.Train) { x.StrokesPerDay = math.NaN() }), Invalid, where, "NaN strokes a day cannot be right"},
		{"endless strokes", train(func(x *wear.Train) { x.StrokesPerDay = math.Inf(1) }), Invalid, where, "strokes a day cannot be right"},
		{"name on two lines", train(func(x *wear.Train) { x.Name = "a\nb" }), Invalid, where, "several lines"},
		{"arbor without a code", arbor(func(x *wear.Arbor) { x.Code = "" }), Invalid, where + ": arbor", "the short name"},
		{"turns that are no number", arbor(func(x *wear.Arbor) { x.Revs = math.NaN() }), Invalid, where, "arbor centre: NaN turns cannot be right"},
		{"turns below nothing", arbor(func(x *wear.Arbor) { x.Revs = -1 }), Invalid, where, "arbor centre: -1 turns"},
		{"two arbors alike", func(_ *Fleet, c *Clock) { c.Trains[1].Arbors[0].Code = "centre" }, Invalid, where, `two arbors are called "centre"`},
		{"two bearings alike", func(_ *Fleet, c *Clock) { c.Trains[1].Arbors[0].Bearings[0].Code = "centre-front" }, Invalid, where, `two bearings are called "centre-front"`},
		{"bearing without a code", bearing(func(b *wear.Bearing) { b.Code = "" }), Invalid, where + ": bearing", "the short name"},
		{"unknown form", bearing(func(b *wear.Bearing) { b.Form = "ball" }), Invalid, where, `bearing centre-front: form "ball"`},
		{"unknown shake", bearing(func(b *wear.Bearing) { b.Shake = "milk" }), Invalid, where, `shake "milk"`},
		{"unknown pair", bearing(func(b *wear.Bearing) { b.Pair = "gold on lead" }), Invalid, where, `material pair "gold on lead"`},
		{"unknown surroundings", bearing(func(b *wear.Bearing) { b.In = "under water" }), Invalid, where, `surroundings "under water"`},
		{"load that is no number", bearing(func(b *wear.Bearing) { b.Load = math.NaN() }), Invalid, where, "load NaN N"},
		{"limit below the fitted size", bearing(func(b *wear.Bearing) { b.Act = limitAt(0.08) }), Invalid, where, "bearing centre-front: limit 0.25 mm"},
		{"limit as large as fitted", bearing(func(b *wear.Bearing) { b.Watch = limitAt(0.10) }), Invalid, where, "is not above the fitted size 0.10 mm"},
		{"watch above act", bearing(func(b *wear.Bearing) { b.Watch = limitAt(0.40) }), Invalid, where, "must be below the act limit"},
		{"limit without a source", bearing(func(b *wear.Bearing) { b.Act = &wear.Limit{Size: mm(0.35)} }), Invalid, where, "has no source"},
		{"fitted in a year to come", bearing(func(b *wear.Bearing) { b.FittedAt = utc("9999-01-01") }), Invalid, where, "a part fitted in the year 9999"},
		{"name on two lines", bearing(func(b *wear.Bearing) { b.Name = "a\nb" }), Invalid, where, "several lines"},
		{"source that is no text", bearing(func(b *wear.Bearing) { b.Act.Source = "\xfe" }), Invalid, where, "not valid UTF-8"},
	} {
		if w.name == "limit below the fitted size" {
			wrong := w.wrong
			w.wrong = func(f *Fleet, c *Clock) {
				wrong(f, c)
				c.Trains[0].Arbors[0].Bearings[0].Watch = nil
			}
			w.sentence = "limit 0.08 mm (3.1 thou) is not above the fitted size 0.10 mm (3.9 thou)"
		}
		w.check(t)
	}
}

// geared gives a clock two meshes, one on each train.
func geared(c Clock) Clock {
	c.Trains[0].Meshes = []wear.Mesh{{Code: "motion-bevel", Name: "To the dial", Bearing: "centre-front", Kind: wear.Bevel,
		Module: 2.5, PressureAngle: 20, Teeth: 30, Mate: 30, Drop: wear.Opens, ToHand: 1}}
	c.Trains[1].Meshes = []wear.Mesh{{Code: "pin-wheel", Bearing: "second-back", Kind: wear.Spur, Module: 3, Cycloidal: true, Teeth: 8, Mate: 64}}
	return c
}

func TestMeshesRefused(t *testing.T) {
	const where, one = "clock pump-room", "clock pump-room: train going: "
	mesh := func(f func(*wear.Mesh)) func(*Fleet, *Clock) {
		return func(_ *Fleet, c *Clock) {
			*c = geared(*c)
			f(&c.Trains[0].Meshes[0])
		}
	}
	for _, w := range []wrongFleet{
		{"no code", mesh(func(m *wear.Mesh) { m.Code = "" }), Invalid, one + "mesh", one + `mesh: the short name ""`},
		{"code with a blank", mesh(func(m *wear.Mesh) { m.Code = "motion bevel" }), Invalid, one + "mesh", "small letters"},
		{"two alike on two trains", mesh(func(m *wear.Mesh) { m.Code = "pin-wheel" }), Invalid, where,
			`clock pump-room: train strike: two meshes of the clock are called "pin-wheel", the other on train going: give each its own code`},
		{"no bearing", mesh(func(m *wear.Mesh) { m.Bearing = "" }), Invalid, where, one + "mesh motion-bevel names no bearing"},
		{"a bearing that is not there", mesh(func(m *wear.Mesh) { m.Bearing = "fly" }), NotFound, where, one + `mesh motion-bevel names a bearing "fly" that is not described`},
		{"unknown kind", mesh(func(m *wear.Mesh) { m.Kind = "worm" }), Invalid, where, one + `mesh motion-bevel: kind "worm" is not known`},
		{"unknown drop", mesh(func(m *wear.Mesh) { m.Drop = "sinks" }), Invalid, where, `what a drop does, "sinks", is not known`},
		{"module that is no number", mesh(func(m *wear.Mesh) { m.Module = math.NaN() }), Invalid, where, one + "mesh motion-bevel: module NaN mm"},
		{"no teeth", mesh(func(m *wear.Mesh) { m.Mate = 0 }), Invalid, where, "30 and 0 teeth"},
		{"no angle", mesh(func(m *wear.Mesh) { m.PressureAngle = 0 }), Invalid, where, "pressure angle 0°"},
		{"name on two lines", mesh(func(m *wear.Mesh) { m.Name = "a\nb" }), Invalid, one + "mesh motion-bevel", "several lines"},
		{"stand without metals", func(_ *Fleet, c *Clock) { c.Trains[0].Arbors[0].Bearings[0].Stand = mm(2000) }, Invalid, where, "bearing centre-front: a shaft of 2.00 m (6 ft 7 in) moves by heat"},
		{"unknown metal", func(_ *Fleet, c *Clock) {
			b := &c.Trains[0].Arbors[0].Bearings[0]
			b.Shaft, b.Frame = wear.Steel, "oak"
		}, Invalid, where, `bearing centre-front: metal "oak" is not known`},
	} {
		w.check(t)
	}
	// The wheel of one train may sink with a bearing of another.
	f := spoilt(mesh(func(m *wear.Mesh) { m.Bearing = "second-back" }))
	if err := f.Validate(); err != nil {
		t.Error(err)
	}
	// Each clock has codes of its own.
	other := geared(pump())
	other.Slug = "pump-house"
	if err := fleetOf("UTC", geared(pump()), other).Validate(); err != nil {
		t.Error(err)
	}
}

func TestPoliciesRefused(t *testing.T) {
	const where = "clock pump-room"
	policy := func(f func(*Policy)) func(*Fleet, *Clock) { return func(_ *Fleet, c *Clock) { f(&c.Policies[0]) } }
	for _, w := range []wrongFleet{
		{"unknown task", policy(func(p *Policy) { p.Task = "dusting" }), Invalid, where, `a policy for "dusting" is not known`},
		{"near a limit", policy(func(p *Policy) { p.Task = NearLimit }), Invalid, where, "is not known"},
		{"no interval", policy(func(p *Policy) { p.Days = 0 }), Invalid, where, "policy for oiling has no interval: give days or run-hours"},
		{"days below nothing", policy(func(p *Policy) { p.Days = -7 }), Invalid, where, "days must be between"},
		{"days without end", policy(func(p *Policy) { p.Days = 36501 }), Invalid, where, "days must be between"},
		{"lead below nothing", policy(func(p *Policy) { p.Lead = -1 }), Invalid, where, "lead and grace"},
		{"grace of eleven years", policy(func(p *Policy) { p.Grace = 4000 }), Invalid, where, "lead and grace"},
		{"hours that are no number", policy(func(p *Policy) { p.RunHours = math.NaN() }), Invalid, where, "NaN run-hours cannot be right"},
		{"hours below nothing", policy(func(p *Policy) { p.RunHours = -1 }), Invalid, where, "run-hours cannot be right"},
		{"endless hours", policy(func(p *Policy) { p.RunHours = math.Inf(1) }), Invalid, where, "run-hours cannot be right"},
		{"no source", policy(func(p *Policy) { p.Source = " " }), Invalid, where, "policy for oiling has no source: say who set it and why"},
		{"unknown train", policy(func(p *Policy) { p.Train = "chime" }), NotFound, where, `names a train "chime" that is not described`},
		{"unknown bearing", policy(func(p *Policy) { p.Bearing = "fly" }), NotFound, where, `names a bearing "fly" that is not described`},
		{"bearing of another train", policy(func(p *Policy) { p.Train, p.Bearing = "strike", "centre-front" }), Invalid, where, `not on the train "strike"`},
		{"winding by hours", policy(func(p *Policy) { p.Task, p.Days, p.RunHours = Winding, 0, 168 }), Invalid, where, "a policy for winding gives days"},
		{"winding of a bearing", policy(func(p *Policy) { p.Task, p.Bearing = Winding, "centre-front" }), Invalid, where, "may name a train, nothing else"},
		{"two for the same", func(_ *Fleet, c *Clock) {
			c.Policies = append(c.Policies, Policy{Task: Oiling, RunHours: 900, Source: "firm"})
		}, Invalid, where, "two policies for oiling of the same thing"},
		{"reason with a bell", policy(func(p *Policy) { p.Reason = "\a" }), Invalid, where, "control character"},
	} {
		w.check(t)
	}
	f := spoilt(func(_ *Fleet, c *Clock) {
		c.Policies = []Policy{
			{Task: Oiling, Days: 182, Source: "keeper"}, {Task: Oiling, Train: "going", RunHours: 900, Source: "firm"},
			{Task: Oiling, Bearing: "centre-front", Days: 90, Source: "firm"}, {Task: Winding, Days: 7, Source: "firm"},
			{Task: Winding, Train: "strike", Days: 1, Source: "firm"}, {Task: Measuring, RunHours: 8766, Source: "firm"},
		}
	})
	if err := f.Validate(); err != nil {
		t.Errorf("policies for other things: %v", err)
	}
}

func TestVocabularies(t *testing.T) {
	for _, k := range TaskKinds {
		if taskWords[k] == "" || len(doers[k]) == 0 {
			t.Errorf("%s has no caution, or nobody to do it", k)
		}
		if _, ok := usual[k]; !ok {
			t.Errorf("%s has no usual window", k)
		}
	}
	for h := range hazardWords {
		if !strings.Contains(hazardList(), string(h)) {
			t.Errorf("caution %q is not offered when one is mistyped", h)
		}
	}
	for k, roles := range doers {
		for _, r := range roles {
			if !slices.Contains(Roles, r) {
				t.Errorf("%s is done by a %q, which is no role", k, r)
			}
		}
	}
	if len(EntryKinds) != 11 || len(StopCauses) != 9 || len(RepairWorks) != 6 || len(TaskStates) != 5 {
		t.Error("a vocabulary has changed: see whether forms, pages and mails know the new word")
	}
}

func TestLookups(t *testing.T) {
	f := fleetOf("UTC", pump())
	c := f.Clocks[0]
	if _, ok := f.Site("moon"); ok {
		t.Error("found a site that is not there")
	}
	if p, ok := f.Person("ben"); !ok || p.Name != "Ben Birchow" {
		t.Errorf("person ben: %v, %v", p, ok)
	}
	if b, a, tr, ok := c.Bearing("second-back"); !ok || b.Code != "second-back" || a.Code != "second" || tr.Code != "strike" {
		t.Errorf("bearing second-back: %v %v %v %v", b.Code, a.Code, tr.Code, ok)
	}
	if _, _, _, ok := c.Bearing(""); ok {
		t.Error("found a bearing without a code")
	}
	for _, tt := range []struct {
		person string
		roles  []Role
		want   bool
	}{
		{"ann", nil, true}, {"eve", nil, false}, {"ann", []Role{Deputy}, true}, {"ann", []Role{Winder}, false},
		{"ann", []Role{Winder, Keeper}, true}, {"dov", []Role{Owner}, true}, {"", nil, false},
	} {
		if got := c.Has(tt.person, tt.roles...); got != tt.want {
			t.Errorf("%q as %v: %v", tt.person, tt.roles, got)
		}
	}
	if (Site{Zone: "Nowhere"}).Location() != time.UTC || (Site{Zone: "Asia/Kolkata"}).Location().String() != "Asia/Kolkata" {
		t.Error("a site's location is not its zone, or UTC where that is not known")
	}
}
