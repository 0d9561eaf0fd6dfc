package schedule

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// EntryWords says an entry in words: "measured the centre arbor, front bush:
// 0.42 mm (16.5 thou) end-shake".
func EntryWords(c Clock, zone *time.Location, e Entry) string {
	subject := "the clock"
	if t, ok := c.Train(e.Train); ok && e.Train != "" {
		subject = "the " + NameOfTrain(t)
	}
	if b, arbor, _, ok := c.Bearing(e.Bearing); ok && e.Bearing != "" {
		subject = "the " + NameOf(b.Name, arbor.Name)
	}
	out := string(e.Kind) + " " + subject
	switch {
	case e.Kind == Noted:
		out = "noted"
	case e.Kind == Stopped && !e.Cause.Deliberate() && subject == "the clock":
		out = "found stopped"
	case e.Kind == Stopped && !e.Cause.Deliberate():
		out = "found " + subject + " stopped"
	}
	if more := detailWords(c, zone, e); more != "" {
		out += ": " + more
	}
	return out
}

// detailWords says what only some kinds of entry carry.
func detailWords(c Clock, zone *time.Location, e Entry) string {
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if r := e.Reading; r != nil {
		add("%v %s", r.Value, r.Shake)
		if r.Instrument != "" {
			add("with %s", r.Instrument)
		}
		if e.Sure {
			add("read twice")
		}
	}
	if e.Turns > 0 {
		add("%g turns", e.Turns)
	}
	if e.Part {
		add("not wound fully")
	}
	if e.Cause != "" {
		add("%s", e.Cause)
	}
	if !e.Since.IsZero() {
		add("since %s", Instant(e.Since, zone))
	}
	if !e.Until.IsZero() {
		add("to go again on %s", e.Until.Words())
	}
	if e.TopUp {
		add("topped up")
	}
	if e.Oil != "" {
		add("with %s", e.Oil)
	}
	if e.Found != "" {
		add("found %s", e.Found)
	}
	parts = append(parts, repairWords(e)...)
	parts = append(parts, careWords(c, zone, e)...)
	return strings.Join(append(parts, timeWords(e)...), ", ")
}

func repairWords(e Entry) []string {
	var parts []string
	if e.Work != "" {
		parts = append(parts, string(e.Work))
	}
	if e.Fitted > 0 {
		parts = append(parts, "leaving "+e.Fitted.String())
	}
	if e.NewPair != "" {
		parts = append(parts, "now "+string(e.NewPair))
	}
	return parts
}

func timeWords(e Entry) []string {
	var parts []string
	if e.ErrorFound != nil {
		parts = append(parts, "found "+FastSlow(*e.ErrorFound))
	}
	if e.ErrorLeft != nil {
		parts = append(parts, "left "+FastSlow(*e.ErrorLeft))
	}
	return append(parts, RegulationWords(e)...)
}

// Instant prints an instant where the clock stands, to the minute.
func Instant(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return "not known"
	}
	return t.In(zone).Format("2 Jan 2006, 15:04")
}

// FastSlow says an error of the hands in words.
func FastSlow(seconds float64) string {
	switch {
	case seconds > 0:
		return Seconds(seconds) + " fast"
	case seconds < 0:
		return Seconds(-seconds) + " slow"
	}
	return "right"
}

// Seconds prints seconds, more than two minutes as people do: "75 s",
// "18 min 27 s", "1 h 2 min".
func Seconds(seconds float64) string {
	if !(seconds > 120 && seconds < 1e9) {
		return fmt.Sprintf("%g s", seconds)
	}
	n := int(math.Round(seconds))
	var parts []string
	for _, unit := range []struct {
		of   int
		name string
	}{{3600, "h"}, {60, "min"}, {1, "s"}} {
		if k := n / unit.of; k > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", k, unit.name))
		}
		n %= unit.of
	}
	return strings.Join(parts, " ")
}
