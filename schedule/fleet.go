package schedule

import (
	"slices"
	"sync"
	"time"

	"endshake/wear"
)

// Fleet is the description of all clocks in care: what there is, where it
// stands and who answers for it. What happened stands in the log (Entry).
type Fleet struct {
	Sites  []Site
	People []Person
	Clocks []Clock
	// Damage says what is kept and cannot be read, and belongs to no clock and no
	// person that is there, a sentence each. It is never kept itself.
	Damage []string `json:"-"`
}

// Site is a place where clocks stand.
type Site struct {
	Slug    string // short and unique: "corn-hall"
	Name    string
	Zone    string   // IANA zone, like Europe/London
	Place   string   // where it is, for somebody who has never been there
	Access  string   // keys, stairs, hours
	Caution string   // what can hurt somebody here, shown with every task
	Climate *Climate // nil: not known
	Reach   Reach    // for whoever plans a visit
}

// zones holds the zones that were loaded: each is a file to be read and taken
// apart, and they are asked for at every answer.
var zones sync.Map // name to *time.Location

// Location loads the site's zone; a site that passed Validate has one.
func (s Site) Location() *time.Location {
	if loc, ok := zones.Load(s.Zone); ok {
		return loc.(*time.Location)
	}
	loc, err := time.LoadLocation(s.Zone)
	if err != nil {
		return time.UTC
	}
	zones.Store(s.Zone, loc)
	return loc
}

// Person is somebody who looks after clocks or must be told of them.
type Person struct {
	Slug  string // short and unique: "a-keeper"
	Name  string
	Email string    // empty: tell nobody by mail
	Zone  string    // IANA zone; empty: the zone of each clock
	Units wear.Unit // the unit shown first
	Mail  Wishes
	Going Going // on rounds
	// Damage says what is kept of them and cannot be read, a sentence each. No letter
	// goes to them then. It is never kept itself.
	Damage []string `json:"-"`
}

// Role is what a person does for one clock.
type Role string

// The roles, in the words of the trade.
const (
	Keeper      Role = "keeper"
	Winder      Role = "winder"
	Deputy      Role = "deputy"
	Conservator Role = "conservator"
	Owner       Role = "owner"
	Clockmaker  Role = "clockmaker"
)

// Roles lists the roles in the order in which they are shown.
var Roles = []Role{Conservator, Keeper, Winder, Deputy, Clockmaker, Owner}

// Duty binds a person to a clock in a role.
type Duty struct {
	Person string // Person.Slug
	Role   Role
}

// ClockKind is the kind of a clock.
type ClockKind string

// The kinds.
const (
	Turret  ClockKind = "turret"
	Post    ClockKind = "post"
	Private ClockKind = "private"
)

// Clock is one clock in care.
type Clock struct {
	Slug     string // short and unique: "corn-hall"
	Name     string
	Kind     ClockKind
	Site     string // Site.Slug
	InCare   Date   // when the log begins; the clock is taken as going from then
	Note     string
	Cautions []Hazard // what is special here: radium, lead paint ...
	Duties   []Duty
	Trains   []wear.Train
	Policies []Policy
	Care     Care
	// Damage says what is kept of it and cannot be read, a sentence each. Nothing is
	// worked out for it then. It is never kept itself.
	Damage []string `json:"-"`
}

// Train finds a train by its code.
func (c Clock) Train(code string) (wear.Train, bool) {
	for _, t := range c.Trains {
		if t.Code == code {
			return t, true
		}
	}
	return wear.Train{}, false
}

// Bearing finds a bearing by its code, with the arbor and train it is on.
func (c Clock) Bearing(code string) (wear.Bearing, wear.Arbor, wear.Train, bool) {
	for _, t := range c.Trains {
		for _, a := range t.Arbors {
			for _, b := range a.Bearings {
				if b.Code == code {
					return b, a, t, true
				}
			}
		}
	}
	return wear.Bearing{}, wear.Arbor{}, wear.Train{}, false
}

// WithBearing is the clock with b in the place of its bearing of that code; the
// clock itself stays as it is.
func (c Clock) WithBearing(b wear.Bearing) Clock {
	c.Trains = slices.Clone(c.Trains)
	for i := range c.Trains {
		t := &c.Trains[i]
		t.Arbors = slices.Clone(t.Arbors)
		for j := range t.Arbors {
			t.Arbors[j].Bearings = slices.Clone(t.Arbors[j].Bearings)
			for k := range t.Arbors[j].Bearings {
				if t.Arbors[j].Bearings[k].Code == b.Code {
					t.Arbors[j].Bearings[k] = b
				}
			}
		}
	}
	return c
}

// Has reports whether a person has one of the roles for the clock, or any role
// where none is named.
func (c Clock) Has(person string, roles ...Role) bool {
	for _, d := range c.Duties {
		if d.Person != person {
			continue
		}
		if len(roles) == 0 {
			return true
		}
		for _, r := range roles {
			if d.Role == r {
				return true
			}
		}
	}
	return false
}

// Policy is an interval for one kind of task on one clock, train or bearing.
// It is data with a source, never a rule of the program: the published
// intervals disagree.
type Policy struct {
	Task    TaskKind
	Train   string // code; empty: the whole clock
	Bearing string // code; empty: the whole train or clock
	Days    int    // calendar interval; zero: none
	// RunHours is an interval in hours of running; zero: none. Where both are
	// given the earlier wins.
	RunHours float64
	// Risk is the chance that the work may come too late at which it falls due,
	// for oiling: 0.1 where one oiling in ten may; zero: none.
	Risk    float64
	Line    string // code of a line, for line inspection; empty: all of the train or clock
	Lead    int    // days before the due date from which the work may be done
	Grace   int    // days after the due date in which nothing is lost yet
	Minutes int    // how long the job takes; zero: the usual
	Two     bool   // the job takes two people
	Reason  string
	Source  string
}

// Fleet lookups.

// Site finds a site by its slug.
func (f Fleet) Site(slug string) (Site, bool) {
	for _, s := range f.Sites {
		if s.Slug == slug {
			return s, true
		}
	}
	return Site{}, false
}

// Person finds a person by their slug.
func (f Fleet) Person(slug string) (Person, bool) {
	for i := range f.People {
		if f.People[i].Slug == slug {
			return f.People[i], true
		}
	}
	return Person{}, false
}

// Clock finds a clock by its slug.
func (f Fleet) Clock(slug string) (Clock, bool) {
	for i := range f.Clocks {
		if f.Clocks[i].Slug == slug {
			return f.Clocks[i], true
		}
	}
	return Clock{}, false
}
