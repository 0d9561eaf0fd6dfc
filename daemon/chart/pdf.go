package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgpdf"
)

// PDF gives the picture as a document of one page of its size. Letters that
// Windows code page 1252 does not have come out as question marks.
func (p Picture) PDF() ([]byte, error) {
	c := vgpdf.New(vg.Length(p.Size.Width), vg.Length(p.Size.Height))
	pen := &pen{canvas: straight{c}}
	pen.fill(paper, box(0, 0, p.Size.Width, p.Size.Height))
	p.draw(pen)
	var out bytes.Buffer
	if _, err := c.WriteTo(&out); err != nil {
		return nil, fmt.Errorf("draw %q as PDF: %w", p.Title, err)
	}
	return out.Bytes(), nil
}

// straight hands vgpdf what it takes for granted: colours that are not
// multiplied by their opacity, texts in code page 1252, and one name for the
// one font, which would be put into the document anew for each anchor.
type straight struct{ *vgpdf.Canvas }

// SetColor sets the colour of what is drawn next.
func (s straight) SetColor(c color.Color) { s.Canvas.SetColor(unmultiplied{c}) }

// FillString writes a text.
func (s straight) FillString(f font.Face, at vg.Point, text string) {
	f.Font.Variant = ""
	s.Canvas.FillString(f, at, codePage(text))
}

type unmultiplied struct{ color.Color }

// RGBA gives the colour as if nothing shone through, and the opacity beside it.
func (u unmultiplied) RGBA() (r, g, b, a uint32) {
	n := color.NRGBAModel.Convert(u.Color).(color.NRGBA)
	return uint32(n.R) * 0x101, uint32(n.G) * 0x101, uint32(n.B) * 0x101, uint32(n.A) * 0x101
}

// codePage writes a text in Windows code page 1252, which is Latin 1 but for a
// few.
func codePage(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r < 0x80, r >= 0xA0 && r <= 0xFF:
			b.WriteByte(byte(r))
		case beside1252[r] != 0:
			b.WriteByte(beside1252[r])
		default:
			b.WriteByte('?')
		}
	}
	return b.String()
}

// beside1252 are the letters that the code page has in the place of control
// characters, and look-alikes.
var beside1252 = map[rune]byte{
	'€': 0x80, '‚': 0x82, 'ƒ': 0x83, '„': 0x84, '…': 0x85, '†': 0x86, '‡': 0x87, 'ˆ': 0x88, '‰': 0x89, 'Š': 0x8A,
	'‹': 0x8B, 'Œ': 0x8C, 'Ž': 0x8E, '‘': 0x91, '’': 0x92, '“': 0x93, '”': 0x94, '•': 0x95, '–': 0x96, '—': 0x97,
	'˜': 0x98, '™': 0x99, 'š': 0x9A, '›': 0x9B, 'œ': 0x9C, 'ž': 0x9E, 'Ÿ': 0x9F, 'μ': 0xB5, '−': '-',
}
