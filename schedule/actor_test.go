package schedule

import (
	"testing"
	"time"
)

// actorFleet has two clocks: one of everybody's, one that only the other keeper
// looks after.
func actorFleet() Fleet {
	return Fleet{
		Sites: []Site{{Slug: "hall", Name: "Hall"}, {Slug: "quay", Name: "Quay"}},
		People: []Person{{Slug: "kept", Name: "Kept", Email: "kept@example.org"}, {Slug: "wound", Name: "Wound", Email: "wound@example.org"},
			{Slug: "owner", Name: "Owner", Email: "owner@example.org"}, {Slug: "other", Name: "Other", Email: "other@example.org"},
			{Slug: "care", Name: "Care", Email: "care@example.org"}},
		Clocks: []Clock{
			{Slug: "hall", Name: "Hall clock", Site: "hall", InCare: Date{2020, 1, 1}, Duties: []Duty{{"kept", Keeper}, {"wound", Winder}, {"owner", Owner}, {"care", Conservator}}},
			{Slug: "quay", Name: "Quay clock", Site: "quay", InCare: Date{2020, 1, 1}, Duties: []Duty{{"other", Keeper}}}},
	}
}

// TestAllow walks every action for every actor, on a clock of theirs and on
// another's. What is not listed is refused. (Roles of a small heritage service:
// judgement, no source.)
func TestAllow(t *testing.T) {
	f := actorFleet()
	on := func(a ...Action) map[Action]bool {
		m := map[Action]bool{}
		for _, a := range a {
			m[a] = true
		}
		return m
	}
	for name, c := range map[string]struct {
		by        Actor
		own, rest map[Action]bool // on the clock hall; on the clock quay, and the fleet
	}{
		"nobody":                   {Actor{}, on(), on()},
		"stranger":                 {Actor{Person: "gone"}, on(), on()},
		"conservator of the fleet": {Actor{Person: "boss", Conservator: true}, on(Actions...), on(Actions...)},
		"conservator of one clock": {Actor{Person: "care"}, on(SeeClock, LogEntry, Correct, Describe, Export), on()},
		"keeper":                   {Actor{Person: "kept"}, on(SeeClock, LogEntry), on()},
		"winder":                   {Actor{Person: "wound"}, on(SeeClock, LogEntry), on()},
		"owner":                    {Actor{Person: "owner"}, on(SeeClock, Export), on()},
		"program that reads":       {Actor{Machine: &Machine{Scopes: []Scope{ScopeRead}, Clocks: []string{"hall"}}}, on(SeeClock), on()},
		"program that logs":        {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}, Clocks: []string{"hall"}}}, on(LogEntry), on()},
		"program that measures":    {Actor{Machine: &Machine{Scopes: []Scope{ScopeMetrics}}}, on(), on(Measure)},
		"figures of one clock":     {Actor{Machine: &Machine{Scopes: []Scope{ScopeMetrics}, Clocks: []string{"hall"}}}, on(), on()},
		"program for a boss":       {Actor{Conservator: true, Machine: &Machine{Scopes: []Scope{ScopeRead}}}, on(SeeClock), on(SeeClock)},
		"link":                     {Actor{Person: "kept", Pass: &Pass{Person: "kept", Clock: "hall", Deed: Answering}}, on(SeeClock, LogEntry), on()},
		"link of a boss":           {Actor{Conservator: true, Pass: &Pass{Person: "kept", Clock: "hall", Deed: Answering}}, on(SeeClock, LogEntry), on()},
		"link of one who left":     {Actor{Pass: &Pass{Person: "gone", Clock: "hall", Deed: Answering}}, on(), on()},
		"link to decline":          {Actor{Pass: &Pass{Person: "kept", Clock: "hall", Deed: Declining}}, on(SeeClock), on(Refuse)},
		"link of a calendar":       {Actor{Pass: &Pass{Person: "kept", Deed: Following}}, on(SeeClock), on()},
		"calendar of nobody":       {Actor{Pass: &Pass{Deed: Following}}, on(), on()},
		"answer to no clock":       {Actor{Pass: &Pass{Person: "kept", Deed: Answering}}, on(), on()},
	} {
		for _, do := range Actions {
			for _, clock := range []string{"hall", "quay", "nowhere", ""} {
				want := clock != "nowhere" && clock != "" && c.rest[do]
				if clock == "hall" {
					want = c.own[do]
				}
				fleetwide := do == RunPeople || do == RunMail || do == ReadAudit || do == Measure || do == Refuse
				if fleetwide {
					want = c.rest[do]
				}
				err := f.Allow(c.by, do, clock)
				if (err == nil) != want {
					t.Errorf("%s, %s on %q: %v, want %v", name, do, clock, err, want)
				}
				code := Forbidden
				if seen := clock == "hall" && c.own[SeeClock] || clock == "quay" && c.rest[SeeClock]; !fleetwide && !seen {
					code = NotFound
				}
				if err != nil && CodeOf(err) != code {
					t.Errorf("%s, %s on %q: %q, want code %s", name, do, clock, CodeOf(err), code)
				}
			}
		}
	}
}

// TestNotYoursIsNotThere: another's clock is answered in the words for none.
func TestNotYoursIsNotThere(t *testing.T) {
	f := actorFleet()
	theirs, none := f.Allow(Actor{Person: "kept"}, SeeClock, "quay"), f.Allow(Actor{Person: "kept"}, SeeClock, "qua1")
	if theirs.Error() != `there is no clock "quay"` || none.Error() != `there is no clock "qua1"` {
		t.Errorf("%q and %q", theirs, none)
	}
}

