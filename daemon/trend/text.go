package trend

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"
)

// sheetRows is after how many points the table's head is said again and its
// columns are laid anew: so many lines are held, and not all.
const sheetRows = 10000

// WriteText prints the report for a person: a line for each point, what was
// learned, and the track record if there is one. The error is as for
// [Report.WriteJSON].
func (r *Report) WriteText(ctx context.Context, w io.Writer) error {
	b := bufio.NewWriter(w)
	if err := r.table(ctx, b); err != nil {
		return err
	}
	r.notes(b)
	r.learnedText(b)
	if r.TrackRecord != nil {
		r.trackText(b)
	}
	return b.Flush()
}

// table writes a line for each point, a sheet of them at a time.
func (r *Report) table(ctx context.Context, w io.Writer) error {
	head, sheet := r.head(), []string(nil)
	turn := func() error {
		_, err := io.WriteString(w, aligned(append([]string{head}, sheet...)))
		sheet = sheet[:0]
		return err
	}
	err := inOrder(ctx, len(r.log.points), func(i int) (string, error) {
		p, err := r.answer(r.log.points[i])
		return r.line(&p, r.log.points[i]), err
	}, func(line string) error {
		if sheet = append(sheet, line); len(sheet) == sheetRows {
			return turn()
		}
		return nil
	})
	if err != nil || len(sheet) == 0 {
		return err
	}
	return turn()
}

