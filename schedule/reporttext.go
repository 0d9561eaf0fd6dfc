package schedule

import (
	"strings"
	"unicode/utf8"
)

// paperWidth is how many letters a line of a printed report has.
const paperWidth = 96

// Text prints a report for a terminal or a sheet of paper. Charts are left out: what
// they say stands in words.
func (r Report) Text() string {
	var b strings.Builder
	para := func(s string) { b.WriteString(strings.Join(folded(s, paperWidth), "\n") + "\n") }
	para(r.Title)
	para(r.Under())
	b.WriteString("\n")
	para(r.Lede)
	for _, s := range r.Sections {
		b.WriteString("\n")
		para(strings.ToUpper(s.Head))
		for _, p := range s.Says {
			b.WriteString("\n")
			para(p)
		}
		for _, t := range s.Tables {
			b.WriteString("\n" + t.text())
		}
		for _, c := range s.Charts {
			b.WriteString("\n")
			para(c.Caption)
		}
		for _, n := range s.Notes {
			b.WriteString("\n")
			para(n)
		}
	}
	return b.String()
}

// text prints a table, with cells folded where they are long.
func (t ReportTable) text() string {
	rows := make([][]string, 0, len(t.Rows)+2)
	if t.Head != nil {
		rows = append(rows, t.Head)
	}
	for _, r := range t.Rows {
		rows = append(rows, r.Cells)
	}
	if t.Total != nil {
		rows = append(rows, t.Total)
	}
	widths := columnWidths(rows, paperWidth)
	var b strings.Builder
	for i, r := range rows {
		if i > 0 && t.Head != nil && (i == 1 || t.Total != nil && i == len(rows)-1) {
			b.WriteString(strings.Repeat("-", total(widths)) + "\n")
		}
		t.textRow(&b, r, widths)
	}
	return b.String()
}

// textRow prints one row, over as many lines as its longest cell takes.
func (t ReportTable) textRow(b *strings.Builder, cells []string, widths []int) {
	lines, most := make([][]string, len(cells)), 0
	for k, c := range cells {
		lines[k] = folded(c, widths[k])
		most = max(most, len(lines[k]))
	}
	for n := range most {
		line := ""
		for k := range cells {
			word := ""
			if n < len(lines[k]) {
				word = lines[k][n]
			}
			space := strings.Repeat(" ", widths[k]-utf8.RuneCountInString(word))
			if k < len(t.Right) && t.Right[k] {
				word = space + word
			} else {
				word += space
			}
			if k > 0 {
				line += "  "
			}
			line += word
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}

// total is the width of columns with two spaces between them.
func total(widths []int) int {
	sum := max(0, 2*(len(widths)-1))
	for _, w := range widths {
		sum += w
	}
	return sum
}

// columnWidths shares a line among columns: each as wide as its longest cell, and
// where that is too much, the widest cut first, down to a few letters.
func columnWidths(rows [][]string, line int) []int {
	var widths []int
	for _, r := range rows {
		for k, c := range r {
			if k == len(widths) {
				widths = append(widths, 1)
			}
			widths[k] = max(widths[k], utf8.RuneCountInString(c))
		}
	}
	for total(widths) > line {
		widest := 0
		for k := range widths {
			if widths[k] > widths[widest] {
				widest = k
			}
		}
		if widths[widest] <= 4 {
			break
		}
		widths[widest]--
	}
	return widths
}

// folded breaks a text into lines of so many letters at most, at spaces where there
// are any.
func folded(s string, width int) []string {
	var out []string
	line, long := "", 0
	for _, word := range Unbroken(s, func(pair string) bool { return utf8.RuneCountInString(pair) <= width }) {
		n := utf8.RuneCountInString(word)
		if long > 0 && long+1+n > width {
			out = append(out, line)
			line, long = "", 0
		}
		for n > width { // no line is wide enough for it
			r := []rune(word)
			out = append(out, string(r[:width]))
			word, n = string(r[width:]), n-width
		}
		if long > 0 {
			line, long = line+" ", long+1
		}
		line, long = line+word, long+n
	}
	if long > 0 || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

// besideFigures are the units that stay on one line with their figure.
var besideFigures = map[string]bool{"mm": true, "thou": true, "s": true, "min": true, "h": true, "%": true}

// Unbroken are the words of a text, between which a line may be broken: a figure and
// its unit are one, where that fits.
func Unbroken(s string, fits func(pair string) bool) []string {
	var out []string
	for _, word := range strings.Fields(s) {
		if n := len(out); n > 0 && besideFigures[strings.TrimRight(word, ".,;:)”")] {
			before := out[n-1]
			if last := before[len(before)-1]; last >= '0' && last <= '9' && fits(before+" "+word) {
				out[n-1] = before + " " + word
				continue
			}
		}
		out = append(out, word)
	}
	return out
}
