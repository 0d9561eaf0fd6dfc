package oldbook

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"endshake/schedule"
)

// Role is what a column is for.
type Role string

// The roles.
const (
	IsDate       Role = "date"
	IsTime       Role = "time"
	IsClock      Role = "clock"
	IsWhat       Role = "what" // was done
	IsTrain      Role = "train"
	IsBearing    Role = "bearing"
	IsReading    Role = "reading" // of the freedom that the bearing is followed by
	IsEndShake   Role = "end-shake"
	IsSideShake  Role = "side-shake"
	IsUnit       Role = "unit" // of the readings beside it
	IsMeter      Role = "run-hours"
	IsTurns      Role = "turns"
	IsWho        Role = "who"
	IsNote       Role = "note"
	IsOil        Role = "oil"
	IsErrorFound Role = "error found"
	IsErrorLeft  Role = "error left"
	IsFound      Role = "condition"
	IsCelsius    Role = "temperature"
	IsID         Role = "number" // of the row, in the book's own count
	IsOut        Role = "left out"
)

// roles are all of them with the words that a page shows, in the order of a choice.
var roles = []Choice{
	{string(IsDate), "the date"}, {string(IsTime), "the time"}, {string(IsClock), "the clock"}, {string(IsWhat), "what was done"}, {string(IsTrain), "the train"},
	{string(IsBearing), "the bearing"}, {string(IsReading), "a reading"}, {string(IsEndShake), "a reading of end-shake"}, {string(IsSideShake), "a reading of side-shake"},
	{string(IsUnit), "the unit of the readings"}, {string(IsMeter), "what the hour meter shows"}, {string(IsTurns), "turns put on"}, {string(IsWho), "who did it"},
	{string(IsNote), "a note"}, {string(IsOil), "what oil"}, {string(IsErrorFound), "the error found"}, {string(IsErrorLeft), "the error left"},
	{string(IsFound), "the condition: sound, watch or act"}, {string(IsCelsius), "the temperature in °C"}, {string(IsID), "the number of the row in the book"},
	{string(IsOut), "nothing: leave it out"},
}

// Roles are what a column can be, in the order of a choice.
func Roles() []Choice { return roles }

// single are the roles that one column alone can have.
var single = []Role{IsDate, IsTime, IsClock, IsWhat, IsTrain, IsBearing, IsUnit, IsMeter, IsTurns, IsWho, IsOil, IsErrorFound, IsErrorLeft, IsFound, IsCelsius, IsID}

// headWords are the words by which headers call each role. A header is one of them,
// or, behind the stroke, holds it as one of its words.
var headWords = []struct {
	role       Role
	whole, any string
}{
	{IsEndShake, "", "endshake, end shake, end play, endplay, axial play"},
	{IsSideShake, "", "sideshake, side shake, side play, sideplay, radial play"},
	{IsErrorLeft, "left, after, error after", "error left, left at"},
	{IsErrorFound, "error, fast slow, slow fast, deviation", "error found, dial error, time error"},
	{IsMeter, "hours, meter, counter", "run hours, hours run, hour meter, hours meter, running hours, meter reading"},
	{IsDate, "day, when, on", "date"},
	{IsTime, "time, hour, at, time of day", ""},
	{IsClock, "clock, tower, clock name, name of clock, which clock", ""},
	{IsWhat, "what, work, action, done, job, event, entry, kind, type, activity, task", "work done, what was done"},
	{IsTrain, "train, which train", ""},
	{IsBearing, "bearing, pivot, point, hole, bush, arbor, position", "bearing"},
	{IsUnit, "unit, units", ""},
	{IsTurns, "turns, turns put on, winds", ""},
	{IsOil, "oil, lubricant, grease", "oil used, what oil, which oil"},
	{IsCelsius, "temperature, temp, celsius, deg c, °c, room temperature", ""},
	{IsFound, "condition, state, condition found", ""},
	{IsWho, "by, who, name, initials, person, keeper, winder, signed, signature, attended by", "done by"},
	{IsID, "id, no, nr, number, ref, entry no, row, line, serial", ""},
	{IsReading, "value, reading, measurement, measured, gauge, size, wear, freedom, play, shake", "reading"},
	{IsNote, "text, details, description", "note, notes, remark, remarks, comment, comments, observations"},
}

