package schedule

import "time"

// Travel tells how long the way is from one place to another.
type Travel struct {
	Speed  float64            // km/h as the crow flies, where Matrix says nothing; 0: usualSpeed
	Matrix map[[2]string]Trip // by Site.Slug, a person's home as "home/" and their slug
}

// Trip is a way between two places.
type Trip struct {
	Minutes float64
	Km      float64 // 0: not known
}

// RoundAsk is what is asked of [Snapshot.Rounds].
type RoundAsk struct {
	Months int    // 1 to 12; 0: 3
	Person string // whose days alone are shown; empty: everybody's. The plan is the same.
	Travel Travel
	Marks  []RoundMark
}

// Rounds are the days of visits that are proposed.
type Rounds struct {
	From, Until Date // Until is the first day beyond
	Days        []RoundDay
	Unmet       []UnmetTask
	// Winds is how many winds the plan leaves to those who live near.
	Winds int
	Notes []string // what the plan had to take for granted, a sentence each
}

// RoundDay is one day of one person.
type RoundDay struct {
	Person      string // Person.Slug
	Day         Date
	Leave, Back Minutes
	Travel      float64 // minutes on the way
	Km          float64 // 0: not known
	Stops       []RoundStop
	Why         string // why this day, in a sentence
}

// RoundStop is a visit to one site, in the order of the day.
type RoundStop struct {
	Site          string // Site.Slug
	Arrive, Leave Minutes
	Tasks         []RoundTask
	Two           bool   // a second person has to be there
	Second        string // Person.Slug of who is free that day; empty: ask for one
	First, Last   Date   // the days on which the visit could be
	Why           string // why it is on this day, in a sentence
	Set           bool   // by hand
}

// RoundTask is a task as the day has it: its window is that of this occurrence.
type RoundTask struct {
	Task
	Again bool // it is not due yet but will be once what is due now is done
}

// UnmetTask is a task that no day of the plan holds in time.
type UnmetTask struct {
	Task
	Why string // in a sentence, with what would mend it
	Day Date   // on which it is done all the same; zero: on none
}

// Rounds plans the visits of the months to come.
func (s *Snapshot) Rounds(ask RoundAsk, now time.Time) Rounds { return Rounds{} }

// Text prints the days for a terminal or a sheet of paper.
func (r Rounds) Text(s *Snapshot) string { return "" }
