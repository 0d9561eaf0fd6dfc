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
}

// Detail holds what only some kinds of entry carry. Its zero value fits all.
type Detail struct {
	Reading *wear.Reading `json:"reading,omitempty"` // measured
	// Sure: asked back, the reader says that it is as written.
	Sure bool `json:"sure,omitempty"` // measured
	// Turns put on the barrel; zero with Full false: not recorded, taken as full.
	Turns float64 `json:"turns,omitempty"` // wound
	Part  bool    `json:"part,omitempty"`  // wound: not wound fully
	// Cause of a stop, and when it really stopped or is meant to go again.
	Cause StopCause `json:"cause,omitempty"` // stopped
	Since time.Time `json:"since,omitzero"`  // stopped: known instant before At
	Until Date      `json:"until,omitzero"`  // stopped: when it is meant to go again
	Oil   string    `json:"oil,omitempty"`   // oiled: what oil
	Found Condition `json:"found,omitempty"` // inspected
	// Work done and what it leaves: the new end-shake or side-shake.
	Work     RepairWork  `json:"work,omitempty"`     // repaired
	Fitted   wear.Length `json:"fitted,omitempty"`   // repaired: freedom after; zero: not measured
	FittedSD wear.Length `json:"fittedSd,omitempty"` // repaired
	NewPair  wear.Pair   `json:"newPair,omitempty"`  // repaired: other materials
	// ErrorFound and ErrorLeft in seconds, + fast.
	ErrorFound *float64 `json:"errorFound,omitempty"` // set, wound, inspected
	ErrorLeft  *float64 `json:"errorLeft,omitempty"`  // set
	NutTurns   float64  `json:"nutTurns,omitempty"`   // regulated: + raises the bob
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
)

// StopCauses lists the causes in the order in which a form offers them.
var StopCauses = []StopCause{ByHand, Rest, ForWork, RanDown, Weather, Birds, Fault, NotKnown}

// Deliberate reports whether somebody stopped the clock on purpose.
func (c StopCause) Deliberate() bool { return c == ByHand || c == Rest || c == ForWork }

// Condition is what an inspection found, or what a projection says.
type Condition string

// The conditions.
const (
	Sound Condition = "sound"
	Watch Condition = "watch"
	Act   Condition = "act"
)

// RepairWork is what was done to a bearing. Every kind resets its level.
type RepairWork string

// The works.
const (
	NewBush       RepairWork = "new bush"
	NewWasher     RepairWork = "new washer"
	Refaced       RepairWork = "refaced"
	PivotPolished RepairWork = "pivot polished"
	OtherWork     RepairWork = "other work"
)

// RepairWorks lists the works in the order in which a form offers them.
var RepairWorks = []RepairWork{NewBush, NewWasher, Refaced, PivotPolished, OtherWork}
