package schedule

import (
	"time"

	"endshake/wear"
)

// EntryKind says what happened to a clock.
type EntryKind string

// The kinds of log entry.
const (
	Wound     EntryKind = "wound"
	Oiled     EntryKind = "oiled"
	Inspected EntryKind = "inspected"
	Measured  EntryKind = "measured"
	Cleaned   EntryKind = "cleaned"
	Repaired  EntryKind = "repaired"
	Stopped   EntryKind = "stopped"
	Started   EntryKind = "started"
	Set       EntryKind = "set"
	Regulated EntryKind = "regulated"
	Noted     EntryKind = "noted"
)

// EntryKinds lists the kinds in the order in which a form offers them.
var EntryKinds = []EntryKind{Wound, Oiled, Inspected, Measured, Stopped, Started, Set, Regulated, Cleaned, Repaired, Noted}

// Entry is one line of a clock's log. Entries are never changed: a correction
// is a new entry that names the one it Replaces, with a Why.
type Entry struct {
	ID      string    // UUIDv7, given when it is logged
	Clock   string    // Clock.Slug
	Kind    EntryKind // what happened
	At      time.Time // when it happened, UTC, whole microseconds
	Train   string    // code; empty: the whole clock
	Bearing string    // code, for measured and repaired; may be set for oiled
	By      string    // Person.Slug of who did it; empty: not recorded
	Note    string

	Detail // what only some kinds carry

	Replaces string // ID of the entry this one corrects
	Why      string // why it is corrected

	RecordedAt time.Time // when it was logged
	Source     string    // page, command, demo
	// Key makes logging idempotent: a second entry with the same key is the
	// same entry. Empty: not guarded.
	Key string

	// first is the entry that was corrected first to come to this one, in a log
	// that counts; empty: the one it Replaces, if any.
	first string
	// firstLogged is when that was logged; zero: not known.
	firstLogged time.Time
}

