package demo

import (
	"encoding/json"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// aDay is an ordinary day in the resting season.
var aDay = schedule.Date{Year: 2026, Month: time.November, Day: 25}

// someDays are ordinary and awkward days to call today.
var someDays = map[string]schedule.Date{
	"ordinary":      aDay,
	"summer":        {Year: 2026, Month: time.July, Day: 15},
	"leap day":      {Year: 2028, Month: time.February, Day: 29},
	"clocks on":     {Year: 2026, Month: time.March, Day: 29},
	"clocks back":   {Year: 2026, Month: time.October, Day: 25},
	"day after":     {Year: 2026, Month: time.October, Day: 26},
	"new year":      {Year: 2027, Month: time.January, Day: 1},
	"first resting": {Year: 2026, Month: time.November, Day: 1},
	"first going":   {Year: 2027, Month: time.April, Day: 1},
}

func london(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatalf("the zone of the district: %v", err)
	}
	return loc
}

// Every entry must be one that the program itself would have taken, in the
// order of recording, and the description one that it would read. Each entry is
// judged by the whole log before it. On one day every entry is; on the others
// every one of the last months, where the stories hang on today, and of the years
// before, which are the same lots on shifted days, a share that differs from day
// to day.
func TestEverythingValidates(t *testing.T) {
	for i, name := range slices.Sorted(maps.Keys(someDays)) {
		today, every := someDays[name], 13
		if today == aDay {
			every = 1
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			fleet, log := lived(today, 1).both()
			if err := fleet.Validate(); err != nil {
				t.Fatalf("the fleet: %v", err)
			}
			now := today.At(6, 0, london(t))
			lately := now.AddDate(0, -3, 0)
			asked := 0
			for slug, entries := range log {
				for j, e := range entries {
					if (j+i)%every != 0 && e.RecordedAt.Before(lately) && e.Change.IsZero() && e.Replaces == "" {
						continue
					}
					err := schedule.Validate(e, fleet, entries[:j], schedule.Model{}, now)
					if schedule.CodeOf(err) == schedule.Doubtful { // misread ones, and the chance odd one
						e.Sure, asked = true, asked+1
						err = schedule.Validate(e, fleet, entries[:j], schedule.Model{}, now)
					}
					if err != nil {
						t.Fatalf("%s, entry %d of %d (%s at %v): %v", slug, j, len(entries), e.Kind, e.At, err)
					}
				}
			}
			if asked > 8 {
				t.Errorf("%d readings would have been asked back", asked)
			}
		})
	}
}

func TestSameDayAndSeedGiveTheSameBytes(t *testing.T) {
	bytes := func(today schedule.Date, seed uint64) string {
		fleet, log := Fleet(today, seed)
		raw, err := json.Marshal(struct {
			Fleet schedule.Fleet
			Log   map[string][]schedule.Entry
		}{fleet, log})
		if err != nil {
			t.Fatal(err)
		}
		return string(raw)
	}
	first := bytes(aDay, 7)
	if bytes(aDay, 7) != first {
		t.Error("a second run of the same day and seed gave other bytes")
	}
	if bytes(aDay, 8) == first {
		t.Error("another seed gave the same bytes")
	}
	if bytes(aDay.Add(1), 7) == first {
		t.Error("another day gave the same bytes")
	}
}

// RFC 9562, section 5.7: 48 bits of Unix milliseconds, version 7, variant 10.
func TestIDsAreUUIDv7(t *testing.T) {
	shape := regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)
	seen := map[string]bool{}
	log := lived(aDay, 1).log
	for slug, entries := range log {
		last := ""
		for _, e := range entries {
			if !shape.MatchString(e.ID) {
				t.Fatalf("%s: ID %q is not a UUID of version 7", slug, e.ID)
			}
			if seen[e.ID] {
				t.Fatalf("%s: ID %s is given twice", slug, e.ID)
			}
			seen[e.ID] = true
			var ms int64
			for _, c := range strings.ReplaceAll(e.ID, "-", "")[:12] {
				ms = ms<<4 | int64(strings.IndexRune("0123456789abcdef", c))
			}
			if ms != e.RecordedAt.UnixMilli() {
				t.Fatalf("%s: ID %s holds %d ms, recorded at %d", slug, e.ID, ms, e.RecordedAt.UnixMilli())
			}
			if e.ID[:13] < last {
				t.Fatalf("%s: ID %s sorts before the one recorded earlier", slug, e.ID)
			}
			last = e.ID[:13]
		}
	}
}

