package oldbook

import (
	"strings"
	"testing"
	"unicode/utf8"

	"endshake/schedule"
)

// held sees that whatever a file is, what comes of it can be stood by.
func held(t *testing.T, data []byte, f schedule.Fleet, answers Answers) {
	s, err := Open(t.Context(), "book", data, Bounds{Bytes: 1 << 20, Unpacked: 8 << 20}, answers)
	if err != nil {
		if !utf8.ValidString(err.Error()) || strings.ContainsAny(err.Error(), "\x00\x1b") {
			t.Errorf("an error that cannot be shown: %q", err)
		}
		return
	}
	b := Take(s, f, answers, today, "command")
	if err := b.Against(t.Context(), Log{Now: now}); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := b.Write(&out); err != nil || !utf8.ValidString(out.String()) {
		t.Errorf("%v: %q", err, out.String())
	}
	rows := map[int]bool{}
	for _, r := range s.Rows {
		rows[r.Number] = true
	}
	for _, r := range b.Refusals {
		if !rows[r.Row] || r.Words == "" {
			t.Errorf("a refusal of nothing: %+v", r)
		}
	}
	es, err := b.Keep()
	if err != nil {
		return
	}
	by := map[string][]schedule.Entry{}
	keys := map[string]bool{}
	for _, e := range es {
		if keys[e.Key] || !e.Old {
			t.Errorf("%+v", e)
		}
		keys[e.Key] = true
		by[e.Clock] = append(by[e.Clock], e)
	}
	for clock, list := range by { // what may be kept is taken by the log, and then known again
		trial := schedule.NewTrial(f, clock, nil, schedule.Model{}, now)
		for _, e := range schedule.Merged(nil, list) {
			if err := trial.Add(e); err != nil {
				t.Errorf("kept and refused: %v", err)
			}
		}
	}
	again := Take(s, f, answers, today, "command")
	if err := again.Against(t.Context(), Log{Entries: by, Now: now}); err != nil {
		t.Fatal(err)
	}
	if es, err := again.Keep(); err != nil || len(es) > 0 {
		t.Errorf("the same file again adds %d: %v %v", len(es), err, again.Refusals)
	}
}

// settle answers what a file may ask.
var settle = Answers{"dates": "day-first", "century": "latest", "decimal": "decimal", "base": "1900", "letters": "mend", "clock": "moot-hall", "unit": "mm",
	"repair": "found", "other freedom": "as a note", "meter moot-hall": "going", "what *": "as a note", "leave out": "yes", "sure": "2 3 4 5 6 7 8"}

func FuzzCSV(f *testing.F) {
	for _, group := range [][]input{ofBytes(f), ofFigures(nil), ofDays(nil)} {
		for _, in := range group {
			if len(in.file) < 4096 {
				f.Add(in.file)
			}
		}
	}
	all := fleet(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		held(t, data, all, nil)
		held(t, data, all, settle)
	})
}

// FuzzXLSX is of what stands in the parts of a workbook, and of how a cell is shown.
func FuzzXLSX(f *testing.F) {
	f.Add(asSheet([]string{"date", "clock", "what"}, []string{"2025-01-13", "moot-hall", "wound"}), "", "")
	f.Add(`<worksheet><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c></row><row r="3"><c r="A3" s="1"><v>45670.5</v></c><c r="B3" t="str"><f>A1</f><v>wound</v></c></row></sheetData></worksheet>`,
		`<sst><si><t>date</t></si><si><t>what</t></si></sst>`, `yyyy\-mm\-dd`)
	f.Add(`<worksheet><sheetData><row r="1048576"><c r="XFD1048576"><v>1e999</v></c></row></sheetData></worksheet>`, `<sst><si/></sst>`, `[$-409]0.00" mm"`)
	all := fleet(f)
	f.Fuzz(func(t *testing.T, sheet, shared, format string) {
		if len(sheet)+len(shared)+len(format) > 64<<10 {
			return // no more than the reader's own bounds is to be tried
		}
		styles := `<styleSheet><numFmts count="1"><numFmt numFmtId="164" formatCode="` + strings.NewReplacer("&", "&amp;", "<", "&lt;", `"`, "&quot;").Replace(format) + `"/></numFmts><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="164" applyNumberFormat="1"/></cellXfs></styleSheet>`
		data := packed(t, sheet, map[string]string{"xl/sharedStrings.xml": shared, "xl/styles.xml": styles})
		held(t, data, all, settle)
	})
}
