package wear

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// TrainKind says what a train does.
type TrainKind string

// The three trains of a clock.
const (
	Going  TrainKind = "going"  // drives the hands and the pendulum
	Strike TrainKind = "strike" // sounds the hours
	Chime  TrainKind = "chime"  // sounds the quarters
)

// Drive says how a train gets its power.
type Drive string

// The drives.
const (
	HandWound Drive = "hand"     // a person winds it; Reserve bounds its run
	AutoWound Drive = "auto"     // a motor rewinds the weight
	Electric  Drive = "electric" // no weight: waiting train, synchronous motor
)

// Counter is what a train's wear is counted in.
type Counter string

// The counters. Windings count the use of lines, not of bearings.
const (
	RunHours Counter = "run-hours"
	Strokes  Counter = "strokes"
	Windings Counter = "windings"
)

// PerUnit is how much of the counter makes one unit of exposure in the
// mathematics: 1000 run-hours, or 10,000 strokes. The two are chosen to be of
// one size in calendar time (about six to nine weeks of an ordinary clock).
func (c Counter) PerUnit() float64 {
	if c == Strokes {
		return 10000
	}
	return 1000
}

// Train is a chain of wheels from weight to escapement or fly.
type Train struct {
	Code  string // short and unique within the clock: "going"
	Name  string
	Kind  TrainKind
	Drive Drive
	// Reserve is how long one full wind runs, where that is stated; else it
	// follows from Weight ([Train.Run]). Of an auto-wound train it is how long it
	// goes on without mains. Zero: not known, or no matter.
	Reserve time.Duration
	// StrokesPerDay is the number of hammer blows in a day of running, for
	// strike and chime trains: 156 for hours alone on a 12-hour rack. Where
	// Striking is described, that is what counts ([Train.Blows]).
	StrokesPerDay float64
	Weight        *Weight   // what drives it, where that is described
	Striking      *Striking // what it sounds, where that is described
	// MeterHours is the hours at which its hour meter turns over to nought:
	// 10,000 for one of four figures; zero: it has none.
	MeterHours float64
	Arbors     []Arbor
	Meshes     []Mesh
}

// Counter returns what this train's bearings wear by.
func (t Train) Counter() Counter {
	if t.Kind == Going {
		return RunHours
	}
	return Strokes
}

// PerRunHour is how much of the train's counter passes in one hour of running.
func (t Train) PerRunHour() float64 {
	if t.Kind == Going {
		return 1
	}
	return t.Blows() / 24
}

// Blows is the number of hammer blows in a day of running; 0 for a going train.
func (t Train) Blows() float64 {
	switch {
	case t.Kind == Going:
		return 0
	case t.Striking != nil && t.Striking.PerDay() > 0:
		return float64(t.Striking.PerDay())
	}
	return t.StrokesPerDay
}

// Run is how long one full wind runs on average: as stated, else as the weight
// gives; 0 where neither tells. A striking train's blows are spread evenly over
// its day.
func (t Train) Run() time.Duration {
	switch {
	case t.Reserve > 0 || t.Weight == nil:
		return t.Reserve
	case t.Kind == Going:
		return hours(t.Weight.FullTurns() * t.Weight.HoursPerTurn())
	case t.Blows() > 0:
		return hours(t.Weight.FullTurns() * t.Weight.TurnBlows / t.Blows() * 24)
	}
	return 0
}

// PerTurn is how long one turn put on the barrel runs; 0 where that is not known.
func (t Train) PerTurn() time.Duration {
	if t.Weight == nil {
		return 0
	}
	full := t.Weight.FullTurns()
	if full <= 0 {
		return 0
	}
	return time.Duration(float64(t.Run()) / full)
}

// hours is a duration, to a second and no longer than a Duration holds.
func hours(h float64) time.Duration {
	if !(h > 0) {
		return 0
	}
	return time.Duration(math.Round(math.Min(h, longest.Hours())*3600)) * time.Second
}

// Arbor is the axle of a wheel with the bearings it turns in.
type Arbor struct {
	Code string // unique within the clock: "centre"
	Name string
	// Revs is its turns per hour of running (going) or per stroke (strike, chime).
	Revs     float64
	Bearings []Bearing
}

