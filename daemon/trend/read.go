package trend

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"endshake/wear"
)

// columns are those that a file may have, the first four must.
var columns = [...]string{"point", "group", "hours", "value", "sd", "event"}

const (
	atPoint = iota
	atGroup
	atHours
	atValue
	atSD
	atEvent
	needed = atSD
)

const theColumns = "the first line must name point,group,hours,value and may name sd,event"

// longestRow is how many bytes a row may take, line breaks in quotes included.
const longestRow = 64 << 10

// reader takes a file in.
type reader struct {
	*settings
	csv   *csv.Reader
	where [len(columns)]int // of each column in a row; -1: none
	cells int
	line  int // of the last row
	log   *log
}

// read takes a file in, row by row.
func read(ctx context.Context, in io.Reader, s *settings) (*log, error) {
	guarded := &guard{in: in, left: longestRow}
	buffered := bufio.NewReader(guarded)
	r := &reader{settings: s, log: newLog()}
	head, _ := buffered.Peek(3)
	switch {
	case bytes.HasPrefix(head, []byte{0xEF, 0xBB, 0xBF}): // a byte order mark says UTF-8, nothing more
		if _, err := buffered.Discard(3); err != nil {
			return nil, err
		}
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}) || bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return nil, r.refuse(1, 1, "the file is UTF-16: save it as CSV in UTF-8")
	}
	r.csv = csv.NewReader(buffered)
	r.csv.ReuseRecord, r.csv.FieldsPerRecord, r.csv.Comment = true, -1, '#'
	if err := r.header(); err != nil {
		return nil, err
	}
	r.csv.Comment = 0
	for n := 0; ; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		guarded.left = longestRow
		row, err := r.csv.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = r.row(row)
		}
		if err != nil {
			return nil, r.explain(err)
		}
	}
	if len(r.log.points) == 0 {
		return nil, r.refuse(r.line+1, 1, "no row follows the header: add readings, a row each")
	}
	return r.log, r.log.settle(r)
}

// header finds the columns.
func (r *reader) header() error {
	names, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		return r.refuse(1, 1, "the file is empty: "+theColumns)
	}
	if err != nil {
		return r.explain(err)
	}
	r.line, _ = r.csv.FieldPos(0)
	r.cells = len(names)
	for c := range r.where {
		r.where[c] = -1
	}
	for i, name := range names {
		line, col := r.csv.FieldPos(i)
		at := -1
		for c, known := range columns {
			if strings.EqualFold(strings.TrimSpace(name), known) {
				at = c
			}
		}
		switch {
		case at < 0 && len(names) == 1 && strings.ContainsAny(name, ";\t"):
			return r.refuse(line, col, "the cells are parted by semicolons or tabs: part them by commas, and write figures with a decimal point")
		case at < 0:
			return r.refuse(line, col, "column %s is not known: %s", quote(name), theColumns)
		case r.where[at] >= 0:
			return r.refuse(line, col, "column %s stands there twice: leave one out", columns[at])
		}
		r.where[at] = i
	}
	for c, name := range columns[:needed] {
		if r.where[c] < 0 {
			return r.refuse(r.line, 1, "there is no column %s: %s", name, theColumns)
		}
	}
	return nil
}

// row takes one row in.
func (r *reader) row(row []string) error {
	r.line, _ = r.csv.FieldPos(0)
	if len(row) != r.cells {
		return r.refuse(r.line, 1, "the row has %d cells where the header has %d: a decimal comma makes two cells of one, so write a point", len(row), r.cells)
	}
	cell := func(c int) string {
		if r.where[c] < 0 {
			return ""
		}
		return strings.TrimSpace(row[r.where[c]])
	}
	p, err := r.point(cell(atPoint), cell(atGroup))
	if err != nil {
		return err
	}
	g := wear.Gauge{Y: math.NaN()}
	if g.H, err = r.hours(p, cell(atHours)); err != nil {
		return err
	}
	event := strings.ToLower(cell(atEvent))
	if event != "" && event != "fitted" && event != "repaired" {
		return r.wrong(atEvent, event, "is not known: leave it empty, or write fitted or repaired")
	}
	if value := cell(atValue); value != "" || event == "" {
		if g.Y, err = r.sized(atValue, value); err != nil {
			return err
		}
	}
	if sd := cell(atSD); sd != "" {
		if g.SD, err = r.sized(atSD, sd); err != nil {
			return err
		}
	}
	r.log.add(p, g, event, r.KnownStart, uint32(r.line))
	return nil
}