func TestEntriesLieInTheirTime(t *testing.T) {
	loc := london(t)
	for name, today := range someDays {
		fleet, log := lived(today, 2).both()
		cut := today.At(6, 0, loc)
		for _, c := range fleet.Clocks {
			last := time.Time{}
			for _, e := range log[c.Slug] {
				switch {
				case e.Clock != c.Slug:
					t.Fatalf("%s: %s has an entry of %q", name, c.Slug, e.Clock)
				case e.At.After(cut), e.RecordedAt.After(cut):
					t.Fatalf("%s: %s at %v, recorded %v, is later than %v", name, c.Slug, e.At, e.RecordedAt, cut)
				case e.At.Before(c.InCare.Start(loc)):
					t.Fatalf("%s: %s at %v is before it came into care", name, c.Slug, e.At)
				case !e.RecordedAt.After(last), e.RecordedAt.Before(e.At):
					t.Fatalf("%s: %s at %v was recorded at %v, the one before at %v", name, c.Slug, e.At, e.RecordedAt, last)
				case e.At.Location() != time.UTC:
					t.Fatalf("%s: %s at %v is not in UTC", name, c.Slug, e.At)
				}
				last = e.RecordedAt
			}
		}
	}
}

func TestSizeOfTheFleet(t *testing.T) {
	for seed := uint64(1); seed <= 4; seed++ {
		fleet, log := lived(aDay, seed).both()
		kinds, total := map[schedule.EntryKind]int{}, 0
		for _, entries := range log {
			total += len(entries)
			for _, e := range entries {
				kinds[e.Kind]++
			}
		}
		if total < 8000 || total > 10000 {
			t.Errorf("seed %d: %d entries, wanted 8,000 to 10,000", seed, total)
		}
		for _, k := range schedule.EntryKinds {
			if kinds[k] == 0 {
				t.Errorf("seed %d: no entry of kind %s", seed, k)
			}
		}
		if n := len(fleet.Clocks); n != 12 {
			t.Errorf("%d clocks, wanted 12", n)
		}
		if n := kinds[schedule.Measured]; n < 400 || n > 700 {
			t.Errorf("seed %d: %d readings, wanted some 500", seed, n)
		}
		// One wind a week for a year and all that comes with it.
		weeks := float64(aDay.Sub(clockOf(t, fleet, "corn-hall").InCare)) / 7
		if n := float64(count(log["corn-hall"], schedule.Wound)); n < 0.97*weeks || n > 1.1*weeks {
			t.Errorf("seed %d: corn-hall was wound %.0f times in %.0f weeks", seed, n, weeks)
		}
	}
}

func TestWhoAndWhat(t *testing.T) {
	fleet := lived(aDay, 1).fleet
	kinds, drives, units := map[schedule.ClockKind]int{}, map[wear.Drive]int{}, map[wear.Unit]int{}
	for _, p := range fleet.People {
		units[p.Units]++
		if !strings.HasSuffix(p.Email, "@example.org") {
			t.Errorf("%s has mail at %s: only example.org is nobody's (RFC 2606)", p.Name, p.Email)
		}
	}
	for _, c := range fleet.Clocks {
		kinds[c.Kind]++
		drives[c.Trains[0].Drive]++
		checkClock(t, fleet, c)
	}
	if kinds[schedule.Post] != 2 || kinds[schedule.Private] != 2 || kinds[schedule.Turret] != 8 {
		t.Errorf("kinds %v, wanted 8 turret, 2 post, 2 private", kinds)
	}
	if drives[wear.Electric] != 1 || drives[wear.AutoWound] < 2 || drives[wear.HandWound] < 6 {
		t.Errorf("drives %v", drives)
	}
	if units[wear.Thou] == 0 || units[wear.MM] == 0 {
		t.Errorf("units %v, wanted both", units)
	}
}

