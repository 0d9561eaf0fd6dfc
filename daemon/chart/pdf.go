package chart

import (
	"fmt"
	"image/color"
	"math"
	"time"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// PDF gives the picture as a document of one page of its size.
func (p Picture) PDF() ([]byte, error) {
	s := NewSheet(p.Size, p.Title, time.Unix(0, 0))
	s.Page()
	c := &onSheet{s: s, foot: p.Size.Height, scale: 1}
	pen := &pen{canvas: c, units: p.Units}
	pen.fill(paper, box(0, 0, p.Size.Width, p.Size.Height))
	p.draw(pen)
	out, err := s.Bytes()
	if err != nil {
		return nil, fmt.Errorf("draw %q as PDF: %w", p.Title, err)
	}
	return out, nil
}

// onSheet draws a picture on a sheet: where its bottom left is, and by how much it is
// scaled.
type onSheet struct {
	s              *Sheet
	x, foot, scale float64
	white          bool // the paper is
	colour         colour
}

func (c *onSheet) at(p vg.Point) (x, y float64) {
	return c.x + c.scale*p.X.Points(), c.foot - c.scale*p.Y.Points()
}

// SetColor sets the colour of what is drawn next.
func (c *onSheet) SetColor(of color.Color) {
	n, _ := color.NRGBAModel.Convert(of).(color.NRGBA)
	if c.white && (color.NRGBA{n.R, n.G, n.B, 0xFF}) == paper {
		n.R, n.G, n.B = 0xFF, 0xFF, 0xFF
	}
	c.colour = n
	d := c.s.doc
	d.SetAlpha(float64(n.A)/0xFF, "Normal")
	d.SetDrawColor(int(n.R), int(n.G), int(n.B))
	d.SetFillColor(int(n.R), int(n.G), int(n.B))
	d.SetTextColor(int(n.R), int(n.G), int(n.B))
}

// SetLineWidth sets the width of lines.
func (c *onSheet) SetLineWidth(w vg.Length) { c.s.doc.SetLineWidth(c.scale * w.Points()) }

// SetLineDash sets how lines are broken.
func (c *onSheet) SetLineDash(pattern []vg.Length, offset vg.Length) {
	out := make([]float64, len(pattern))
	for i, l := range pattern {
		out[i] = c.scale * l.Points()
	}
	c.s.doc.SetDashPattern(out, c.scale*offset.Points())
}

// Stroke draws along a path.
func (c *onSheet) Stroke(p vg.Path) { c.path(p, "D") }

// Fill fills a path.
func (c *onSheet) Fill(p vg.Path) { c.path(p, "F") }

func (c *onSheet) path(p vg.Path, style string) {
	d := c.s.doc
	for _, step := range p {
		switch step.Type {
		case vg.MoveComp:
			d.MoveTo(c.at(step.Pos))
		case vg.LineComp:
			d.LineTo(c.at(step.Pos))
		case vg.ArcComp:
			c.arc(step)
		case vg.CloseComp:
			d.ClosePath()
		}
	}
	d.DrawPath(style)
}

// arc goes along an arc of a circle, in parts of a quarter at most, each a cubic
// curve whose handles are 4/3 tan(angle/4) long (common practice, no source).
func (c *onSheet) arc(a vg.PathComp) {
	parts := int(math.Ceil(math.Abs(a.Angle) / (math.Pi / 2)))
	on := func(angle float64) (x, y, dx, dy float64) {
		sin, cos := math.Sincos(angle)
		x, y = a.Pos.X.Points()+a.Radius.Points()*cos, a.Pos.Y.Points()+a.Radius.Points()*sin
		return x, y, -a.Radius.Points() * sin, a.Radius.Points() * cos
	}
	point := func(x, y float64) (float64, float64) { return c.x + c.scale*x, c.foot - c.scale*y }
	for i := range parts {
		step := a.Angle / float64(parts)
		from := a.Start + float64(i)*step
		k := 4. / 3 * math.Tan(step/4)
		x0, y0, dx0, dy0 := on(from)
		x1, y1, dx1, dy1 := on(from + step)
		ax, ay := point(x0+k*dx0, y0+k*dy0)
		bx, by := point(x1-k*dx1, y1-k*dy1)
		x, y := point(x1, y1)
		c.s.doc.CurveBezierCubicTo(ax, ay, bx, by, x, y)
	}
}

// FillString writes a text.
func (c *onSheet) FillString(f font.Face, at vg.Point, text string) {
	size := c.scale * f.Font.Size.Points()
	if !c.s.set(Plain, size) {
		return
	}
	x, y := c.at(at)
	c.s.doc.Text(x, y, c.s.Shown(Plain, text))
}
