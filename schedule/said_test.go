package schedule

import (
	"strings"
	"testing"
)

// A look says what was found, and a setting by how much: on nobody's word no
// date moves. What is copied from an old book, and a look at a line, may stand.
func TestAnEntrySaysSomething(t *testing.T) {
	const when = "2026-05-20 10:00"
	silent := book(did(Inspected, "2026-05-10 10:00", called("look")), did(Set, "2026-05-11 10:00", called("set")))
	for name, tt := range map[string]struct {
		e     Entry
		field string // empty: taken
	}{
		"a look without a word":           {did(Inspected, when), "found"},
		"a look with an error alone":      {did(Inspected, when, sees(4)), "found"},
		"a visit without a word":          {did(Inspected, when, visiting), "found"},
		"a look that found it sound":      {did(Inspected, when, found(Sound)), ""},
		"a look at a line":                {did(Inspected, when, ofLine("going-line", LineCheck{})), ""},
		"a look of an old book":           {did(Inspected, when, old), ""},
		"a setting without a word":        {did(Set, when), "errorLeft"},
		"a setting with a note alone":     {did(Set, when, note("put right")), "errorLeft"},
		"a setting, as found":             {did(Set, when, wrongBy(num(60), nil)), ""},
		"a setting, as left":              {did(Set, when, wrongBy(nil, num(0))), ""},
		"a change of time":                {did(Set, when, changed("2026-03-29")), ""},
		"a setting of an old book":        {did(Set, when, old), ""},
		"the hour of a silent look":       {did(Inspected, "2026-05-10 11:00", instead("look", "an hour later")), ""},
		"the hour of a silent setting":    {did(Set, "2026-05-11 11:00", instead("set", "an hour later")), ""},
		"a silent look to a silent set":   {did(Set, "2026-05-10 11:00", instead("look", "the hands")), ""},
		"an oiling to a look that is mum": {did(Inspected, "2026-04-30 10:00", instead("oil", "not oiled")), "found"},
	} {
		err := Validate(tt.e, fleetOf("Europe/London", kitted()), append(kept(), silent...), Model{}, utc(validNow))
		if tt.field == "" {
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		t.Run(name, func(t *testing.T) { refused(t, err, Invalid, tt.field, "say ") })
	}
}

// Of looks in an old log that say nothing, those count as an inspection that are
// of somebody whose work it is, of nobody named, or of a winder who is alone.
func TestWhoseLookCounts(t *testing.T) {
	c := pump()
	c.Policies = []Policy{{Task: Inspection, Days: 100}}
	duties := func(d ...Duty) func(*Clock) { return func(c *Clock) { c.Duties = d } }
	all := []Duty{{Person: "ann", Role: Keeper}, {Person: "wim", Role: Winder}, {Person: "olga", Role: Owner}, {Person: "dee", Role: Winder}, {Person: "dee", Role: Deputy}}
	const on = "2026-05-20"
	for name, tt := range map[string]struct {
		duties []Duty
		e      Entry
		counts bool
	}{
		"the keeper's":                 {all, did(Inspected, on, doneBy("ann")), true},
		"the winder's":                 {all, did(Inspected, on, doneBy("wim")), false},
		"the owner's":                  {all, did(Inspected, on, doneBy("olga")), false},
		"a winder's who is the deputy": {all, did(Inspected, on, doneBy("dee")), true},
		"the winder's, who found it":   {all, did(Inspected, on, doneBy("wim"), found(Sound)), true},
		"nobody's":                     {all, did(Inspected, on), true},
		"one's who left since":         {all, did(Inspected, on, doneBy("gone")), true},
		"the winder's who is alone":    {all[1:2], did(Inspected, on, doneBy("wim")), true},
	} {
		c := c
		duties(tt.duties...)(&c)
		a := assess(c, book(tt.e), "2026-06-01")
		due := taskOf(t, a, Inspection, "").Due
		if got := due == d(on).Add(100); got != tt.counts {
			t.Errorf("%s: due %s, counts %v, want %v", name, due.Words(), got, tt.counts)
		}
		p := Pass{Task: Inspection, Clock: c.Slug}
		if got := p.doneBy(&tt.e, a); got != tt.counts {
			t.Errorf("%s: of a pass it counts %v, want %v", name, got, tt.counts)
		}
	}
}

// A clock that nobody touched is asked back where it is said to have moved by
// more than a minute's misreading and two minutes a day.
func TestAJumpInErrorIsAskedBack(t *testing.T) {
	const at = "2026-05-20 10:00"
	twelve := did(Wound, at, sees(12))
	for name, tt := range map[string]struct {
		log  []Entry
		e    Entry
		asks bool
	}{
		"12 s, and 90 s 20 min later":  {[]Entry{twelve}, did(Noted, "2026-05-20 10:20", sees(90)), true},
		"and slow":                     {[]Entry{twelve}, did(Noted, "2026-05-20 10:20", sees(-60)), true},
		"by a look":                    {[]Entry{twelve}, did(Inspected, "2026-05-20 10:20", found(Sound), sees(90)), true},
		"a minute more":                {[]Entry{twelve}, did(Noted, "2026-05-20 10:20", sees(72)), false},
		"two minutes in a day":         {[]Entry{twelve}, did(Noted, "2026-05-21 09:59", sees(180)), false},
		"four minutes in a day":        {[]Entry{twelve}, did(Noted, "2026-05-21 09:59", sees(240)), true},
		"on another day":               {[]Entry{twelve}, did(Noted, "2026-05-22 10:00", sees(900)), false},
		"said to be right":             {[]Entry{twelve}, did(Noted, "2026-05-20 10:20", sees(90), func(e *Entry) { e.Sure = true }), false},
		"from an old book":             {[]Entry{twelve}, did(Noted, "2026-05-20 10:20", note("x"), sees(90), old), false},
		"it stood between":             {[]Entry{twelve, did(Stopped, "2026-05-20 10:05", by(ByHand)), did(Started, "2026-05-20 10:15")}, did(Noted, "2026-05-20 10:20", sees(-600)), false},
		"it was set right between":     {[]Entry{twelve, did(Set, "2026-05-20 10:10", wrongBy(num(12), num(0)))}, did(Noted, "2026-05-20 10:20", sees(90)), true},
		"it was set, nobody says how":  {[]Entry{twelve, did(Set, "2026-05-20 10:10", wrongBy(num(12), nil))}, did(Noted, "2026-05-20 10:20", sees(90)), false},
		"the hour that came twice":     {[]Entry{did(Noted, "2026-10-24 22:00", sees(0))}, did(Noted, "2026-10-25 08:00", sees(3600)), false},
		"the first error that is told": {nil, did(Noted, at, sees(3600)), false},
		"its own correction":           {[]Entry{did(Noted, at, sees(900), called("slip"))}, did(Noted, at, sees(9), instead("slip", "a digit")), false},
	} {
		c := pump()
		err := Validate(tt.e, fleetOf("Europe/London", c), book(tt.log...), Model{}, utc("2026-11-20 12:00"))
		if tt.asks {
			t.Run(name, func(t *testing.T) { refused(t, err, Doubtful, "errorFound", "in so short a time") })
		} else if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// An entry that does not count as the inspection that it is written down as says
// why; what counts says nothing.
func TestUncountedSaysWhy(t *testing.T) {
	c := roped()
	c.Duties = []Duty{{"ann", Keeper}, {"wim", Winder}}
	a := assess(c, nil, "2026-06-01")
	for name, tt := range map[string]struct {
		e    Entry
		want string
	}{
		"a winder says nothing":     {did(Inspected, "2026-05-20", doneBy("wim")), "It does not count as an inspection, since it does not say what was found and whoever made it only winds or owns the clock"},
		"a winder says sound":       {did(Inspected, "2026-05-20", doneBy("wim"), found(Sound)), ""},
		"the keeper":                {did(Inspected, "2026-05-20", doneBy("ann"), found(Sound)), ""},
		"the keeper says nothing":   {did(Inspected, "2026-05-20", doneBy("ann")), ""},
		"a look at a line":          {did(Inspected, "2026-05-20", doneBy("ann"), found(Sound), ofLine("going-line", LineCheck{})), "It counts as a look at the "},
		"a visit that saw the line": {did(Inspected, "2026-05-20", doneBy("ann"), found(Sound), ofLine("going-line", LineCheck{}), visiting), ""},
		"a wind":                    {did(Wound, "2026-05-20", doneBy("wim")), ""},
	} {
		got := a.Uncounted(tt.e)
		if !strings.HasPrefix(got, tt.want) || (got == "") != (tt.want == "") {
			t.Errorf("%s: %q, want %q", name, got, tt.want)
		}
		// It says so exactly where an interval of inspections does not begin anew.
		if counts := (Policy{Task: Inspection}).counts(&tt.e) && a.looked(&tt.e); tt.e.Kind == Inspected && counts != (got == "") {
			t.Errorf("%s: counts %v, and says %q", name, counts, got)
		}
	}
}

// That a train ran down is asked back where a wind logged shortly before contradicts
// it: of the 64 turns of three hours, eight days, half is left for four.
func TestRanDownAfterAWind(t *testing.T) {
	c := weighted()
	wound := did(Wound, "2026-03-02", of("going"))
	down := func(day string, more ...change) Entry {
		return did(Stopped, day, append([]change{by(RanDown)}, more...)...)
	}
	for name, tt := range map[string]struct {
		log  []Entry
		e    Entry
		asks bool
	}{
		"the next day":             {[]Entry{wound}, down("2026-03-03"), true},
		"after three days":         {[]Entry{wound}, down("2026-03-05"), true},
		"after five days":          {[]Entry{wound}, down("2026-03-07"), false},
		"found late, stopped soon": {[]Entry{wound}, down("2026-03-09", since("2026-03-02 06:00")), true},
		"found late":               {[]Entry{wound}, down("2026-03-12"), false},
		"said to be sure":          {[]Entry{wound}, down("2026-03-03", func(e *Entry) { e.Sure = true }), false},
		"from an old book":         {[]Entry{wound}, down("2026-03-03", old), false},
		"a fault":                  {[]Entry{wound}, did(Stopped, "2026-03-03", by(Fault)), false},
		"wound in part":            {[]Entry{wound, did(Wound, "2026-03-10", of("going"), turns(4))}, down("2026-03-12"), false},
		"never wound":              {nil, down("2026-03-03"), false},
		"the strike was wound":     {[]Entry{did(Wound, "2026-03-02", of("strike"))}, down("2026-03-03"), false},
		"it stood already":         {[]Entry{wound, did(Stopped, "2026-03-02 12:00", by(Fault))}, down("2026-03-03"), false},
	} {
		err := Validate(tt.e, fleetOf("UTC", c), book(tt.log...), Model{}, utc("2026-11-20 12:00"))
		if tt.asks {
			t.Run(name, func(t *testing.T) {
				refused(t, err, Doubtful, "cause", "was wound in full on 2 Mar 2026, 00:00, and by that ")
			})
		} else if CodeOf(err) == Doubtful {
			t.Errorf("%s: %v", name, err)
		}
	}
}
