package oldbook

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/encoding/charmap"

	"endshake/schedule"
)

// Book is what comes of a file: the entries that its rows tell of, what must be
// asked first, and what is refused.
type Book struct {
	File      string
	Notes     []string // how it was read, in sentences
	Columns   []Column
	Problems  []string // with the file or the answers as a whole: nothing is kept while there is one
	Questions []Question
	Taken     []Taken
	Refusals  []Refusal
	Flags     []Refusal // what is taken, and does not fit the rest
	Rows      int       // that hold anything, the header left out
	LeftOut   int       // of them, by an answer
	There     int       // entries that the log has already

	fleet   schedule.Fleet
	names   *names
	asking  *asking
	today   schedule.Date
	source  string
	first   int // number of the first row
	at      map[Role]int
	order   string // of the parts of dates; empty: not known
	comma   string
	numbers map[string]int // rows by their number in the book
	found   map[string]string
	people  map[string]string // who was found by initials or part of a name, by what the file says
}

// Taken is an entry with the row that tells of it.
type Taken struct {
	schedule.Entry
	Row    int
	Column string // letters; empty: the row as a whole
	There  bool   // the log has it already
	timed  bool   // the row gives its time
	step   float64
}

// Refusal is what is wrong with a row, and how to mend it.
type Refusal struct {
	Row    int
	Column string // its letters; empty: the row as a whole
	Words  string // a sentence without its stop
	// Asked: it is a reading that was asked back, and may be said to be right.
	Asked bool
}

// String prints a refusal: row 7, column D: ...
func (r Refusal) String() string {
	where := fmt.Sprintf("Row %d", r.Row)
	if r.Column != "" {
		where += ", column " + r.Column
	}
	return where + ": " + r.Words
}

// Take makes entries of the rows of a sheet, by what the answers say. Today is the
// day there, by which years of two figures may be told; source is the way in.
func Take(s *Sheet, fleet schedule.Fleet, a Answers, today schedule.Date, source string) *Book {
	b := &Book{File: s.File, Notes: slices.Clone(s.Notes), fleet: fleet, names: newNames(fleet), asking: newAsking(a), today: today, source: source,
		at: map[Role]int{}, numbers: map[string]int{}, found: map[string]string{}, people: map[string]string{}}
	head, rows := b.parted(s.Rows)
	b.Rows = len(rows)
	rows = b.letters(rows)
	if len(s.Sheets) > 1 && a["sheet"] == "" {
		b.asking.ask("sheet", Example{}, func() (string, []Choice) {
			var out []Choice
			for _, name := range s.Sheets {
				out = append(out, Choice{name, name})
			}
			return "The workbook has several sheets. Which one is the logbook? (The others can be given after it.)", out
		})
	}
	b.columns(rows, head)
	b.placed()
	b.scan(rows)
	for i := range rows {
		b.row(&rows[i], head)
	}
	b.sayWho()
	b.Questions = b.asking.questions()
	return b
}

// parted finds the header and the rows behind it.
func (b *Book) parted(all []Row) (head []string, rows []Row) {
	b.first = all[0].Number
	at := header(all)
	if at < 0 && len(all) > 1 && !slices.ContainsFunc(all[0].Cells, func(c string) bool { _, ok := splitDay(c); return ok || serialDay.MatchString(c) }) {
		at = 0 // whatever its words are, it is not of a day
	}
	if at < 0 {
		b.Notes = append(b.Notes, "No row names the columns: they are taken for what their cells look like.")
		return nil, all
	}
	if at > 0 {
		b.Notes = append(b.Notes, fmt.Sprintf("Row %d names the columns; what stands above it is not read.", all[at].Number))
	}
	rows = all[at+1:]
	if len(rows) > 0 {
		b.first = rows[0].Number
	}
	return all[at].Cells, rows
}

// garbled are beginnings of letters in UTF-8 that were read as Windows-1252.
var garbled = []string{"Ã¤", "Ã¶", "Ã¼", "Ã©", "Ã¨", "Ã ", "Ã¡", "Ã³", "Ãº", "Ã±", "Ã§", "ÃŸ", "Ã¥", "Ã¸", "Â°", "Â£", "Âµ", "Â½", "Â¼", "Â ", "â€™", "â€“", "â€œ", "â€\u009d", "â€\u201d"}

// letters asks whether letters that were garbled once are to be mended, and does so.
func (b *Book) letters(rows []Row) []Row {
	mend, asked := "", false
	out := rows
	for i := range rows {
		for j, c := range rows[i].Cells {
			if !strings.ContainsAny(c, "ÃÂâ") || !slices.ContainsFunc(garbled, func(g string) bool { return strings.Contains(c, g) }) {
				continue
			}
			right, err := charmap.Windows1252.NewEncoder().String(c)
			if err != nil || strings.ToValidUTF8(right, "") != right {
				continue
			}
			answer, ok := b.asking.ask("letters", Example{rows[i].Number, Letters(j), c}, func() (string, []Choice) {
				return fmt.Sprintf("Some letters look garbled: %s may once have been %s. What is to be done?", quote(c), quote(right)),
					[]Choice{{"mend", "mend them"}, {"keep", "keep them as they stand"}}
			})
			asked = asked || ok
			if mend = answer; mend != "mend" {
				continue
			}
			if &out[0] == &rows[0] {
				out = slices.Clone(rows)
			}
			if &out[i].Cells[0] == &rows[i].Cells[0] {
				out[i].Cells = slices.Clone(rows[i].Cells)
			}
			out[i].Cells[j] = right
		}
	}
	if asked && mend == "mend" {
		b.Notes = append(b.Notes, "Garbled letters are mended.")
	}
	return out
}