// Column is a column of the file and what it is taken for.
type Column struct {
	At      int // from 0
	Header  string
	Role    Role
	Bearing string // code: a column of one bearing's readings
	Unit    string // of its figures, as its header or an answer says; empty: not said
	Why     string // it is taken so
	Some    []string
	holds   int // rows that hold anything there
}

// Name is how messages call a column: D “End-shake (mm)”.
func (c Column) Name() string {
	if c.Header == "" {
		return Letters(c.At)
	}
	return Letters(c.At) + " " + quote(c.Header)
}

// String is the answer that makes it what it is.
func (c Column) String() string {
	if c.Bearing != "" {
		return string(c.Role) + " of " + c.Bearing
	}
	return string(c.Role)
}

var bracketed = regexp.MustCompile(`[(\[]([^)\]]*)[)\]]`)

// headPlain is a header as it is compared, without what stands in brackets.
func headPlain(h string) string {
	h = bracketed.ReplaceAllString(h, " ")
	h = strings.Map(func(r rune) rune {
		if strings.ContainsRune("-_/.,:;#*\n\r\t", r) {
			return ' '
		}
		return r
	}, strings.ToLower(h))
	return strings.Join(strings.Fields(h), " ")
}

// headUnit is the unit that a header names, in brackets or as its last word.
func headUnit(h string) string {
	for _, m := range bracketed.FindAllStringSubmatch(h, -1) {
		if u := unitOf(m[1]); u != "" {
			return u
		}
	}
	words := strings.Fields(strings.Trim(h, " :."))
	if len(words) < 2 {
		return ""
	}
	last := strings.ToLower(words[len(words)-1])
	if last == "in" || last == "m" { // "time in" names no inches
		return ""
	}
	return unitOf(last)
}

// headRole is the role that a header names by its words.
func headRole(h string) (Role, bool) {
	plain := headPlain(h)
	if plain == "" {
		return "", false
	}
	for _, w := range headWords {
		for word := range strings.SplitSeq(w.whole, ", ") {
			if plain == word {
				return w.role, true
			}
		}
	}
	for _, w := range headWords {
		for word := range strings.SplitSeq(w.any, ", ") {
			if word != "" && strings.Contains(" "+plain+" ", " "+word+" ") {
				return w.role, true
			}
		}
	}
	return "", false
}

// header finds the row that names the columns among the first: the one that most
// roles are named in, two at least. -1: none does.
func header(rows []Row) int {
	best, most := -1, 1
	for i := range rows[:min(len(rows), 15)] {
		named := map[Role]bool{}
		for _, c := range rows[i].Cells {
			if r, ok := headRole(c); ok && len(c) < 60 {
				named[r] = true
			}
		}
		if len(named) > most {
			best, most = i, len(named)
		}
	}
	return best
}

// columns proposes what each column is for, by its header and by what its cells
// hold; an answer goes before both.
func (b *Book) columns(rows []Row, head []string) {
	wide := len(head)
	for i := range rows {
		wide = max(wide, len(rows[i].Cells))
	}
	b.Columns = make([]Column, wide)
	for i := range b.Columns {
		c := &b.Columns[i]
		c.At = i
		if i < len(head) {
			c.Header = strings.Join(strings.Fields(head[i]), " ")
		}
		c.Unit = headUnit(c.Header)
		for j := range rows {
			if i < len(rows[j].Cells) && rows[j].Cells[i] != "" {
				if c.holds++; len(c.Some) < mostExamples {
					c.Some = append(c.Some, rows[j].Cells[i])
				}
			}
		}
	}
	for i := range b.Columns {
		b.propose(&b.Columns[i], rows)
	}
	b.givenColumns()
	b.twice()
	b.unknownColumns()
	for i := range b.Columns {
		c := &b.Columns[i]
		for _, key := range []string{"unit " + Letters(i), "unit"} {
			if u := unitOf(b.asking.answers[key]); u != "" && c.Unit == "" {
				c.Unit = u
			}
		}
	}
}

// saidSo is why a column is taken for what people said.
const saidSo = "you say so"

