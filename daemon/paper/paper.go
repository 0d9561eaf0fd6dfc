package paper

import (
	"fmt"
	"time"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// Pages is the paper that a report is printed on, in points.
type Pages chart.Size

// The papers.
var (
	A4     = Pages{595.28, 841.89}
	Letter = Pages{612, 792}
)

// For is the paper that is usual where people read in a unit: US Letter for inches,
// A4 for all else.
func For(u wear.Unit) Pages {
	if u == wear.Thou {
		return Letter
	}
	return A4
}

// Measures of a page, in points.
const (
	margin   = 54.0
	head     = 30.0 // kept for the line at the top
	foot     = 34.0 // and at the bottom
	body     = 9.5
	small    = 8.2
	leading  = 1.34
	cellGap  = 9.0
	rowGap   = 3.6
	leastCol = 26.0

	mostChart = 270.0 // a chart with its words
)

// Pictures draws the chart that a report asks for; false where it cannot be drawn.
type Pictures func(schedule.ReportChart) (chart.Picture, bool)

// PDF sets a report. Lengths stand in the unit first that is given.
func PDF(r schedule.Report, u wear.Unit, size Pages, pictures Pictures) ([]byte, error) {
	r = r.In(func(s string) string { return wear.OwnFirst(u, s) })
	p := &press{s: chart.NewSheet(chart.Size(size), r.Title, r.Data.Start(time.UTC)), size: size}
	p.page()
	p.para(chart.Heading, 19, chart.Ink, r.Title)
	p.y += 2
	p.para(chart.Plain, small, chart.Quiet, r.Under())
	p.y += 9
	p.para(chart.Serif, 13, chart.Ink, r.Lede)
	for _, s := range r.Sections {
		p.section(s, pictures, u)
	}
	for n := 1; n <= p.s.Pages(); n++ {
		p.s.Turn(n)
		p.edges(r, n)
	}
	out, err := p.s.Bytes()
	if err != nil {
		return nil, fmt.Errorf("set the report %q as PDF: %w", r.Title, err)
	}
	return out, nil
}

// press sets lines onto pages, from the top down.
type press struct {
	s    *chart.Sheet
	size Pages
	y    float64 // where the next line begins
}

func (p *press) width() float64 { return p.size.Width - 2*margin }

// bottom is where a page ends.
func (p *press) bottom() float64 { return p.size.Height - margin - foot + 12 }

// page begins the next one.
func (p *press) page() {
	p.s.Page()
	p.y = margin + head - 12
}

// room begins a new page where there is less left than is asked for.
func (p *press) room(height float64) {
	if p.y+height > p.bottom() && p.y > margin+head {
		p.page()
	}
}

// edges writes what stands above and below every page.
func (p *press) edges(r schedule.Report, n int) {
	right := p.size.Width - margin
	if n > 1 {
		p.s.Write(chart.Plain, small, chart.Quiet, margin, margin-4, p.fitted(chart.Plain, small, r.Title, p.width()))
		p.s.Rule(chart.Hairing, .5, margin, right, margin+2)
	}
	y := p.size.Height - margin + 6
	p.s.Rule(chart.Hairing, .5, margin, right, y-12)
	p.s.Write(chart.Plain, small, chart.Quiet, margin, y, p.s.Shown(chart.Plain, "Data of "+r.Data.Words()))
	count := p.s.Shown(chart.Plain, fmt.Sprintf("page %d of %d", n, p.s.Pages()))
	p.s.Write(chart.Plain, small, chart.Quiet, right-p.s.Wide(chart.Plain, small, count), y, count)
}

// para sets a paragraph over the whole width.
func (p *press) para(l chart.Letters, size float64, tone chart.Tone, text string) {
	lines := p.lines(l, size, text, p.width())
	if len(lines) < 4 { // short ones stay together
		p.room(float64(len(lines)) * size * leading)
	}
	for _, line := range lines {
		p.room(size * leading)
		p.s.Write(l, size, tone, margin, p.y+size, line)
		p.y += size * leading
	}
}

// section sets a part of a report.
func (p *press) section(s schedule.ReportSection, pictures Pictures, u wear.Unit) {
	p.y += 13
	p.room(4.5 * 13)
	p.s.Mark(s.Head, p.y)
	p.para(chart.Heading, 13, chart.Ink, s.Head)
	p.y += 2
	tone := chart.Ink
	if s.Warns {
		tone = chart.Warning
	}
	for _, text := range s.Says {
		p.para(chart.Plain, body, tone, text)
		p.y += 3
	}
	for _, t := range s.Tables {
		p.y += 2
		p.table(t)
		p.y += 5
	}
	notes := func() {
		for _, text := range s.Notes {
			p.y += 2
			p.para(chart.Plain, small, chart.Quiet, text)
		}
	}
	early := len(s.Charts) > 0 && len(s.Tables) > 0 && p.y+mostChart > p.bottom() // notes fill what the chart leaves free
	if early {
		notes()
	}
	for _, c := range s.Charts {
		p.chart(c, pictures, u)
	}
	if !early {
		notes()
	}
}

// chart draws a picture with its words below, on one page.
func (p *press) chart(c schedule.ReportChart, pictures Pictures, u wear.Unit) {
	pic, ok := chart.Picture{}, false
	if pictures != nil {
		pic, ok = pictures(c)
	}
	caption := p.lines(chart.Plain, small, c.Caption, p.width())
	if ok {
		pic.Units = u
		width := min(p.width(), 460)
		height := width / pic.Size.Width * pic.Size.Height
		p.room(height + float64(len(caption))*small*leading + 8)
		p.y += 4
		p.s.Draw(pic, margin, p.y, width)
		p.y += height + 4
	}
	p.para(chart.Plain, small, chart.Quiet, c.Caption)
	p.y += 4
}

// Drawn draws the charts of a report on what a snapshot holds.
func Drawn(s *schedule.Snapshot, size chart.Size) Pictures {
	return func(c schedule.ReportChart) (chart.Picture, bool) {
		a, ok := s.Clock(c.Clock)
		if !ok {
			return chart.Picture{}, false
		}
		o, ok := a.Outlook(c.Bearing)
		if !ok {
			return chart.Picture{}, false
		}
		return chart.Bearing(o, a.Now, a.Zone, size), true
	}
}
