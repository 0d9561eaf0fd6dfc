package schedule

import (
	"time"

	"endshake/wear"
)

// TaskKind is a kind of work that falls due.
type TaskKind string

// The kinds of task.
const (
	Winding    TaskKind = "winding"
	Oiling     TaskKind = "oiling"
	Inspection TaskKind = "inspection"
	Measuring  TaskKind = "measuring"
	NearLimit  TaskKind = "near its limit" // a bearing wants work
	Mending    TaskKind = "mending"        // an inspection found something to act on
	Locked     TaskKind = "lock"           // something keeps the clock from running, or people out
	LineLook   TaskKind = "line inspection"
	LineAge    TaskKind = "new line"
	Visiting   TaskKind = "yearly visit" // the clockmaker's, with a report
	Setting    TaskKind = "setting"      // its error reaches what it is held to
	TimeChange TaskKind = "time change"
	Seasonal   TaskKind = "season"
	PowerCheck TaskKind = "look after a power cut"
	Restart    TaskKind = "starting again" // it stands against what is wished
)

// TaskKinds lists the kinds in the order in which they are shown.
var TaskKinds = []TaskKind{Locked, Winding, PowerCheck, Restart, NearLimit, Mending, LineLook, LineAge, TimeChange, Setting, Oiling, Measuring,
	Inspection, Visiting, Seasonal}

// Rank is how a task presses beside others, the least number first.
type Rank int

// The ranks, in the order in which a conservator would act.
const (
	Danger         Rank = iota + 1 // something may hurt somebody, or break
	MayHaveStopped                 // by the log it has run down, or a cut of the mains stopped it
	StopsSoon                      // without it the clock stops within days
	ToAct                          // an inspection found something to act on, or it stands
	AtLimit                        // a bearing or a line is at its limit
	PastItsDay                     // past its last good day
	Plain                          // the rest
)

// RankWords says each rank.
var RankWords = map[Rank]string{
	Danger: "danger", MayHaveStopped: "may have stopped", StopsSoon: "stops soon", ToAct: "to act on", AtLimit: "at its limit", PastItsDay: "late", Plain: "",
}

// TaskState is where a task stands in its window.
type TaskState string

// The states.
const (
	Ahead   TaskState = "ahead"   // not yet time
	Open    TaskState = "open"    // may be done now
	Due     TaskState = "due"     // wants doing now
	Late    TaskState = "late"    // past its last good day
	Resting TaskState = "resting" // the clock is out of season or stopped for work
)

// TaskStates lists the states with the most pressing first.
var TaskStates = []TaskState{Late, Due, Open, Ahead, Resting}

// Task is one piece of work on one clock with its window of good days.
type Task struct {
	Clock   string    `json:"clock"` // Clock.Slug
	Kind    TaskKind  `json:"kind"`
	Subject string    `json:"subject"` // train or bearing code, bearing/code where both have it; empty: the whole clock
	About   string    `json:"-"`       // the subject in words: "going train", "centre arbor, front bush"
	State   TaskState `json:"state"`
	From    Date      `json:"from"` // first good day
	Due     Date      `json:"due"`
	Latest  Date      `json:"latest"` // last good day
	// Reason says in words and numbers why it is due then.
	Reason string `json:"reason"`
	// Source of the interval or limit behind it.
	Source string `json:"-"`
	// Confidence says how sure the date is, and why: "firm: ...", "fair: ...", "weak: ...".
	Confidence string `json:"confidence"`
	// Caution is what can hurt somebody doing it, never empty.
	Caution string `json:"caution"`
	// People are the slugs of those who should do it, the first first.
	People []string `json:"people"`
	Rank   Rank     `json:"rank"`
	// Evidence is what in the log or in the clock's description it rests on.
	Evidence string `json:"evidence"`
	// Next is the cheapest next step, as a request.
	Next    string `json:"next"`
	Minutes int    `json:"minutes"` // how long the job takes
	// Wears: the date comes from wear and is as unsure as that.
	Wears bool `json:"-"`
	// Past says since when a bearing is over its limit, in words: then there are
	// no good days, and the window only keeps the task due. Empty: it is not.
	Past string `json:"-"`
	// PastLimit says the same where there is little room: "past its limit since
	// about 2018".
	PastLimit string `json:"-"`
	// Excess is the share of the limit by which it is over.
	Excess float64 `json:"-"`
	// Unsure: of a look after a power cut, by the log the clock may as well go.
	Unsure   bool     `json:"-"`
	trains   []string // PowerCheck: the codes of those in question
	bearings []string // Measuring: the codes of those due together
}