// placed notes which column has each role, and what is missing.
func (b *Book) placed() {
	tells := false
	for _, c := range b.Columns {
		if slices.Contains(single, c.Role) {
			b.at[c.Role] = c.At
		}
		tells = tells || slices.Contains([]Role{IsWhat, IsReading, IsEndShake, IsSideShake, IsMeter, IsTurns, IsNote, IsOil, IsErrorFound, IsErrorLeft, IsFound}, c.Role)
	}
	_, dated := b.at[IsDate]
	open := slices.ContainsFunc(b.Columns, func(c Column) bool { return c.Role == "" })
	switch {
	case !dated && !open:
		b.Problems = append(b.Problems, "No column is taken for the date: say which it is.")
	case !tells && !open:
		b.Problems = append(b.Problems, "No column tells what was done, read or noted: say which does.")
	}
}

// scan looks through all rows for what can only be told from all of them: the order
// of dates, and what a comma in a figure is. What they do not tell is asked.
func (b *Book) scan(rows []Row) {
	var order orderOf
	var comma commas
	dates, dated := b.at[IsDate]
	figures := b.figureColumns()
	for i := range rows {
		cells := rows[i].Cells
		if dated && dates < len(cells) {
			if d, ok := splitDay(cells[dates]); ok {
				order.see(d, Example{rows[i].Number, Letters(dates), cells[dates]})
			}
		}
		for _, at := range figures {
			if at < len(cells) && strings.Contains(cells[at], ",") {
				comma.see(cells[at], Example{rows[i].Number, Letters(at), cells[at]})
			}
		}
	}
	b.settleOrder(&order)
	b.settleComma(&comma)
}

// figureColumns are those whose cells are figures.
func (b *Book) figureColumns() (out []int) {
	for _, c := range b.Columns {
		if slices.Contains([]Role{IsReading, IsEndShake, IsSideShake, IsMeter, IsTurns, IsCelsius, IsErrorFound, IsErrorLeft}, c.Role) {
			out = append(out, c.At)
		}
	}
	return out
}

func (b *Book) settleOrder(o *orderOf) {
	if o.dates == 0 {
		return
	}
	if _, said := b.asking.answers["dates"]; !said {
		if order, by, ok := o.order(); ok {
			b.order = order
			b.Notes = append(b.Notes, fmt.Sprintf("Dates are read with the %s first, as %s shows.", strings.TrimSuffix(order, "-first"), by))
			return
		}
	}
	for _, e := range o.first {
		b.order, _ = b.asking.ask("dates", e, func() (string, []Choice) {
			return "Dates can be read in more than one way. Which is it, in the whole file?", o.choices()
		})
	}
	if q := b.asking.open["dates"]; q != nil {
		q.Rows = o.dates
	}
}

func (b *Book) settleComma(c *commas) {
	_, said := b.asking.answers["decimal"]
	switch {
	case !said && c.decimal.Row > 0 && c.thousands.Row == 0:
		b.comma = commaDecimal
		b.Notes = append(b.Notes, fmt.Sprintf("A comma in a figure is a decimal comma, as %s shows.", c.decimal))
	case !said && c.thousands.Row > 0 && c.decimal.Row == 0:
		b.comma = commaThousands
		b.Notes = append(b.Notes, fmt.Sprintf("A comma in a figure marks thousands, as %s shows.", c.thousands))
	case c.decimal.Row > 0 || c.thousands.Row > 0 || len(c.either) > 0:
		all := c.either
		if c.decimal.Row > 0 {
			all = []Example{c.decimal, c.thousands}
		}
		for _, e := range all {
			if e.Row > 0 {
				b.comma, _ = b.asking.ask("decimal", e, func() (string, []Choice) {
					return "What is a comma in a figure, in the whole file?", commaChoices
				})
			}
		}
	}
}

// Counts are how many entries there are of each clock and kind, in the order of the
// fleet and of the kinds; those that the log has already are left out.
func (b *Book) Counts() []Count {
	type what struct {
		clock string
		kind  schedule.EntryKind
	}
	n := map[what]int{}
	from, to := map[string]time.Time{}, map[string]time.Time{}
	for i := range b.Taken {
		t := &b.Taken[i]
		if t.There {
			continue
		}
		n[what{t.Clock, t.Kind}]++
		if f := from[t.Clock]; f.IsZero() || t.At.Before(f) {
			from[t.Clock] = t.At
		}
		if t.At.After(to[t.Clock]) {
			to[t.Clock] = t.At
		}
	}
	var out []Count
	for _, c := range b.fleet.Clocks {
		if from[c.Slug].IsZero() {
			continue
		}
		site, _ := b.fleet.Site(c.Site)
		zone := site.Location()
		line := Count{Clock: c, From: schedule.DateOf(from[c.Slug], zone), To: schedule.DateOf(to[c.Slug], zone)}
		for _, k := range schedule.EntryKinds {
			if m := n[what{c.Slug, k}]; m > 0 {
				line.Kinds = append(line.Kinds, KindCount{k, m})
				line.Entries += m
			}
		}
		out = append(out, line)
	}
	return out
}

// Count is what a book has of one clock.
type Count struct {
	Clock    schedule.Clock
	Entries  int
	Kinds    []KindCount
	From, To schedule.Date
}

// KindCount is how many entries of a kind there are.
type KindCount struct {
	Kind    schedule.EntryKind
	Entries int
}
