package reckon

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// column is how many characters a line of text holds.
const column = 78

// Text prints an answer for people: what was given, what was reckoned, and how.
func (a Answer) Text() string {
	var w writer
	w.line("%s", a.Title)
	w.line("%s", strings.Repeat("=", utf8.RuneCountInString(a.Title)))
	var given [][2]string
	for _, g := range a.Inputs {
		text := g.Given
		if g.Usual {
			text += " (usual)"
		}
		given = append(given, [2]string{g.Name, text})
	}
	w.pairs("Given", given, 0)
	var found [][2]string
	notes := newNotes(a.Results)
	wide := 0
	for _, r := range a.Results {
		wide = max(wide, utf8.RuneCountInString(r.Text))
	}
	for i, r := range a.Results {
		gap := strings.Repeat(" ", wide-utf8.RuneCountInString(r.Text))
		found = append(found, [2]string{r.Label, fmt.Sprintf("%s%s  [%d]", r.Text, gap, notes.of[i])})
	}
	w.pairs("Reckoned", found, column-8-wide)
	w.line("")
	for i, n := range notes.all {
		w.wrap(fmt.Sprintf("[%d] ", i+1), n)
	}
	for _, r := range a.Remarks {
		w.line("")
		w.wrap("", r)
	}
	if a.Caution != "" {
		w.line("")
		w.wrap("", "Caution. "+a.Caution)
	}
	return w.String()
}

// notes are the formulas and sources of figures, each once.
type notes struct {
	all []string
	of  []int // of each figure, from 1
}

func newNotes(results []Result) notes {
	var n notes
	seen := map[string]int{}
	for _, r := range results {
		words := r.Formula + " (" + r.Source + ")"
		if seen[words] == 0 {
			n.all = append(n.all, words)
			seen[words] = len(n.all)
		}
		n.of = append(n.of, seen[words])
	}
	return n
}

// writer puts lines together.
type writer struct{ strings.Builder }

func (w *writer) line(format string, args ...any) {
	w.WriteString(strings.TrimRight(fmt.Sprintf(format, args...), " ") + "\n")
}

// pairs prints names and texts under a heading, the texts in one column unless
// a name is longer than most, which then has a line to itself.
func (w *writer) pairs(heading string, all [][2]string, most int) {
	if len(all) == 0 {
		return
	}
	wide := 0
	for _, p := range all {
		if n := utf8.RuneCountInString(p[0]); n > wide && (most == 0 || n <= most) {
			wide = n
		}
	}
	w.line("")
	w.line("%s", heading)
	for _, p := range all {
		n := utf8.RuneCountInString(p[0])
		if n > wide {
			w.wrap("  ", p[0])
			w.line("  %s  %s", strings.Repeat(" ", wide), p[1])
			continue
		}
		w.line("  %s%s  %s", p[0], strings.Repeat(" ", wide-n), p[1])
	}
}

// wrap prints words behind a lead, further lines under the first.
func (w *writer) wrap(lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	at := lead
	for i, word := range strings.Fields(text) {
		switch {
		case i == 0:
			at += word
		case utf8.RuneCountInString(at)+1+utf8.RuneCountInString(word) > column:
			w.line("%s", at)
			at = indent + word
		default:
			at += " " + word
		}
	}
	w.line("%s", at)
}

// List prints all sheets, for a command without one.
func List() string {
	var w writer
	w.line("Sheets of bench arithmetic:")
	w.line("")
	for _, s := range Sheets {
		w.wrap(fmt.Sprintf("  %-11s ", s.Name), s.About)
	}
	w.line("")
	w.line("endshake reckon SHEET --help prints what a sheet asks, with an example.")
	return w.String()
}

// Help prints what a sheet asks, with an example.
func (s Sheet) Help() string {
	var w writer
	w.line("endshake reckon %s: %s", s.Name, s.Title)
	w.line("")
	w.wrap("", s.About)
	w.line("")
	wide := 0
	for _, in := range s.Inputs {
		wide = max(wide, len(in.Name))
	}
	for _, in := range s.Inputs {
		words := in.What + ": " + in.Hint()
		if in.Needed {
			words += " (needed)"
		}
		w.wrap(fmt.Sprintf("  --%-*s  ", wide, in.Name), words)
	}
	w.line("  --%-*s  print JSON", wide, "json")
	w.line("")
	w.line("For example:")
	w.line("")
	w.wrap("  ", "endshake reckon "+s.Name+" "+s.ExampleWords())
	return w.String()
}
