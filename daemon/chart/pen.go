package chart

import (
	"image/color"
	"math"
	"slices"
	"sync"

	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/opentype"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"endshake/wear"
)

// colour is one of the colours below.
type colour = color.NRGBA

// The colours, each with one role. They are those of a page's light scheme; its
// style overrides them by value for the dark scheme and for print.
var (
	paper     = color.NRGBA{0xFB, 0xF8, 0xF1, 0xFF}
	ink       = color.NRGBA{0x1F, 0x26, 0x30, 0xFF}
	quiet     = color.NRGBA{0x6B, 0x6A, 0x63, 0xFF}
	hairline  = color.NRGBA{0xDD, 0xD6, 0xC8, 0xFF}
	brass     = color.NRGBA{0x7F, 0x52, 0x1B, 0xFF} // our own estimates
	oxide     = color.NRGBA{0x9C, 0x1F, 0x2E, 0xFF} // limits and danger
	verdigris = color.NRGBA{0x2F, 0x6B, 0x5E, 0xFF} // done
)

// Sizes of letters and lines.
const (
	small   = 11.0
	thin    = 0.75
	plain   = 1.25
	strong  = 2.0
	dotSize = 3.4
)

// anchor says which point of a text its position means.
type anchor string

const (
	start  anchor = "start"
	middle anchor = "middle"
	end    anchor = "end"
)

// sans parses the one font, at the first drawing and never before.
var sans = sync.OnceValues(parseFont)

func parseFont() (*opentype.Font, error) { return opentype.Parse(liberationsansregular.TTF) }

// face gives the font at a size, marked with the anchor for the SVG.
func face(size float64, at anchor) (font.Face, bool) {
	f, err := sans()
	if err != nil {
		return font.Face{}, false // the font is built in: a test draws with it
	}
	return font.Face{Font: font.Font{Typeface: "Liberation", Variant: font.Variant(at), Size: vg.Length(size)}, Face: f}, true
}

// textWidth is the width of a text in the built-in font; a page's own letters
// are near enough to it for keeping labels apart.
func textWidth(s string, size float64) float64 {
	f, ok := face(size, start)
	if !ok {
		return 0
	}
	return f.Width(s).Points()
}

// surface is what a pen draws on: the part of a [vg.Canvas] that it needs.
type surface interface {
	SetColor(color.Color)
	SetLineWidth(vg.Length)
	SetLineDash(pattern []vg.Length, offset vg.Length)
	Stroke(vg.Path)
	Fill(vg.Path)
	FillString(f font.Face, at vg.Point, text string)
}

// pen draws on one canvas.
type pen struct {
	canvas   surface
	anchored bool      // the canvas places texts by their anchor itself
	units    wear.Unit // stands first; empty: mm
	written  []rect
}

// rect is an upright box: x from left to right, y from foot to head.
type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) overlaps(s rect) bool {
	return r.x0 < s.x1 && s.x0 < r.x1 && r.y0 < s.y1 && s.y0 < r.y1
}

// covers is the box that a text takes up, in letters as wide as any page's.
func covers(at point, a anchor, s string) rect {
	w := roomy * textWidth(s, small)
	switch a {
	case middle:
		at.x -= w / 2
	case end:
		at.x -= w
	}
	return rect{at.x, at.y - 3, at.x + w, at.y + small - 2}
}

// free reports whether a text would lie on none that is written already.
func (p *pen) free(at point, a anchor, s string) bool {
	return !slices.ContainsFunc(p.written, covers(at, a, s).overlaps)
}

type point struct{ x, y float64 }

func (p point) vg() vg.Point { return vg.Point{X: vg.Length(p.x), Y: vg.Length(p.y)} }

func (p point) finite() bool {
	return !math.IsNaN(p.x) && !math.IsInf(p.x, 0) && !math.IsNaN(p.y) && !math.IsInf(p.y, 0)
}

// line strokes a path through the points; dash holds lengths on and off.
func (p *pen) line(c color.NRGBA, width float64, pts []point, dash ...float64) {
	path, n := pathOf(pts)
	if n < 2 {
		return
	}
	p.canvas.SetColor(c)
	p.canvas.SetLineWidth(vg.Length(width))
	pattern := make([]vg.Length, len(dash))
	for i, d := range dash {
		pattern[i] = vg.Length(d)
	}
	p.canvas.SetLineDash(pattern, 0)
	p.canvas.Stroke(path)
}

// fill fills the polygon through the points.
func (p *pen) fill(c color.NRGBA, pts []point) {
	path, n := pathOf(pts)
	if n < 3 {
		return
	}
	path.Close()
	p.canvas.SetColor(c)
	p.canvas.Fill(path)
}

// dot draws a filled circle, ring an open one.
func (p *pen) dot(c color.NRGBA, at point, radius float64) {
	if path, ok := circle(at, radius); ok {
		p.canvas.SetColor(c)
		p.canvas.Fill(path)
	}
}

func (p *pen) ring(c color.NRGBA, at point, radius float64) {
	if path, ok := circle(at, radius); ok {
		p.canvas.SetColor(c)
		p.canvas.SetLineWidth(plain)
		p.canvas.SetLineDash(nil, 0)
		p.canvas.Stroke(path)
	}
}

func circle(at point, radius float64) (vg.Path, bool) {
	if !at.finite() {
		return nil, false
	}
	var path vg.Path
	path.Move(point{at.x + radius, at.y}.vg())
	path.Arc(at.vg(), vg.Length(radius), 0, 2*math.Pi)
	path.Close()
	return path, true
}

// text writes one line with its base at the point's height.
func (p *pen) text(c color.NRGBA, at point, a anchor, s string) {
	f, ok := face(small, a)
	s = wear.OwnFirst(p.units, clean(s))
	if !ok || s == "" || !at.finite() {
		return
	}
	p.written = append(p.written, covers(at, a, s))
	if !p.anchored {
		switch a {
		case middle:
			at.x -= textWidth(s, small) / 2
		case end:
			at.x -= textWidth(s, small)
		}
	}
	p.canvas.SetColor(c)
	p.canvas.FillString(f, at.vg(), s)
}

// label is a text on a scrap of paper, so that lines behind do not cross it.
func (p *pen) label(c color.NRGBA, at point, a anchor, s string) {
	w, left := textWidth(clean(s), small), at.x
	switch a {
	case middle:
		left -= w / 2
	case end:
		left -= w
	}
	scrap := paper
	scrap.A = 0xC0
	p.fill(scrap, box(left-2, at.y-3, left+w+2, at.y+small-2))
	p.text(c, at, a, s)
}

func box(x0, y0, x1, y1 float64) []point {
	return []point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// pathOf joins the points that are real numbers.
func pathOf(pts []point) (vg.Path, int) {
	var path vg.Path
	for _, pt := range pts {
		switch {
		case !pt.finite():
		case len(path) == 0:
			path.Move(pt.vg())
		default:
			path.Line(pt.vg())
		}
	}
	return path, len(path)
}
