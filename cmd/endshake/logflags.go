package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

type measuredFlags struct {
	EndShake  string `help:"The end-shake, like 0.42 mm or 16 thou." placeholder:"LENGTH"`
	SideShake string `help:"The side-shake." placeholder:"LENGTH"`
	Gauge     string `help:"Uncertainty of the gauge." placeholder:"LENGTH"`
	With      string `help:"The instrument." placeholder:"TEXT"`
	Load      string `help:"off (weight held) or on." placeholder:"STATE"`
	Sure      bool   `help:"It is right as written, though it was asked back."`
}

type woundFlags struct {
	Turns    float64  `help:"Turns put on." placeholder:"N"`
	Part     bool     `help:"Not wound fully."`
	FallLeft string   `help:"How far the weight could still fall, before winding; also inspected." placeholder:"LENGTH"`
	Meter    *float64 `help:"What the hour meter shows; also inspected and noted." placeholder:"HOURS"`
	MeterNew bool     `help:"It was replaced or put back, and shows this from now on."`
}

type oiledFlags struct {
	Oil      string   `help:"What oil." placeholder:"TEXT"`
	Points   []string `help:"Codes of the oil points gone to, with commas; otherwise all. Also inspected." placeholder:"CODES"`
	TopUp    bool     `help:"Oil was added to the old."`
	OilFound string   `help:"The old oil: clean, darkened, gummed or dry; also cleaned and inspected." placeholder:"STATE"`
	Residue  string   `help:"What the old oil left behind: clear, green or black; also cleaned and inspected." placeholder:"COLOUR"`
}

type lookedFlags struct {
	Found    string `help:"Looked over: sound, watch or act. (The time alone: noted.)" placeholder:"CONDITION"`
	Visit    bool   `help:"It was the clockmaker's yearly visit, with a written report."`
	Line     string `help:"Code of the line looked at; also repaired." placeholder:"CODE"`
	Wires6   int    `name:"wires6" help:"Broken wires seen in six diameters of the line." placeholder:"N"`
	Wires30  int    `name:"wires30" help:"Broken wires seen in thirty diameters." placeholder:"N"`
	Diameter string `help:"Of the line, at its marked place." placeholder:"LENGTH"`
	Strand   bool   `help:"A strand is broken."`
	Rust     string `help:"In words." placeholder:"TEXT"`
}

type repairedFlags struct {
	Work    string `help:"new bush, new washer, refaced, pivot polished, new line or other work." placeholder:"WORK"`
	Leaves  string `help:"The freedom after it." placeholder:"LENGTH"`
	NewPair string `help:"The materials, if they changed." placeholder:"PAIR"`
}

type stoppedFlags struct {
	Cause string `help:"Why." placeholder:"CAUSE"`
	Since string `help:"When it had stopped, if known." placeholder:"TIME"`
	Until string `help:"The day to go again." placeholder:"DAY"`
}

type timeFlags struct {
	Error     string   `help:"Error found, like -90 (seconds, + fast), 1:30 slow or 2 min fast; also wound, inspected, noted." placeholder:"ERROR"`
	Left      string   `help:"Error left, in the same way." placeholder:"ERROR"`
	Change    string   `help:"Set: the day of the change of time that this was for." placeholder:"DAY"`
	Nut       float64  `help:"Regulated: turns of the rating nut, + raises the bob." placeholder:"TURNS"`
	Grams     float64  `help:"Regulated: grams put on the pendulum, - taken off." placeholder:"GRAMS"`
	Undoes    string   `help:"Regulated: identity of the regulation that this takes back." placeholder:"ID"`
	Celsius   *float64 `help:"Temperature there; measured: of the reading." placeholder:"DEGREES"`
	Pressure  *float64 `help:"Air pressure." placeholder:"HPA"`
	Arc       *float64 `help:"Swing of the pendulum to one side." placeholder:"DEGREES"`
	Weight    *float64 `help:"Driving weight; also noted." placeholder:"KG"`
	Corrector *float64 `help:"What its corrector had to add, in seconds a day." placeholder:"SECONDS"`
}

type notedFlags struct {
	CutFrom string `help:"The mains were cut from then." placeholder:"TIME"`
	CutTo   string `help:"And came back then." placeholder:"TIME"`
	Lock    string `help:"Puts on a lock: do not run, or do not enter." placeholder:"LOCK"`
	Clears  string `help:"Takes the lock off, by the name in --by." placeholder:"LOCK"`
	Season  string `help:"Code of the seasonal work that was done; also inspected." placeholder:"CODE"`
}

