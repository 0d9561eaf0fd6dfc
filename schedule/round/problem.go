// Package round plans days of visits: few days and little travel, such that no
// job passes its last good day. It knows sites, people, jobs and minutes, and
// nothing of clocks. Days are numbers that count up by one; times of a day are
// minutes since midnight. Everything is an argument: the same problem has the same
// plan.
package round

// Hours are a part of a day, in minutes since midnight. Where To is not after
// From there are none.
type Hours struct{ From, To int }

// Problem is what is to be planned: the days From up to Until, which is not one
// of them.
type Problem struct {
	From, Until int
	// Travel holds the minutes from place to place; +Inf: there is no way. Site i
	// is place i; what comes after the sites are homes.
	Travel [][]float64
	Sites  []Site
	People []Person
	Jobs   []Job
	Fixed  []Fixed
	Barred []Barred
}

// Site is a place with jobs.
type Site struct {
	// Open are the hours of each day from Problem.From on; nil: always open.
	Open []Hours
	// Climb is how many minutes a visit takes beside its jobs: in, up and out.
	Climb int
	// Notice is how many days ahead a visit must be arranged.
	Notice int
}

// Person goes on rounds.
type Person struct {
	Home int // a place, where each day begins and ends
	// Goes are the hours of each day from Problem.From on between leaving and being
	// back; none: not out that day.
	Goes []Hours
}

// Job is work at a site on a day from First to Last. One that is over already
// (Last before Problem.From) is to be done on the first day that can be.
type Job struct {
	Site, First, Last, Minutes int
	// By are those who may do it, the first first; the others only where that one
	// cannot in time.
	By []int
	// Two: a second person has to be there, one of With who is out on no round of
	// their own that day, and comes along on no other's. With empty: somebody will be
	// found.
	Two  bool
	With []int
	// Every: done on day d it comes again, from d+Every-Lead to d+Every+Grace. 0:
	// it does not.
	Every, Lead, Grace int
}

// Fixed is a visit that was kept by hand: all that may be done then is done then.
type Fixed struct{ Site, Person, Day int }

// Barred is a visit that was ruled out by hand; Site -1: every site, Person -1:
// everybody.
type Barred struct{ Site, Person, Day int }

// Result is a plan.
type Result struct {
	Days  []Day // by day, then by person
	Unmet []Unmet
}

// Day is one person's round on one day.
type Day struct {
	Person, Day int
	Leave, Back int // home, minutes since midnight
	Travel      float64
	Stops       []Stop // in the order in which they are made
}

// Stop is a visit to one site: it begins at Arrive, for which the person may have
// waited.
type Stop struct {
	Site, Arrive, Leave int
	Work                []Work
	// Second is who comes along; -1: nobody is needed, or nobody is free (Two).
	Second int
	Two    bool
	// First and Last are the days on which all that this visit must serve could be
	// done, stretched to the day itself where that is late or by hand; Binding is
	// the index in Work of what makes Last so, -1 where a visit kept by hand has no
	// Work.
	First, Last, Binding int
	Fixed                bool
}

// Work is one occurrence of a job, done in its window.
type Work struct {
	Job         int
	First, Last int
	Again       int // 0: the job as it was given; 1: the next time
}

// Why says why an occurrence is not planned.
type Why int

// The reasons, the first that holds.
const (
	NobodyMay  Why = iota + 1 // By is empty
	NobodyGoes                // none of By is out on a day of its window
	Shut                      // the site is shut whenever one of By is out
	TooSoon                   // it cannot be arranged any sooner than after Last
	NoWay                     // no way leads there, or it is too far for a day
	TooLong                   // the jobs are longer than any day
	ByHand                    // ruled out by hand
	NoSecond                  // none of With is free
	Full                      // the days are full
)

// Unmet is an occurrence that is not done in its window. Day is the first day
// after it on which it is done all the same; -1: it is not planned at all.
type Unmet struct {
	Work
	Why Why
	Day int
}
