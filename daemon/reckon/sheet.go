package reckon

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"endshake/schedule"
)

// Sheet is one piece of bench arithmetic.
type Sheet struct {
	Name    string // in a command and an address: "washer"
	Title   string
	About   string // one sentence: what it answers
	Caution string // what can hurt in the work that it is for
	Inputs  []Input
	// Example is inputs that give an answer worth looking at, name and value in
	// turn.
	Example []string
	reckon  func(b *bench)
}

// Input is one question of a sheet.
type Input struct {
	Name    string // "end-shake": a flag --end-shake, a field of a form
	What    string // in words
	Kind    Kind
	Needed  bool
	Usual   string   // taken where nothing is given; empty: left out
	Choices []string // of a Choice
	Unit    string   // that a bare Number is in; empty: none
	// Least and Most bound it, in the base unit of its Kind; Most of 0: what the
	// Kind allows. Above: Least itself is too small.
	Least, Most float64
	Above       bool
}

// Fault is an input that cannot be right, and how to mend it.
type Fault struct {
	Input   string // Input.Name; empty: the whole sheet
	Message string // a sentence without a capital or a full stop
}

// Error prints it as a command does.
func (f Fault) Error() string {
	if f.Input == "" {
		return f.Message
	}
	return "--" + f.Input + ": " + f.Message
}

// Answer is what a sheet reckoned.
type Answer struct {
	Sheet   string   `json:"sheet"`
	Title   string   `json:"title"`
	Inputs  []Given  `json:"inputs"`
	Results []Result `json:"results"`
	Remarks []string `json:"remarks"`
	Caution string   `json:"caution,omitempty"`
}

// Given is an input that the answer rests on.
type Given struct {
	Name  string `json:"name"`
	Label string `json:"label"`
	Given string `json:"given"` // as written
	// Value is in Unit; nil where it is no single number.
	Value *float64 `json:"value,omitempty"`
	Unit  string   `json:"unit,omitempty"`
	Usual bool     `json:"usual,omitempty"` // not given: the usual one
}

