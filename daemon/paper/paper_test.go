package paper

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

var seed = flag.Uint64("seed", 1, "seed of the hostile texts")

// textOf reads a document back with pdftotext of poppler, which is not this project's.
// Without it the test is skipped, and fails where CI says that all is there.
func textOf(t testing.TB, pdf []byte) string {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("ENDSHAKE_CI") == "1" {
			t.Fatal("pdftotext (poppler-utils) is not installed, and ENDSHAKE_CI=1 says that it is")
		}
		t.Skip("SKIPPED, the PDF is not read back: pdftotext (poppler-utils) is not installed")
	}
	name := filepath.Join(t.TempDir(), "r.pdf")
	if err := os.WriteFile(name, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-layout", "-enc", "UTF-8", name, "-").CombinedOutput()
	if err != nil {
		t.Fatalf("pdftotext: %v: %s", err, out)
	}
	return string(out)
}

// letters are those of a text without the spaces that lines bring in.
func letters(s string) string { return strings.Join(strings.Fields(s), "") }

var day = schedule.Date{Year: 2026, Month: 11, Day: 26}

func report(rows int, note func(i int) string) schedule.Report {
	t := schedule.ReportTable{Head: []string{"Day", "Headword", "Figure"}, Right: []bool{false, false, true}, Total: []string{"all", "", "sumrow"}}
	for i := range rows {
		t.Rows = append(t.Rows, schedule.ReportRow{Cells: []string{fmt.Sprintf("row%dx", i), note(i), strconv.Itoa(i)}})
	}
	return schedule.Report{Title: "Report of Łódź and Žižkov", Lede: "Ζάππειον needs money first, and so does Đurđevac.", Of: "two clocks", Name: "report", Data: day, From: day.Add(-364), To: day,
		Sections: []schedule.ReportSection{{Head: "What was found", Says: []string{"A paragraph."}, Tables: []schedule.ReportTable{t}, Notes: []string{"A note."}}}}
}

