package oldbook

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// rowReader makes entries of one row.
type rowReader struct {
	*Book
	*Row
	open  bool // a question about it is not answered yet
	wrong []Refusal
	clock schedule.Clock
	zone  *time.Location
	at    time.Time
	timed bool
	by    string
	train string
	notes []string // what the entry says beside all else
	own   []string // of these, what stands in the file: not from an answer
	out   []Taken
}

// row takes one row in.
func (b *Book) row(row *Row, head []string) {
	if len(head) > 0 && slices.Equal(row.Cells, head) {
		b.Rows-- // a page of the book begins anew
		return
	}
	r := &rowReader{Book: b, Row: row}
	if row.Wrong != "" {
		column, words, found := strings.Cut(strings.TrimPrefix(row.Wrong, "column "), ": ")
		if !found {
			column, words = "", row.Wrong
		}
		b.Refusals = append(b.Refusals, Refusal{Row: row.Number, Column: column, Words: words})
		return
	}
	if over := len(row.Cells) - len(b.Columns); over > 0 {
		r.refuse(-1, "the row has more cells than the header: put quotation marks around a cell that holds what parts cells")
	}
	r.number()
	if !r.which() {
		b.LeftOut++
		return
	}
	if r.clock.Slug != "" { // whose zone it is in
		r.when()
		r.who()
	}
	if r.clock.Slug != "" && len(r.wrong) == 0 {
		if !r.tell() {
			b.LeftOut++
			return
		}
	}
	b.Refusals = append(b.Refusals, r.wrong...)
	if !r.open && len(r.wrong) == 0 {
		b.Taken = append(b.Taken, r.out...)
	}
}

// cell is what a role's column holds, and which that is; -1: none.
func (r *rowReader) cell(role Role) (string, int) {
	at, ok := r.Book.at[role]
	if !ok {
		return "", -1
	}
	return r.cellAt(at), at
}

func (r *rowReader) cellAt(at int) string {
	if at >= len(r.Cells) {
		return ""
	}
	c := r.Cells[at]
	if c == "-" || c == "–" || c == "—" { // how people fill in nothing
		return ""
	}
	return c
}

// refuse refuses a cell of the row; at -1: the row as a whole.
func (r *rowReader) refuse(at int, format string, args ...any) {
	x := Refusal{Row: r.Number, Words: fmt.Sprintf(format, args...)}
	if at >= 0 {
		x.Column = Letters(at)
	}
	r.wrong = append(r.wrong, x)
}

// broken refuses a cell that holds an error of the spreadsheet.
func (r *rowReader) broken(cell string, at int) bool {
	if strings.HasPrefix(cell, "#") && (strings.HasSuffix(cell, "!") || strings.HasSuffix(cell, "?") || cell == "#N/A" || strings.Trim(cell, "#") == "") {
		r.refuse(at, "%s is an error of the spreadsheet: mend its formula, or write the value", quote(cell))
		return true
	}
	return false
}

func (r *rowReader) example(at int) Example {
	if at < 0 {
		return Example{Row: r.Number}
	}
	return Example{r.Number, Letters(at), r.cellAt(at)}
}

// ask asks of a cell, and marks the row as open while there is no answer.
func (r *rowReader) ask(key string, at int, words string, choices []Choice) (string, bool) {
	answer, ok := r.asking.ask(key, r.example(at), func() (string, []Choice) { return words, choices })
	r.open = r.open || !ok
	return answer, ok
}

func (r *rowReader) askWord(kind, word string, at int, words func() (string, []Choice)) (string, bool) {
	answer, ok := r.asking.askWord(kind, word, r.example(at), words)
	r.open = r.open || !ok
	return answer, ok
}

// number refuses a row that has the number of one before it.
func (r *rowReader) number() {
	id, at := r.cell(IsID)
	if id == "" {
		return
	}
	if before, ok := r.numbers[id]; ok {
		r.refuse(at, "row %d has the number %s too: number one of them anew, or take it out", before, quote(id))
		return
	}
	r.numbers[id] = r.Number
}

// which finds the clock. False: an answer leaves the row out.
func (r *rowReader) which() bool {
	word, at := r.cell(IsClock)
	slug := ""
	found := r.names.clock(word)
	switch {
	case word == "" && len(r.fleet.Clocks) == 1:
		slug = r.fleet.Clocks[0].Slug
	case word == "":
		words := "Which clock is the file of?"
		if at >= 0 {
			words = "Which clock is meant where a row names none?"
		}
		slug, _ = r.ask("clock", at, words, r.clockChoices(nil))
	case r.broken(word, at):
	case len(found) == 1:
		slug = found[0]
	default:
		slug, _ = r.askWord("clock", plainName(word), at, func() (string, []Choice) {
			if len(found) > 1 {
				return fmt.Sprintf("Several clocks are called %s. Which one is meant?", quote(word)), r.clockChoices(found)
			}
			return fmt.Sprintf("No clock is called %s. Which one is meant?", quote(word)), r.clockChoices(nil)
		})
	}
	if slug == asOut {
		return false
	}
	if c, ok := r.fleet.Clock(slug); ok {
		site, _ := r.fleet.Site(c.Site)
		r.clock, r.zone = c, site.Location()
	}
	return true
}

