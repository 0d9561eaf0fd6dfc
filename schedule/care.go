package schedule

import (
	"time"

	"endshake/wear"
)

// Care is what a clock needs beside its trains and intervals: where it is
// oiled, what its weights hang on, how well it must keep time, how its hands
// are moved when the zone's time changes, and what the seasons ask.
type Care struct {
	Points    []OilPoint `json:"points,omitempty"`
	Lines     []Line     `json:"lines,omitempty"`
	Room      Room       `json:"room,omitempty"` // what the oil meets; empty: a clock room swept yearly
	Damp      bool       `json:"damp,omitempty"` // air above 80 % for half the year
	Tolerance *Tolerance `json:"tolerance,omitempty"`
	Pendulum  *Pendulum  `json:"pendulum,omitempty"`
	Change    ChangeHow  `json:"change,omitempty"` // how the hands are put back an hour
	// ChangeNote is who lets one in and what is special; Bell that its bell is
	// silenced first.
	ChangeNote string   `json:"changeNote,omitempty"`
	Bell       bool     `json:"bell,omitempty"`
	Seasons    []Season `json:"seasons,omitempty"`
}

// Climate is the temperature of a site over the year.
type Climate struct {
	Months [12]float64 `json:"months"`          // mean of each month, °C
	Daily  float64     `json:"daily,omitempty"` // half of the day's range, °C
	Source string      `json:"source"`
}

// Room is what the oil of a clock meets.
type Room string

// The rooms.
const (
	ClosedCase Room = "closed case"
	SweptRoom  Room = "swept yearly"
	DustyRoom  Room = "dusty or birds"
	Sheltered  Room = "outdoors, sheltered"
	Wetted     Room = "outdoors, wetted"
)

// Rooms lists them, the kindest first.
var Rooms = []Room{ClosedCase, SweptRoom, DustyRoom, Sheltered, Wetted}

// OilKind is the kind of an oil or grease, as it bears on how long it lasts.
type OilKind string

// The kinds.
const (
	MineralOil   OilKind = "mineral oil"
	SyntheticOil OilKind = "synthetic oil"
	NaturalOil   OilKind = "animal or vegetable oil"
	Grease       OilKind = "grease"
)

// OilKinds lists them.
var OilKinds = []OilKind{MineralOil, SyntheticOil, NaturalOil, Grease}

// OilPoint is one place on a clock's oil map, in the order in which they are
// gone round: what it takes and how much, or that it must stay dry.
type OilPoint struct {
	Code    string  `json:"code"` // unique among the clock's points
	Name    string  `json:"name,omitempty"`
	Train   string  `json:"train,omitempty"`   // code; empty: no train's own
	Bearing string  `json:"bearing,omitempty"` // code, where it is one
	Oil     string  `json:"oil,omitempty"`     // what it says on the bottle
	Kind    OilKind `json:"kind,omitempty"`
	Amount  string  `json:"amount,omitempty"` // "1 drop"
	Drops   float64 `json:"drops,omitempty"`  // the same as a number, to add up
	Dry     bool    `json:"dry,omitempty"`    // must not be oiled
	Why     string  `json:"why,omitempty"`    // why it must not, or what to mind
	NoSink  bool    `json:"noSink,omitempty"` // no oil sink, or a vertical face
	Fast    bool    `json:"fast,omitempty"`   // fly, escape
	Room    Room    `json:"room,omitempty"`   // its own, where it differs
	Picture string  `json:"picture,omitempty"`
}

// Line is a rope that a weight hangs on.
type Line struct {
	Code         string      `json:"code"` // unique among the clock's lines
	Name         string      `json:"name,omitempty"`
	Train        string      `json:"train"`                  // code
	Construction string      `json:"construction,omitempty"` // "7x19"
	Material     string      `json:"material,omitempty"`
	Diameter     wear.Length `json:"diameter,omitempty"`
	OuterWires   int         `json:"outerWires,omitempty"` // load-bearing outer wires; 0: not known
	FittedAt     Date        `json:"fittedAt,omitzero"`
	// MostYears is the age at which the conservator has it replaced whatever it
	// looks like; 0: none set.
	MostYears float64 `json:"mostYears,omitempty"`
	Source    string  `json:"source,omitempty"` // of MostYears
}

// Tolerance is how far wrong a clock may be.
type Tolerance struct {
	Seconds float64 `json:"seconds"`
	Source  string  `json:"source"`
}

// Pendulum is what turns a change of rate into turns of a nut or grams.
type Pendulum struct {
	Beat  float64     `json:"beat,omitempty"`  // seconds of a beat (half a period)
	Pitch wear.Length `json:"pitch,omitempty"` // of the rating nut's thread
	Bob   float64     `json:"bob,omitempty"`   // mass of the bob, kg
}

// ChangeHow is how a clock's hands are put back when an hour comes twice. They
// are put on by an hour in the other direction, letting it strike.
type ChangeHow string

// The ways.
const (
	StopAnHour    ChangeHow = "stop an hour"
	AdvanceEleven ChangeHow = "advance eleven hours"
	ByMotor       ChangeHow = "by its motor"
	ByClutch      ChangeHow = "hands by the clutch"
)

// ChangeHows lists them.
var ChangeHows = []ChangeHow{StopAnHour, AdvanceEleven, ByMotor, ByClutch}

// Season is work that the time of year asks for, once a year.
type Season struct {
	Code   string   `json:"code"` // unique among the clock's seasons
	Name   string   `json:"name"` // "dial lights on", "heater on test"
	From   MonthDay `json:"from"` // first and last good day
	To     MonthDay `json:"to"`
	Hazard []Hazard `json:"hazards,omitempty"`
	Reason string   `json:"reason,omitempty"`
	Source string   `json:"source"`
}

// MonthDay is a day of every year; of 29 February, the 28th where there is none.
type MonthDay struct {
	Month time.Month `json:"month"`
	Day   int        `json:"day"`
}

// OilFound is the state in which oil was found.
type OilFound string

// The states. The first two are oil that still does its work.
const (
	OilClean    OilFound = "clean"
	OilDarkened OilFound = "darkened"
	OilGummed   OilFound = "gummed"
	OilDry      OilFound = "dry"
)

// OilFounds lists them.
var OilFounds = []OilFound{OilClean, OilDarkened, OilGummed, OilDry}

// Residue is what the oil left: black is oil with metal in it, green is aged
// oil without (common practice, no source).
type Residue string

// The residues.
const (
	ResidueClear Residue = "clear"
	ResidueGreen Residue = "green"
	ResidueBlack Residue = "black"
)

// Residues lists them.
var Residues = []Residue{ResidueClear, ResidueGreen, ResidueBlack}

// LineCheck is what a look at a line found. It is recorded, and its life is
// never foretold.
type LineCheck struct {
	Wires6   int         `json:"wires6,omitempty"`   // visible broken wires in six diameters
	Wires30  int         `json:"wires30,omitempty"`  // and in thirty
	Diameter wear.Length `json:"diameter,omitempty"` // at the marked place; zero: not measured
	Strand   bool        `json:"strand,omitempty"`   // a strand is broken
	Rust     string      `json:"rust,omitempty"`     // in words
}

// LockKind is what a clock is locked against.
type LockKind string

// The locks.
const (
	DoNotRun   LockKind = "do not run"
	DoNotEnter LockKind = "do not enter"
)

// LockKinds lists them.
var LockKinds = []LockKind{DoNotRun, DoNotEnter}

// Lock is in force from an entry until another clears it by name.
type Lock struct {
	Kind  LockKind
	Since Date
	Why   string
	Entry string // Entry.ID
}