// Form is the form of a bearing.
type Form string

// The two forms.
const (
	ThrustFace Form = "thrust face" // a washer or shoulder that takes end load
	Bush       Form = "bush"        // a lined hole that takes side load
)

// Shake is a freedom that a gauge reads.
type Shake string

// The two freedoms: along the arbor, and across it.
const (
	EndShake  Shake = "end-shake"
	SideShake Shake = "side-shake"
)

// Surroundings weight the lubrication states that a bearing is likely to be in.
type Surroundings string

// The surroundings.
const (
	Indoors  Surroundings = "indoors"
	Outdoors Surroundings = "outdoors" // motion work and heads in the weather
)

// Pair names the two materials that rub.
type Pair string

// The pairs for which wear coefficients are known.
const (
	SteelOnBrass   Pair = "steel on brass"
	SteelOnSteel   Pair = "steel on steel"
	BrassOnBrass   Pair = "brass on brass"
	SteelOnPlastic Pair = "steel on plastic"
)

// Metal is what a shaft or its frame is made of, as it bears on growth by heat.
type Metal string

// The metals whose expansion is known.
const (
	Steel    Metal = "steel"
	Brass    Metal = "brass"
	CastIron Metal = "cast iron"
)

// Limit is a size at which something must be done, and who says so.
type Limit struct {
	Size   Length
	Source string // "conservator, 2019 survey"; shown wherever the limit is
}

// Confirmed reports whether somebody answers for the limit: its source does not
// call it a starting value, in small letters or in capitals.
func (l Limit) Confirmed() bool {
	return !strings.Contains(strings.ToLower(l.Source), "starting value")
}

// Bearing is one measuring point: a thrust face or a bush on an arbor.
type Bearing struct {
	Code  string // unique within the clock: "centre-front"
	Name  string
	Form  Form
	Shake Shake // which freedom its readings and limit mean
	Pair  Pair
	In    Surroundings

	// Load is the force on the face or the bush, in newtons; zero: not known.
	Load float64
	// Outer and Inner are the diameters of a thrust face.
	Outer, Inner Length
	// Bore, Pivot and Long are a bush's bore, the pivot's diameter, and the
	// length of the bush along the arbor.
	Bore, Pivot, Long Length

	// Shaft is the metal of a shaft of length Stand between the face and the
	// place where the freedom is read, and Frame that of what holds it: a long
	// shaft moves more by the season than its washer wears. Zero: no matter.
	Stand        Length
	Shaft, Frame Metal

	// FittedAt is when the present part was fitted; zero: not known, and the
	// first reading starts the count.
	FittedAt time.Time
	// Fitted is the end-shake or side-shake when it was fitted, with FittedSD
	// its standard uncertainty; zero: not known.
	Fitted, FittedSD Length

	Watch *Limit // look closer
	Act   *Limit // repair
}

// Validate reports the first thing that cannot be right about a bearing.
func (b Bearing) Validate() error {
	switch {
	case b.Code == "":
		return fmt.Errorf("a bearing has no code: give it a short one, like centre-front")
	case b.Form != ThrustFace && b.Form != Bush:
		return fmt.Errorf("bearing %s: form %q is not known: use %q or %q", b.Code, b.Form, ThrustFace, Bush)
	case b.Shake != EndShake && b.Shake != SideShake:
		return fmt.Errorf("bearing %s: shake %q is not known: use %q or %q", b.Code, b.Shake, EndShake, SideShake)
	case !(b.Load >= 0) || b.Load > 1e6:
		return fmt.Errorf("bearing %s: load %v N must be between 0 and 1,000,000", b.Code, b.Load)
	case b.Fitted < 0 || b.FittedSD < 0:
		return fmt.Errorf("bearing %s: fitted size and its uncertainty cannot be negative", b.Code)
	case b.Fitted > largestPart || b.FittedSD > largestPart:
		return fmt.Errorf("bearing %s: fitted size %v ± %v is beyond %v: check the unit", b.Code, b.Fitted, b.FittedSD, largestPart)
	case b.Form == ThrustFace && b.Outer != 0 && b.Outer <= b.Inner:
		return fmt.Errorf("bearing %s: outer diameter %v must be larger than inner %v", b.Code, b.Outer, b.Inner)
	case b.Form == Bush && b.Pivot != 0 && b.Bore <= b.Pivot:
		return fmt.Errorf("bearing %s: bore %v must be larger than the pivot %v", b.Code, b.Bore, b.Pivot)
	}
	if _, ok := pairs[b.Pair]; !ok && b.Pair != "" {
		return fmt.Errorf("bearing %s: material pair %q is not known: use %q, %q, %q or %q", b.Code, b.Pair,
			SteelOnBrass, SteelOnSteel, BrassOnBrass, SteelOnPlastic)
	}
	if b.In != Indoors && b.In != Outdoors && b.In != "" {
		return fmt.Errorf("bearing %s: surroundings %q are not known: use %q or %q", b.Code, b.In, Indoors, Outdoors)
	}
	if err := b.validateSizes(); err != nil {
		return err
	}
	if err := b.validateShaft(); err != nil {
		return err
	}
	return b.validateLimits()
}

