package oldbook

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// text reads a CSV file.
func (s *Sheet) text(ctx context.Context, data []byte) error {
	text, err := s.decoded(data)
	if err != nil {
		return err
	}
	// A bare return ends a row too; the others are told apart by the reader.
	text = bytes.ReplaceAll(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
	comma := separator(text)
	if comma == 0 {
		return errors.New("no commas, semicolons or tabs part its cells: save the spreadsheet as CSV or XLSX, and give that")
	}
	s.Notes = append(s.Notes, "The cells are parted by "+map[rune]string{',': "commas", ';': "semicolons", '\t': "tabs", '|': "bars"}[comma]+".")
	left := &rowGuard{in: inTime{ctx, bytes.NewReader(text)}, left: longestRow}
	r := csv.NewReader(left)
	r.Comma, r.FieldsPerRecord = comma, -1
	line := 0
	for {
		left.left = longestRow
		cells, err := r.Read()
		var parse *csv.ParseError
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case errors.Is(err, errLongRow):
			return fmt.Errorf("the row after line %d has more than %d KB: is a quotation mark left open?", line, longestRow>>10)
		case errors.As(err, &parse) && errors.Is(err, csv.ErrBareQuote) && parse.StartLine == parse.Line:
			line = parse.Line
			if err := s.add(line, nil, fmt.Sprintf("column %s: a quotation mark stands alone: take it out, or write in or thou for inches", Letters(len(cells)))); err != nil {
				return err
			}
			continue
		case errors.As(err, &parse): // rows may be lost behind it, so it cannot be left out
			return fmt.Errorf("row %d: a quotation mark is left open, or text follows a closed one: take it out, or double it", parse.StartLine)
		case err != nil:
			return err
		}
		line, _ = r.FieldPos(0)
		for i, c := range cells {
			if strings.Count(c, "\n") > mostLines {
				return fmt.Errorf("row %d, column %s: a cell runs over more than %d lines: is a quotation mark left open?", line, Letters(i), mostLines)
			}
		}
		if err := s.add(line, cells, ""); err != nil {
			return err
		}
	}
}

// decoded is a text in UTF-8, from what its bytes show it to be in.
func (s *Sheet) decoded(data []byte) ([]byte, error) {
	wide := ""
	switch {
	case bytes.HasPrefix(data, []byte{0xEF, 0xBB, 0xBF}):
		data = data[3:]
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}), evenly(data, 1):
		wide = "UTF-16, little end first"
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}), evenly(data, 0):
		wide = "UTF-16, big end first"
	}
	switch {
	case wide != "":
		end := unicode.LittleEndian
		if strings.Contains(wide, "big") {
			end = unicode.BigEndian
		}
		s.Notes = append(s.Notes, "The file is in "+wide+".")
		out, err := unicode.UTF16(end, unicode.UseBOM).NewDecoder().Bytes(data)
		if err != nil {
			return nil, fmt.Errorf("it cannot be read as %s: save it as CSV in UTF-8", wide)
		}
		return out, nil
	case utf8.Valid(data):
		return data, nil
	}
	s.Notes = append(s.Notes, "The file is not in UTF-8, and is read as Windows-1252: look whether £, ° and letters with accents are right.")
	return charmap.Windows1252.NewDecoder().Bytes(data)
}

// evenly reports whether every other byte of the beginning is 0, as it is in a
// text in UTF-16 without a mark.
func evenly(data []byte, at int) bool {
	n, zero := 0, 0
	for i := at; i < min(len(data), 200); i += 2 {
		n++
		if data[i] == 0 {
			zero++
		}
	}
	return n >= 4 && zero*10 >= n*9
}

// separators part the cells of a row; a comma is the last that is thought of.
var separators = []rune{'\t', ';', '|', ','}

// separator is what parts the cells: what as many of the first lines as may be have
// equally often; where a comma does no better than another it is of the figures.
// 0: none does.
func separator(text []byte) rune {
	seen := map[rune]map[int]int{} // by separator, how many lines have so many
	now := map[byte]int{}
	end := func() {
		for _, r := range separators {
			if n := now[byte(r)]; n > 0 {
				if seen[r] == nil {
					seen[r] = map[int]int{}
				}
				seen[r][n]++
			}
		}
		clear(now)
	}
	lines, quoted := 0, false
	for _, b := range text[:min(len(text), 64<<10)] {
		switch {
		case b == '"':
			quoted = !quoted
		case b == '\n' && !quoted:
			end()
			lines++
		case !quoted:
			now[b]++
		}
		if lines == 40 {
			break
		}
	}
	end()
	found, alike, most := rune(0), 0, 0
	for _, r := range separators {
		for n, times := range seen[r] {
			if times > alike || times == alike && n > most {
				found, alike, most = r, times, n
			}
		}
	}
	return found
}

var errLongRow = errors.New("row too long")

// rowGuard reads for a row no more than its bound, and what the reader took
// beyond it.
type rowGuard struct {
	in   io.Reader
	left int
}

// Read reads on unless the bound is passed.
func (g *rowGuard) Read(p []byte) (int, error) {
	if g.left <= 0 {
		return 0, errLongRow
	}
	n, err := g.in.Read(p[:min(len(p), g.left)])
	g.left -= n
	return n, err
}
