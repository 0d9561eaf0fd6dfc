package oldbook

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// said is what a row says beside when, where and by whom.
type said struct {
	what       doing
	named      bool // what was done is said in words
	readings   []shakeRead
	meter      *float64
	turns      float64
	oil        string
	found      schedule.Condition
	errorFound *float64
	errorLeft  *float64
	celsius    *float64
}

// shakeRead is a reading of a row.
type shakeRead struct {
	column  Column
	bearing string
	shake   wear.Shake
	size
}

// tell makes the entries of a row. False: an answer leaves it out.
func (r *rowReader) tell() bool {
	var s said
	r.trainOf()
	r.remarks()
	if !r.doing(&s) {
		return false
	}
	r.readings(&s)
	r.figures(&s)
	if r.open || len(r.wrong) > 0 {
		return true
	}
	if !s.named {
		r.meant(&s)
	}
	if r.at.IsZero() || len(r.wrong) > 0 {
		return true
	}
	r.compose(&s)
	return true
}

// remarks gathers the notes of a row.
func (r *rowReader) remarks() {
	for _, c := range r.Columns {
		cell := r.cellAt(c.At)
		if c.Role != IsNote || cell == "" || r.broken(cell, c.At) {
			continue
		}
		cell = strings.TrimPrefix(cell, "'") // how spreadsheets keep a text that looks like a formula
		r.notes = append(r.notes, cell)
		r.own = append(r.own, cell)
	}
}

// doing finds what was done. False: an answer leaves the row out.
func (r *rowReader) doing(s *said) bool {
	word, at := r.cell(IsWhat)
	if word == "" || r.broken(word, at) {
		return true
	}
	s.named = true
	plain := plainWord(word)
	if d, ok := kindWords[plain]; ok {
		s.what = d
		return true
	}
	answer, ok := r.askWord("what", plain, at, func() (string, []Choice) {
		return fmt.Sprintf("What does %s mean, as an entry of the log?", quote(word)), kindChoices
	})
	switch {
	case !ok:
	case answer == asOut:
		return false
	case answer == asNote:
		s.what = doing{kind: schedule.Noted}
	default:
		s.what = kindWords[answer]
	}
	r.notes, r.own = append([]string{word}, r.notes...), append([]string{word}, r.own...)
	return true
}

// readings reads every reading of the row.
func (r *rowReader) readings(s *said) {
	word, named := r.cell(IsBearing)
	bearing := ""
	if word != "" && !r.broken(word, named) {
		bearing = r.bearingOf(word, named)
	}
	for _, c := range r.Columns {
		if c.Role != IsReading && c.Role != IsEndShake && c.Role != IsSideShake || r.cellAt(c.At) == "" {
			continue
		}
		v, ok := r.sizeOf(c)
		if !ok {
			continue
		}
		x := shakeRead{column: c, bearing: bearing, size: v}
		if c.Bearing != "" {
			x.bearing = c.Bearing
		}
		all := bearingsOf(r.clock)
		if x.bearing == "" && len(all) == 1 {
			x.bearing = all[0]
		}
		b, _, _, there := r.clock.Bearing(x.bearing)
		switch {
		case r.open:
		case x.bearing == "":
			r.refuse(c.At, "no bearing is named for the reading: %s has %s", r.clock.Name, list(all))
			continue
		case !there:
			r.refuse(c.At, "%s has no bearing %s: it has %s", r.clock.Name, x.bearing, list(all))
			continue
		}
		if x.shake = b.Shake; c.Role != IsReading {
			x.shake = wear.Shake(c.Role)
		}
		s.readings = append(s.readings, x)
	}
	if len(s.readings) == 0 && bearing != "" {
		s.readings = []shakeRead{{bearing: bearing, column: Column{At: -1}}} // named, and nothing read
	}
}

func bearingsOf(c schedule.Clock) (out []string) {
	for _, t := range c.Trains {
		for _, a := range t.Arbors {
			for _, b := range a.Bearings {
				out = append(out, b.Code)
			}
		}
	}
	return out
}

func list(all []string) string {
	const most = 12
	switch {
	case len(all) == 0:
		return "none"
	case len(all) > most:
		return strings.Join(all[:most], ", ") + fmt.Sprintf(" and %d more", len(all)-most)
	}
	return strings.Join(all, ", ")
}

