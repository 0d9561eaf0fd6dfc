package oldbook

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Bounds are how much of a file is read.
type Bounds struct {
	Bytes    int   // of the file
	Unpacked int64 // of all that an XLSX holds, and again of what its cells unfold to
}

// The bounds of a file that a command reads, and of one that is sent to a page. A
// book of 200 000 rows has some 20 MB.
var (
	OfCommand = Bounds{Bytes: 64 << 20, Unpacked: 512 << 20}
	OfPage    = Bounds{Bytes: 2 << 20, Unpacked: 48 << 20}
)

// What is taken for a slip instead of a logbook.
const (
	mostRows    = 300_000
	mostColumns = 200
	longestCell = 8 << 10  // bytes
	longestRow  = 64 << 10 // bytes
	mostLines   = 60       // in one cell
)

// Sheet is a file as rows of text.
type Sheet struct {
	File  string   // its name, for messages
	Notes []string // how it was read, in sentences
	Rows  []Row
	// Sheets are the sheets of a workbook that hold anything; nil for a CSV file.
	Sheets []string
	serial bool // dates were told from figures by the file itself
	// What cells may unfold to, and what is left of it.
	most, left int64
}

// Row is one row: its number in the file, from 1, and its cells. Wrong says why it
// cannot be read; empty: it can.
type Row struct {
	Number int
	Cells  []string
	Wrong  string
}

// Open reads a file as rows of text, by what its bytes are and not by its name. An
// error is a sentence: nothing of the file can be read then. Of a workbook with
// several sheets it is the one that the answers name, else the first that holds
// anything. It ends with its context.
func Open(ctx context.Context, name string, data []byte, b Bounds, a Answers) (*Sheet, error) {
	s := &Sheet{File: name, most: b.Unpacked, left: b.Unpacked}
	var err error
	switch {
	case len(data) > b.Bytes:
		err = fmt.Errorf("it is larger than %d MB: divide it into several files", b.Bytes>>20)
	case len(bytes.TrimSpace(data)) == 0:
		err = fmt.Errorf("it is empty: save the spreadsheet as CSV or XLSX, and give that")
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		err = s.workbook(ctx, data, b, a)
	case bytes.HasPrefix(data, []byte{0xD0, 0xCF, 0x11, 0xE0}):
		err = fmt.Errorf("it is an old or a locked workbook: open it, take its password off, and save it as XLSX or CSV")
	case bytes.HasPrefix(data, []byte("%PDF")), bytes.HasPrefix(data, []byte("\x89PNG")), bytes.HasPrefix(data, []byte{0xFF, 0xD8, 0xFF}):
		err = fmt.Errorf("it is a picture or a printed page: type it in as a spreadsheet, and save that as CSV or XLSX")
	default:
		err = s.text(ctx, data)
	}
	if err == nil && len(s.Rows) == 0 {
		err = fmt.Errorf("it holds no row: is it the right file?")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return s, nil
}

// add puts a row in; empty ones are passed over.
func (s *Sheet) add(number int, cells []string, wrong string) error {
	for len(cells) > 0 && empty(cells[len(cells)-1]) {
		cells = cells[:len(cells)-1]
	}
	if len(cells) > mostColumns {
		return fmt.Errorf("row %d has %d columns: take out all that is no part of the logbook, up to %d are read", number, len(cells), mostColumns)
	}
	blank := true
	for i, c := range cells {
		cells[i] = strings.TrimSpace(strings.ReplaceAll(c, "\u00a0", " "))
		blank = blank && cells[i] == ""
		if wrong == "" {
			wrong = badCell(i, cells[i])
		}
	}
	switch {
	case blank && wrong == "":
		return nil
	case len(s.Rows) == mostRows:
		return fmt.Errorf("it has more than %d rows: divide it into several files", mostRows)
	}
	s.Rows = append(s.Rows, Row{number, cells, wrong})
	return nil
}

// empty reports whether a cell holds nothing that is seen.
func empty(cell string) bool { return len(cell) <= longestCell && strings.TrimSpace(cell) == "" }

// unfold takes a row of a workbook off what its cells may unfold to: one that holds
// nothing costs as well, for there may be millions.
func (s *Sheet) unfold(cells []string) error {
	for _, c := range cells {
		s.left -= int64(len(c)) + 1
	}
	if s.left < 0 {
		return errUnfolds(s.most)
	}
	return nil
}

// badCell says what is wrong with the text of a cell, wherever it stands.
func badCell(column int, cell string) string {
	switch {
	case len(cell) > longestCell:
		return fmt.Sprintf("column %s: the cell holds more than %d KB: is a quotation mark left open?", Letters(column), longestCell>>10)
	case !utf8.ValidString(cell):
		return fmt.Sprintf("column %s: %s is not text: save the file as CSV in UTF-8", Letters(column), quote(cell))
	case strings.ContainsFunc(cell, unseen):
		return fmt.Sprintf("column %s: %s holds a character that does not print: type the cell again", Letters(column), quote(cell))
	}
	return ""
}

// unseen tells the characters that no logbook holds.
func unseen(r rune) bool {
	return r < ' ' && r != '\n' && r != '\t' && r != '\r' || r >= 0x7f && r < 0xa0
}

// Letters is how spreadsheets call a column, counted from 0: A, B, ... Z, AA.
func Letters(column int) string {
	name := ""
	for n := column + 1; n > 0; n = (n - 1) / 26 {
		name = string(rune('A'+(n-1)%26)) + name
	}
	return name
}

// Column finds a column by its letters, or by a word that stands in the first rows.
func (s *Sheet) Column(name string) (letters string, ok bool) {
	name = strings.TrimSpace(name)
	for i := range mostColumns {
		if strings.EqualFold(name, Letters(i)) {
			return Letters(i), true
		}
	}
	for _, row := range s.Rows[:min(len(s.Rows), 15)] {
		for i, c := range row.Cells {
			if name != "" && strings.EqualFold(strings.Join(strings.Fields(c), " "), strings.Join(strings.Fields(name), " ")) {
				return Letters(i), true
			}
		}
	}
	return "", false
}

// quote shows a cell in a sentence, the beginning of it if it is long.
func quote(s string) string {
	const most = 40
	s = strings.Join(strings.FieldsFunc(strings.ToValidUTF8(s, "\uFFFD"), func(r rune) bool { return r == '\n' || r == '\r' || unseen(r) }), " ")
	if r := []rune(s); len(r) > most {
		s = string(r[:most]) + "…"
	}
	return "“" + s + "”"
}
