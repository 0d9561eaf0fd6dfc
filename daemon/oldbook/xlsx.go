package oldbook

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// mostParts is how many files an XLSX may be packed of: a workbook has some dozens.
const mostParts = 2000

var errDamaged = errors.New("the workbook is damaged: open it, and save it as XLSX or CSV anew")

// workbook reads an XLSX file.
func (s *Sheet) workbook(ctx context.Context, data []byte, b Bounds, a Answers) (err error) {
	defer func() { // what reads the workbook is not ours, and a file from outside must end nothing
		if v := recover(); v != nil {
			err = errDamaged
		}
	}()
	if err := sound(ctx, data, b.Unpacked); err != nil {
		return err
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{
		UnzipSizeLimit: b.Unpacked, UnzipXMLSizeLimit: b.Unpacked, // nothing is put on the disk
		RawCellValue: true,
	})
	if err != nil {
		return errDamaged
	}
	defer f.Close()
	if err = s.filled(ctx, f); err != nil {
		return err
	}
	if len(s.Sheets) == 0 {
		return errors.New("no sheet of the workbook holds anything: is it the right file?")
	}
	sheet := s.Sheets[0]
	if want := a["sheet"]; want != "" {
		if !slices.Contains(s.Sheets, want) {
			return fmt.Errorf("the workbook has no sheet %s: it has %s", quote(want), strings.Join(s.Sheets, ", "))
		}
		sheet = want
	}
	base := false
	if p, err := f.GetWorkbookProps(); err == nil && p.Date1904 != nil {
		base = *p.Date1904
	}
	s.serial = true
	s.Notes = append(s.Notes, "It is the sheet "+quote(sheet)+" of the workbook.")
	if base {
		s.Notes = append(s.Notes, "The workbook counts its days from 1904, and they are read so.")
	}
	return s.sheetOf(ctx, f, sheet, base)
}

// sound looks over the parts of a zip file before anything is made of them: how many
// there are, what they unpack to, whether they are whole, whether those that hold
// cells are read to their end, and what a row unfolds to when each of its cells is
// given its text. What is cut short must not pass for a shorter book.
func sound(ctx context.Context, data []byte, most int64) error {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return errDamaged
	}
	if len(z.File) > mostParts {
		return fmt.Errorf("the workbook is packed of more than %d parts, and no logbook is: save its sheet as CSV", mostParts)
	}
	left, folded := most, folds{}
	for _, part := range z.File {
		if left -= int64(min(part.UncompressedSize64, uint64(most)+1)); left < 0 {
			return fmt.Errorf("the workbook unpacks to more than %d MB: divide it, or save its sheet as CSV", most>>20)
		}
		name := strings.ToLower(part.Name)
		cells := strings.HasSuffix(name, ".xml") && (strings.Contains(name, "xl/worksheets/") || strings.HasSuffix(name, "xl/sharedstrings.xml"))
		err := whole(ctx, part, cells, &folded)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return errDamaged
		}
	}
	if folded.longest*folded.widest > most {
		return errUnfolds(most)
	}
	return nil
}

// errUnfolds is said of a book that is small because it names the same text, or
// nothing, over and over.
func errUnfolds(most int64) error {
	return fmt.Errorf("its cells unfold to more than %d MB: take out all that is no part of the logbook, or save its sheet as CSV", most>>20)
}

// folds are what tells how much a row may unfold to: the bytes of the longest text
// that cells share, and the most cells of one row that name one.
type folds struct{ longest, widest int64 }

// inTime reads until a context ends.
type inTime struct {
	ctx context.Context
	in  io.Reader
}

func (r inTime) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.in.Read(p)
}

// whole reads a part to its end, as XML where it is.
func whole(ctx context.Context, part *zip.File, markup bool, f *folds) error {
	file, err := part.Open()
	if err != nil {
		return err
	}
	defer file.Close()
	in := inTime{ctx, file}
	if !markup {
		_, err = io.Copy(io.Discard, in)
		return err
	}
	depth, count := 0, counter{folds: f}
	for d := xml.NewDecoder(in); ; {
		token, err := d.RawToken()
		switch {
		case errors.Is(err, io.EOF) && depth == 0:
			_, err = io.Copy(io.Discard, in) // its sum is told at the end
			return err
		case errors.Is(err, io.EOF):
			return io.ErrUnexpectedEOF
		case err != nil:
			return err
		}
		switch token := token.(type) {
		case xml.StartElement:
			depth++
			count.begin(token)
		case xml.EndElement:
			depth--
		case xml.CharData:
			count.text += int64(len(token))
			f.longest = max(f.longest, count.text)
		}
		if depth > 100 {
			return errDamaged
		}
	}
}