// commaOpen reports whether a figure waits for what its comma is.
func (r *rowReader) commaOpen(cell string) bool {
	wait := strings.Contains(cell, ",") && r.asking.open["decimal"] != nil
	r.open = r.open || wait
	return wait
}

// figure reads a plain figure of a role; nil: there is none.
func (r *rowReader) figure(role Role) *float64 {
	cell, at := r.cell(role)
	if cell == "" || r.broken(cell, at) || r.commaOpen(cell) {
		return nil
	}
	if role == IsMeter || role == IsCelsius { // with its unit, if need be
		f, unit := figureOf(cell)
		if slices.Contains([]string{"h", "hrs", "hours", "°c", "c", "°"}, strings.ToLower(strings.Trim(unit, ". "))) {
			cell = f
		}
	}
	v, err := readNumber(cell, r.comma)
	if err != nil {
		r.refuse(at, "%v", err)
		return nil
	}
	return &v
}

// figures reads what else a row tells in figures.
func (r *rowReader) figures(s *said) {
	s.meter, s.celsius = r.figure(IsMeter), r.figure(IsCelsius)
	if v := r.figure(IsTurns); v != nil {
		s.turns = *v
	}
	s.errorFound, s.errorLeft = r.dialError(IsErrorFound), r.dialError(IsErrorLeft)
	if cell, at := r.cell(IsOil); cell != "" && !r.broken(cell, at) {
		s.oil = cell
	}
	if cell, at := r.cell(IsFound); cell != "" && !r.broken(cell, at) {
		switch c := schedule.Condition(plainWord(cell)); c {
		case schedule.Sound, schedule.Watch, schedule.Act:
			s.found = c
		default:
			r.notes, r.own = append(r.notes, "condition: "+cell), append(r.own, cell)
		}
	}
	if s.meter != nil && r.train == "" {
		r.meterTrain()
	}
}

// meterTrain asks whose hour meter it is, where a clock has several trains.
func (r *rowReader) meterTrain() {
	if len(r.clock.Trains) < 2 {
		return
	}
	_, at := r.cell(IsMeter)
	key := "meter " + r.clock.Slug
	if _, ok := r.ask(key, at, fmt.Sprintf("Which train's hour meter is it at %s?", r.clock.Name), r.trainChoices()[:len(r.clock.Trains)]); !ok {
		return
	}
}

var bareError = regexp.MustCompile(`^[-+−]?\d+(?:[.,]\d+)?$`)

// errorChoices are what a bare figure of the time can be.
var errorChoices = []Choice{{"seconds fast", "seconds, fast, and - is slow"}, {"seconds slow", "seconds, slow, and - is fast"},
	{"minutes fast", "minutes, fast, and - is slow"}, {"minutes slow", "minutes, slow, and - is fast"}}

// dialError reads an error found or left, in seconds.
func (r *rowReader) dialError(role Role) *float64 {
	cell, at := r.cell(role)
	if cell == "" || r.broken(cell, at) {
		return nil
	}
	if slices.Contains([]string{"right", "correct", "on time", "ok", "nil", "0"}, plainWord(cell)) {
		return new(float64)
	}
	if bareError.MatchString(cell) {
		if r.commaOpen(cell) {
			return nil
		}
		v, err := readNumber(strings.Replace(cell, "−", "-", 1), r.comma)
		if err != nil {
			r.refuse(at, "%v", err)
			return nil
		}
		way, ok := r.ask("error "+Letters(at), at, fmt.Sprintf("What are the bare figures of column %s?", r.Columns[at].Name()), errorChoices)
		if !ok {
			return nil
		}
		if strings.HasPrefix(way, "minutes") {
			v *= 60
		}
		if strings.HasSuffix(way, schedule.Slow) {
			v = -v
		}
		return &v
	}
	v, way, err := schedule.ParseDialError(cell)
	switch {
	case err != nil:
		r.refuse(at, "%v", err)
		return nil
	case way == "" && v != 0:
		r.refuse(at, "%s does not say which way: write fast or slow after it", quote(cell))
		return nil
	case way == schedule.Slow:
		v = -v
	}
	return &v
}

