package chart

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-fonts/liberation/liberationserifbold"
	"codeberg.org/go-fonts/liberation/liberationserifregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"
)

// Letters is one of the fonts that a sheet is set in.
type Letters string

// The fonts: a serif for headings and what matters, a sans for the rest.
const (
	Plain   Letters = "sans"
	Strong  Letters = "sans-bold"
	Serif   Letters = "serif"
	Heading Letters = "serif-bold"
)

// fontFiles are what a document embeds of, whole alphabets, so that every letter of
// Europe prints.
var fontFiles = map[Letters][]byte{
	Plain: liberationsansregular.TTF, Strong: liberationsansbold.TTF, Serif: liberationserifregular.TTF, Heading: liberationserifbold.TTF,
}

// shapes are the fonts taken apart, to ask which letters they have.
var shapes = sync.OnceValues(func() (map[Letters]*sfnt.Font, error) {
	out := map[Letters]*sfnt.Font{}
	for name, data := range fontFiles {
		f, err := sfnt.Parse(data)
		if err != nil {
			return nil, fmt.Errorf("font %s: %w", name, err)
		}
		out[name] = f
	}
	return out, nil
})

// Tone is what a text or a rule on a sheet is for.
type Tone string

// The tones.
const (
	Ink     Tone = "ink"
	Quiet   Tone = "quiet"
	Hairing Tone = "hairline"
	Warning Tone = "warning"
)

var tones = map[Tone]colour{Ink: ink, Quiet: quiet, Hairing: hairline, Warning: oxide}

// Sheet is a PDF document in the making, page by page. Places are in points, from the
// top left. The same calls give the same bytes.
type Sheet struct {
	doc    *fpdf.Fpdf
	size   Size
	fonts  map[Letters]bool // those in use
	shapes map[Letters]*sfnt.Font
	buffer sfnt.Buffer
	err    error
}

// NewSheet begins a document without pages. Its date is that of what it shows, and
// not of its making.
func NewSheet(size Size, title string, of time.Time) *Sheet {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: size.Width, Ht: size.Height}})
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.SetCatalogSort(true)
	doc.SetCreationDate(of.UTC())
	doc.SetModificationDate(of.UTC())
	doc.SetProducer("endshake", false)
	doc.SetLang("en-GB")
	s := &Sheet{doc: doc, size: size, fonts: map[Letters]bool{}}
	if s.shapes, s.err = shapes(); s.err == nil {
		doc.SetTitle(s.Shown(Plain, title), true)
	}
	return s
}

// Page begins the next page.
func (s *Sheet) Page() { s.doc.AddPage() }

// Pages is how many there are.
func (s *Sheet) Pages() int { return s.doc.PageCount() }

// Turn goes back to a page, the first of which is 1.
func (s *Sheet) Turn(page int) { s.doc.SetPage(page) }

// Mark names a place of the page for the list of contents beside a document.
func (s *Sheet) Mark(text string, y float64) {
	if s.err != nil {
		return
	}
	s.doc.Bookmark(s.Shown(Heading, text), 0, y)
}

// set chooses a font; ok is false where there is none, which is an error of the whole.
func (s *Sheet) set(l Letters, size float64) bool {
	if s.err != nil {
		return false
	}
	if !s.fonts[l] {
		s.fonts[l] = true
		s.doc.AddUTF8FontFromBytes(string(l), "", fontFiles[l])
	}
	s.doc.SetFont(string(l), "", size)
	return true
}

// Has reports whether a font has a letter.
func (s *Sheet) Has(l Letters, r rune) bool {
	if s.err != nil || r > math.MaxUint16 { // the document has none beyond
		return false
	}
	i, err := s.shapes[l].GlyphIndex(&s.buffer, r)
	return err == nil && i != 0
}

// missing stands for a letter that the font does not have.
const missing = '□'

// Shown is a text as a font can print it: its letters composed, a box for each that
// the font does not have, and in the order in which they stand from left to right.
func (s *Sheet) Shown(l Letters, text string) string {
	text = ordered(norm.NFC.String(clean(text)))
	out := make([]rune, 0, len(text))
	for _, r := range text {
		if !s.Has(l, r) {
			r = missing
		}
		out = append(out, r)
	}
	return string(out)
}

// ordered puts what is written from right to left into the order in which it stands
// on a line.
func ordered(text string) string {
	first, other := bidi.L, false // the way of the first letter; and whether any goes the other way
	for i, r := range text {
		if c, _ := bidi.LookupRune(r); c.Class() == bidi.R || c.Class() == bidi.AL {
			if !other && strings.IndexFunc(text[:i], unicode.IsLetter) < 0 {
				first = bidi.R
			}
			other = true
		}
	}
	var p bidi.Paragraph
	if !other {
		return text
	}
	if _, err := p.SetString(text); err != nil {
		return text
	}
	o, err := p.Order()
	if err != nil {
		return text
	}
	out := ""
	for i := range o.NumRuns() {
		run := o.Run(i)
		words := run.String()
		if run.Direction() == bidi.RightToLeft {
			words = bidi.ReverseString(words)
		}
		if first == bidi.R {
			out = words + out
		} else {
			out += words
		}
	}
	return out
}

// Wide is the width of a text that is Shown already.
func (s *Sheet) Wide(l Letters, size float64, shown string) float64 {
	if !s.set(l, size) {
		return 0
	}
	return s.doc.GetStringWidth(shown)
}

// Write writes a text that is Shown already, with its base at y.
func (s *Sheet) Write(l Letters, size float64, tone Tone, x, y float64, shown string) {
	if shown == "" || !s.set(l, size) {
		return
	}
	c := tones[tone]
	s.doc.SetAlpha(1, "Normal")
	s.doc.SetTextColor(int(c.R), int(c.G), int(c.B))
	s.doc.Text(x, y, shown)
}

// Rule draws a line across.
func (s *Sheet) Rule(tone Tone, width, x0, x1, y float64) {
	c := tones[tone]
	s.doc.SetAlpha(1, "Normal")
	s.doc.SetDrawColor(int(c.R), int(c.G), int(c.B))
	s.doc.SetLineWidth(width)
	s.doc.SetDashPattern(nil, 0)
	s.doc.Line(x0, y, x1, y)
}

// Draw draws a picture so wide, with its top left at a place, on white.
func (s *Sheet) Draw(p Picture, x, y, width float64) {
	if s.err != nil {
		return
	}
	c := &onSheet{s: s, x: x, foot: y + width/p.Size.Width*p.Size.Height, scale: width / p.Size.Width, white: true}
	p.draw(&pen{canvas: c, units: p.Units})
}

// Bytes ends the document.
func (s *Sheet) Bytes() ([]byte, error) {
	if s.err != nil {
		return nil, s.err
	}
	var out bytes.Buffer
	if err := s.doc.Output(&out); err != nil {
		return nil, fmt.Errorf("write the PDF: %w", err)
	}
	return out.Bytes(), nil
}
