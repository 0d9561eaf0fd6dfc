package chart

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"endshake/wear"
)

// Size is the width and height of a picture in its units.
type Size struct{ Width, Height float64 }

// The sizes that pages use. A wide picture scaled down to a phone would have
// letters of 5 pixels, so a page carries both and its style picks one: across a
// telephone of 390 pixels the narrow one is shown 356 wide, and so with letters of
// 13 pixels; of 360 with letters of 12.
var (
	Wide   = Size{760, 400}
	Narrow = Size{296, 300}
)

// narrow reports whether there is room only for the labels that matter most.
func (s Size) narrow() bool { return s.Width < 500 }

// sane replaces a size that nothing can be drawn on.
func (s Size) sane(least Size) Size {
	ok := func(v, low float64) bool { return v >= low && v <= 5000 }
	if !ok(s.Width, least.Width) || !ok(s.Height, least.Height) {
		return least
	}
	return s
}

// Picture is a finished drawing with the words that stand for it.
type Picture struct {
	Title string // what it is, in a few words
	Desc  string // what it says, in a sentence or two
	Size  Size
	// Units is the unit that stands first where it draws a size; empty: mm.
	Units wear.Unit
	// Name gives the name of a person for what a pointer is told; nil: none.
	Name func(person string) string
	draw func(*pen)
	tips func(name func(string) string) []tip // nil: there are none
}

// SVG gives the picture as an svg element for use inside a page: responsive,
// with title and desc first, and with colours as attributes that the style of
// the page can override one by one.
func (p Picture) SVG() string {
	c := vgsvg.New(vg.Length(p.Size.Width), vg.Length(p.Size.Height))
	p.draw(&pen{canvas: c, anchored: true, units: p.Units})
	var raw bytes.Buffer
	if _, err := c.WriteTo(&raw); err != nil {
		return "" // a bytes.Buffer does not fail
	}
	out := inline(raw.String(), p)
	if p.tips == nil {
		return out
	}
	name := p.Name
	if name == nil {
		name = func(string) string { return "" }
	}
	var b strings.Builder
	before, after, _ := strings.Cut(out, "</svg>")
	b.WriteString(before)
	writeTips(&b, p.Size.Height, p.tips(name))
	return b.String() + "</svg>" + after
}

// PNG gives the picture on paper colour, at a number of pixels for each unit
// (2 is sharp on most screens; it is kept between 1 and 4).
func (p Picture) PNG(perUnit float64) ([]byte, error) {
	if !(perUnit >= 1) {
		perUnit = 1
	}
	dpi := int(math.Round(72 * math.Min(perUnit, 4)))
	c := vgimg.NewWith(vgimg.UseWH(vg.Length(p.Size.Width), vg.Length(p.Size.Height)),
		vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(paper))
	p.draw(&pen{canvas: c, units: p.Units})
	var out bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&out); err != nil {
		return nil, fmt.Errorf("draw %q as PNG: %w", p.Title, err)
	}
	return out.Bytes(), nil
}
