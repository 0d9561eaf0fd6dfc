package api

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"endshake/schedule"
	"endshake/wear"
)

// ReadEntry reads an entry that was posted as JSON for a clock. What is not
// described is refused, at any depth, and so is what is said twice, null or
// empty: who logs, when it is recorded and what it is called are not for the
// sender to say. Whether the entry can be right is for [schedule.Validate]. An
// error is a *schedule.Error with the field at fault.
func ReadEntry(body []byte, clock string) (schedule.Entry, error) {
	if !utf8.Valid(body) {
		return schedule.Entry{}, refuse("", "the body holds bytes that are not UTF-8: send JSON as UTF-8")
	}
	dec := json.NewDecoder(bytes.NewReader(body))
	dec.UseNumber()
	if err := fits(dec, reflect.TypeFor[Said](), ""); err != nil {
		return schedule.Entry{}, err
	}
	var s Said
	if err := json.Unmarshal(body, &s); err != nil {
		return schedule.Entry{}, notJSON(err)
	}
	r := reader{}
	e := r.entry(s)
	e.Clock = clock
	return e, r.err
}

func refuse(field, format string, args ...any) error {
	return &schedule.Error{Code: schedule.Invalid, Field: field, Message: fmt.Sprintf(format, args...)}
}

func notJSON(err error) error {
	return refuse("", "the body is not an entry in JSON (%v): send one { } as the description has it", err)
}

// fits holds the next value to a type, and stops at the first thing that does
// not fit. It goes no deeper than the type does.
func fits(dec *json.Decoder, t reflect.Type, path string) error {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	tok, err := dec.Token()
	if err == io.EOF {
		return refuse("", "the body is empty: send one entry as JSON")
	}
	if err != nil {
		return notJSON(err)
	}
	text := t.Kind() == reflect.String || reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]())
	switch v := tok.(type) {
	case json.Delim:
		switch {
		case v == '{' && t.Kind() == reflect.Struct && !text:
			return fitsFields(dec, t, path)
		case v == '[' && t.Kind() == reflect.Slice:
			for dec.More() {
				if err := fits(dec, t.Elem(), path); err != nil {
					return err
				}
			}
			_, err = dec.Token()
			if err != nil {
				return notJSON(err)
			}
			return nil
		}
	case string:
		if text && v == "" {
			return refuse(path, "%s is empty: leave it out instead", path)
		}
		if u, ok := reflect.New(t).Interface().(encoding.TextUnmarshaler); ok && u.UnmarshalText([]byte(v)) != nil {
			break
		}
		if text {
			return nil
		}
	case json.Number:
		if t.Kind() == reflect.Float64 || t.Kind() == reflect.Int || t.Kind() == reflect.Int64 {
			return nil
		}
	case bool:
		if t.Kind() == reflect.Bool {
			return nil
		}
	}
	return refuse(path, "%s must be %s", named(path), wanted(t, text))
}

func fitsFields(dec *json.Decoder, t reflect.Type, path string) error {
	var seen []string
	for dec.More() {
		tok, err := dec.Token()
		if err != nil {
			return notJSON(err)
		}
		key, _ := tok.(string)
		at := strings.TrimPrefix(path+"."+key, ".")
		field, ok := fieldOf(t, key)
		switch {
		case !ok:
			return refuse(short(at), "%q is not something that %s can say: leave it out", short(at), named(path))
		case slices.Contains(seen, key):
			return refuse(at, "%s is said twice: say it once", at)
		}
		seen = append(seen, key)
		if err := fits(dec, field, at); err != nil {
			return err
		}
	}
	if _, err := dec.Token(); err != nil {
		return notJSON(err)
	}
	return nil
}

