package api

import (
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Said is what an entry says, as it is posted and as it is given back.
type Said struct {
	Kind     schedule.EntryKind `json:"kind"`
	At       time.Time          `json:"at,omitzero"`
	Train    string             `json:"train,omitempty"`
	Bearing  string             `json:"bearing,omitempty"`
	By       string             `json:"by,omitempty"`
	Note     string             `json:"note,omitempty"`
	Replaces string             `json:"replaces,omitempty"`
	Why      string             `json:"why,omitempty"`
	Old      bool               `json:"old,omitempty"`

	Reading *Reading `json:"reading,omitempty"`
	Sure    bool     `json:"sure,omitempty"`

	Turns      float64   `json:"turns,omitempty"`
	Part       bool      `json:"part,omitempty"`
	FallLeft   *Size     `json:"fallLeft,omitempty"`
	MeterHours *float64  `json:"meterHours,omitempty"`
	MeterNew   bool      `json:"meterNew,omitempty"`
	CutFrom    time.Time `json:"cutFrom,omitzero"`
	CutTo      time.Time `json:"cutTo,omitzero"`

	Cause schedule.StopCause `json:"cause,omitempty"`
	Since time.Time          `json:"since,omitzero"`
	Until schedule.Date      `json:"until,omitzero"`

	Oil      string            `json:"oil,omitempty"`
	Points   []string          `json:"points,omitempty"`
	TopUp    bool              `json:"topUp,omitempty"`
	OilFound schedule.OilFound `json:"oilFound,omitempty"`
	Residue  schedule.Residue  `json:"residue,omitempty"`

	Found  schedule.Condition `json:"found,omitempty"`
	Visit  bool               `json:"visit,omitempty"`
	Line   string             `json:"line,omitempty"`
	Check  *Check             `json:"check,omitempty"`
	Lock   schedule.LockKind  `json:"lock,omitempty"`
	Clears schedule.LockKind  `json:"clears,omitempty"`
	Season string             `json:"season,omitempty"`

	Work     schedule.RepairWork `json:"work,omitempty"`
	Fitted   *Size               `json:"fitted,omitempty"`
	FittedSD *Size               `json:"fittedSd,omitempty"`
	NewPair  wear.Pair           `json:"newPair,omitempty"`

	ErrorFoundSeconds      *float64      `json:"errorFoundSeconds,omitempty"`
	ErrorLeftSeconds       *float64      `json:"errorLeftSeconds,omitempty"`
	NutTurns               float64       `json:"nutTurns,omitempty"`
	Grams                  float64       `json:"grams,omitempty"`
	Undoes                 string        `json:"undoes,omitempty"`
	Celsius                *float64      `json:"celsius,omitempty"`
	PressureHPa            *float64      `json:"pressureHpa,omitempty"`
	ArcDegrees             *float64      `json:"arcDegrees,omitempty"`
	WeightKg               *float64      `json:"weightKg,omitempty"`
	CorrectorSecondsPerDay *float64      `json:"correctorSecondsPerDay,omitempty"`
	Change                 schedule.Date `json:"change,omitzero"`
}

// Reading is one gauge reading.
type Reading struct {
	Shake      wear.Shake     `json:"shake"`
	Value      *Size          `json:"value"`
	Gauge      *Size          `json:"gauge,omitempty"` // standard uncertainty
	Instrument string         `json:"instrument,omitempty"`
	Celsius    *float64       `json:"celsius,omitempty"`
	Load       wear.LoadState `json:"load,omitempty"`
}

// Check is what a look at a line found.
type Check struct {
	Wires6   int    `json:"wires6,omitempty"`
	Wires30  int    `json:"wires30,omitempty"`
	Diameter *Size  `json:"diameter,omitempty"`
	Strand   bool   `json:"strand,omitempty"`
	Rust     string `json:"rust,omitempty"`
}

// Entry is a line of a clock's log as it is stored.
type Entry struct {
	ID    string `json:"id"`
	Clock string `json:"clock"`
	Said
	RecordedAt time.Time `json:"recordedAt"`
	Source     string    `json:"source,omitempty"`
	// Corrected: a later entry takes its place.
	Corrected *Correction `json:"corrected,omitempty"`
}

// Correction is what took the place of an entry, and why.
type Correction struct {
	Entry string `json:"entry"`
	Why   string `json:"why"`
}

// Log is one page of a clock's log, newest first.
type Log struct {
	Clock   string  `json:"clock"`
	Entries []Entry `json:"entries"`
	Next    *string `json:"next"` // the cursor of the next page; null: this is the last
}

// Logged is the answer to an entry that was logged.
type Logged struct {
	Entry Entry `json:"entry"`
	// Tasks are those of the clock as they stand after; null for a program that
	// may not read.
	Tasks []Task `json:"tasks"`
}

// NewEntry writes an entry; by corrects those entries that were corrected.
func NewEntry(e schedule.Entry, corrected *Correction) Entry {
	return Entry{ID: e.ID, Clock: e.Clock, Said: said(e), RecordedAt: e.RecordedAt.UTC(), Source: e.Source, Corrected: corrected}
}

func said(e schedule.Entry) Said {
	s := Said{
		Kind: e.Kind, At: e.At.UTC(), Train: e.Train, Bearing: e.Bearing, By: e.By, Note: e.Note, Replaces: e.Replaces, Why: e.Why, Old: e.Old,
		Sure: e.Sure, Turns: e.Turns, Part: e.Part, MeterHours: e.Meter, MeterNew: e.MeterNew, CutFrom: e.CutFrom, CutTo: e.CutTo,
		Cause: e.Cause, Since: e.Since, Until: e.Until,
		Oil: e.Oil, Points: e.Points, TopUp: e.TopUp, OilFound: e.OilFound, Residue: e.Residue,
		Found: e.Found, Visit: e.Visit, Line: e.Line, Lock: e.Lock, Clears: e.Clears, Season: e.Season,
		Work: e.Work, Fitted: sized(e.Fitted), FittedSD: sized(e.FittedSD), NewPair: e.NewPair,
		ErrorFoundSeconds: e.ErrorFound, ErrorLeftSeconds: e.ErrorLeft, NutTurns: e.NutTurns, Grams: e.Grams, Undoes: e.Undoes,
		Celsius: e.Celsius, PressureHPa: e.Pressure, ArcDegrees: e.Arc, WeightKg: e.Weight, CorrectorSecondsPerDay: e.Corrector, Change: e.Change,
	}
	if e.FallLeft != nil {
		s.FallLeft = sizeOf(*e.FallLeft)
	}
	if e.Reading != nil {
		s.Reading = readingOf(e.Reading)
	}
	if k := e.Check; k != nil {
		s.Check = &Check{Wires6: k.Wires6, Wires30: k.Wires30, Diameter: sized(k.Diameter), Strand: k.Strand, Rust: k.Rust}
	}
	return s
}

func readingOf(r *wear.Reading) *Reading {
	return &Reading{Shake: r.Shake, Value: sizeOf(r.Value), Gauge: sized(r.Gauge), Instrument: r.Instrument, Celsius: r.Celsius, Load: r.Load}
}

// Pictures are those of a clock's entries.
type Pictures struct {
	Clock    string    `json:"clock"`
	Pictures []Picture `json:"pictures"`
}

// Picture is a picture of an entry, without what it shows.
type Picture struct {
	ID     string    `json:"id"`
	Entry  string    `json:"entry"` // ID of the entry that it belongs to
	At     time.Time `json:"at"`    // when it was logged
	Words  string    `json:"words"` // what stands in its place for those who do not see it
	Width  int       `json:"widthPixels"`
	Height int       `json:"heightPixels"`
}
