package schedule

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Where is a place on the Earth, in degrees: north and east count up.
type Where struct {
	Lat float64 `json:"lat"`
	Lon float64 `json:"lon"`
}

// earthKm is the mean radius of the Earth (IUGG: (2a+b)/3 of the ellipsoid GRS 80).
const earthKm = 6371.0088

// Km is how far another place is along the great circle, by the haversine formula,
// which keeps its figures over short ways too. The Earth as a ball is right to half
// a percent.
func (w Where) Km(other Where) float64 {
	const degree = math.Pi / 180
	half := func(degrees float64) float64 { s := math.Sin(degrees * degree / 2); return s * s }
	h := half(other.Lat-w.Lat) + math.Cos(w.Lat*degree)*math.Cos(other.Lat*degree)*half(other.Lon-w.Lon)
	return 2 * earthKm * math.Asin(math.Sqrt(min(1, h)))
}

// String prints the place as its two figures, north first: 51.5, -0.12.
func (w Where) String() string { return fmt.Sprintf("%v, %v", w.Lat, w.Lon) }

// Minutes are a time of day, since midnight.
type Minutes int

// midnight is the end of a day: 24:00.
const midnight Minutes = 24 * 60

// String prints 09:00.
func (m Minutes) String() string { return fmt.Sprintf("%02d:%02d", int(m)/60, int(m)%60) }

// ParseMinutes reads a time of day, like 9:00 or 17:30, up to 24:00.
func ParseMinutes(s string) (Minutes, error) {
	hour, minute, ok := strings.Cut(strings.TrimSpace(s), ":")
	h, errH := digits(hour)
	m, errM := digits(minute)
	out := Minutes(h*60 + m)
	if !ok || errH != nil || errM != nil || len(minute) != 2 || m > 59 || out > midnight {
		return 0, fmt.Errorf("time of day %q is not understood: write hour and minute, like 09:00 or 17:30", s)
	}
	return out, nil
}

// MarshalText writes the time as String does.
func (m Minutes) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (m *Minutes) UnmarshalText(b []byte) error {
	v, err := ParseMinutes(string(b))
	*m = v
	return err
}

// Weekdays are days of the week, in JSON as their first three letters.
type Weekdays []time.Weekday

// Week is the days of the week as they are shown.
var Week = Weekdays{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday}

// Short prints the first three letters of each day.
func (w Weekdays) Short() []string {
	out := make([]string, len(w))
	for i, d := range w {
		out[i] = d.String()[:min(3, len(d.String()))]
	}
	return out
}

// String prints the days as they are read in a sentence: Mon, Tue.
func (w Weekdays) String() string { return strings.Join(w.Short(), ", ") }

// MarshalJSON writes ["Mon","Tue"].
func (w Weekdays) MarshalJSON() ([]byte, error) { return json.Marshal(w.Short()) }

// UnmarshalJSON reads what MarshalJSON writes.
func (w *Weekdays) UnmarshalJSON(b []byte) error {
	var words []string
	if err := json.Unmarshal(b, &words); err != nil {
		return fmt.Errorf("days of the week %s are not understood: give a list in [ ] of their first three letters, each in quotation marks", b)
	}
	*w = nil
	for _, word := range words {
		d, err := ParseWeekday(word)
		if err != nil {
			return err
		}
		*w = append(*w, d)
	}
	return nil
}

// ParseWeekday reads a day of the week by its first three letters.
func ParseWeekday(s string) (time.Weekday, error) {
	for _, d := range Week {
		if s == d.String()[:3] {
			return d, nil
		}
	}
	return 0, fmt.Errorf("day of the week %q is not known: use %s", s, Week)
}

// Span is from one day to another, both of them in it.
type Span struct {
	From  Date   `json:"from"`
	Until Date   `json:"until"`
	Why   string `json:"why,omitempty"`
}

// Holds reports whether a day is in the span.
func (s Span) Holds(d Date) bool { return !d.Before(s.From) && !d.After(s.Until) }

// words are the span after a word: from 24 Dec 2026 to 2 Jan 2027 (holidays).
func (s Span) words() string {
	out := "on " + s.From.Words()
	if s.Until != s.From {
		out = "from " + s.From.Words() + " to " + s.Until.Words()
	}
	if s.Why != "" {
		out += " (" + s.Why + ")"
	}
	return out
}