// Outlook is what is known about one bearing now, and what is likely.
type Outlook struct {
	Bearing wear.Bearing
	Arbor   wear.Arbor
	Train   wear.Train
	Prior   wear.Prior
	Wear    wear.Posterior
	// History: what the figure was made of, oldest first, the present part last.
	Parts []Part
	// Exposure now and per day of calendar time ahead, in the train's counter.
	Exposure  wear.Exposure
	PerDay    float64
	Counter   wear.Counter
	Condition Condition
	// Known is false for a bearing that was never measured, nor learned of
	// from an earlier part. Taught says that some part was found at two sizes,
	// far enough apart for a rate of wear that holds until now.
	Known, Taught bool
	// Ahead: the present part was found at two sizes, its size when fitted
	// counting as one, so that what lies ahead may be drawn.
	Ahead bool
	// Level in millimetres, its median and deviation: now, or at the last
	// reading where no rate is Taught; meaningless unless Known.
	Level wear.Level
	// PerYear is the wear in mm of the year to come at the duty to expect: 10 %,
	// 50 %, 90 %.
	PerYear [3]float64
	// Limit is the one that binds: the smaller of Act and Stop, else Watch; nil
	// where none is set. Used is the share of
	// the allowance between fitted size and limit that Level has used up (of
	// the whole limit where the fitted size is not known).
	Limit *wear.Limit
	Used  float64
	// Watch, Act and Stop are the limits that hold, of those that the
	// conservator set and those that the meshes set; the source names which
	// won. At Stop the clock must not run on. Nil: none.
	Watch, Act, Stop *wear.Limit
	// Changed is the day of the reading after which the rate changed; zero: it
	// did not, as far as can be told.
	Changed Date
	// ReadAgain: the last reading does not fit.
	ReadAgain bool
	// Meshes are those that its wear moves.
	Meshes []MeshState
	// Oil is how its oil bears on its wear; nil: no interval is set for it, or
	// the part has not run.
	Oil *OilWear
	// Crossing of the limit: 10 %, 50 % and 90 % dates. Dated is false where
	// the data cannot carry a date: then the dates are zero, but for the first
	// two of a bearing that is Over, or may have reached its limit while its
	// readings told, and only Measure may be shown.
	Dated   bool
	Over    bool // more likely than not already over the limit
	Early   Date
	Likely  Date
	Late    Date
	Beyond  bool // the early date is beyond what anyone plans for: 40 years
	Measure Date // measure (again) by
	Why     string
	latest  Date   // Likely, as it was when its train stopped
	held    bool   // the chance that it is at its limit was one in ten while its readings told
	own     string // what its own limit or life has to say of when to measure
	past    *past  // where it is Over: how far and since when
	seen    Date   // last reading, or fitting, or first day in care
	use     usage
	duty    duty
	memo    *memo // for the next answer; nil: there is no forecast
	// Sentence says it all in words: the one line a chart carries.
	Sentence   string
	Confidence string
}

// MeshState is where a mesh stands as its bearing has worn, and the shakes at
// which it is to be watched, mended, and no longer run.
type MeshState struct {
	Mesh wear.Mesh
	// Known is false where nothing tells how far the wheel has moved; then Now
	// means nothing.
	Known            bool
	Now              wear.Engagement
	Watch, Act, Stop wear.Length // zero: none can be worked out
	Source           string      // of the three
}

// OilWear is what the state of the oil did to the present part: good until its
// oiling is due, aged until twice that interval, then dry (judgement, no source).
type OilWear struct {
	Good, Aged, Dry float64 // share of its running in each state
	// Late is the share of its wear that oiling in time would have saved, by
	// the medians of wear.Coefficient; 0 where the materials are not known.
	Late    float64
	InForce bool // the forecast weights the running by it
}

