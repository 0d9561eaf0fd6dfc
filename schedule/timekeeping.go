package schedule

import "time"

// Timekeeping is how well a clock keeps time. Rates are in seconds a day, +
// gaining; errors in seconds, + fast.
type Timekeeping struct {
	Stretches []Stretch // between settings, regulations and stops, oldest first
	Errors    []ErrorSeen
	// Rate of the present stretch with its deviation; Known is false where
	// nothing tells.
	Known    bool
	Rate, SD float64
	Error    float64 // now, as far as the rate tells
	// Tolerance is what the clock is held to; 0: none.
	Tolerance float64
	// Reached is the day on which the error reaches it as likely as not, and
	// Early the day on which the chance is 5 %. Zero: not within two years.
	Reached, Early Date
	Regulations    []Regulation // oldest first
	// PerDegree and PerHectopascal are how the rate goes with temperature and
	// air pressure; nil: the data do not carry them.
	PerDegree, PerHectopascal *Coefficient
	Sentence                  string
	// Signs are early signs of old oil or of wear.
	Signs []Sign
}

// Stretch is a time in which nobody touched the clock's rate or hands.
type Stretch struct {
	From, To time.Time
	Errors   int
	Rate, SD float64 // SD of 0: fewer than two errors, and Rate means nothing
	Celsius  *float64
}

// ErrorSeen is one error as found or left.
type ErrorSeen struct {
	At      time.Time
	Seconds float64
	Left    bool // as left after setting
	Entry   string
}

// Regulation is one change of a clock's rate.
type Regulation struct {
	At     time.Time
	Entry  string
	Turns  float64 // of the nut, + raises the bob
	Grams  float64 // put on, - taken off
	Total  float64 // turns since the log begins, those undone left out
	On     float64 // grams on the pendulum, likewise
	Undone bool
	// Expected is the rate that it should bring and Brought what the errors
	// before and after say; nil: not known.
	Expected, Brought *float64
}

// Coefficient is a slope with its deviation.
type Coefficient struct {
	Value, SD float64
	Stretches int
}

// Sign is an early sign of trouble in a clock.
type Sign struct {
	Since Date
	Words string // one sentence
}

// timekeeping works out how well a clock keeps time.
func timekeeping(a Assessment) Timekeeping { return Timekeeping{} }

// settingTasks ask for the clock to be set or regulated.
func settingTasks(a Assessment) []Task { return nil }