// hours reads the running of a point so far.
func (r *reader) hours(p *point, cell string) (float64, error) {
	hours, problem := number(cell)
	switch {
	case problem != "":
	case !(hours >= 0 && hours <= mostHours):
		problem = fmt.Sprintf("are not from 0 to %.0f: check them", float64(mostHours))
	case p.rows > 0 && hours < p.last:
		problem = fmt.Sprintf("run backwards from %v on line %d: put the point's rows in order, and give what is another point another name", p.last, p.line)
	}
	if problem != "" {
		return 0, r.wrong(atHours, cell, problem)
	}
	return hours, nil
}

// sized reads a value or its uncertainty.
func (r *reader) sized(c int, cell string) (float64, error) {
	v, problem := r.size(cell)
	if problem == "" && c == atSD && !(v > 0) {
		problem = "must be above nothing: leave it empty where it is not known"
	}
	if problem != "" {
		return 0, r.wrong(c, cell, problem)
	}
	return v, nil
}

// point finds a point by its name, or adds it.
func (r *reader) point(name, group string) (*point, error) {
	if p := r.log.find(name); p != nil {
		if p.group != group {
			return nil, r.wrong(atGroup, group, fmt.Sprintf("is another group than %s, where point %s was on line %d: a point has one group", quote(p.group), quote(name), p.line))
		}
		return p, nil
	}
	if name == "" {
		return nil, r.wrong(atPoint, name, "")
	}
	for c, s := range [...]string{atPoint: name, atGroup: group} {
		if len(s) > mostName {
			return nil, r.wrong(c, s, fmt.Sprintf("is longer than %d bytes: use a short name", mostName))
		}
		if !printable(s) {
			return nil, r.wrong(c, s, "")
		}
	}
	return r.log.found(name, group), nil
}

// wrong refuses a cell of the present row.
func (r *reader) wrong(c int, cell, problem string) error {
	line, col := r.csv.FieldPos(max(0, r.where[c]))
	switch {
	case cell == "" && c != atGroup:
		return r.refuse(line, col, "%s is empty: fill it in", columns[c])
	case !utf8.ValidString(cell):
		problem = "is not UTF-8: save the file as CSV in UTF-8"
	case !printable(cell):
		problem = "has a character that does not print: take it out"
	}
	return r.refuse(line, col, "%s %s %s", columns[c], quote(cell), problem)
}

// quote shows a cell in a message, the beginning of it if it is long.
func quote(s string) string {
	const most = 40
	if len(s) > most {
		return strconv.Quote(s[:most]) + "…"
	}
	return strconv.Quote(s)
}

func (r *reader) refuse(line, col int, format string, args ...any) error {
	return refusal{fmt.Sprintf("%s: line %d, column %d: ", r.Name, line, col) + fmt.Sprintf(format, args...)}
}

// refusal is a sentence that says what is wrong with a file, and where.
type refusal struct{ sentence string }

func (r refusal) Error() string { return r.sentence }

// explain puts what the CSV reader says into a refusal.
func (r *reader) explain(err error) error {
	var parse *csv.ParseError
	switch {
	case errors.As(err, new(refusal)):
		return err
	case errors.Is(err, errLongRow):
		return r.refuse(r.line+1, 1, "the row is longer than %d KiB: is a quotation mark left open?", longestRow>>10)
	case errors.As(err, &parse):
		return r.refuse(parse.Line, parse.Column, "a quotation mark stands alone: take it out, or put the whole cell in quotation marks and double it")
	}
	return fmt.Errorf("%s: read it: %w", r.Name, err)
}

var errLongRow = errors.New("row too long")

// guard reads for a row no more than its bound.
type guard struct {
	in   io.Reader
	left int
}

// Read reads on unless the bound is passed.
func (g *guard) Read(p []byte) (int, error) {
	if g.left <= 0 {
		return 0, errLongRow
	}
	n, err := g.in.Read(p[:min(len(p), g.left)])
	g.left -= n
	return n, err
}

// parseFloat reads a figure; not ok when it is none or too large.
func parseFloat(s string) (float64, bool) {
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}