// Detail holds what only some kinds of entry carry. Its zero value fits all.
type Detail struct {
	Reading *wear.Reading `json:"reading,omitempty"` // measured
	// Sure: asked back, the reader says that it is as written.
	Sure bool `json:"sure,omitempty"` // measured, stopped, and what tells an error found
	// Turns put on the barrel; zero with Full false: not recorded, taken as full.
	Turns float64 `json:"turns,omitempty"` // wound
	Part  bool    `json:"part,omitempty"`  // wound: not wound fully
	// FallLeft is how far the weight could still fall, as found: before winding.
	FallLeft *wear.Length `json:"fallLeft,omitempty"` // wound, inspected
	// Meter is what the train's hour meter shows; MeterNew that it was replaced
	// or put back by hand, and shows this from now on.
	Meter    *float64 `json:"meter,omitempty"`    // wound, inspected, noted
	MeterNew bool     `json:"meterNew,omitempty"` // wound, inspected, noted
	// CutFrom and CutTo are a cut of the mains.
	CutFrom time.Time `json:"cutFrom,omitzero"` // noted
	CutTo   time.Time `json:"cutTo,omitzero"`   // noted
	// Cause of a stop, and when it really stopped or is meant to go again.
	Cause StopCause `json:"cause,omitempty"` // stopped
	Since time.Time `json:"since,omitzero"`  // stopped: known instant before At
	Until Date      `json:"until,omitzero"`  // stopped: when it is meant to go again
	Oil   string    `json:"oil,omitempty"`   // oiled: what oil
	// Points are the codes of the oil points gone to; none: all in question.
	Points []string `json:"points,omitempty"` // oiled, inspected
	// TopUp: oil was added to the old, which is no new oiling.
	TopUp    bool      `json:"topUp,omitempty"`    // oiled
	OilFound OilFound  `json:"oilFound,omitempty"` // oiled, cleaned, inspected: as found
	Residue  Residue   `json:"residue,omitempty"`  // oiled, cleaned, inspected: as found
	Found    Condition `json:"found,omitempty"`    // inspected
	// Visit: the clockmaker's yearly visit, with a written report.
	Visit bool `json:"visit,omitempty"` // inspected
	// Line is the code of the line that was looked at or replaced.
	Line  string     `json:"line,omitempty"`  // inspected, repaired
	Check *LineCheck `json:"check,omitempty"` // inspected, of a line
	// Lock puts a lock on the clock; Clears takes one off, by the name in By.
	Lock   LockKind `json:"lock,omitempty"`   // noted
	Clears LockKind `json:"clears,omitempty"` // noted
	// Season is the code of the seasonal work that was done.
	Season string `json:"season,omitempty"` // noted, inspected
	// Work done and what it leaves: the new end-shake or side-shake.
	Work     RepairWork  `json:"work,omitempty"`     // repaired
	Fitted   wear.Length `json:"fitted,omitempty"`   // repaired: freedom after; zero: not measured
	FittedSD wear.Length `json:"fittedSd,omitempty"` // repaired
	NewPair  wear.Pair   `json:"newPair,omitempty"`  // repaired: other materials
	// ErrorFound and ErrorLeft in seconds, + fast.
	ErrorFound *float64 `json:"errorFound,omitempty"` // set, regulated, wound, inspected, noted
	ErrorLeft  *float64 `json:"errorLeft,omitempty"`  // set
	NutTurns   float64  `json:"nutTurns,omitempty"`   // regulated: + raises the bob
	// Grams put on the pendulum, - taken off; Undoes is the ID of the regulation
	// that this one takes back.
	Grams  float64 `json:"grams,omitempty"`  // regulated
	Undoes string  `json:"undoes,omitempty"` // regulated
	// What a look at the clock's going shows: room temperature, air pressure in
	// hPa, semi-arc of the pendulum in degrees, driving weight in kg, and what
	// its corrector had to add in s/day.
	Celsius   *float64 `json:"celsius,omitempty"`   // wound, inspected, set, regulated, noted
	Pressure  *float64 `json:"pressure,omitempty"`  // wound, inspected, set, regulated, noted
	Arc       *float64 `json:"arc,omitempty"`       // wound, inspected, set, regulated, noted
	Weight    *float64 `json:"weight,omitempty"`    // wound, inspected, set, regulated, noted
	Corrector *float64 `json:"corrector,omitempty"` // wound, inspected, set, regulated, noted
	// Change is the day of the change of time that this setting ticks off.
	Change Date `json:"change,omitzero"` // set
	// Old: copied from an old book. It is taken as it stands, and what does not
	// fit the rest of the log is flagged instead of refused.
	Old bool `json:"old,omitempty"`
}

// StopCause is why a clock stopped.
type StopCause string

// The causes. The first three are deliberate: the instant logged is when it
// stopped. After the others it was found stopped.
const (
	ByHand   StopCause = "by hand"
	Rest     StopCause = "out of season"
	ForWork  StopCause = "for work"
	RanDown  StopCause = "ran down"
	Weather  StopCause = "weather"
	Birds    StopCause = "birds"
	Fault    StopCause = "fault"
	NotKnown StopCause = "not known"
	// Silenced is of a striking or chiming train alone: the clock goes on.
	Silenced StopCause = "silenced"
)

// StopCauses lists the causes in the order in which a form offers them.
var StopCauses = []StopCause{ByHand, Rest, ForWork, RanDown, Weather, Birds, Fault, NotKnown, Silenced}

// Deliberate reports whether somebody stopped the clock on purpose.
func (c StopCause) Deliberate() bool {
	return c == ByHand || c == Rest || c == ForWork || c == Silenced
}

// Condition is what an inspection found, or what a projection says.
type Condition string

// The conditions.
const (
	Sound Condition = "sound"
	Watch Condition = "watch"
	Act   Condition = "act"
)

// RepairWork is what was done to a bearing or a line. Of a bearing every kind
// resets its level.
type RepairWork string

// The works.
const (
	NewBush       RepairWork = "new bush"
	NewWasher     RepairWork = "new washer"
	Refaced       RepairWork = "refaced"
	PivotPolished RepairWork = "pivot polished"
	OtherWork     RepairWork = "other work"
	NewLine       RepairWork = "new line"
)

// RepairWorks lists the works in the order in which a form offers them.
var RepairWorks = []RepairWork{NewBush, NewWasher, Refaced, PivotPolished, OtherWork, NewLine}
