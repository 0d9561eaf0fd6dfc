package web

import (
	"math"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// valuesOf fills a form with an entry, for its correction.
func valuesOf(e schedule.Entry, zone *time.Location) url.Values {
	v := url.Values{}
	set := func(name, value string) {
		if value != "" {
			v.Set(name, value)
		}
	}
	set("kind", string(e.Kind))
	set("at", wallText(e.At, zone))
	set("train", e.Train)
	set("bearing", e.Bearing)
	set("by", e.By)
	set("note", e.Note)
	set("oil", e.Oil)
	set("found", string(e.Found))
	set("cause", string(e.Cause))
	set("since", wallText(e.Since, zone))
	set("until", e.Until.String())
	if e.Turns > 0 {
		set("turns", plainNumber(e.Turns))
	}
	if e.Part {
		set("part", "on")
	}
	setReading(v, e)
	setCare(v, e, zone)
	setSigned(v, "errorFound", "errorFoundWay", e.ErrorFound)
	setSigned(v, "errorLeft", "errorLeftWay", e.ErrorLeft)
	if e.Sure {
		v.Set("sure", entryForm{values: v}.sureMark())
	}
	if e.NutTurns != 0 {
		set("nutTurns", plainNumber(max(e.NutTurns, -e.NutTurns)))
		set("nutWay", map[bool]string{true: "up", false: "down"}[e.NutTurns > 0])
	}
	return v
}

func setReading(v url.Values, e schedule.Entry) {
	if r := e.Reading; r != nil {
		v.Set("value", r.Value.In(wear.MM))
		if r.Gauge > 0 {
			v.Set("gauge", r.Gauge.In(wear.MM))
		}
		v.Set("instrument", r.Instrument)
		v.Set("load", string(r.Load))
		setNumber(v, "celsius", r.Celsius)
	}
	v.Set("work", string(e.Work))
	v.Set("pair", string(e.NewPair))
	if e.Fitted > 0 {
		v.Set("fitted", e.Fitted.In(wear.MM))
	}
	if e.FittedSD > 0 {
		v.Set("fittedSD", e.FittedSD.In(wear.MM))
	}
}

func setSigned(v url.Values, name, wayName string, seconds *float64) {
	if seconds == nil {
		return
	}
	text := plainNumber(max(*seconds, -*seconds))
	if strings.Contains(text, ".") {
		text += " s" // and not minutes
	}
	v.Set(name, text)
	switch {
	case *seconds < 0:
		v.Set(wayName, "slow")
	case *seconds > 0:
		v.Set(wayName, "fast")
	}
}

// setCare fills in what a clock's care asks.
func setCare(v url.Values, e schedule.Entry, zone *time.Location) {
	for name, text := range map[string]string{
		"oilFound": string(e.OilFound), "residue": string(e.Residue), "line": e.Line, "lock": string(e.Lock), "clears": string(e.Clears),
		"season": e.Season, "undoes": e.Undoes, "change": e.Change.String(), "cutFrom": wallText(e.CutFrom, zone), "cutTo": wallText(e.CutTo, zone),
	} {
		if text != "" {
			v.Set(name, text)
		}
	}
	for name, on := range map[string]bool{"topUp": e.TopUp, "visit": e.Visit, "meterNew": e.MeterNew, "old": e.Old} {
		if on {
			v.Set(name, "on")
		}
	}
	if len(e.Points) > 0 {
		v["points"] = slices.Clone(e.Points)
	}
	if e.FallLeft != nil {
		v.Set("fallLeft", e.FallLeft.In(wear.MM))
	}
	for name, figure := range map[string]*float64{"meter": e.Meter, "pressure": e.Pressure, "arc": e.Arc, "weight": e.Weight, "corrector": e.Corrector} {
		setNumber(v, name, figure)
	}
	if e.Celsius != nil {
		setNumber(v, "celsius", e.Celsius)
	}
	if e.Grams != 0 {
		v.Set("grams", plainNumber(math.Abs(e.Grams)))
		v.Set("gramsWay", map[bool]string{true: "on", false: "off"}[e.Grams > 0])
	}
	if c := e.Check; c != nil {
		setCheck(v, *c)
	}
}

func setCheck(v url.Values, c schedule.LineCheck) {
	for name, n := range map[string]int{"wires6": c.Wires6, "wires30": c.Wires30} {
		if n != 0 {
			v.Set(name, strconv.Itoa(n))
		}
	}
	if c.Diameter != 0 {
		v.Set("diameter", c.Diameter.In(wear.MM))
	}
	if c.Strand {
		v.Set("strand", "on")
	}
	v.Set("rust", c.Rust)
}

func setNumber(v url.Values, name string, figure *float64) {
	if figure != nil {
		v.Set(name, plainNumber(*figure))
	}
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