// clockChoices are the clocks to choose from: those named, or all.
func (b *Book) clockChoices(only []string) (out []Choice) {
	for _, c := range b.fleet.Clocks {
		if only == nil || slices.Contains(only, c.Slug) {
			out = append(out, Choice{c.Slug, c.Name})
		}
	}
	return append(out, Choice{asOut, "none: the rows are left out"})
}

// when reads date and time. A day without a time is taken as its midnight, as
// everywhere.
func (r *rowReader) when() {
	cell, at := r.cell(IsDate)
	if at < 0 || r.broken(cell, at) {
		return
	}
	if cell == "" {
		r.refuse(at, "the date is empty: fill it in")
		return
	}
	date, rest, ok := r.date(cell, at)
	if !ok {
		return
	}
	seconds := 0
	if hour, column := r.cell(IsTime); hour != "" && !r.broken(hour, column) {
		rest, at = hour, column
	}
	if rest != "" {
		s, err := readTime(rest)
		if err != nil {
			r.refuse(at, "%s %v", quote(rest), err)
			return
		}
		seconds, r.timed = s, true
	}
	wall := time.Date(date.Year, date.Month, date.Day, 0, 0, seconds, 0, time.UTC)
	layout := "2006-01-02T15:04:05"
	if !r.timed {
		layout = time.DateOnly
	}
	t, err := schedule.ParseWall(wall.Format(layout), r.zone)
	if err != nil && r.timed {
		r.refuse(at, "%v", err)
		return
	} else if err != nil { // a day that begins an hour late
		if t = date.Start(r.zone); date.Year < 1700 || date.Year > 2200 {
			r.refuse(at, "%v", err)
			return
		}
	}
	r.at = t.UTC()
}

// readTime reads a time of the day, also as the part of a day that spreadsheets keep.
func readTime(cell string) (int, error) {
	if v, err := strconv.ParseFloat(cell, 64); err == nil && v >= 0 && v < 1 && strings.HasPrefix(cell, "0.") && len(cell) > 4 {
		return int(v*24*3600 + .5), nil
	}
	return readClockTime(cell)
}

// date reads the day of a row, and the time behind it.
func (r *rowReader) date(cell string, at int) (date schedule.Date, rest string, ok bool) {
	d, known := splitDay(cell)
	switch {
	case known && d.open() && r.order == "":
		r.open = true // it is asked for once
		return date, "", false
	case known && d.open():
		under, fits := d.under(r.order)
		if !fits {
			r.refuse(at, "%s is no day with the %s first, as the dates of this file are: mend it", quote(cell), strings.TrimSuffix(r.order, "-first"))
			return date, "", false
		}
		d = under
	case !known && serialDay.MatchString(cell):
		return r.serialDate(cell, at)
	case !known:
		r.refuse(at, "%s is no day: write it like 2025-04-03 or 3 Apr 2025", quote(cell))
		return date, "", false
	}
	if d.short {
		century, answered := r.ask("century", at, "Years have two figures. What stands before them?", centuries)
		if !answered {
			return date, "", false
		}
		d = d.full(century, r.today)
	}
	date, err := d.date()
	if err != nil {
		r.refuse(at, "%s: %v", quote(cell), err)
		return date, "", false
	}
	return date, d.rest, true
}

// serialDate reads a date that is the day number of a spreadsheet.
func (r *rowReader) serialDate(cell string, at int) (date schedule.Date, rest string, ok bool) {
	n, err := strconv.ParseFloat(cell, 64)
	if err != nil || n < 10000 || n > 99999 {
		r.refuse(at, "%s is no day: write it like 2025-04-03 or 3 Apr 2025", quote(cell))
		return date, "", false
	}
	base, ok := r.ask("base", at, fmt.Sprintf("Dates are figures, as spreadsheets count days. From when? %s is %s from 1900, and %s from 1904.", quote(cell),
		serialWords(n, false), serialWords(n, true)), []Choice{{"1900", "from 1900, as most do"}, {"1904", "from 1904, as old ones of one maker did"}})
	if !ok {
		return date, "", false
	}
	day, rest, _ := strings.Cut(ofSerial(n, base == "1904"), " ")
	date, err = schedule.ParseDate(day)
	return date, rest, err == nil
}

func serialWords(n float64, base1904 bool) string {
	day, _, _ := strings.Cut(ofSerial(n, base1904), " ")
	if d, err := schedule.ParseDate(day); err == nil {
		return d.Words()
	}
	return day
}