func made(t testing.TB, r schedule.Report, size Pages) []byte {
	t.Helper()
	out, err := PDF(r, wear.MM, size, nil)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// Every letter of Europe prints, a long table goes on over pages below its head, every
// page says which of how many it is and of when the data are, and nothing is lost.
func TestPages(t *testing.T) {
	r := report(150, func(i int) string { return strings.Repeat("looked over and found as before ", 1+i%4) })
	for _, size := range []Pages{A4, Letter} {
		out := made(t, r, size)
		text := textOf(t, out)
		pages := strings.Split(strings.TrimSuffix(text, "\f"), "\f")
		if len(pages) < 4 {
			t.Fatalf("%d pages", len(pages))
		}
		for i, p := range pages {
			if !strings.Contains(p, fmt.Sprintf("page %d of %d", i+1, len(pages))) || !strings.Contains(p, "Data of 26 Nov 2026") {
				t.Errorf("page %d does not say which it is, or of when:\n%s", i+1, p)
			}
			if strings.Contains(p, "row") && !strings.Contains(p, "Headword") {
				t.Errorf("page %d has rows and no head", i+1)
			}
		}
		for _, want := range []string{"Łódź", "Žižkov", "Ζάππειον", "Đurđevac", "sumrow", "A note."} {
			if !strings.Contains(text, want) {
				t.Errorf("no %q", want)
			}
		}
		for i := range 150 {
			if !strings.Contains(text, fmt.Sprintf("row%dx", i)) {
				t.Errorf("row %d is cut off", i)
			}
		}
		if n := strings.Count(letters(text), "lookedoverandfoundasbefore"); n < 150 {
			t.Errorf("%d of the words are left", n)
		}
	}
}

// The same report gives the same bytes, with the day of its data and no other.
func TestSameBytes(t *testing.T) {
	r := report(40, func(i int) string { return "ÆØÅ αβγ " + strconv.Itoa(i) })
	one := made(t, r, A4)
	for range 5 {
		if !bytes.Equal(one, made(t, r, A4)) {
			t.Fatal("the same report gives other bytes")
		}
	}
	if dates := regexp.MustCompile(`D:\d{14}`).FindAllString(string(one), -1); len(dates) == 0 || strings.ReplaceAll(strings.Join(dates, ""), "D:20261126000000", "") != "" {
		t.Errorf("dates %v", dates)
	}
}

// A row that no page holds goes on overleaf, and a word wider than its column is
// broken; all of both is there.
func TestNothingIsCutOff(t *testing.T) {
	long := ""
	for i := range 2500 {
		long += fmt.Sprintf("w%dw ", i)
	}
	wide := ""
	for i := range 400 {
		wide += fmt.Sprintf("%03d", i)
	}
	r := report(3, func(i int) string { return []string{long, wide, "short"}[i] })
	text := textOf(t, made(t, r, A4))
	for i := range 2500 {
		if !strings.Contains(text, fmt.Sprintf("w%dw", i)) {
			t.Fatalf("word %d of a long cell is lost", i)
		}
	}
	found := ""
	for _, line := range strings.Split(text, "\n") {
		for _, f := range strings.Fields(line) {
			if regexp.MustCompile(`^\d{20,}$`).MatchString(f) {
				found += f
			}
		}
	}
	if rest := strings.TrimPrefix(wide, found); len(found) < 1000 || len(rest) > 100 || !strings.HasPrefix(wide, found) {
		t.Errorf("%d digits of %d of a wide word come back", len(found), len(wide))
	}
}

// Nothing that a text holds stops a report or puts anything beside its paper: words
// without end, control characters, what is written from right to left, emoji,
// broken UTF-8.
func TestHostileTexts(t *testing.T) {
	rnd := rand.New(rand.NewPCG(*seed, 7))
	t.Logf("seed %d", *seed)
	parts := []string{"שלום עולם", "مرحبا", "👩‍🔧🕰️", "\x00\x01\x07", "\u202e\u2066", "e\u0301\u0301\u0301", strings.Repeat("W", 500), "\xff\xfe", "(\\)", "endobj stream", "{nb}", "日本語",
		"\ufeff", "\u00a0", "\U0010ffff", "ﬁ", "plain words", "0.42 mm (16.5 thou)", "−5", "\t\n\r", "—"}
	for range 40 {
		text := func() string {
			s := ""
			for range rnd.IntN(12) {
				s += parts[rnd.IntN(len(parts))]
				if rnd.IntN(2) == 0 {
					s += " "
				}
			}
			return s
		}
		r := report(rnd.IntN(12), func(int) string { return text() })
		r.Title, r.Lede, r.Of = text(), text(), text()
		r.Sections = append(r.Sections, schedule.ReportSection{Head: text(), Says: []string{text()}, Warns: true, Notes: []string{text()},
			Charts: []schedule.ReportChart{{Clock: text(), Bearing: text(), Caption: text()}}, Tables: []schedule.ReportTable{{Rows: []schedule.ReportRow{{Cells: []string{text(), text()}}, {}}}}})
		out := made(t, r, A4)
		if !bytes.HasPrefix(out, []byte("%PDF-")) || !bytes.Contains(out[len(out)-20:], []byte("%%EOF")) {
			t.Fatal("no whole document")
		}
		if _, err := exec.LookPath("pdftotext"); err == nil {
			textOf(t, out)
		}
	}
}

// No line is wider than its room, whatever it holds.
func TestLinesFit(t *testing.T) {
	rnd := rand.New(rand.NewPCG(*seed, 8))
	p := &press{s: chart.NewSheet(chart.Size(A4), "", day.Start(time.UTC)), size: A4}
	p.page()
	for range 400 {
		room := 20 + rnd.Float64()*300
		text := ""
		for range rnd.IntN(30) {
			text += strings.Repeat(string(rune("aWié.ł"[rnd.IntN(4)])), 1+rnd.IntN(40)) + " "
		}
		for _, line := range p.lines(chart.Plain, body, text, room) {
			if w := p.s.Wide(chart.Plain, body, line); w > room+.01 {
				t.Fatalf("%q is %.1f wide in %.1f", line, w, room)
			}
		}
		if got := strings.Join(p.lines(chart.Plain, body, text, room), ""); letters(got) != letters(p.s.Shown(chart.Plain, text)) {
			t.Fatalf("%q became %q", text, got)
		}
	}
}