// aligned puts the cells of some lines, parted by tabs, below one another.
func aligned(lines []string) string {
	var b strings.Builder
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, line := range lines {
		fmt.Fprintln(t, line)
	}
	t.Flush() // a strings.Builder does not fail
	lines = strings.Split(b.String(), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// head names the columns of the table.
func (r *Report) head() string {
	head := []string{"point"}
	if len(r.Learned.Groups) > 1 {
		head = append(head, "group")
	}
	head = append(head, "hours", r.Unit, "a 1000 h", "8 in 10")
	if r.Limit.Real() {
		head = append(head, "reaches "+shortest(r.Limit), "8 in 10", "measure by")
	}
	for _, h := range r.how.At {
		head = append(head, "at "+grouped(h)+" h")
	}
	return strings.Join(append(head, "note"), "\t")
}

// line is the line of a point in the table.
func (r *Report) line(p *Point, in *point) string {
	row := []string{p.Point}
	if len(r.Learned.Groups) > 1 {
		row = append(row, p.Group)
	}
	row = append(row, grouped(p.Hours), r.level(p), r.size(p.Rate), r.size(p.RateLow)+" to "+r.size(p.RateHigh))
	if r.Limit.Real() {
		row = append(row, crossingCells(p)...)
	}
	for _, a := range p.At {
		row = append(row, r.atCell(a))
	}
	return strings.Join(append(row, strings.Join(pointNotes(p, in), "; ")), "\t")
}

func (r *Report) level(p *Point) string {
	if !p.Level.Real() {
		return "not known"
	}
	return r.size(p.Level) + " ± " + r.size(p.LevelSD)
}

// crossingCells are the likely crossing, its band, and the next measurement.
func crossingCells(p *Point) []string {
	c := p.Crossing
	switch {
	case c == nil:
		return []string{"not known", "", "now"}
	case c.Already:
		return []string{"already", "", "now"}
	}
	hours := func(n Num) string {
		if !n.Real() {
			return "too far to say"
		}
		return grouped(roundHours(float64(n), math.Round)) + " h"
	}
	next := "too far to say"
	if n := float64(p.NextMeasurement); p.NextMeasurement.Real() {
		next = grouped(max(p.Hours, roundHours(n, math.Floor))) + " h"
	}
	if float64(p.NextMeasurement) <= p.Hours {
		next = "now"
	}
	low := hours(c.P10)
	if float64(c.P10) <= p.Hours {
		low = "now"
	}
	if !c.P10.Real() {
		return []string{hours(c.P50), "", next}
	}
	return []string{hours(c.P50), strings.TrimSuffix(low, " h") + " to " + hours(c.P90), next}
}

func (r *Report) atCell(a At) string {
	if !a.Mean.Real() {
		return "–"
	}
	return fmt.Sprintf("%s (%s to %s)", r.size(a.Q50), r.size(a.Q10), r.size(a.Q90))
}

// pointNotes are what else is to be said of a point.
func pointNotes(p *Point, in *point) []string {
	var out []string
	present := in.readings
	if n := len(in.turns); n > 0 {
		present -= in.turns[n-1].before
	}
	switch {
	case !p.Level.Real():
		out = append(out, "nothing read since the part was fitted")
	case present == 0:
		out = append(out, "no reading yet: its rate is a guess")
	case p.Readings == 1 && len(in.turns) == 0:
		out = append(out, "one reading: its rate is a guess")
	}
	if p.Change.AfterHours.Real() {
		out = append(out, fmt.Sprintf("rate changed after %s h", grouped(float64(p.Change.AfterHours))))
	}
	for _, d := range p.Doubtful {
		s := fmt.Sprintf("row %d does not fit: read again", d.Row)
		if d.Row == int(in.line) {
			s += " before acting"
		}
		out = append(out, s)
	}
	if in.folded {
		out = append(out, fmt.Sprintf("%s readings drawn together", grouped(float64(p.Readings))))
	}
	return out
}

// notes say what the columns mean.
func (r *Report) notes(b io.Writer) {
	fmt.Fprintf(b, "\nSizes and rates are in %s, rates per 1000 hours; \"8 in 10\" holds eight chances in ten.\n", r.Unit)
	if r.Limit.Real() {
		fmt.Fprintf(b, "Measure by then: the chance of being over %s %s unseen stays under 1 in 20.\n", shortest(r.Limit), r.Unit)
	}
	if how := r.uneven(); how != "" {
		fmt.Fprintf(b, "Wear %s: a rate is that of the hours to come.\n", how)
	}
	if r.Note != nil {
		fmt.Fprintln(b, *r.Note)
	}
}

// uneven says how wear goes when it does not go evenly; empty: it does.
func (r *Report) uneven() string {
	var how []string
	if b := r.learned.Params.B; b != 1 {
		how = append(how, speed(b > 1)+" with age (hours to the power of "+figure(b)+")")
	}
	if q := r.learned.Params.Quicken; q != 0 {
		how = append(how, speed(q > 0)+" with size (by "+percent(Num(math.Abs(math.Expm1(q*r.k.value))))+" a "+r.Unit+")")
	}
	return strings.Join(how, " and ")
}

func speed(up bool) string {
	if up {
		return "speeds up"
	}
	return "slows down"
}

// sampled says that not all points were learned from, where that is so.
func (r *Report) sampled() string {
	if r.Learned.Sample == 0 {
		return ""
	}
	return fmt.Sprintf(", of a sample of %s of the file's %s points, chosen by their names alone",
		grouped(float64(r.Learned.Sample)), grouped(float64(len(r.log.points))))
}

// learnedText says what was learned.
func (r *Report) learnedText(b io.Writer) {
	l := r.Learned
	if !l.Taught {
		from := fmt.Sprintf("a rough starting value of %s %s a 1000 hours", figure(math.Exp(r.physics.Mu)/r.k.value), r.Unit)
		if r.how.Plain {
			from = "the middle of what these points did"
		}
		fmt.Fprintf(b, "\nToo few points have two readings to learn from: %s stands in.\n", from)
		return
	}
	fmt.Fprintf(b, "\nLearned from %s points and %s readings%s.", grouped(float64(l.Points)), grouped(float64(l.Readings)), r.sampled())
	fmt.Fprintf(b, " A gauge of %s %s did as one of %s would.\n", r.size(r.Gauge), r.Unit, r.size(r.Gauge*l.GaugeFactor))
	for _, g := range l.Groups {
		name := g.Group
		if name == "" {
			name = "all"
		}
		fmt.Fprintf(b, "  %s: %s, typically %s %s a 1000 hours\n", name, count(g.Points, "point"), r.size(g.Rate), r.Unit)
	}
}

// trackText puts the track record beside the straight line's.
func (r *Report) trackText(b io.Writer) {
	t := r.TrackRecord
	fmt.Fprintf(b, "\nTrack record: readings of this file forecast from those before them, in %s; what is learned\ncomes from the other points (%d folds)%s.\n\n",
		r.Unit, r.how.Folds, r.sampled())
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "forecast of\tby\tforecasts\tCRPS\tmean error\tin 80 % band\tin 90 % band")
	for _, row := range []struct {
		of, by string
		s      Score
	}{
		{"the next reading", "endshake", t.Next.Score}, {"", "straight line", t.Next.StraightLine},
		{"the last reading", "endshake", t.Last.Score}, {"", "straight line", t.Last.StraightLine},
	} {
		fmt.Fprintf(w, "%s\t%s\t%d\t%s\t%s\t%s\t%s\n", row.of, row.by, row.s.Forecasts,
			r.size(row.s.CRPS), r.size(row.s.MAE), percent(row.s.Cover80), percent(row.s.Cover90))
	}
	w.Flush()
	if t.Next.Forecasts == 0 {
		fmt.Fprintln(b, "No reading has two before it: there is nothing to judge by.")
		return
	}
	fmt.Fprintln(b, "CRPS and mean error: smaller is better. A band is honest when it holds as many as it says.")
}

// size prints a figure to three digits, or all before the point.
func (r *Report) size(n Num) string { return figure(float64(n)) }

func figure(v float64) string {
	switch a := math.Abs(v); {
	case math.IsNaN(v) || math.IsInf(v, 0):
		return "–"
	case a >= 1e6 || a < 1e-4 && a > 0:
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a >= 100 || a == 0:
		return strconv.FormatFloat(v, 'f', 0, 64)
	default:
		return strconv.FormatFloat(v, 'f', 2-int(math.Floor(math.Log10(a))), 64)
	}
}

// shortest prints a figure as somebody would type it.
func shortest(n Num) string { return strconv.FormatFloat(float64(n), 'g', 6, 64) }

// roundHours rounds to three digits: a likely figure has no more.
func roundHours(h float64, round func(float64) float64) float64 {
	if h < 100 {
		return h
	}
	step := math.Pow(10, math.Floor(math.Log10(h))-2)
	return round(h/step) * step
}

// grouped prints hours with their thousands apart: 12,300.
func grouped(v float64) string {
	s := strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	if v != math.Trunc(v) && v < 100 {
		s = figure(v)
	}
	whole, rest, _ := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "," + whole[i:]
	}
	if rest != "" {
		whole += "." + rest
	}
	return whole
}

func percent(n Num) string {
	if !n.Real() {
		return "–"
	}
	return strconv.FormatFloat(100*float64(n), 'f', 0, 64) + " %"
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return grouped(float64(n)) + " " + what + "s"
}
