package oldbook

import (
	"fmt"
	"io"
	"strings"

	"endshake/schedule"
)

// mostListed is how many refusals and flags are printed; all are counted.
const mostListed = 200

// Write prints what comes of a book, for a command: what its columns are taken for,
// what is asked and by which flags it is answered, what would be logged, and what is
// refused.
func (b *Book) Write(out io.Writer) error {
	w := &strings.Builder{}
	fmt.Fprintf(w, "%s: %s.\n", b.File, schedule.Capital(b.Lede()))
	for _, n := range b.Notes {
		fmt.Fprintf(w, "  %s\n", n)
	}
	fmt.Fprint(w, "\nColumns\n")
	for _, c := range b.Columns {
		role := c.String()
		if c.Role == "" {
			role = "?"
		}
		if c.Unit != "" {
			role += ", in " + c.Unit
		}
		fmt.Fprintf(w, "  %s: %s (%s)\n", printable(c.Name()), role, c.Why)
	}
	for _, p := range b.Problems {
		fmt.Fprintf(w, "\n%s\n", p)
	}
	if len(b.Questions) > 0 {
		fmt.Fprint(w, "\nQuestions\n")
		above := map[string]string{} // answers that stand there, with the question
		for _, q := range b.Questions {
			q.write(w, above)
		}
	}
	if counts := b.Counts(); len(counts) > 0 {
		fmt.Fprint(w, "\nTo be logged\n")
		for _, c := range counts {
			fmt.Fprintf(w, "  %s\n", c)
		}
	}
	listed(w, "Refused", b.Refusals)
	listed(w, "Taken, and does not fit the rest", b.Flags)
	_, err := io.WriteString(out, w.String())
	return err
}

// write prints a question and how it is answered: answers that stand above are not
// printed again.
func (q Question) write(w io.Writer, above map[string]string) {
	fmt.Fprintf(w, "  %s", printable(q.Words))
	if q.Given != "" {
		fmt.Fprintf(w, " (%s is none of the answers.)", printable(quote(q.Given)))
	}
	var where []string
	for _, e := range q.Examples {
		if e.Row > 0 {
			where = append(where, printable(e.String()))
		}
	}
	if len(where) > 0 {
		fmt.Fprintf(w, " %s.", schedule.Capital(strings.Join(where, "; ")))
	}
	fmt.Fprintf(w, "\n    %s\n", q.flag())
	const most = 40
	all := fmt.Sprint(q.Choices)
	if before, ok := above[all]; ok && len(q.Choices) > 4 {
		fmt.Fprintf(w, "      one of the answers above, to \"%s\"\n", printable(before))
		return
	}
	above[all] = q.Key
	for i, c := range q.Choices {
		if i == most {
			fmt.Fprintf(w, "      and %d more\n", len(q.Choices)-most)
			break
		}
		if c.Words == c.Value {
			fmt.Fprintf(w, "      %s\n", printable(c.Value))
			continue
		}
		fmt.Fprintf(w, "      %s: %s\n", printable(c.Value), printable(c.Words))
	}
}

// flag is how a command answers a question.
func (q Question) flag() string {
	switch kind, of, _ := strings.Cut(q.Key, " "); {
	case q.Key == "dates":
		return "--dates ORDER"
	case kind == "unit":
		return "--unit " + of + "=UNIT"
	case kind == "column":
		return "--column ROLE=" + of
	case q.Key == "clock":
		return "--clock CLOCK"
	case q.Key == "sheet":
		return "--sheet NAME"
	}
	return "--answer \"" + printable(q.Key) + "=ANSWER\""
}

// listed prints what is refused or flagged.
func listed(w io.Writer, title string, all []Refusal) {
	if len(all) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", title)
	for i, r := range all {
		if i == mostListed {
			fmt.Fprintf(w, "  and %s more\n", schedule.Thousands(float64(len(all)-mostListed)))
			return
		}
		mark := ""
		if r.Asked {
			mark = fmt.Sprintf(" (--sure %d)", r.Row)
		}
		fmt.Fprintf(w, "  %s.%s\n", printable(r.String()), mark)
	}
}

// printable is a text that moves no cursor and hides nothing.
func printable(s string) string { return schedule.Visible(s) }

// Lede says in one sentence, without its stop, what comes of a book.
func (b *Book) Lede() string {
	fresh := len(b.Taken) - b.There
	out := fmt.Sprintf("%s give %s to log", schedule.Count(b.Rows, "row", "rows"), schedule.Count(fresh, "entry", "entries"))
	if b.Rows == 1 {
		out = strings.Replace(out, "give", "gives", 1)
	}
	if b.There > 0 {
		out += fmt.Sprintf(", and %s that the log has already", schedule.Thousands(float64(b.There)))
	}
	if n := len(b.Questions); n > 0 {
		out += "; " + schedule.Count(n, "question is", "questions are") + " open"
	}
	if n := b.RefusedRows(); n > 0 {
		out += "; " + schedule.Count(n, "row is", "rows are") + " refused"
	}
	if b.LeftOut > 0 {
		out += "; " + schedule.Count(b.LeftOut, "row is", "rows are") + " left out, as you said"
	}
	return out
}

// String says what a book has of a clock: its name, what, and from when to when.
func (c Count) String() string {
	var kinds []string
	for _, k := range c.Kinds {
		kinds = append(kinds, schedule.Thousands(float64(k.Entries))+" "+string(k.Kind))
	}
	span := c.From.Words()
	if c.To != c.From {
		span += " to " + c.To.Words()
	}
	return fmt.Sprintf("%s: %s, %s", printable(c.Clock.Name), strings.Join(kinds, ", "), span)
}
