package oldbook

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Log is what a book is held to: the logs by clock, corrections included, and the
// model by which a reading is asked back.
type Log struct {
	Entries map[string][]schedule.Entry
	Model   schedule.Model
	Now     time.Time
}

// Against holds the entries of a book to the log, each by what stands there and by
// those of the book before it, and refuses what any other way in would refuse. What
// the log has already, also with another rounding, is marked and not logged again. It
// ends early only where the context does.
func (b *Book) Against(ctx context.Context, log Log) error {
	bad := map[int]bool{} // rows
	for _, r := range b.Refusals {
		bad[r.Row] = true
	}
	b.Taken = slices.DeleteFunc(b.Taken, func(t Taken) bool { return bad[t.Row] })
	b.twiceInFile(bad)
	by := map[string][]int{}
	for i := range b.Taken {
		by[b.Taken[i].Clock] = append(by[b.Taken[i].Clock], i)
	}
	for _, c := range b.fleet.Clocks {
		if len(by[c.Slug]) == 0 {
			continue
		}
		if err := b.clockAgainst(ctx, c, by[c.Slug], log, bad); err != nil {
			return err
		}
	}
	b.Taken = slices.DeleteFunc(b.Taken, func(t Taken) bool { return bad[t.Row] })
	b.There = 0
	for i := range b.Taken {
		if b.Taken[i].There {
			b.There++
		}
	}
	slices.SortStableFunc(b.Refusals, func(x, y Refusal) int { return x.Row - y.Row })
	slices.SortStableFunc(b.Flags, func(x, y Refusal) int { return x.Row - y.Row })
	return nil
}

// twiceInFile refuses rows that say again what one before them says, or something
// else of the same thing in the same minute.
func (b *Book) twiceInFile(bad map[int]bool) {
	before := make(map[string]int, len(b.Taken))
	for i := range b.Taken {
		t := &b.Taken[i]
		j, ok := before[t.Key]
		if !ok {
			before[t.Key] = i
			continue
		}
		o := &b.Taken[j]
		words := fmt.Sprintf("it says again what row %d says: take one of the two out", o.Row)
		if !sameFigures(&o.Entry, &t.Entry, max(o.step, t.step)) {
			when := "minute"
			if !t.timed {
				when = "day, and no time is given"
			}
			words = fmt.Sprintf("row %d says otherwise of the same %s: give each its time, or take one of the two out", o.Row, when)
		}
		b.Refusals = append(b.Refusals, Refusal{Row: t.Row, Column: t.Column, Words: words})
		bad[t.Row] = true
	}
}

// sameFigures reports whether two entries of one key say the same, but for how their
// figures are rounded.
func sameFigures(a, b *schedule.Entry, step float64) bool {
	near := func(x, y *float64, by float64) bool {
		return x == nil && y == nil || x != nil && y != nil && math.Abs(*x-*y) <= by
	}
	if (a.Reading == nil) != (b.Reading == nil) || a.Reading != nil && !alike(a.Reading.Value, b.Reading.Value, step) {
		return false
	}
	return near(a.Meter, b.Meter, 1) && near(a.ErrorFound, b.ErrorFound, .5) && near(a.ErrorLeft, b.ErrorLeft, .5) && math.Abs(a.Turns-b.Turns) <= .5
}

// clockAgainst holds the entries of one clock to its log. Where a row is refused for
// one of its entries, the others of the row count for nothing: then it begins anew
// without the row.
func (b *Book) clockAgainst(ctx context.Context, c schedule.Clock, which []int, log Log, bad map[int]bool) error {
	slices.SortStableFunc(which, func(x, y int) int { return b.Taken[x].At.Compare(b.Taken[y].At) })
	old := log.Entries[c.Slug]
	there := newThere(old)
	sure := map[int]bool{}
	for _, n := range b.asking.answers.Sure() {
		sure[n] = true
	}
	for {
		trial := schedule.NewTrial(b.fleet, c.Slug, old, log.Model, log.Now)
		counted, again := map[int]bool{}, false
		for n, i := range which {
			if n%64 == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			t := &b.Taken[i]
			if bad[t.Row] {
				continue
			}
			refused := b.tried(t, trial, there, sure[t.Row])
			if refused == nil {
				counted[t.Row] = true
				continue
			}
			b.Refusals = append(b.Refusals, *refused)
			bad[t.Row] = true
			again = again || counted[t.Row]
		}
		if !again {
			b.flag(c, trial.Log(), which)
			return nil
		}
	}
}

// tried takes an entry in, or says why not.
func (b *Book) tried(t *Taken, trial *schedule.Trial, there *there, sure bool) *Refusal {
	if o := there.find(t); o != nil {
		if !sameFigures(o, &t.Entry, max(t.step, stepThere(o))) {
			return &Refusal{Row: t.Row, Column: t.Column, Words: fmt.Sprintf("the log has this already, as %s: correct that entry on the page of the clock, or take the row out", figureWords(o))}
		}
		t.There = true
		return nil
	}
	t.Sure = false
	err := trial.Add(t.Entry)
	if schedule.CodeOf(err) == schedule.Doubtful && sure {
		t.Sure = true
		err = trial.Add(t.Entry)
	}
	if err == nil {
		return nil
	}
	words := strings.TrimSuffix(err.Error(), ".")
	asked := schedule.CodeOf(err) == schedule.Doubtful
	return &Refusal{Row: t.Row, Column: b.columnOf(t, err), Words: words, Asked: asked}
}

// columnOf is the column of the field that an error names.
func (b *Book) columnOf(t *Taken, err error) string {
	role := map[string]Role{"at": IsDate, "by": IsWho, "train": IsTrain, "kind": IsWhat, "turns": IsTurns, "meter": IsMeter, "errorFound": IsErrorFound,
		"errorLeft": IsErrorLeft, "found": IsFound, "oil": IsOil, "celsius": IsCelsius}[schedule.FieldOf(err)]
	if at, ok := b.at[role]; ok {
		return Letters(at)
	}
	return t.Column
}