// Part is the life of one part in a bearing: from its fitting to the next repair.
type Part struct {
	From     time.Time   // fitted; zero: not known
	Work     RepairWork  // how it came there; empty: as found
	Start    *wear.Level // freedom when fitted, nil: not known
	Cleaned  []time.Time // stripped and cleaned, and the same part put back
	Readings []Point
	pair     wear.Pair // the materials that rub since; empty: as before
}

// Point is one reading with the exposure it was taken at.
type Point struct {
	At       time.Time
	Exposure float64 // in the train's counter since the clock came into care
	Reading  wear.Reading
	Entry    string // Entry.ID
	By       string
	// Value is the reading in mm, brought to one temperature; SD its
	// uncertainty with what is not known of the temperature.
	Value, SD float64
	// Doubt is the probability that it is misread.
	Doubt float64
}

// TrainState is what is known about one train now.
type TrainState struct {
	Train   wear.Train
	Running wear.Running
	// RunHours since the clock came into care.
	RunHours wear.Exposure
	Going    bool
	// WoundAt is the last full wind, RunsDown when it is used up; zero where
	// the train is not hand-wound or nothing is logged.
	WoundAt  time.Time
	RunsDown time.Time
	// PerDay is the run-hours to expect in a day ahead, from the recent past.
	PerDay float64
	// PerDayLow and PerDayHigh are the 5 and 95 % points of what it comes to in
	// the long run, as far as the log tells.
	PerDayLow, PerDayHigh float64
	Wind                  WindState
	sifted                *sifted // what the running comes from
	unfit                 bool    // nothing is known of its running
	duty                  dutySums
	asked                 *Task // its winding, while it goes; nil: none
}

// Assessment is the whole answer for one clock at one instant.
type Assessment struct {
	Clock     Clock
	Site      Site
	Zone      *time.Location
	Now       time.Time
	Trains    []TrainState
	Outlooks  []Outlook // worst first
	Tasks     []Task    // most pressing first
	Entries   []Entry   // the log that counts, oldest first, corrections applied
	Going     bool
	Resting   bool
	Back      Date   // resting: when it is meant to go again
	Status    string // one sentence: the one thing to know
	LastEntry time.Time
	Problems  []string // facts that do not fit together
	// Flags are entries copied from old books that do not fit the rest, and so
	// count for nothing in its running, or that fall within a lock; one sentence
	// each.
	Flags []string
	Locks []Lock
	// Findings are what inspections found to act on and nothing has mended, the
	// oldest first.
	Findings []Finding
	Oils     []OilState
	Lines    []LineState
	Time     Timekeeping
	Change   *ChangeState // nil: its zone has none ahead

	begin     time.Time // the first instant in care; see inCare
	lockFlags []string  // those of the Flags that fall within a lock
	model     Model
	given     given
	reuse     reuse // while it is made
}

// Worst is the outlook with the largest share of its limit used, if any
// bearing has both a level and a limit.
func (a Assessment) Worst() (Outlook, bool) {
	best, found := Outlook{}, false
	for _, o := range a.Outlooks {
		if o.Known && o.Limit != nil && (!found || o.Used > best.Used) {
			best, found = o, true
		}
	}
	return best, found
}

// Outlook finds the outlook of a bearing by its code.
func (a Assessment) Outlook(bearing string) (Outlook, bool) {
	for i := range a.Outlooks { // which are large
		if a.Outlooks[i].Bearing.Code == bearing {
			return a.Outlooks[i], true
		}
	}
	return Outlook{}, false
}

// Train finds the state of a train by its code.
func (a Assessment) Train(code string) (TrainState, bool) {
	for _, t := range a.Trains {
		if t.Train.Code == code {
			return t, true
		}
	}
	return TrainState{}, false
}

// Snapshot is the answer for the whole fleet. It is never changed once made:
// pages, mail and metrics read it side by side.
type Snapshot struct {
	// Now is when the whole fleet was assessed; a clock whose log has grown
	// since was assessed later, see Assessment.Now.
	Now    time.Time
	Fleet  Fleet
	Clocks []Assessment // in the order of Fleet.Clocks
}

// Clock finds the assessment of a clock by its slug.
func (s *Snapshot) Clock(slug string) (Assessment, bool) {
	for i := range s.Clocks { // which are large
		if s.Clocks[i].Clock.Slug == slug {
			return s.Clocks[i], true
		}
	}
	return Assessment{}, false
}