// entry puts the flags together.
func (c *logCmd) entry(zone *time.Location) (schedule.Entry, error) {
	e := schedule.Entry{
		Clock: c.Clock, Kind: schedule.EntryKind(c.Kind), At: time.Now(), By: c.By, Train: c.Train, Bearing: c.Bearing,
		Note: c.Note, Source: "command", Replaces: c.Replaces, Why: c.Why, Key: c.Key,
	}
	e.Detail = schedule.Detail{
		Sure: c.Sure, Turns: c.Turns, Part: c.Part, Meter: c.Meter, MeterNew: c.MeterNew,
		Cause: schedule.StopCause(c.Cause), Oil: c.Oil, Points: c.Points, TopUp: c.TopUp,
		OilFound: schedule.OilFound(c.OilFound), Residue: schedule.Residue(c.Residue),
		Found: schedule.Condition(c.Found), Visit: c.Visit, Line: c.Line,
		Lock: schedule.LockKind(c.Lock), Clears: schedule.LockKind(c.Clears), Season: c.Season,
		Work: schedule.RepairWork(c.Work), NewPair: wear.Pair(c.NewPair),
		NutTurns: c.Nut, Grams: c.Grams, Undoes: c.Undoes,
		Pressure: c.Pressure, Arc: c.Arc, Weight: c.Weight, Corrector: c.Corrector, Old: c.Old,
	}
	p := flagReader{zone: zone}
	p.instant("--at", c.At, &e.At)
	p.instant("--since", c.Since, &e.Since)
	p.instant("--cut-from", c.CutFrom, &e.CutFrom)
	p.instant("--cut-to", c.CutTo, &e.CutTo)
	p.date("--until", c.Until, &e.Until)
	p.date("--change", c.Change, &e.Change)
	p.dial("--error", c.Error, &e.ErrorFound)
	p.dial("--left", c.Left, &e.ErrorLeft)
	p.length("--leaves", c.Leaves, &e.Fitted)
	if c.FallLeft != "" {
		e.FallLeft = new(wear.Length)
		p.length("--fall-left", c.FallLeft, e.FallLeft)
	}
	c.reading(&p, &e)
	c.check(&p, &e)
	return e, p.err
}

// reading is of a bearing; without one the temperature is that of the clock.
func (c *logCmd) reading(p *flagReader, e *schedule.Entry) {
	if p.err == nil {
		p.err = c.strayReading()
	}
	shake, text := wear.EndShake, c.EndShake
	if text == "" {
		shake, text = wear.SideShake, c.SideShake
	}
	if text == "" {
		e.Celsius = c.Celsius
		return
	}
	e.Reading = &wear.Reading{Shake: shake, Instrument: c.With, Celsius: c.Celsius, Load: wear.LoadState(c.Load)}
	p.length("--"+string(shake), text, &e.Reading.Value)
	p.length("--gauge", c.Gauge, &e.Reading.Gauge)
}

// strayReading refuses two readings at once, and what would be said of none.
func (c *logCmd) strayReading() error {
	switch {
	case c.EndShake != "" && c.SideShake != "":
		return errors.New("--end-shake, --side-shake: a bearing is followed by one of the two: give one, and log the two apart")
	case c.EndShake != "" || c.SideShake != "":
		return nil
	}
	var stray []string
	for _, f := range []struct{ flag, value string }{{"--gauge", c.Gauge}, {"--with", c.With}, {"--load", c.Load}} {
		if f.value != "" {
			stray = append(stray, f.flag)
		}
	}
	if len(stray) == 0 {
		return nil
	}
	return fmt.Errorf("%s: only for a reading: give it with --end-shake or --side-shake, or leave this out", strings.Join(stray, ", "))
}

// check is what a look at a line found; that nothing was found is worth keeping.
func (c *logCmd) check(p *flagReader, e *schedule.Entry) {
	found := schedule.LineCheck{Wires6: c.Wires6, Wires30: c.Wires30, Strand: c.Strand, Rust: c.Rust}
	p.length("--diameter", c.Diameter, &found.Diameter)
	if found != (schedule.LineCheck{}) || c.Line != "" && e.Kind == schedule.Inspected {
		e.Check = &found
	}
}

// flagReader reads what is written with a unit or as a day, up to the first that
// cannot be read.
type flagReader struct {
	zone *time.Location
	err  error
}

func (p *flagReader) read(flag, s string, parse func() error) {
	if s == "" || p.err != nil {
		return
	}
	if err := parse(); err != nil {
		p.err = fmt.Errorf("%s: %w", flag, err)
	}
}

func (p *flagReader) instant(flag, s string, to *time.Time) {
	p.read(flag, s, func() error {
		at, err := schedule.ParseWall(s, p.zone)
		*to = at.UTC()
		return err
	})
}

// dial reads an error. A figure alone is seconds, and fast without a sign.
func (p *flagReader) dial(flag, s string, to **float64) {
	p.read(flag, s, func() error {
		v, way, err := schedule.ParseDialError(s)
		_, notFigure := strconv.ParseFloat(s, 64)
		switch {
		case err != nil:
			return err
		case way == "" && notFigure != nil && v != 0:
			return fmt.Errorf("%q does not say which way: write fast or slow after it", s)
		case way == schedule.Slow && v != 0:
			v = -v
		}
		*to = &v
		return nil
	})
}

func (p *flagReader) date(flag, s string, to *schedule.Date) {
	p.read(flag, s, func() (err error) { *to, err = schedule.ParseDate(s); return err })
}

func (p *flagReader) length(flag, s string, to *wear.Length) {
	p.read(flag, s, func() (err error) { *to, err = wear.ParseLength(s); return err })
}