// Result is one figure.
type Result struct {
	Key     string  `json:"key"` // stable
	Label   string  `json:"label"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Text    string  `json:"text"` // as people read it, in both systems
	Formula string  `json:"formula"`
	Source  string  `json:"source"`
}

// Result finds a figure by its key.
func (a Answer) Result(key string) (Result, bool) {
	for _, r := range a.Results {
		if r.Key == key {
			return r, true
		}
	}
	return Result{}, false
}

// Find gives the sheet of a name.
func Find(name string) (Sheet, bool) {
	for _, s := range Sheets {
		if s.Name == name {
			return s, true
		}
	}
	return Sheet{}, false
}

// Sheets are all there are, in the order in which they are shown.
var Sheets = []Sheet{winding, strike, line, pendulum, mesh, washer, wearing, oil, thread, timeChange}

// input finds a question by its name.
func (s Sheet) input(name string) (Input, bool) {
	for _, in := range s.Inputs {
		if in.Name == name {
			return in, true
		}
	}
	return Input{}, false
}

// Reckon reads what is given, by the names of the inputs, and reckons. Text that
// is empty counts as not given. Either the answer holds figures or there are
// faults, in the order of the inputs.
func (s Sheet) Reckon(given map[string]string, today schedule.Date) (Answer, []Fault) {
	b := s.begin(given, today)
	if len(b.faults) == 0 {
		s.reckon(b)
	}
	switch {
	case len(b.faults) > 0:
		return Answer{}, b.faults
	case len(b.results) == 0:
		return Answer{}, []Fault{{Message: "nothing can be reckoned from that alone: " + s.hint()}}
	}
	// A usual value that played no part is not shown as one that did.
	b.given = slices.DeleteFunc(b.given, func(g Given) bool { return g.Usual && !b.asked[g.Name] })
	remarks := append([]string{}, b.remarks...) // [] in JSON, never null
	return Answer{Sheet: s.Name, Title: s.Title, Inputs: b.given, Results: b.results, Remarks: remarks, Caution: s.Caution}, nil
}

// begin reads what is given.
func (s Sheet) begin(given map[string]string, today schedule.Date) *bench {
	b := &bench{sheet: s, read: map[string]value{}, asked: map[string]bool{}, today: today}
	for _, name := range slices.Sorted(maps.Keys(given)) {
		if _, ok := s.input(name); !ok {
			b.faults = append(b.faults, s.unknown(name))
		}
	}
	for _, in := range s.Inputs {
		b.take(in, strings.TrimSpace(given[in.Name]))
	}
	return b
}

func (s Sheet) unknown(name string) Fault {
	names := make([]string, len(s.Inputs))
	for i, in := range s.Inputs {
		names[i] = "--" + in.Name
	}
	return Fault{Message: fmt.Sprintf("%s is no input of the sheet %s: use %s", short("--"+name), s.Name, strings.Join(names, ", "))}
}

// hint shows an example.
func (s Sheet) hint() string {
	return "give more, like " + s.ExampleWords()
}

// ExampleWords is the example as a command line writes it.
func (s Sheet) ExampleWords() string {
	var out []string
	for i := 0; i+1 < len(s.Example); i += 2 {
		v := s.Example[i+1]
		if strings.ContainsAny(v, " /:,\"") {
			v = `"` + strings.ReplaceAll(v, `"`, `\"`) + `"`
		}
		out = append(out, "--"+s.Example[i]+" "+v)
	}
	return strings.Join(out, " ")
}

// ExampleInputs is the example as [Sheet.Reckon] takes it.
func (s Sheet) ExampleInputs() map[string]string {
	out := map[string]string{}
	for i := 0; i+1 < len(s.Example); i += 2 {
		out[s.Example[i]] = s.Example[i+1]
	}
	return out
}

// bench is where a sheet reckons: what was read, and what comes of it.
type bench struct {
	sheet   Sheet
	read    map[string]value
	today   schedule.Date
	given   []Given
	asked   map[string]bool // inputs that the sheet looked at
	results []Result
	remarks []string
	faults  []Fault
}

// take reads one input, or its usual value.
func (b *bench) take(in Input, text string) {
	usual := text == ""
	if usual {
		text = in.Usual
	}
	if text == "" {
		if in.Needed {
			b.fault(in.Name, "it is needed: give %s, like %s", in.What, in.example())
		}
		return
	}
	v, err := in.parse(text)
	if err != nil {
		b.fault(in.Name, "%v", err)
		return
	}
	b.read[in.Name] = v
	g := Given{Name: in.Name, Label: in.What, Given: text, Usual: usual}
	if unit, ok := in.base(); ok {
		n := round(v.number)
		g.Value, g.Unit = &n, unit
	}
	b.given = append(b.given, g)
}

// has reports whether all of some inputs are known.
func (b *bench) has(names ...string) bool {
	for _, n := range names {
		if _, ok := b.read[n]; !ok {
			return false
		}
	}
	return true
}

// get is what was read of an input, which the answer then rests on.
func (b *bench) get(name string) (value, bool) {
	b.asked[name] = true
	v, ok := b.read[name]
	return v, ok
}

// of is a figure in the base unit of its kind; NaN where it is not given, so
// that nothing comes of it.
func (b *bench) of(name string) float64 { return b.or(name, math.NaN()) }

// or is a figure, or another where it is not given.
func (b *bench) or(name string, other float64) float64 {
	if v, ok := b.get(name); ok {
		return v.number
	}
	return other
}

func (b *bench) count(name string) int { return int(b.or(name, 0)) }

func (b *bench) word(name string) string {
	v, _ := b.get(name)
	return v.text
}

func (b *bench) many(name string) []float64 {
	v, _ := b.get(name)
	return v.list
}

func (b *bench) fault(input, format string, args ...any) {
	b.faults = append(b.faults, Fault{input, fmt.Sprintf(format, args...)})
}

// instead refuses an input beside others that give the same, all of which are
// there.
func (b *bench) instead(name string, others ...string) {
	if !b.has(name) || !b.has(others...) {
		return
	}
	said := make([]string, len(others))
	for i, o := range others {
		in, _ := b.sheet.input(o)
		said[i] = fmt.Sprintf("--%s (%s)", o, in.What)
	}
	b.fault(name, "it is given instead of %s, not beside it: leave one out", schedule.And(said))
}

func (b *bench) remark(format string, args ...any) {
	b.remarks = append(b.remarks, fmt.Sprintf(format, args...))
}

// result adds a figure. One that is not known, or beyond all measure, is left
// out: an answer holds plain numbers only.
func (b *bench) result(key, label string, v float64, unit, formula, source string) {
	b.shown(key, label, v, unit, show(v, unit), formula, source)
}

// shown is result with words of its own.
func (b *bench) shown(key, label string, v float64, unit, text, formula, source string) {
	if math.IsNaN(v) || math.Abs(v) > beyond {
		return
	}
	b.results = append(b.results, Result{key, label, round(v), unit, text, formula, source})
}

// round keeps twelve figures, so that 0.1 is printed so and every machine prints
// the same; nothing has no sign.
func round(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 11, 64), 64)
	if err != nil { // cannot be of what was just printed
		return v
	}
	return r + 0
}

// beyond is more than any figure at a bench can be.
const beyond = 1e15

// care is the usual caution for a kind of work.
func care(kind schedule.TaskKind) string { return schedule.Caution(kind, schedule.Site{}, nil) }

// careWords is a caution of its own, which defers as every other does.
func careWords(s string) string { return schedule.Caution("", schedule.Site{Caution: s}, nil) }

// yesNo are the answers to whether.
var yesNo = []string{"yes", "no"}

// words are the texts of a fixed list.
func words[T ~string](all []T) []string {
	out := make([]string, len(all))
	for i, w := range all {
		out[i] = string(w)
	}
	return out
}