// propose takes a column for what its header says, or what its cells show.
func (b *Book) propose(c *Column, rows []Row) {
	if c.holds == 0 {
		c.Role, c.Why = IsOut, "it is empty"
		return
	}
	if code, shake, ok := b.names.inHeader(c.Header); ok {
		c.Role, c.Bearing, c.Why = IsReading, code, "its header names a bearing"
		if shake != "" {
			c.Role = shake
		}
		return
	}
	if r, ok := headRole(c.Header); ok {
		c.Role, c.Why = r, "its header says so"
		return
	}
	n := 0
	counts := map[Role]int{}
	for i := 0; i < len(rows) && n < 200; i++ {
		if c.At < len(rows[i].Cells) && rows[i].Cells[c.At] != "" {
			n++
			if r := b.names.roleOf(rows[i].Cells[c.At]); r != "" {
				counts[r]++
			}
		}
	}
	for _, r := range []Role{IsDate, IsTime, IsClock, IsWhat, IsBearing, IsTrain, IsWho, IsReading} {
		if counts[r]*10 >= n*8 {
			c.Role, c.Why = r, "its cells look so"
			return
		}
	}
}

// givenColumns puts in what people have said of columns.
func (b *Book) givenColumns() {
	for i := range b.Columns {
		c := &b.Columns[i]
		said, ok := b.asking.answers["column "+Letters(i)]
		if !ok {
			continue
		}
		role, code, _ := strings.Cut(said, " of ")
		known := slices.ContainsFunc(roles, func(r Choice) bool { return r.Value == role })
		if code != "" {
			known = known && (Role(role) == IsReading || Role(role) == IsEndShake || Role(role) == IsSideShake) &&
				slices.ContainsFunc(b.fleet.Clocks, func(c schedule.Clock) bool { _, _, _, ok := c.Bearing(code); return ok })
		}
		if !known {
			b.Problems = append(b.Problems, fmt.Sprintf("Column %s cannot be %s: it is one of %s; a reading may name its bearing, like “reading of CODE”.", Letters(i), quote(said), valuesOf(roles)))
			continue
		}
		c.Role, c.Bearing, c.Why = Role(role), code, saidSo
		for j := range b.Columns { // it takes the place of one that was only proposed
			o := &b.Columns[j]
			if j != i && o.Role == c.Role && slices.Contains(single, c.Role) && o.Why != saidSo {
				o.Role, o.Why = "", ""
			}
		}
	}
}

// twice asks which of two columns has a role that one alone can have.
func (b *Book) twice() {
	for _, r := range single {
		var at []int
		for i := range b.Columns {
			if b.Columns[i].Role == r {
				at = append(at, i)
			}
		}
		for _, i := range at {
			c := &b.Columns[i]
			switch {
			case len(at) == 1:
			case c.Why == saidSo:
				b.Problems = append(b.Problems, fmt.Sprintf("Two columns are said to be %s: say what column %s is instead, or leave it out.", wordsOf(roles, string(r)), c.Name()))
			default:
				b.askColumn(c, fmt.Sprintf("Column %s and another are both taken for %s. What is this one?", c.Name(), wordsOf(roles, string(r))))
			}
		}
	}
}

// unknownColumns asks of columns that hold something and that nothing is known of.
func (b *Book) unknownColumns() {
	for i := range b.Columns {
		if c := &b.Columns[i]; c.Role == "" {
			b.askColumn(c, fmt.Sprintf("What is column %s?", c.Name()))
		}
	}
}

func (b *Book) askColumn(c *Column, words string) {
	c.Role, c.Why = "", "it is asked for"
	e := Example{Row: b.first, Column: Letters(c.At)}
	if len(c.Some) > 0 {
		e.Cell = c.Some[0]
	}
	b.asking.ask("column "+Letters(c.At), e, func() (string, []Choice) { return words, roles })
}

func valuesOf(all []Choice) string {
	var out []string
	for _, c := range all {
		out = append(out, c.Value)
	}
	return strings.Join(out, ", ")
}

func wordsOf(all []Choice, value string) string {
	for _, c := range all {
		if c.Value == value {
			return c.Words
		}
	}
	return value
}