// counter counts while a part is read: the text of a shared item or a cell, and the
// cells of a row. Rows of a number that was there already are read as one with it.
type counter struct {
	*folds
	text, cells int64
	row, last   int
}

func (c *counter) begin(e xml.StartElement) {
	attr := func(name string) string {
		i := slices.IndexFunc(e.Attr, func(a xml.Attr) bool { return a.Name.Local == name })
		if i < 0 {
			return ""
		}
		return e.Attr[i].Value
	}
	switch e.Name.Local {
	case "si":
		c.text = 0
	case "row":
		c.row++
		if n, err := strconv.Atoi(attr("r")); err == nil && n > 0 {
			c.row = n
		}
		if c.row > c.last {
			c.last, c.cells = c.row, 0
		}
	case "c":
		c.text = 0
		if attr("t") == "s" {
			c.cells++
			c.widest = max(c.widest, c.cells)
		}
	}
}

// filled finds the sheets that hold anything, those that are hidden left out.
func (s *Sheet) filled(ctx context.Context, f *excelize.File) error {
	for _, name := range f.GetSheetList() {
		if seen, err := f.GetSheetVisible(name); err == nil && !seen {
			continue
		}
		rows, err := f.Rows(name)
		if err != nil {
			continue // a chart has none
		}
		for looked := 0; rows.Next() && looked < 1000; looked++ {
			cells, err := rows.Columns()
			if err != nil {
				return errDamaged
			}
			if err := errors.Join(ctx.Err(), s.unfold(cells)); err != nil {
				return err
			}
			if slices.ContainsFunc(cells, func(c string) bool { return !empty(c) }) {
				s.Sheets = append(s.Sheets, name)
				break
			}
		}
		if rows.Close() != nil {
			return errDamaged
		}
	}
	return nil
}

// sheetOf reads a sheet twice side by side: what its cells hold, and how they show
// it, which tells days from figures.
func (s *Sheet) sheetOf(ctx context.Context, f *excelize.File, sheet string, base1904 bool) error {
	held, err := f.Rows(sheet)
	if err != nil {
		return errDamaged
	}
	defer held.Close()
	shown, err := f.Rows(sheet)
	if err != nil {
		return errDamaged
	}
	defer shown.Close()
	for number := 1; held.Next() && shown.Next(); number++ {
		cells, err := held.Columns()
		if err != nil {
			return errDamaged
		}
		look, err := shown.Columns(excelize.Options{RawCellValue: false})
		if err != nil {
			return errDamaged
		}
		if err := errors.Join(ctx.Err(), s.unfold(cells)); err != nil {
			return err
		}
		for i, c := range cells {
			if i < len(look) {
				cells[i] = meant(c, look[i], base1904)
			}
		}
		if err := s.add(number, cells, ""); err != nil {
			return err
		}
	}
	if held.Error() != nil {
		return errDamaged
	}
	return nil
}

var (
	shownDay  = regexp.MustCompile(`(?i)\d[-/. ]\d{1,2}[-/. ]\d|jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|年`)
	shownTime = regexp.MustCompile(`\d:\d\d`)
	shownUnit = regexp.MustCompile(`^[-+0-9., ]+ ?(mm|um|µm|μm|in|inch|thou|")$`)
)

// lastSerial is the day number of 31 Dec 9999.
const lastSerial = 2958466

// meant is what a cell says: a day or a time where it is shown as one, with its unit
// where that is how it is shown, else what it holds.
func meant(held, shown string, base1904 bool) string {
	if held == shown {
		return held
	}
	n, err := strconv.ParseFloat(held, 64)
	if err != nil || !(n >= 0 && n < lastSerial) {
		return held
	}
	if m := shownUnit.FindStringSubmatch(strings.TrimSpace(shown)); m != nil {
		return held + " " + m[1]
	}
	if shownDay.MatchString(shown) || shownTime.MatchString(shown) {
		return ofSerial(n, base1904)
	}
	return held
}

// ofSerial writes out a day number of a spreadsheet, with the time if it has one; a
// time alone where it is below 1.
func ofSerial(n float64, base1904 bool) string {
	t, err := excelize.ExcelDateToTime(n, base1904)
	if err != nil {
		return strconv.FormatFloat(n, 'f', -1, 64)
	}
	t = t.Round(time.Second)
	switch {
	case n < 1 && !base1904, n < 1 && n > 0:
		return t.Format("15:04:05")
	case t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0:
		return t.Format(time.DateOnly)
	}
	return t.Format(time.DateTime)
}
