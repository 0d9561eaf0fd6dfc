package schedule

import "time"

// Where is a place on the Earth, in degrees: north and east count up.
type Where struct {
	Lat float64 `json:"lat"`
	Lon float64 `json:"lon"`
}

// Minutes are a time of day, since midnight.
type Minutes int

// Span is from one day to another, both of them in it.
type Span struct {
	From  Date   `json:"from"`
	Until Date   `json:"until"`
	Why   string `json:"why,omitempty"`
}

// OpenHours are when a site lets people in, on some days of the week.
type OpenHours struct {
	Days []time.Weekday // none: each day
	From Minutes
	To   Minutes
}

// Reach is what whoever plans a visit must know of a site. The zero value is a
// site that lies nobody knows where and is always open.
type Reach struct {
	At     *Where      // nil: not known
	Open   []OpenHours // none: always
	Shut   []Span      // days on which nobody comes in
	Notice int         // days ahead that a visit is arranged
	Climb  int         // minutes for in, up and out, once a visit
	Keys   string      // who has them, or where they are
	Permit string      // what has to be asked for, and of whom
	Lift   string      // hoist, lift or scaffold that work there takes
}

// Going is how a person goes on rounds. The zero value goes on none.
type Going struct {
	Home *Where         // nil: days begin and end at the first and last site
	Days []time.Weekday // on which they may be out; none: they go on no rounds
	From Minutes        // leaves not before
	To   Minutes        // is back by
	Away []Span
}

// Goes reports whether a person goes on rounds at all.
func (g Going) Goes() bool { return len(g.Days) > 0 }

// MarkKind is what was decided by hand of a round.
type MarkKind string

// The kinds.
const (
	SetVisit MarkKind = "set" // the person goes to the site that day
	BarVisit MarkKind = "not" // not that day: the person, or with none anybody; to the site, or with none anywhere
)

// RoundMark is what somebody decided by hand of the rounds to come.
type RoundMark struct {
	Kind   MarkKind
	Site   string // Site.Slug; empty: every site
	Person string // Person.Slug; empty: everybody
	Day    Date
	Why    string // in somebody's own words, may be empty
	By     string // Person.Slug of whoever decided
	At     time.Time
}
