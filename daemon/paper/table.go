package paper

import (
	"cmp"
	"slices"

	"endshake/daemon/chart"
	"endshake/schedule"
)

// grid is a table laid out: how wide its columns are, and where they begin.
type grid struct {
	of     schedule.ReportTable
	size   float64
	widths []float64
	left   []float64
}

// table sets a table. Its head comes again on every page that it goes on to.
func (p *press) table(t schedule.ReportTable) {
	g := p.grid(t)
	top := func() {
		if t.Head != nil {
			p.row(g, chart.Strong, t.Head, nil)
			p.s.Rule(chart.Quiet, .7, margin, p.size.Width-margin, p.y-1)
			p.y += 2
		}
	}
	first := 0.0
	if len(t.Rows) > 0 {
		first = p.high(g, chart.Plain, t.Rows[0].Cells)
	}
	p.room(min(p.high(g, chart.Strong, t.Head)+first+rowGap, p.bottom()/3)) // no head alone at the foot of a page
	top()
	for i, r := range t.Rows {
		if i > 0 && (len(r.Cells) == 0 || r.Cells[0] != "" || len(r.Cells) < 3) {
			p.s.Rule(chart.Hairing, .4, margin, p.size.Width-margin, p.y-1.4)
		}
		p.row(g, chart.Plain, r.Cells, top)
	}
	if t.Total != nil {
		p.s.Rule(chart.Quiet, .7, margin, p.size.Width-margin, p.y-1.4)
		p.row(g, chart.Strong, t.Total, top)
	}
}

// grid shares the width of a page among columns: each as wide as its longest cell
// where there is room, else what is left shared by how much each would need, but none
// narrower than its longest word.
func (p *press) grid(t schedule.ReportTable) grid {
	g := grid{of: t, size: body - .6}
	if len(t.Head) > 6 {
		g.size = small - .4
	}
	var want, least []float64
	take := func(l chart.Letters, cells []string) {
		for k, c := range cells {
			if k == len(want) {
				want, least = append(want, leastCol/2), append(least, leastCol/2)
			}
			want[k] = max(want[k], p.s.Wide(l, g.size, p.s.Shown(l, c))+.5)
			for _, word := range words(c) {
				least[k] = max(least[k], min(p.s.Wide(l, g.size, p.s.Shown(l, word))+.5, p.width()/4))
			}
		}
	}
	for _, r := range t.Rows {
		take(chart.Plain, r.Cells)
	}
	take(chart.Strong, t.Total)
	figures := slices.Clone(want)
	take(chart.Strong, t.Head)
	room := p.width() - cellGap*float64(max(0, len(want)-1))
	p.keepWhole(figures, least, room)
	g.widths = shared(want, least, room)
	x := margin
	for _, w := range g.widths {
		g.left = append(g.left, x)
		x += w + cellGap
	}
	return g
}

// keepWhole raises what columns get at least so that a day, a size or a sum of money
// stays on one line: the short ones first, while the others have a quarter of the room
// that they want beyond their longest word (by eye).
func (p *press) keepWhole(want, least []float64, room float64) {
	order := make([]int, len(want)) // heads are broken first: they are not among what is wanted
	wanted := 0.0                   // by those that may be broken still
	for k := range order {
		order[k] = k
		room -= least[k]
		wanted += max(0, want[k]-least[k])
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(want[x], want[y]) })
	for _, k := range order {
		if more := want[k] - least[k]; want[k] <= p.width()/5 && more > 0 && room-more >= (wanted-more)/4 {
			least[k], room, wanted = want[k], room-more, wanted-more
		}
	}
}

// shared gives each column its least, and shares what is left by what more each
// wants; where not even the least fits all are made narrower alike.
func shared(want, least []float64, room float64) []float64 {
	out := make([]float64, len(want))
	wanted, needed := 0.0, 0.0
	for k := range want {
		want[k] = max(want[k], least[k])
		wanted, needed = wanted+want[k], needed+least[k]
	}
	for k := range want {
		switch {
		case wanted <= room:
			out[k] = want[k]
		case needed >= room:
			out[k] = least[k] * room / needed
		default:
			out[k] = least[k] + (want[k]-least[k])*(room-needed)/(wanted-needed)
		}
	}
	if n := len(out); wanted < room && n > 0 && n < 3 { // a name and what is said of it
		out[n-1] += room - wanted
	}
	return out
}

// high is how much a row takes.
func (p *press) high(g grid, l chart.Letters, cells []string) float64 {
	most := 0
	for k, c := range cells {
		most = max(most, len(p.lines(l, g.size, c, g.widths[k])))
	}
	return float64(most) * g.size * leading
}

// row sets a row. One that does not fit begins on the next page, below the head again;
// one that no page holds goes on over as many as it takes.
func (p *press) row(g grid, l chart.Letters, cells []string, top func()) {
	lines, most := make([][]string, len(cells)), 0
	for k, c := range cells {
		lines[k] = p.lines(l, g.size, c, g.widths[k])
		most = max(most, len(lines[k]))
	}
	step := g.size * leading
	if need := float64(most) * step; top != nil && p.y+need > p.bottom() && need < p.bottom()/2 {
		p.page()
		top()
	}
	for n := range most {
		if top != nil && p.y+step > p.bottom() {
			p.page()
			top()
		}
		for k := range cells {
			if n >= len(lines[k]) {
				continue
			}
			x := g.left[k]
			if k < len(g.of.Right) && g.of.Right[k] {
				x += g.widths[k] - p.s.Wide(l, g.size, lines[k][n])
			}
			p.s.Write(l, g.size, chart.Ink, x, p.y+g.size, lines[k][n])
		}
		p.y += step
	}
	p.y += rowGap
}