// longestShaft is of one that leads from a clock up to its dials.
const longestShaft = 30000 * Millimetre

// largestPart bounds the parts of a bearing, its freedom and its limits.
const largestPart = 1000 * Millimetre

func (b Bearing) validateSizes() error {
	for _, p := range []struct {
		name string
		size Length
	}{
		{"outer diameter", b.Outer}, {"inner diameter", b.Inner},
		{"bore", b.Bore}, {"pivot", b.Pivot}, {"length of the bush", b.Long},
	} {
		switch {
		case p.size < 0:
			return fmt.Errorf("bearing %s: %s %v is negative: give a plain size, or leave it out", b.Code, p.name, p.size)
		case p.size > largestPart:
			return fmt.Errorf("bearing %s: %s %v is beyond 1 m: check the unit", b.Code, p.name, p.size)
		}
	}
	return nil
}

func (b Bearing) validateShaft() error {
	for _, m := range []Metal{b.Shaft, b.Frame} {
		if _, ok := Expansion(m); !ok && m != "" {
			return fmt.Errorf("bearing %s: metal %q is not known: use %q, %q or %q", b.Code, m, Steel, Brass, CastIron)
		}
	}
	switch {
	case b.Stand < 0 || b.Stand > longestShaft:
		return fmt.Errorf("bearing %s: shaft of %v must be between nothing and 30 m", b.Code, b.Stand)
	case (b.Shaft == "") != (b.Frame == ""):
		return fmt.Errorf("bearing %s: give the metals of both the shaft and its frame, or neither", b.Code)
	case b.Stand > 0 && b.Shaft == "":
		return fmt.Errorf("bearing %s: a shaft of %v moves by heat: give its metal and that of its frame, or leave out its length", b.Code, b.Stand)
	}
	return nil
}

func (b Bearing) validateLimits() error {
	for _, l := range []*Limit{b.Watch, b.Act} {
		switch {
		case l == nil:
		case l.Size <= 0:
			return fmt.Errorf("bearing %s: limit %v must be above nothing", b.Code, l.Size)
		case l.Size > largestPart:
			return fmt.Errorf("bearing %s: limit %v is beyond 1 m: check the unit", b.Code, l.Size)
		case l.Size <= b.Fitted:
			return fmt.Errorf("bearing %s: limit %v is not above the fitted size %v: one of the two is wrong", b.Code, l.Size, b.Fitted)
		case l.Source == "":
			return fmt.Errorf("bearing %s: limit %v has no source: say who set it and why", b.Code, l.Size)
		}
	}
	if b.Watch != nil && b.Act != nil && b.Watch.Size >= b.Act.Size {
		return fmt.Errorf("bearing %s: watch limit %v must be below the act limit %v", b.Code, b.Watch.Size, b.Act.Size)
	}
	return nil
}

// KnownPair reports whether wear coefficients are known for a material pair.
func KnownPair(p Pair) bool {
	_, ok := pairs[p]
	return ok
}