// checkClock wants what every clock must have.
func checkClock(t *testing.T, fleet schedule.Fleet, c schedule.Clock) {
	t.Helper()
	bearings := 0
	for _, tr := range c.Trains {
		for _, a := range tr.Arbors {
			bearings += len(a.Bearings)
		}
		if tr.Drive == wear.HandWound && !hasPolicy(c, schedule.Winding, tr.Code) {
			t.Errorf("%s: nothing says when to wind the %s", c.Slug, tr.Name)
		}
	}
	if bearings < 4 || bearings > 8 {
		t.Errorf("%s has %d bearings, wanted 4 to 8", c.Slug, bearings)
	}
	if !c.Has(hestia, schedule.Conservator) {
		t.Errorf("%s has no conservator", c.Slug)
	}
	for _, p := range c.Policies {
		if p.Reason == "" || p.Source == "" {
			t.Errorf("%s: the policy for %s has no reason or no source", c.Slug, p.Task)
		}
	}
	site, _ := fleet.Site(c.Site)
	if site.Access == "" {
		t.Errorf("%s: nothing says how to get in", c.Slug)
	}
}

func TestPlainWords(t *testing.T) {
	// These words are here because this test keeps them out of everything that a
	// visitor reads: none is a clock keeper's.
	unwanted := regexp.MustCompile(`(?i)\b(work order|ticket|asset|preventive|overdue|backlog|priority|lorem|todo|demo user)\b`)
	fleet, log := lived(aDay, 1).both()
	raw, err := json.Marshal(struct {
		F schedule.Fleet
		L map[string][]schedule.Entry
	}{fleet, log})
	if err != nil {
		t.Fatal(err)
	}
	if w := unwanted.FindString(string(raw)); w != "" {
		t.Errorf("the fleet says %q", w)
	}
	for _, want := range []string{"invented", "leaves this machine"} {
		if !strings.Contains(Explain(), want) {
			t.Errorf("Explain does not say %q: %s", want, Explain())
		}
	}
	if n := len(Explain()); n < 100 || n > 600 {
		t.Errorf("Explain has %d bytes: a short paragraph is wanted", n)
	}
}

// Fleet hands out its own values every time: a reader may do as it likes.
func TestFleetsShareNothing(t *testing.T) {
	a, logA := Fleet(aDay, 1)
	a.Clocks[0].Trains[0].Arbors[0].Bearings[0].Act.Size = 1
	logA["corn-hall"][0].Note = "scribble"
	b, logB := Fleet(aDay, 1)
	if b.Clocks[0].Trains[0].Arbors[0].Bearings[0].Act.Size == 1 || logB["corn-hall"][0].Note == "scribble" {
		t.Error("two fleets share memory")
	}
	if reflect.DeepEqual(a, b) {
		t.Error("the scribble did not show: this test proves nothing")
	}
}

func clockOf(t testing.TB, f schedule.Fleet, slug string) schedule.Clock {
	t.Helper()
	c, ok := f.Clock(slug)
	if !ok {
		t.Fatalf("there is no clock %q", slug)
	}
	return c
}

func hasPolicy(c schedule.Clock, kind schedule.TaskKind, train string) bool {
	for _, p := range c.Policies {
		if p.Task == kind && p.Train == train {
			return true
		}
	}
	return false
}

func count(log []schedule.Entry, k schedule.EntryKind) int {
	n := 0
	for _, e := range log {
		if e.Kind == k {
			n++
		}
	}
	return n
}

func BenchmarkFleet(b *testing.B) {
	for b.Loop() {
		Fleet(aDay, 1)
	}
}
