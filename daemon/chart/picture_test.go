package chart

import (
	"bytes"
	"encoding/xml"
	"go/parser"
	"go/token"
	"image/png"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// drawn is an SVG taken apart.
type drawn struct {
	names  []string // elements in order
	texts  []mark   // words with their places, y up from the foot
	dots   []mark   // filled circles by colour, centre and radius
	lines  []mark   // stroked paths by colour, from their first point
	fills  int
	arrows []mark // the first point of each fill, by colour
	title  string
	desc   string
	attrs  map[string]string // of the svg element
	xs, ys []float64         // every coordinate
}

type mark struct {
	word, anchor string
	x, y, r      float64
}

// roles are the colours of a page's light scheme, and none.
var roles = map[string]bool{"none": true, "#FBF8F1": true, "#1F2630": true, "#6B6A63": true, "#DDD6C8": true, "#7F521B": true, "#9C1F2E": true, "#2F6B5E": true}

var number = regexp.MustCompile(`-?[0-9.]+(?:e[-+]?[0-9]+)?`)

// takeApart reads an SVG with the standard XML decoder, strictly.
func takeApart(t *testing.T, svg string) drawn {
	t.Helper()
	d := drawn{attrs: map[string]string{}}
	dec := xml.NewDecoder(strings.NewReader(svg))
	var text *strings.Builder
	var at mark
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return d
		}
		if err != nil {
			t.Fatalf("the SVG is not XML: %v", err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			text, at = d.begin(t, e)
		case xml.CharData:
			if text != nil {
				text.Write(e)
			}
		case xml.EndElement:
			if text != nil {
				d.end(e.Name.Local, text.String(), at)
			}
			text = nil
		}
	}
}

// begin notes an element, and where its words stand if it is to have any.
func (d *drawn) begin(t *testing.T, e xml.StartElement) (text *strings.Builder, at mark) {
	t.Helper()
	d.names = append(d.names, e.Name.Local)
	a := map[string]string{}
	for _, x := range e.Attr {
		a[x.Name.Local] = x.Value
	}
	switch e.Name.Local {
	case "svg":
		d.attrs = a
	case "text":
		at = mark{anchor: a["text-anchor"], x: float(t, a["x"]), y: -float(t, a["y"])}
		text = &strings.Builder{}
	case "title", "desc":
		text = &strings.Builder{}
	case "path":
		d.path(t, a)
	}
	for _, name := range []string{"fill", "stroke"} {
		if c, ok := a[name]; ok && !roles[c] {
			t.Errorf("<%s> has %s %s, which is none of the roles that a page can change", e.Name.Local, name, c)
		}
	}
	if _, ok := a["style"]; ok {
		t.Errorf("<%s> has a style attribute, which a strict policy refuses", e.Name.Local)
	}
	return text, at
}

// end notes the words of an element.
func (d *drawn) end(name, words string, at mark) {
	switch name {
	case "text":
		at.word = words
		d.texts = append(d.texts, at)
		d.xs, d.ys = append(d.xs, at.x), append(d.ys, at.y)
	case "title":
		if d.title == "" { // those after it are of places
			d.title = words
		}
	case "desc":
		d.desc = words
	}
}

// path notes the dots: an arc begins at its right-most point.
func (d *drawn) path(t *testing.T, a map[string]string) {
	data := a["d"]
	var n []float64
	for _, s := range number.FindAllString(data, -1) {
		n = append(n, float(t, s))
	}
	if strings.Contains(data, "A") {
		m := mark{word: a["fill"], r: n[2]}
		m.x, m.y = n[0]-n[2], n[1]
		if a["stroke"] == "" {
			d.dots = append(d.dots, m)
		}
		d.xs, d.ys = append(d.xs, m.x), append(d.ys, m.y)
		return
	}
	if a["fill"] != "none" {
		d.fills++
		d.arrows = append(d.arrows, mark{word: a["fill"], x: n[0], y: n[1]})
	} else if len(n) > 1 {
		d.lines = append(d.lines, mark{word: a["stroke"], x: n[0], y: n[1]})
	}
	for i := 0; i+1 < len(n); i += 2 {
		d.xs, d.ys = append(d.xs, n[i]), append(d.ys, n[i+1])
	}
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		t.Fatalf("%q is not a coordinate", s)
	}
	return v
}

// has finds words on a picture.
func (d drawn) has(word string) (mark, bool) {
	for _, m := range d.texts {
		if m.word == word {
			return m, true
		}
	}
	return mark{}, false
}