// OpenHours are when a site lets people in, on some days of the week.
type OpenHours struct {
	Days Weekdays `json:"days,omitempty"` // none: each day
	From Minutes  `json:"from"`
	To   Minutes  `json:"to"`
}

// Reach is what whoever plans a visit must know of a site. The zero value is a
// site that lies nobody knows where and is always open.
type Reach struct {
	At     *Where      `json:"at,omitempty"`           // nil: not known
	Open   []OpenHours `json:"open,omitempty"`         // none: always
	Shut   []Span      `json:"shut,omitempty"`         // days on which nobody comes in
	Notice int         `json:"noticeDays,omitempty"`   // days ahead that a visit is arranged
	Climb  int         `json:"climbMinutes,omitempty"` // minutes for in, up and out, once a visit
	Keys   string      `json:"keys,omitempty"`         // who has them, or where they are
	Permit string      `json:"permit,omitempty"`       // what has to be asked for, and of whom
	Lift   string      `json:"lift,omitempty"`         // hoist, lift or scaffold that work there takes
}

// On gives the hours of a day in which the site lets people in. Where to is not
// after from there are none, and why says so after the name of the site: "shut on
// Sundays".
func (r Reach) On(d Date) (from, to Minutes, why string) {
	for _, s := range r.Shut {
		if s.Holds(d) {
			return 0, 0, "shut " + s.words()
		}
	}
	if len(r.Open) == 0 {
		return 0, midnight, ""
	}
	day := d.weekday()
	for _, o := range r.Open {
		if len(o.Days) == 0 || slices.Contains(o.Days, day) {
			return o.From, o.To, ""
		}
	}
	return 0, 0, "shut on " + day.String() + "s"
}

// Going is how a person goes on rounds. The zero value goes on none.
type Going struct {
	Home *Where   `json:"home,omitempty"` // nil: days begin and end at the first and last site
	Days Weekdays `json:"days,omitempty"` // on which they may be out; none: they go on no rounds
	From Minutes  `json:"from,omitzero"`  // leaves not before
	To   Minutes  `json:"to,omitzero"`    // is back by
	Away []Span   `json:"away,omitempty"`
}

// Goes reports whether a person goes on rounds at all.
func (g Going) Goes() bool { return len(g.Days) > 0 }

// On gives the hours of a day between leaving and being back. Where to is not after
// from there are none, and why says so after the name of the person: "away on 3 May
// 2027 (a course)".
func (g Going) On(d Date) (from, to Minutes, why string) {
	if !g.Goes() {
		return 0, 0, "goes on no rounds"
	}
	for _, s := range g.Away {
		if s.Holds(d) {
			return 0, 0, "away " + s.words()
		}
	}
	if day := d.weekday(); !slices.Contains(g.Days, day) {
		return 0, 0, "not out on " + day.String() + "s"
	}
	return g.From, g.To, ""
}

// weekday is the day of the week of a day.
func (d Date) weekday() time.Weekday { return d.Start(time.UTC).Weekday() }

// MarkKind is what was decided by hand of a round.
type MarkKind string

// The kinds.
const (
	SetVisit MarkKind = "set" // the person goes to the site that day
	BarVisit MarkKind = "not" // not that day: the person, or with none anybody; to the site, or with none anywhere
)

// MarkKinds lists the kinds.
var MarkKinds = []MarkKind{SetVisit, BarVisit}

// RoundMark is what somebody decided by hand of the rounds to come.
type RoundMark struct {
	Kind   MarkKind
	Site   string // Site.Slug; empty: every site
	Person string // Person.Slug; empty: everybody
	Day    Date
	// Tasks are what a visit that was kept or moved is to do: on that day, by that person
	// and at no other visit. With none it does whatever may be done then.
	Tasks []TaskRef
	Why   string // in somebody's own words, may be empty
	By    string // Person.Slug of whoever decided; empty: whoever runs the service
	At    time.Time
}

// Same reports whether two marks decide the same, whoever did so and why.
func (m RoundMark) Same(other RoundMark) bool {
	return m.Kind == other.Kind && m.Site == other.Site && m.Person == other.Person && m.Day == other.Day
}

// Words print what the mark decides, with short names.
func (m RoundMark) Words() string {
	out := "a visit"
	if m.Kind == BarVisit {
		out = "no visit"
	}
	if m.Site != "" {
		out += " to " + m.Site
	}
	if m.Person != "" {
		out += " by " + m.Person
	}
	return out + " on " + m.Day.Words()
}