func TestAllowEntry(t *testing.T) {
	f := actorFleet()
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	mine := &Entry{Clock: "hall", By: "kept", RecordedAt: now.Add(-13 * 24 * time.Hour)}
	stale := &Entry{Clock: "hall", By: "kept", RecordedAt: now.Add(-15 * 24 * time.Hour)}
	theirs := &Entry{Clock: "hall", By: "wound", RecordedAt: now}
	link := Actor{Pass: &Pass{Person: "kept", Clock: "hall", Deed: Answering}}
	for name, c := range map[string]struct {
		by   Actor
		e    Entry
		old  *Entry
		want Code
	}{
		"keeper measures":              {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Measured, By: "kept"}, nil, ""},
		"winder winds":                 {Actor{Person: "wound"}, Entry{Clock: "hall", Kind: Wound, By: "wound"}, nil, ""},
		"winder measures":              {Actor{Person: "wound"}, Entry{Clock: "hall", Kind: Measured, By: "wound"}, nil, Forbidden},
		"owner winds":                  {Actor{Person: "owner"}, Entry{Clock: "hall", Kind: Wound, By: "owner"}, nil, Forbidden},
		"in the winder's name":         {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Wound, By: "wound"}, nil, ""},
		"in a stranger's name":         {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Wound, By: "other"}, nil, Forbidden},
		"boss in a stranger's name":    {Actor{Conservator: true}, Entry{Clock: "hall", Kind: Wound, By: "other"}, nil, ""},
		"another's clock":              {Actor{Person: "kept"}, Entry{Clock: "quay", Kind: Wound, By: "kept"}, nil, NotFound},
		"own entry":                    {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Oiled, By: "kept"}, mine, ""},
		"own entry, long ago":          {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Oiled, By: "kept"}, stale, Forbidden},
		"another's entry":              {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Wound, By: "kept"}, theirs, Forbidden},
		"conservator corrects any":     {Actor{Person: "care"}, Entry{Clock: "hall", Kind: Wound}, stale, ""},
		"one that is not known":        {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Oiled, By: "kept", Replaces: "x"}, nil, Forbidden},
		"a program, not known":         {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Wound, Replaces: "x"}, nil, Forbidden},
		"a link, not known":            {link, Entry{Clock: "hall", Kind: Wound, Replaces: "x"}, nil, Forbidden},
		"conservator, not known":       {Actor{Person: "care"}, Entry{Clock: "hall", Kind: Wound, Replaces: "x"}, nil, ""},
		"a link corrects nothing":      {link, Entry{Clock: "hall", Kind: Wound}, mine, Forbidden},
		"a link logs":                  {link, Entry{Clock: "hall", Kind: Oiled}, nil, ""},
		"a program corrects nothing":   {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Wound}, mine, Forbidden},
		"a program for the winder":     {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Wound, By: "wound"}, nil, ""},
		"a program for a stranger":     {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Wound, By: "other"}, nil, Forbidden},
		"a program for nobody known":   {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Wound, By: "none"}, nil, Forbidden},
		"a program clears a lock":      {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Noted, By: "care", Detail: Detail{Clears: DoNotRun}}, nil, Forbidden},
		"a keeper clears as another":   {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Noted, By: "care", Detail: Detail{Clears: DoNotRun}}, nil, Forbidden},
		"a keeper corrects as another": {Actor{Person: "kept"}, Entry{Clock: "hall", Kind: Noted, By: "care"}, mine, Forbidden},
		"a program logs without sight": {Actor{Machine: &Machine{Scopes: []Scope{ScopeLog}}}, Entry{Clock: "hall", Kind: Wound}, nil, ""},
	} {
		if err := f.AllowEntry(c.by, c.e, c.old, now); CodeOf(err) != c.want || (err == nil) != (c.want == "") {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// TestSeen: whoever looks sees their clocks and who looks after them, and of
// others no address, no place and no name.
func TestSeen(t *testing.T) {
	f := actorFleet()
	for i := range f.People {
		f.People[i].Going.Home = &Where{47.1, -31.2}
	}
	s := Survey(f, map[string][]Entry{}, Model{}, time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	if s.Seen(Actor{Person: "boss", Conservator: true}) != s {
		t.Error("a conservator sees something else than the snapshot")
	}
	got := s.Seen(Actor{Person: "owner"})
	if len(got.Clocks) != 1 || got.Clocks[0].Clock.Slug != "hall" || len(got.Fleet.Clocks) != 1 || len(got.Fleet.Sites) != 1 || got.Fleet.Sites[0].Slug != "hall" {
		t.Errorf("the owner sees %+v", got.Fleet)
	}
	for _, p := range got.Fleet.People {
		if (p.Going.Home != nil) != (p.Slug == "owner") {
			t.Errorf("the owner sees where %s lives: %+v", p.Slug, p.Going)
		}
		if p.Slug == "other" || p.Slug != "owner" && p.Email != "" || p.Slug == "owner" && p.Email == "" {
			t.Errorf("the owner sees %+v", p)
		}
	}
	if n := len(s.Seen(Actor{}).Clocks) + len(s.Seen(Actor{}).Fleet.People) + len(s.Seen(Actor{}).Fleet.Sites); n != 0 {
		t.Errorf("nobody sees %d things", n)
	}
}