// meant tells what was done from what a row holds, where no word says it.
func (r *rowReader) meant(s *said) {
	switch {
	case s.read():
		s.what.kind = schedule.Measured
	case s.oil != "":
		s.what.kind = schedule.Oiled
	case s.turns != 0:
		s.what.kind = schedule.Wound
	case s.errorLeft != nil:
		s.what.kind = schedule.Set
	case s.found != "":
		s.what.kind = schedule.Inspected
	case s.errorFound != nil, s.meter != nil, len(r.notes) > 0, s.celsius != nil:
		s.what.kind = schedule.Noted
	default:
		r.refuse(-1, "the row has a date and nothing that was done, read or noted: fill it in, or take it out")
	}
}

// read reports whether anything was read.
func (s *said) read() bool { return len(s.readings) > 0 && s.readings[0].column.At >= 0 }

// timed are the kinds that may tell how the clock goes.
var timed = []schedule.EntryKind{schedule.Set, schedule.Regulated, schedule.Wound, schedule.Inspected, schedule.Noted}

// compose puts together what a row says: the work that it names, and beside it what
// that has no place for.
func (r *rowReader) compose(s *said) {
	main := schedule.Entry{Kind: s.what.kind, Train: r.train}
	_, at := r.cell(IsWhat)
	d := &main.Detail
	switch main.Kind {
	case schedule.Measured:
		r.measured(s)
		if !s.read() {
			_, bearing := r.cell(IsBearing)
			r.refuse(bearing, "it was measured, and no reading stands there: give it with its unit, or call it a note")
			return
		}
		main.Kind = ""
	case schedule.Repaired:
		if !r.repaired(s, &main) {
			return
		}
	case schedule.Stopped:
		if d.Cause = s.what.cause; d.Cause == "" {
			d.Cause = schedule.NotKnown
		}
	case schedule.Inspected:
		d.Found, s.found = s.found, ""
	case schedule.Wound:
		d.Turns, s.turns = s.turns, 0
	case schedule.Oiled:
		d.Oil, s.oil = s.oil, ""
	}
	if cell, _ := r.cell(IsBearing); main.Kind == schedule.Oiled && len(s.readings) == 1 && !s.read() {
		main.Bearing = s.readings[0].bearing
	} else if cell != "" && main.Kind != "" && main.Kind != schedule.Repaired && !s.read() {
		r.notes = append(r.notes, "bearing: "+cell)
	}
	if main.Kind != "" && main.Kind != schedule.Repaired {
		r.measured(s)
	}
	r.leftOver(s)
	r.going(s, &main)
	if main.Kind == "" && len(r.out) > 0 { // the note goes with the first reading
		if r.out[0].Note != "" {
			r.notes = append([]string{r.out[0].Note}, r.notes...)
		}
		r.out[0].Note = strings.Join(r.notes, "; ")
		return
	}
	main.Note = strings.Join(r.notes, "; ")
	if main.Kind == schedule.Noted && main.Note == "" && main.Meter == nil && main.ErrorFound == nil && main.Celsius == nil {
		if len(r.out) == 0 {
			r.refuse(at, "a note needs words: write what was seen, or take the row out")
		}
		return
	}
	r.add(main, at, 0)
}

// leftOver keeps as words what has no place in what was done.
func (r *rowReader) leftOver(s *said) {
	for _, x := range []struct{ what, value string }{{"oil: ", s.oil}, {"condition: ", string(s.found)}} {
		if x.value != "" {
			r.notes = append(r.notes, x.what+x.value)
		}
	}
	if s.turns != 0 {
		r.notes = append(r.notes, fmt.Sprintf("%v turns put on", s.turns))
	}
}