// short is no longer than a name needs to be to be known again.
func short(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

func named(path string) string {
	if path == "" {
		return "an entry"
	}
	return path
}

// fieldOf finds a field by its very name: capitals make another one.
func fieldOf(t reflect.Type, key string) (reflect.Type, bool) {
	for i := range t.NumField() {
		f := t.Field(i)
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name == key && name != "" {
			return f.Type, true
		}
	}
	return nil, false
}

func wanted(t reflect.Type, text bool) string {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return `an instant in quotation marks, like "2026-11-25T10:00:00Z"`
	case t == reflect.TypeFor[schedule.Date]():
		return `a day in quotation marks, like "2026-11-25"`
	case text:
		return "words in quotation marks"
	case t == reflect.TypeFor[Size]():
		return `a size, like {"mm": 0.42}`
	}
	switch t.Kind() {
	case reflect.Bool:
		return "true or false"
	case reflect.Slice:
		return "a list in [ ]"
	case reflect.Struct:
		return "fields in { }"
	case reflect.Int, reflect.Int64:
		return "a whole number"
	}
	return "a number"
}

// Stored is the entry that [NewEntry] was given, but for its Key: to the letter, as
// it came from a store and is to go into one. A size that is said in two ways, and
// a word that no entry may hold, are refused as by [ReadEntry].
func (e Entry) Stored() (schedule.Entry, error) {
	r := reader{exact: true}
	out := r.entry(e.Said)
	out.ID, out.Clock, out.RecordedAt, out.Source = e.ID, e.Clock, e.RecordedAt.UTC(), e.Source
	return out, r.err
}

// reader turns what was said into an entry and keeps the first thing to mend.
type reader struct {
	err   error
	exact bool // texts and instants stay as they are
}

func (r *reader) refuse(field, format string, args ...any) {
	if r.err == nil {
		r.err = refuse(field, format, args...)
	}
}

func (r *reader) entry(s Said) schedule.Entry {
	if s.At.IsZero() {
		r.refuse("at", "say when it happened, like \"2026-11-25T10:00:00Z\"")
	}
	e := schedule.Entry{
		Kind: oneOf(r, "kind", s.Kind, schedule.EntryKinds), At: r.instant("at", s.At), Train: s.Train, Bearing: s.Bearing, By: s.By,
		Note: r.plain(s.Note), Replaces: s.Replaces, Why: r.plain(s.Why),
	}
	e.Detail = schedule.Detail{
		Reading: r.reading(s.Reading), Sure: s.Sure, Old: s.Old,
		Turns: s.Turns, Part: s.Part, Meter: s.MeterHours, MeterNew: s.MeterNew, CutFrom: r.instant("cutFrom", s.CutFrom), CutTo: r.instant("cutTo", s.CutTo),
		Cause: maybe(r, "cause", s.Cause, schedule.StopCauses), Since: r.instant("since", s.Since), Until: s.Until,
		Oil: r.plain(s.Oil), Points: s.Points, TopUp: s.TopUp,
		OilFound: maybe(r, "oilFound", s.OilFound, schedule.OilFounds), Residue: maybe(r, "residue", s.Residue, schedule.Residues),
		Found: maybe(r, "found", s.Found, []schedule.Condition{schedule.Sound, schedule.Watch, schedule.Act}), Visit: s.Visit, Line: s.Line,
		Lock: maybe(r, "lock", s.Lock, schedule.LockKinds), Clears: maybe(r, "clears", s.Clears, schedule.LockKinds), Season: s.Season,
		Work: maybe(r, "work", s.Work, schedule.RepairWorks), Fitted: r.size("fitted", s.Fitted), FittedSD: r.size("fittedSd", s.FittedSD),
		NewPair:    maybe(r, "newPair", s.NewPair, []wear.Pair{wear.SteelOnBrass, wear.SteelOnSteel, wear.BrassOnBrass, wear.SteelOnPlastic}),
		ErrorFound: s.ErrorFoundSeconds, ErrorLeft: s.ErrorLeftSeconds, NutTurns: s.NutTurns, Grams: s.Grams, Undoes: s.Undoes,
		Celsius: s.Celsius, Pressure: s.PressureHPa, Arc: s.ArcDegrees, Weight: s.WeightKg, Corrector: s.CorrectorSecondsPerDay, Change: s.Change,
	}
	if s.FallLeft != nil {
		l := r.size("fallLeft", s.FallLeft)
		e.FallLeft = &l
	}
	if k := s.Check; k != nil {
		if k.Wires6 < 0 || k.Wires30 < 0 {
			r.refuse("check", "broken wires are counted: none is 0")
		}
		e.Check = &schedule.LineCheck{Wires6: k.Wires6, Wires30: k.Wires30, Diameter: r.size("check.diameter", k.Diameter), Strand: k.Strand, Rust: r.plain(k.Rust)}
	}
	return e
}

