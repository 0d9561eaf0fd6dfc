package api

import (
	"encoding/json"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Fleet is one page of the clocks that somebody may see, by their short names.
type Fleet struct {
	AsOf   time.Time `json:"asOf"`
	Total  int       `json:"total"` // of all pages
	Clocks []Line    `json:"clocks"`
	Next   *string   `json:"next"`
}

// Line is one clock in short.
type Line struct {
	Clock    string             `json:"clock"` // slug
	Name     string             `json:"name"`
	Kind     schedule.ClockKind `json:"kind"`
	Site     string             `json:"site"`
	SiteName string             `json:"siteName"`
	Zone     string             `json:"zone"`
	Standing schedule.Stance    `json:"standing"`
	Locked   bool               `json:"locked"`
	Status   string             `json:"status"` // one sentence
	// Tasks counts its tasks by state; First is the most pressing one.
	Tasks map[schedule.TaskState]int `json:"tasks"`
	First *Task                      `json:"first"`
	Worst *Brief                     `json:"worst"` // the bearing that has used most of its limit
}

// Clock is everything about one clock but its log and its bearings.
type Clock struct {
	Line
	AsOf time.Time `json:"asOf"`
	// Description is the clock as the fleet file has it.
	Description json.RawMessage `json:"description"`
	Place       Place           `json:"place"`
	People      []Duty          `json:"people"`
	BackOn      schedule.Date   `json:"backOn"` // resting: when it is meant to go again
	Locks       []Lock          `json:"locks"`
	Problems    []string        `json:"problems"` // facts that do not fit together
	Flags       []string        `json:"flags"`    // entries from old books that do not fit
	Trains      []Train         `json:"trains"`
	Time        Time            `json:"time"`
	Due         []Task          `json:"due"`
}

// Place is where a clock stands.
type Place struct {
	Place   string `json:"place"`
	Access  string `json:"access"`
	Caution string `json:"caution"`
	// Reach is what whoever plans a visit must know, as in a fleet file.
	Reach schedule.Reach `json:"reach"`
}

// Duty is somebody with what they do for the clock.
type Duty struct {
	Person string          `json:"person"`
	Name   string          `json:"name"`
	Roles  []schedule.Role `json:"roles"`
}

// Lock is what the clock is locked against.
type Lock struct {
	Kind  schedule.LockKind `json:"kind"`
	Since schedule.Date     `json:"since"`
	Words string            `json:"words"`
	Entry string            `json:"entry"`
}

// Train is what is known of one train now.
type Train struct {
	Train       string         `json:"train"` // code
	Name        string         `json:"name"`
	Kind        wear.TrainKind `json:"kind"`
	Drive       wear.Drive     `json:"drive"`
	Going       bool           `json:"going"`
	RunHours    Num            `json:"runHours"` // since it came into care
	RunLow      Num            `json:"runHoursLow"`
	RunHigh     Num            `json:"runHoursHigh"`
	PerDay      Num            `json:"runHoursPerDay"` // to expect; low and high of 9 in 10
	PerDayLow   Num            `json:"runHoursPerDayLow"`
	PerDayHigh  Num            `json:"runHoursPerDayHigh"`
	WoundAt     *time.Time     `json:"woundAt"`
	WindLeft    Num            `json:"windLeftHours"`
	WindShare   Num            `json:"windLeftShare"`
	Stops       *time.Time     `json:"stops"` // about when it stops; low and high of 9 in 10
	StopsLow    *time.Time     `json:"stopsLow"`
	StopsHigh   *time.Time     `json:"stopsHigh"`
	PastRunDown bool           `json:"pastRunDown"` // by what is logged it has stopped
}

// Time is how the clock keeps time.
type Time struct {
	Rate      Num           `json:"rateSecondsPerDay"` // + gaining
	RateLow   Num           `json:"rateLowSecondsPerDay"`
	RateHigh  Num           `json:"rateHighSecondsPerDay"` // of 19 in 20
	Error     Num           `json:"errorSeconds"`          // + fast
	ErrorSD   Num           `json:"errorSdSeconds"`
	Tolerance Num           `json:"toleranceSeconds"`
	Reached   schedule.Date `json:"reaches"` // the day on which its error is as likely as not at the tolerance
	Sentence  string        `json:"sentence"`
}

// NewLine writes a clock in short.
func NewLine(a schedule.Assessment) Line {
	l := Line{
		Clock: a.Clock.Slug, Name: a.Clock.Name, Kind: a.Clock.Kind, Site: a.Clock.Site, SiteName: a.Site.Name, Zone: a.Site.Zone,
		Standing: a.Stance(), Locked: len(a.Locks) > 0, Status: a.Status, Tasks: map[schedule.TaskState]int{},
	}
	for _, s := range schedule.TaskStates {
		l.Tasks[s] = 0
	}
	for _, t := range a.Tasks {
		l.Tasks[t.State]++
	}
	if len(a.Tasks) > 0 {
		l.First = &NewTasks(a.Tasks[:1])[0]
	}
	if o, ok := a.Worst(); ok {
		b := NewBrief(a, o)
		l.Worst = &b
	}
	return l
}

// NewClock writes everything about a clock; the fleet is that of who asks.
func NewClock(f schedule.Fleet, a schedule.Assessment) (Clock, error) {
	description, err := schedule.FormatClock(a.Clock, a.Zone)
	if err != nil {
		return Clock{}, err
	}
	c := Clock{
		Line: NewLine(a), AsOf: a.Now.UTC(), Description: description, Place: Place{a.Site.Place, a.Site.Access, a.Site.Caution, a.Site.Reach},
		People: duties(f, a.Clock), BackOn: a.Back, Locks: []Lock{}, Problems: words(a.Problems), Flags: words(a.Flags), Trains: []Train{},
		Time: newTime(a.Time), Due: NewTasks(a.Tasks),
	}
	for _, l := range a.Locks {
		c.Locks = append(c.Locks, Lock{l.Kind, l.Since, l.Words(), l.Entry})
	}
	for _, t := range a.Trains {
		c.Trains = append(c.Trains, newTrain(t))
	}
	return c, nil
}

func words(s []string) []string { return append([]string{}, s...) }

func duties(f schedule.Fleet, c schedule.Clock) []Duty {
	out := []Duty{}
	for _, d := range c.Duties {
		i := slices.IndexFunc(out, func(o Duty) bool { return o.Person == d.Person })
		if i < 0 {
			p, _ := f.Person(d.Person)
			out, i = append(out, Duty{Person: d.Person, Name: p.Name}), len(out)
		}
		out[i].Roles = append(out[i].Roles, d.Role)
	}
	return out
}

func newTrain(t schedule.TrainState) Train {
	out := Train{
		Train: t.Train.Code, Name: schedule.NameOfTrain(t.Train), Kind: t.Train.Kind, Drive: t.Train.Drive, Going: t.Going,
		RunHours: Num(t.RunHours.Likely), RunLow: Num(t.RunHours.Lower), RunHigh: Num(t.RunHours.Upper),
		PerDay: Num(t.PerDay), PerDayLow: Num(t.PerDayLow), PerDayHigh: Num(t.PerDayHigh),
		WoundAt: when(t.WoundAt), WindLeft: none, WindShare: none,
		Stops: when(t.Wind.Stops), StopsLow: when(t.Wind.Early), StopsHigh: when(t.Wind.Late), PastRunDown: t.Wind.Past,
	}
	if t.Wind.Known {
		out.WindLeft, out.WindShare = Num(t.Wind.Left.Hours()), Num(t.Wind.Share)
	}
	return out
}

func when(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}

func newTime(t schedule.Timekeeping) Time {
	out := Time{Rate: none, RateLow: none, RateHigh: none, Error: none, ErrorSD: none, Tolerance: none, Reached: t.Reached, Sentence: t.Sentence}
	if t.Known {
		out.Rate, out.RateLow, out.RateHigh = Num(t.Rate), Num(t.Rate-t.Give), Num(t.Rate+t.Give)
	}
	if t.ErrorKnown {
		out.Error, out.ErrorSD = Num(t.Error), Num(t.ErrorSD)
	}
	if t.Tolerance > 0 {
		out.Tolerance = Num(t.Tolerance)
	}
	return out
}