// going puts hour meter, errors and temperature where they belong: to what was done,
// or to a note of their own.
func (r *rowReader) going(s *said, main *schedule.Entry) {
	apart := schedule.Entry{Kind: schedule.Noted, Train: r.train}
	e := main
	if !slices.Contains(timed, main.Kind) {
		e = &apart
		if s.errorLeft != nil {
			apart.Kind = schedule.Set
		}
	}
	e.ErrorFound = s.errorFound
	if e.ErrorLeft = s.errorLeft; e.Kind == schedule.Noted && s.errorLeft != nil {
		apart.Kind, apart.ErrorFound, apart.ErrorLeft = schedule.Set, s.errorFound, s.errorLeft
		e.ErrorFound, e.ErrorLeft = nil, nil
	}
	switch {
	case s.celsius == nil || s.read():
	case e == main:
		e.Celsius = s.celsius
	default:
		r.notes = append(r.notes, fmt.Sprintf("%v °C", *s.celsius))
	}
	if apart.ErrorFound != nil || apart.ErrorLeft != nil {
		_, at := r.cell(IsErrorFound)
		r.add(apart, at, 0)
	}
	if s.meter == nil {
		return
	}
	of := r.train
	if of == "" {
		of = r.asking.settled["meter "+r.clock.Slug]
		if len(r.clock.Trains) == 1 {
			of = r.clock.Trains[0].Code
		}
	}
	takes := main.Kind == schedule.Wound || main.Kind == schedule.Inspected || main.Kind == schedule.Noted
	if takes && (main.Train == of || len(r.clock.Trains) == 1) {
		main.Meter = s.meter
		return
	}
	meter := schedule.Entry{Kind: schedule.Noted, Train: of}
	meter.Meter = s.meter
	_, at := r.cell(IsMeter)
	r.add(meter, at, 0)
}

// measured makes the entries of the readings.
func (r *rowReader) measured(s *said) {
	if !s.read() {
		return
	}
	for _, x := range s.readings {
		b, _, _, _ := r.clock.Bearing(x.bearing)
		if x.shake != b.Shake {
			r.otherShake(x)
			continue
		}
		e := schedule.Entry{Kind: schedule.Measured, Bearing: x.bearing}
		e.Reading = &wear.Reading{Shake: x.shake, Value: x.Length, Celsius: s.celsius}
		r.add(e, x.column.At, x.step)
	}
}

// otherShake asks what becomes of a freedom that its bearing is not followed by.
func (r *rowReader) otherShake(x shakeRead) {
	answer, ok := r.ask("other freedom", x.column.At, "Some readings are of a freedom that their bearing is not followed by. What becomes of them?",
		[]Choice{{asNote, "they are kept as notes"}, {asOut, "they are left out"}})
	if !ok || answer == asOut {
		return
	}
	b, arbor, _, _ := r.clock.Bearing(x.bearing)
	e := schedule.Entry{Kind: schedule.Noted, Note: fmt.Sprintf("%s of the %s: %s", x.shake, schedule.NameOf(b.Name, arbor.Name), x.Length)}
	own := r.own
	r.own = []string{string(x.shake), x.bearing}
	r.add(e, x.column.At, 0)
	r.own = own
}

// repaired fills in what a repair needs; false: it is refused or asked for.
func (r *rowReader) repaired(s *said, e *schedule.Entry) bool {
	e.Work = s.what.work
	_, at := r.cell(IsWhat)
	if e.Work == schedule.NewLine {
		lines := slices.DeleteFunc(slices.Clone(r.clock.Care.Lines), func(l schedule.Line) bool { return r.train != "" && l.Train != r.train })
		if len(lines) != 1 {
			r.refuse(at, "it does not say which line of %s was renewed: name its train, or log it on the page of the clock", r.clock.Name)
			return false
		}
		e.Line = lines[0].Code
		return true
	}
	if len(s.readings) == 0 {
		r.refuse(at, "no bearing is named for the repair: %s has %s", r.clock.Name, list(bearingsOf(r.clock)))
		return false
	}
	e.Bearing = s.readings[0].bearing
	if !s.read() {
		return true
	}
	answer, ok := r.ask("repair", s.readings[0].column.At, "A reading stands beside a repair. Was it found before, or left after it?",
		[]Choice{{"found", "found before it"}, {"left", "left after it"}})
	switch {
	case !ok:
		return false
	case answer == "found":
		r.measured(s)
	case len(s.readings) > 1:
		r.refuse(s.readings[1].column.At, "two readings stand beside one repair: give the second a row of its own")
		return false
	default:
		e.Fitted = s.readings[0].Length
	}
	return true
}