func (r *reader) reading(s *Reading) *wear.Reading {
	if s == nil {
		return nil
	}
	if s.Value == nil {
		r.refuse("reading.value", `give the size that was read, like {"mm": 0.42}`)
	}
	return &wear.Reading{
		Shake: oneOf(r, "reading.shake", s.Shake, []wear.Shake{wear.EndShake, wear.SideShake}), Value: r.size("reading.value", s.Value),
		Gauge: r.size("reading.gauge", s.Gauge), Instrument: r.plain(s.Instrument), Celsius: s.Celsius,
		Load: maybe(r, "reading.load", s.Load, []wear.LoadState{wear.LoadOff, wear.LoadOn}),
	}
}

// size reads a length; 0 where there is none. Said in both units, it must be the
// same to a micrometre.
func (r *reader) size(field string, s *Size) wear.Length {
	var mm, um wear.Length
	switch {
	case s == nil:
		return 0
	case s.MM == nil && s.Micrometres == nil:
		r.refuse(field, `%s has no size: say it like {"mm": 0.42} or {"micrometres": 420}`, field)
		return 0
	case s.MM != nil && !(math.Abs(*s.MM) <= wear.MaxLength.MM()), s.Micrometres != nil && (*s.Micrometres > int64(wear.MaxLength) || *s.Micrometres < -int64(wear.MaxLength)):
		r.refuse(field, "%s is beyond 200 m: check the unit", field)
		return 0
	case s.MM != nil:
		mm = wear.FromMM(*s.MM)
		um = mm
	}
	if s.Micrometres != nil {
		um = wear.Length(*s.Micrometres)
	}
	if s.MM != nil && mm != um {
		r.refuse(field, "%s is %v in millimetres and %v in micrometres: say it in one of them", field, mm, um)
	}
	return um
}

// instant refuses years that no log holds, and that could not be written again.
func (r *reader) instant(field string, t time.Time) time.Time {
	if !r.exact && !t.IsZero() && (t.Year() < 1000 || t.Year() > 9998) {
		r.refuse(field, "the year %d cannot be right: mend %s", t.Year(), field)
	}
	if t.IsZero() {
		return time.Time{}
	}
	return t.UTC()
}

func maybe[T ~string](r *reader, field string, v T, all []T) T {
	if v == "" {
		return v
	}
	return oneOf(r, field, v, all)
}

func oneOf[T ~string](r *reader, field string, v T, all []T) T {
	if slices.Contains(all, v) {
		return v
	}
	words := make([]string, len(all))
	for i, w := range all {
		words[i] = string(w)
	}
	if v == "" {
		r.refuse(field, "%s is missing: say one of %s", field, strings.Join(words, ", "))
	}
	r.refuse(field, "%s cannot be %q: say one of %s", field, short(string(v)), strings.Join(words, ", "))
	return v
}

// plain is text as the pages keep it.
func (r *reader) plain(s string) string {
	if r.exact {
		return s
	}
	return strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n"))
}

// fields are what [schedule.Validate] calls a field, and what it is called here.
var fields = map[string]string{
	"value": "reading", "pair": "newPair", "meter": "meterHours", "errorFound": "errorFoundSeconds", "errorLeft": "errorLeftSeconds",
	"pressure": "pressureHpa", "arc": "arcDegrees", "weight": "weightKg", "corrector": "correctorSecondsPerDay", "fittedSD": "fittedSd", "key": "Idempotency-Key",
}

// Field is what a field of an entry is called under /api/.
func Field(field string) string {
	if f, ok := fields[field]; ok {
		return f
	}
	return field
}