// there finds what a log has already.
type there struct {
	keys map[string]*schedule.Entry
	at   map[int64][]*schedule.Entry // by the minute
	gone map[string]bool             // IDs of what was corrected
}

func newThere(log []schedule.Entry) *there {
	t := &there{map[string]*schedule.Entry{}, map[int64][]*schedule.Entry{}, map[string]bool{}}
	for i := range log {
		e := &log[i]
		if strings.HasPrefix(e.Key, "old book ") {
			t.keys[e.Key] = e
		}
		if e.Replaces != "" {
			t.gone[e.Replaces] = true
		}
		minute := e.At.Unix() / 60
		t.at[minute] = append(t.at[minute], e)
	}
	return t
}

// find gives the entry that says what a row says: taken from such a file before, even
// if it was corrected since, or logged otherwise of the same minute.
func (t *there) find(x *Taken) *schedule.Entry {
	if e := t.keys[x.Key]; e != nil {
		if t.gone[e.ID] { // what it came to stands in the place of it
			return &x.Entry
		}
		return e
	}
	for _, e := range t.at[x.At.Unix()/60] {
		if t.gone[e.ID] || e.Kind != x.Kind || e.Train != x.Train || e.Bearing != x.Bearing || e.Work != x.Work {
			continue
		}
		if e.Reading != nil && x.Reading != nil {
			if e.Reading.Shake == x.Reading.Shake && alike(e.Reading.Value, x.Reading.Value, max(x.step, stepOf(e.Reading.Value))) {
				return e
			}
			continue
		}
		if plainName(e.Note) == plainName(x.Note) && plainName(e.Oil) == plainName(x.Oil) && sameFigures(e, &x.Entry, 1) {
			return e
		}
	}
	return nil
}

func stepThere(e *schedule.Entry) float64 {
	if e.Reading == nil {
		return 1
	}
	return stepOf(e.Reading.Value)
}

// figureWords says what figures an entry has.
func figureWords(e *schedule.Entry) string {
	switch {
	case e.Reading != nil:
		return e.Reading.Value.String()
	case e.Meter != nil:
		return fmt.Sprintf("%v h", *e.Meter)
	case e.ErrorFound != nil:
		return fmt.Sprintf("%v s", *e.ErrorFound)
	}
	return string(e.Kind)
}

// shrunk is how much less a freedom may be read than before, in µm, by what two usual
// gauges differ (four of their deviations; judgement, no source).
var shrunk = wear.Length(math.Round(4 * math.Sqrt2 * float64(wear.DefaultGauge)))

// flag says what of a file is taken and does not fit the rest: run-hours that go back,
// and a freedom that has become less though nothing was repaired.
func (b *Book) flag(c schedule.Clock, log []schedule.Entry, which []int) {
	rows := make(map[string]*Taken, len(which))
	for _, i := range which {
		rows[b.Taken[i].Key] = &b.Taken[i]
	}
	meters, reads := map[string]float64{}, map[string]wear.Length{}
	for i := range log {
		e := &log[i]
		t := rows[e.Key]
		if e.Kind == schedule.Repaired {
			delete(reads, e.Bearing)
		}
		if e.Meter != nil {
			train := e.Train
			if train == "" && len(c.Trains) == 1 {
				train = c.Trains[0].Code
			}
			if was, ok := meters[train]; ok && *e.Meter < was && !e.MeterNew && t != nil {
				b.Flags = append(b.Flags, Refusal{Row: t.Row, Column: b.letter(IsMeter), Words: fmt.Sprintf("the hour meter shows %v h, less than the %v h before it: if it was replaced or turned over, log that, else mend the row", *e.Meter, was)})
			}
			meters[train] = *e.Meter
		}
		if e.Reading == nil || e.Kind != schedule.Measured {
			continue
		}
		if was, ok := reads[e.Bearing]; ok && e.Reading.Value < was-shrunk && t != nil {
			b.Flags = append(b.Flags, Refusal{Row: t.Row, Column: t.Column, Words: fmt.Sprintf("%v is less than the %v before it, and no repair stands between: if a part was renewed, log the repair", e.Reading.Value, was)})
		}
		reads[e.Bearing] = e.Reading.Value
	}
}

func (b *Book) letter(r Role) string {
	if at, ok := b.at[r]; ok {
		return Letters(at)
	}
	return ""
}

// Keep gives the entries to be logged; the error is one sentence that says what keeps
// the file out.
func (b *Book) Keep() ([]schedule.Entry, error) {
	switch {
	case len(b.Problems) > 0:
		return nil, fmt.Errorf("nothing is kept: %s", strings.TrimSuffix(b.Problems[0], "."))
	case len(b.Questions) > 0:
		return nil, fmt.Errorf("nothing is kept: answer the %s first", schedule.Count(len(b.Questions), "question", "questions"))
	case len(b.Refusals) > 0 && !b.asking.answers.LeaveOut():
		return nil, fmt.Errorf("nothing is kept: mend what is refused in %s, or say that refused rows are to be left out", schedule.Count(b.RefusedRows(), "row", "rows"))
	}
	out := make([]schedule.Entry, 0, len(b.Taken))
	for i := range b.Taken {
		if !b.Taken[i].There {
			out = append(out, b.Taken[i].Entry)
		}
	}
	return out, nil
}

// RefusedRows counts the rows that are refused.
func (b *Book) RefusedRows() int {
	rows := map[int]bool{}
	for _, r := range b.Refusals {
		rows[r.Row] = true
	}
	return len(rows)
}
