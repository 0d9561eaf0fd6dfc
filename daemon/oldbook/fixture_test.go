package oldbook

import (
	"archive/zip"
	"bytes"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"endshake/schedule"
)

// now is the instant of every test.
var now = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

// london is the zone of all clocks.
var london = func() *time.Location {
	zone, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	return zone
}()

var today = schedule.Date{Year: 2026, Month: time.November, Day: 25}

// fleet is a small one, with logs from 2010, and two clocks more that
// are called alike.
func fleet(t testing.TB) schedule.Fleet {
	t.Helper()
	data, err := os.ReadFile("testdata/fleet.json")
	if err != nil {
		t.Fatal(err)
	}
	f, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	for i := range f.Clocks {
		f.Clocks[i].InCare = schedule.Date{Year: 2010, Month: time.January, Day: 1}
	}
	for _, slug := range []string{"north", "south"} {
		c := f.Clocks[1]
		c.Slug, c.Name = slug, "Town clock"
		f.Clocks = append(f.Clocks, c)
	}
	return f
}

// taken is what comes of a file.
func taken(t testing.TB, data []byte, a Answers, log ...schedule.Entry) (*Book, error) {
	t.Helper()
	return takenBy(t, data, fleet(t), a, log...)
}

func takenBy(t testing.TB, data []byte, f schedule.Fleet, a Answers, log ...schedule.Entry) (*Book, error) {
	t.Helper()
	s, err := Open(t.Context(), "book", data, OfPage, a)
	if err != nil {
		return nil, err
	}
	b := Take(s, f, a, today, "command")
	logs := map[string][]schedule.Entry{}
	for i, e := range log {
		if e.ID == "" {
			e.ID = fmt.Sprintf("old-%d", i)
		}
		logs[e.Clock] = append(logs[e.Clock], e)
	}
	if err := b.Against(t.Context(), Log{Entries: logs, Now: now}); err != nil {
		t.Fatal(err)
	}
	return b, nil
}

// brief says an entry in a line.
func brief(x *Taken) string {
	out := []string{fmt.Sprint(x.Row), string(x.Kind), x.Clock, x.At.In(london).Format("2006-01-02 15:04")}
	for _, w := range []string{x.Train, x.Bearing, x.Oil, string(x.Work), string(x.Cause)} {
		if w != "" {
			out = append(out, w)
		}
	}
	if x.Reading != nil {
		out = append(out, fmt.Sprintf("%s=%dum", x.Reading.Shake, x.Reading.Value))
	}
	for name, v := range map[string]*float64{"meter": x.Meter} {
		if v != nil {
			out = append(out, fmt.Sprintf("%s=%v", name, *v))
		}
	}
	if x.ErrorFound != nil {
		out = append(out, fmt.Sprintf("found=%v", *x.ErrorFound))
	}
	if x.ErrorLeft != nil {
		out = append(out, fmt.Sprintf("left=%v", *x.ErrorLeft))
	}
	if x.By != "" {
		out = append(out, "by "+x.By)
	}
	if x.Note != "" {
		out = append(out, fmt.Sprintf("%q", x.Note))
	}
	if x.Sure {
		out = append(out, "sure")
	}
	if x.There {
		out = append(out, "there")
	}
	return strings.Join(out, " ")
}

// workbook makes an XLSX file.
func workbook(t testing.TB, fill func(*excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	fill(f)
	b, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// put fills a sheet from its first row on.
func (h sheetHand) put(rows ...[]any) {
	h.t.Helper()
	for i, row := range rows {
		for j, v := range row {
			cell, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				h.t.Fatal(err)
			}
			if err := h.f.SetCellValue("Sheet1", cell, v); err != nil {
				h.t.Fatal(err)
			}
		}
	}
}

type sheetHand struct {
	t testing.TB
	f *excelize.File
}

// zipped packs parts by hand, as a workbook that nobody saved may be packed.
func zipped(t testing.TB, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range parts {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const (
	partTypes = `<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/worksheets/sheet1.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>`
	partRels  = `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument" Target="xl/workbook.xml"/></Relationships>`
	partBook  = `<?xml version="1.0"?><workbook xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"><sheets><sheet name="Log" sheetId="1" r:id="rId1"/></sheets></workbook>`
	partLinks = `<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`
)

// packed is a workbook of one sheet, with other parts if need be.
func packed(t testing.TB, sheet string, more map[string]string) []byte {
	parts := map[string]string{"[Content_Types].xml": partTypes, "_rels/.rels": partRels, "xl/workbook.xml": partBook, "xl/_rels/workbook.xml.rels": partLinks, "xl/worksheets/sheet1.xml": sheet}
	for name, text := range more {
		parts[name] = text
	}
	return zipped(t, parts)
}

// asSheet is the XML of a sheet with rows of inline texts.
func asSheet(rows ...[]string) string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`)
	for _, row := range rows {
		b.WriteString("<row>")
		for _, c := range row {
			b.WriteString(`<c t="inlineStr"><is><t>` + c + `</t></is></c>`)
		}
		b.WriteString("</row>")
	}
	return b.String() + `</sheetData></worksheet>`
}