func (d drawn) words() string {
	var all []string
	for _, m := range d.texts {
		all = append(all, m.word)
	}
	return strings.Join(all, " | ")
}

// sound checks what holds for every picture.
func (d drawn) sound(t *testing.T, p Picture) {
	t.Helper()
	if len(d.names) < 4 || d.names[0] != "svg" || d.names[1] != "title" || d.names[2] != "desc" {
		t.Fatalf("elements begin %v, want svg, title, desc", d.names[:min(4, len(d.names))])
	}
	if d.title == "" || d.desc == "" {
		t.Errorf("title %q and desc %q must both say something", d.title, d.desc)
	}
	if d.attrs["role"] != "img" || d.attrs["width"] != "100%" || d.attrs["viewBox"] == "" {
		t.Errorf("svg element has %v: want role img, width 100%% and a viewBox", d.attrs)
	}
	for i := range d.xs {
		if d.xs[i] < -6 || d.xs[i] > p.Size.Width+6 || d.ys[i] < -6 || d.ys[i] > p.Size.Height+6 {
			t.Errorf("a mark at %.1f, %.1f is off the picture of %v", d.xs[i], d.ys[i], p.Size)
			return
		}
	}
}

func TestPNGIsTheSameDrawing(t *testing.T) {
	p := Bearing(worn(t), now, utc, Wide)
	for _, perUnit := range []float64{1, 2, math.NaN(), 9} {
		data, err := p.PNG(perUnit)
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		scale := perUnit
		if math.IsNaN(perUnit) {
			scale = 1
		}
		scale = min(scale, 4)
		if b := img.Bounds(); b.Dx() != int(760*scale) || b.Dy() != int(400*scale) {
			t.Errorf("at %v pixels a unit the picture is %v", perUnit, b)
		}
		// The last reading's dot is ink at the place where the SVG has it.
		d := takeApart(t, p.SVG())
		var dot mark
		for _, m := range d.dots {
			if m.word == "#1F2630" {
				dot = m
			}
		}
		r, g, b, _ := img.At(int(dot.x*scale), int((400-dot.y)*scale)).RGBA()
		if r>>8 != 0x1F || g>>8 != 0x26 || b>>8 != 0x30 {
			t.Errorf("at %v pixels a unit the PNG has colour %x %x %x where the SVG has a dot", perUnit, r>>8, g>>8, b>>8)
		}
	}
}

func TestHostileNamesAreOnlyWords(t *testing.T) {
	o := repaired(t)
	o.Parts[1].Work = "new <b>bush</b>\x01"
	o.Bearing.Name = `</title><script>alert(1)</script>" style="x` + "\x00\u202e"
	o.Sentence = `<img src=x onerror=alert(1)> & "so" style="fill:red"`
	svg := Bearing(o, now, utc, Wide).SVG()
	d := takeApart(t, svg)
	for _, name := range d.names {
		switch name {
		case "svg", "title", "desc", "g", "path", "text", "rect":
		default:
			t.Errorf("a name brought a <%s> into the picture", name)
		}
	}
	if !strings.Contains(d.title, "<script>") || strings.ContainsAny(d.title, "\x00\u202e") {
		t.Errorf("title is %q: want the name as plain words, without controls", d.title)
	}
}

// Package plot parses twelve fonts in its init; the start of the process must
// not pay for that.
func TestFontsAreNotParsedAtStart(t *testing.T) {
	names, err := filepath.Glob("*.go")
	if err != nil || len(names) == 0 {
		t.Fatal("no source found", err)
	}
	for _, name := range names {
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range f.Imports {
			switch i.Path.Value {
			case `"gonum.org/v1/plot"`, `"gonum.org/v1/plot/plotter"`, `"gonum.org/v1/plot/font/liberation"`:
				t.Errorf("%s imports %s, which loads every font", name, i.Path.Value)
			}
		}
	}
}

func BenchmarkFont(b *testing.B) {
	for b.Loop() {
		if _, err := parseFont(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBearingSVG(b *testing.B) {
	o := worn(b)
	b.ReportAllocs()
	var n int
	for b.Loop() {
		n = len(Bearing(o, now, utc, Wide).SVG())
	}
	b.ReportMetric(float64(n), "bytes/picture")
}

func BenchmarkBearingPNG(b *testing.B) {
	o := worn(b)
	for b.Loop() {
		if _, err := Bearing(o, now, utc, Wide).PNG(2); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSpark(b *testing.B) {
	o := worn(b)
	var n int
	for b.Loop() {
		n = len(Spark(o, now).SVG())
	}
	b.ReportMetric(float64(n), "bytes/picture")
}
