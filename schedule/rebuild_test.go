package schedule

import (
	"encoding/json"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// made is an invented clock with an invented log that has something of
// everything, made from a seed. Stops and starts alternate.
func made(seed uint64) (Clock, []Entry) {
	r := rand.New(rand.NewPCG(seed, 7))
	c := pump()
	c.Trains[0].Drive = []wear.Drive{wear.HandWound, wear.AutoWound, wear.Electric}[r.IntN(3)]
	c.Trains[0].Reserve = []time.Duration{0, hour30, days8, days8 + 12*time.Hour}[r.IntN(4)]
	c.Cautions = []Hazard{Radium, HeavyFall}[:r.IntN(3)]
	if r.IntN(2) == 0 { // all its figures are known, so that none is NaN and unlike itself
		c.Trains[1].Meshes = []wear.Mesh{{
			Code: "fly-wheel", Bearing: "centre-front", Kind: wear.Spur, Module: 0.3 + r.Float64(), PressureAngle: 20,
			Teeth: 12 + r.IntN(40), Mate: 12 + r.IntN(40), Drop: wear.Opens, Mounted: mm(0.05), Backlash: mm(0.05), ToHand: 1,
		}}
	}
	for _, p := range []Policy{
		{Task: Winding, Days: 1 + r.IntN(9), Source: "x"}, {Task: Oiling, Days: 1 + r.IntN(400), Lead: r.IntN(60), Grace: r.IntN(60), Source: "x"},
		{Task: Oiling, Train: "strike", RunHours: float64(1 + r.IntN(9000)), Source: "x"}, {Task: Inspection, Days: 1 + r.IntN(900), RunHours: 4000, Source: "x"},
		{Task: Measuring, Days: 1 + r.IntN(1500), Source: "x"}, {Task: Measuring, Bearing: "second-back", RunHours: float64(1 + r.IntN(20000)), Source: "x"},
	} {
		if r.IntN(4) > 0 {
			c.Policies = append(c.Policies, p)
		}
	}
	c.Care = roped().Care
	if c.Trains[0].Drive == wear.Electric { // nothing hangs on it
		c.Care.Lines[0].Train = "strike"
	}
	c.Care.Lines[1].MostYears, c.Care.Lines[1].FittedAt, c.Care.Lines[1].Source = 12, d("2015-03-01"), "conservator"
	c.Care.Change = append(ChangeHows, "")[seed%5]
	c.Care.Seasons = lit("11-15", "02-10").Care.Seasons
	c.Policies = append(c.Policies, Policy{Task: LineLook, Days: 200, Source: "x"}, Policy{Task: Visiting, Days: 365, Source: "x"})
	q := rand.New(rand.NewPCG(seed, 8))
	var log []Entry
	stopped, level := false, 0.1
	for day := 3; day < 2300; day += 1 + r.IntN(60) {
		when := d("2020-01-01").Add(day).At(r.IntN(24), r.IntN(60), time.UTC)
		kind := EntryKinds[r.IntN(len(EntryKinds))]
		e := doneAt(kind, when)
		switch kind {
		case Wound:
			e.Part = r.IntN(5) == 0
		case Measured:
			level += 0.02 * r.Float64()
			gave(level)(&e)
		case Repaired:
			left([]float64{0, 0.11}[r.IntN(2)])(&e)
			level = 0.11
		case Stopped, Started:
			if stopped == (kind == Stopped) {
				continue
			}
			stopped = kind == Stopped
			if stopped {
				e.Cause = StopCauses[r.IntN(len(StopCauses)-1)] // silenced, the last, is of a strike alone
			}
			if e.Cause == Rest || e.Cause == ForWork {
				e.Until = DateOf(when, time.UTC).Add(r.IntN(200) + 1)
			}
		case Inspected:
			switch q.IntN(4) {
			case 0:
				ofLine("going-line", LineCheck{Wires6: q.IntN(3), Wires30: 3 + q.IntN(3)})(&e)
			case 1:
				e.Visit, e.Found = true, []Condition{Sound, Watch, Act}[q.IntN(3)]
			default:
				e.Found = Sound
			}
		case Set:
			e.ErrorLeft = num(0)
		case Noted:
			e.Note = "a swift in the louvre"
			if q.IntN(3) == 0 {
				e.Season = "lights"
			}
		}
		log = append(log, e)
		if e.Check != nil { // and so it is locked
			log = append(log, doneAt(Noted, when.Add(10*time.Minute), note("may run"), clearing(DoNotRun), doneBy("cleo")))
		}
	}
	log = book(log...)
	for _, e := range log {
		if e.Kind == Oiled && r.IntN(3) == 0 {
			right := doneAt(Oiled, e.At.Add(-time.Hour), instead(e.ID, "an hour early"), called(e.ID+"b"))
			right.RecordedAt = e.RecordedAt.Add(time.Second)
			log = append(log, right)
		}
	}
	return c, log
}

// The same log in any order gives the same answer, to the last bit; and the
// facts given are left as they were.
func TestRebuild(t *testing.T) {
	site := fleetOf("Europe/London").Sites[0]
	for seed := range uint64(25) {
		c, log := made(seed)
		now := utc("2026-03-01 12:00")
		before, _ := json.Marshal([]any{c, log})
		m := []Model{{}, inForce()}[seed%2]
		base := Assess(Facts{Clock: c, Site: site, Entries: log, Model: m}, now)
		if len(base.Problems) > 0 {
			t.Fatalf("seed %d: %q", seed, base.Problems)
		}
		for range 4 {
			mixed := slices.Clone(log)
			rand.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
			again := Assess(Facts{Clock: c, Site: site, Entries: mixed, Model: m}, now)
			base.given, again.given = given{}, given{} // where it lies is not what it says
			if !reflect.DeepEqual(base, again) {
				t.Fatalf("seed %d: another order of the log gives another answer", seed)
			}
		}
		if after, _ := json.Marshal([]any{c, log}); string(before) != string(after) {
			t.Fatalf("seed %d: assessing changed the facts", seed)
		}
	}
}

// A snapshot with one clock assessed anew equals a fresh one, and the old one
// stays as it was.
func TestSurveyAndWith(t *testing.T) {
	a, logA := made(1)
	b, logB := made(2)
	b.Slug = "gate-house"
	fleet := fleetOf("Europe/London", a, b)
	now := utc("2026-03-01 12:00")
	old := map[string][]Entry{"pump-room": logA[:len(logA)/2], "gate-house": logB}
	full := map[string][]Entry{"pump-room": logA, "gate-house": logB}

	first := Survey(fleet, old, Model{}, now)
	kept := Survey(fleet, old, Model{}, now)
	next := first.With("pump-room", logA, Model{}, now)
	if want := Survey(fleet, full, Model{}, now); !reflect.DeepEqual(next, want) {
		t.Error("one clock assessed anew is not as a fresh survey")
	}
	if !reflect.DeepEqual(first, kept) {
		t.Error("the old snapshot was changed")
	}
	if same := first.With("nobody", nil, Model{}, now); !reflect.DeepEqual(same, first) {
		t.Error("a clock that is not there changed something")
	}
	if x, ok := next.Clock("gate-house"); !ok || x.Clock.Slug != "gate-house" {
		t.Errorf("gate-house: %v %v", x.Clock.Slug, ok)
	}
	if _, ok := next.Clock("nobody"); ok {
		t.Error("found a clock that is not there")
	}
	var empty Snapshot
	if got := empty.With("x", nil, Model{}, now); len(got.Clocks) != 0 {
		t.Error("an empty snapshot has grown")
	}
}

// What holds for any clock and log, on any day.
func TestProperties(t *testing.T) {
	zones := []string{"UTC", "Europe/London", "America/New_York", "Pacific/Auckland", "Asia/Kathmandu"}
	for seed := range uint64(40) {
		c, log := made(seed)
		fleet := fleetOf(zones[seed%5], c)
		if err := fleet.Validate(); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		for day := 0; day < 2500; day += 97 {
			now := utc("2020-01-01 06:00").Add(time.Duration(day) * 24 * time.Hour)
			m := []Model{{}, inForce(), taught()}[day/97%3]
			log := log
			if seed%3 == 0 && day > 1200 {
				lock := did(Noted, "2023-03-03 09:00", note("loose stone"), locking(LockKinds[seed%2]), called("lock"))
				log = append(slices.Clone(log), lock)
			}
			a := Assess(Facts{Clock: c, Site: fleet.Sites[0], Entries: log, Model: m}, now)
			if len(a.Locks) > 0 && !strings.HasPrefix(a.Status, Capital(string(a.Locks[0].Kind))+": loose stone (3 Mar 2023). Cleared only by") {
				t.Errorf("locked, and its status is %q", a.Status)
			}
			where := now.Format(time.DateOnly) + " of a made clock"
			for i, x := range a.Tasks {
				checkTask(t, where, x)
				if len(a.Locks) > 0 && !strings.HasPrefix(x.Caution, a.Locks[0].Words()) {
					t.Errorf("%s: locked, and the caution of %s begins %q", where, x.Kind, x.Caution)
				}
				if x.Clock != c.Slug {
					t.Errorf("%s: a task of %q", where, x.Clock)
				}
				if i > 0 && Pressing(&a.Tasks[i-1], &x) > 0 {
					t.Errorf("%s: tasks out of order", where)
				}
				if (x.State == Resting) != (a.Resting && !x.pressesAtRest() || a.held(x)) {
					t.Errorf("%s: %s is %s, the clock resting %v", where, x.Kind, x.State, a.Resting)
				}
				for _, y := range a.Tasks[:i] {
					if x.Kind == y.Kind && x.Subject == y.Subject {
						t.Errorf("%s: two tasks of %s on %q", where, x.Kind, x.Subject)
					}
				}
			}
			for i, o := range a.Outlooks {
				checkOutlook(t, where, o)
				if i > 0 && worstFirst(&a.Outlooks[i-1], &o) > 0 {
					t.Errorf("%s: outlooks out of order", where)
				}
			}
			for _, st := range a.Trains {
				if h := st.RunHours; h.Lower < 0 || h.Lower > h.Likely || h.Likely > h.Upper || st.PerDay < 0 || st.PerDay > 24 {
					t.Errorf("%s: %+v, %v a day", where, h, st.PerDay)
				}
			}
			checkWords(t, where, a.Status)
			if a.Going && a.Resting || t.Failed() {
				t.Fatalf("%s (seed %d): going %v and resting %v", where, seed, a.Going, a.Resting)
			}
		}
	}
}

// Each entry of a made log can be logged in its turn.
func TestMadeLogsCanBeLogged(t *testing.T) {
	for seed := range uint64(10) {
		c, log := made(seed)
		slices.SortFunc(log, func(a, b Entry) int { return a.RecordedAt.Compare(b.RecordedAt) })
		fleet := fleetOf("UTC", c)
		var so []Entry
		for _, e := range log {
			if e.Kind == Wound && c.Trains[0].Drive != wear.HandWound {
				e.Train = "strike"
			}
			if err := Validate(e, fleet, so, Model{}, utc("2026-06-01")); err != nil {
				t.Fatalf("seed %d: %s at %v: %v", seed, e.Kind, e.At, err)
			}
			so = append(so, e)
		}
	}
}

func TestWorst(t *testing.T) {
	if _, ok := (Assessment{}).Worst(); ok {
		t.Error("the worst of none")
	}
	a := Assessment{Outlooks: []Outlook{
		{Bearing: wear.Bearing{Code: "unknown"}, Used: 9, Limit: limitAt(1)}, {Bearing: wear.Bearing{Code: "free"}, Known: true, Used: 8},
		{Bearing: wear.Bearing{Code: "half"}, Known: true, Used: 0.5, Limit: limitAt(1)}, {Bearing: wear.Bearing{Code: "most"}, Known: true, Used: 0.9, Limit: limitAt(1)},
	}}
	if o, ok := a.Worst(); !ok || o.Bearing.Code != "most" {
		t.Errorf("the worst is %q, want the most used of those known and limited", o.Bearing.Code)
	}
	order := []Outlook{
		{Condition: Act, Used: 1}, {Condition: Watch, Used: 3}, {Condition: Watch, Used: 2}, {Condition: Sound, Used: 9},
		{Bearing: wear.Bearing{Code: "a"}}, {Bearing: wear.Bearing{Code: "b"}},
	}
	for i := range order[1:] {
		if worstFirst(&order[i], &order[i+1]) >= 0 || worstFirst(&order[i+1], &order[i]) <= 0 {
			t.Errorf("outlooks %d and %d are out of order", i, i+1)
		}
	}
	if _, ok := a.Outlook("gone"); ok {
		t.Error("found an outlook that is not there")
	}
	if _, ok := a.Train("gone"); ok {
		t.Error("found a train that is not there")
	}
}