// who finds who did it. Whoever is nobody of the fleet stays in the note.
func (r *rowReader) who() {
	word, at := r.cell(IsWho)
	if word == "" || r.broken(word, at) {
		return
	}
	found := r.names.person(word)
	if len(found) > 1 { // of several, the one who looks after this clock
		found = slices.DeleteFunc(slices.Clone(found), func(p string) bool { return !r.clock.Has(p) })
	}
	if _, said := r.asking.answers["who "+plainName(word)]; len(found) == 1 && !said {
		r.by = found[0]
		r.called(word, r.by)
		return
	}
	answer, ok := r.askWord("who", plainName(word), at, func() (string, []Choice) {
		out := []Choice{{asNote, "nobody of the fleet: the name is kept in the note"}}
		for _, p := range r.fleet.People {
			out = append(out, Choice{p.Slug, p.Name})
		}
		return fmt.Sprintf("Who is %s?", quote(word)), out
	})
	switch {
	case !ok:
	case answer == asNote:
		r.notes = append(r.notes, "by "+word)
	default:
		r.by = answer
	}
}

// trainOf finds the train that the row names.
func (r *rowReader) trainOf() {
	word, at := r.cell(IsTrain)
	plain := plainName(word)
	if word == "" || r.broken(word, at) || slices.Contains([]string{"all", "both", "all trains", "both trains", "whole clock"}, plain) {
		return
	}
	if found := r.names.train(r.clock.Slug, word); len(found) == 1 {
		r.train = found[0]
		return
	}
	r.train, _ = r.askWord("train", r.clock.Slug+": "+plain, at, func() (string, []Choice) {
		return fmt.Sprintf("Which train of %s is %s?", r.clock.Name, quote(word)), r.trainChoices()
	})
	if r.train == wholeClock {
		r.train = ""
	}
}

// wholeClock is the answer that no one train is meant.
const wholeClock = "whole clock"

func (r *rowReader) trainChoices() (out []Choice) {
	for _, t := range r.clock.Trains {
		out = append(out, Choice{t.Code, schedule.NameOfTrain(t)})
	}
	return append(out, Choice{wholeClock, "the whole clock"})
}

// bearingOf finds a bearing by its word.
func (r *rowReader) bearingOf(word string, at int) string {
	if found := r.names.bearing(r.clock.Slug, word); len(found) == 1 {
		return found[0]
	}
	code, _ := r.askWord("bearing", r.clock.Slug+": "+plainName(word), at, func() (string, []Choice) {
		var out []Choice
		for _, t := range r.clock.Trains {
			for _, a := range t.Arbors {
				for _, b := range a.Bearings {
					out = append(out, Choice{b.Code, schedule.NameOf(b.Name, a.Name)})
				}
			}
		}
		return fmt.Sprintf("Which bearing of %s is %s?", r.clock.Name, quote(word)), out
	})
	return code
}

// add puts an entry of the row together. What it is known by again has no figure in
// it that might be rounded otherwise, and nothing that an answer gave.
func (r *rowReader) add(e schedule.Entry, at int, step float64) {
	e.Clock, e.At, e.By, e.Source, e.Old = r.clock.Slug, r.at, r.by, r.source, true
	t := Taken{Entry: e, Row: r.Number, timed: r.timed, step: step}
	if at >= 0 {
		t.Column = Letters(at)
	}
	said := []string{e.Clock, string(e.Kind), e.At.Format(time.RFC3339), e.Train, e.Bearing, string(e.Work), e.Line}
	if e.Reading != nil {
		said = append(said, string(e.Reading.Shake))
	} else {
		for _, given := range []bool{e.Meter != nil, e.ErrorFound != nil, e.ErrorLeft != nil} {
			said = append(said, strconv.FormatBool(given))
		}
		if e.Meter == nil || e.Note != "" {
			said = append(said, plainName(strings.Join(r.own, " ")), plainName(e.Oil))
		}
	}
	sum := sha256.Sum256([]byte(strings.Join(said, "\x00")))
	t.Key = "old book " + hex.EncodeToString(sum[:12])
	r.out = append(r.out, t)
}

// sizeOf reads a reading of a column, asking for its unit where nothing says it.
func (r *rowReader) sizeOf(c Column) (size, bool) {
	cell := r.cellAt(c.At)
	if r.broken(cell, c.At) {
		return size{}, false
	}
	unit := c.Unit
	if beside, at := r.cell(IsUnit); beside != "" {
		if unit = unitOf(beside); unit == "" {
			r.refuse(at, "%s is no unit: write mm, um, in or thou", quote(beside))
			return size{}, false
		}
	}
	if r.commaOpen(cell) {
		return size{}, false
	}
	v, err := readSize(cell, unit, r.comma)
	if errors.Is(err, errNoUnit) {
		answer, ok := r.ask("unit "+Letters(c.At), c.At, fmt.Sprintf("What unit are the figures of column %s in, where none is written?", c.Name()), unitChoices)
		if !ok {
			return size{}, false
		}
		v, err = readSize(cell, answer, r.comma)
	}
	if err != nil {
		r.refuse(c.At, "%v", err)
		return size{}, false
	}
	if v.Length == 0 && wear.Length(v.step) > 0 {
		r.refuse(c.At, "%s is no freedom at all, and a bearing that has none does not turn: leave the cell empty where nothing was measured", quote(cell))
		return size{}, false
	}
	return v, true
}
