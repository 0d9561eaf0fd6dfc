package api

import (
	"maps"
	"math"
	"slices"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Task is a task as the due-list of the demo has it, and what it is in words.
type Task struct {
	schedule.Task
	What   string `json:"what"`
	Source string `json:"source"` // of the interval or limit behind it
	Wears  bool   `json:"wears"`  // its date comes from wear and is as unsure as that
}

// NewTasks writes tasks; never null.
func NewTasks(tasks []schedule.Task) []Task {
	out := make([]Task, 0, len(tasks))
	for _, t := range tasks {
		if t.People == nil {
			t.People = []string{}
		}
		out = append(out, Task{Task: t, What: t.What(), Source: t.Source, Wears: t.Wears})
	}
	return out
}

// Due is one page of the due-list, the most pressing first.
type Due struct {
	Today schedule.Date `json:"today"`
	Total int           `json:"total"` // of all pages
	Tasks []Task        `json:"tasks"`
	Next  *string       `json:"next"`
}

// Lesson is what the fleet has taught.
type Lesson struct {
	Version    int         `json:"version"` // 0: nothing yet
	FittedAt   *time.Time  `json:"fittedAt"`
	Taught     bool        `json:"taught"`
	Bearings   int         `json:"bearings"`
	Readings   int         `json:"readings"`
	Sentences  []string    `json:"sentences"`
	Exponent   Num         `json:"exponent"`        // of exposure; below 1: fast at first
	Quickening Num         `json:"quickeningPerMm"` // by how much of itself the rate grows
	Gauge      Num         `json:"gaugeFactor"`     // on stated uncertainties
	Spread     Num         `json:"spread"`          // of ln rates inside a group
	OilInForce bool        `json:"oilInForce"`
	Groups     []Group     `json:"groups"`
	Track      TrackRecord `json:"trackRecord"`
}

// Group is what bearings that wear alike have taught: how many times as fast as
// was expected before any reading.
type Group struct {
	Group    string `json:"group"`
	Bearings int    `json:"bearings"`
	Times    Num    `json:"timesExpected"`
}

// TrackRecord is how well forecasts of this fleet did.
type TrackRecord struct {
	Next Versus `json:"next"`
	Last Versus `json:"last"`
}

// Versus is a score beside that of a straight line on the same forecasts.
type Versus struct {
	Score
	StraightLine Score `json:"straightLine"`
}

// Score is the quality of forecasts of readings, in mm and as shares.
type Score struct {
	Forecasts int `json:"forecasts"`
	CRPS      Num `json:"crpsMm"`
	MAE       Num `json:"maeMm"`
	Cover80   Num `json:"cover80"`
	Cover90   Num `json:"cover90"`
}

// NewLesson writes what the fleet has taught; ok is false where it has not.
func NewLesson(l schedule.Learned, ok bool) Lesson {
	if !ok {
		return Lesson{Sentences: []string{"The fleet has taught nothing yet: forecasts rest on physics and on each bearing's own readings."},
			Exponent: none, Quickening: none, Gauge: none, Spread: none, Groups: []Group{}}
	}
	at := l.FittedAt.UTC()
	m, track := l.Model, l.InForce()
	out := Lesson{
		Version: l.Version, FittedAt: &at, Taught: m.Taught, Bearings: m.Bearings, Readings: m.Readings, Sentences: l.Sentences(time.UTC),
		Exponent: Num(m.Params.B), Quickening: Num(m.Params.Quicken), Gauge: Num(m.Params.C), Spread: Num(m.Om), OilInForce: l.OilInForce,
		Groups: []Group{}, Track: TrackRecord{versus(track.Next), versus(track.Last)},
	}
	for _, name := range slices.Sorted(maps.Keys(m.Groups)) {
		g := m.Groups[name]
		out.Groups = append(out.Groups, Group{name, g.Bearings, Num(math.Exp(g.Shift))})
	}
	return out
}

func versus(v wear.Versus) Versus { return Versus{score(v.Ours), score(v.StraightLine)} }

// score has no figures where nothing was forecast.
func score(s wear.Score) Score {
	if s.Forecasts == 0 {
		return Score{CRPS: none, MAE: none, Cover80: none, Cover90: none}
	}
	return Score{s.Forecasts, Num(s.CRPS), Num(s.MAE), Num(s.Cover80), Num(s.Cover90)}
}

// Index is what there is under /api/.
type Index struct {
	Service     string    `json:"service"`
	You         string    `json:"you"` // who asks
	AsOf        time.Time `json:"asOf"`
	Description string    `json:"description"` // address of the description
	Addresses   []Address `json:"addresses"`
}

// Address is one address with what it answers to.
type Address struct {
	Path    string   `json:"path"`
	Methods []string `json:"methods"`
	About   string   `json:"about"`
}
