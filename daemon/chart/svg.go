package chart

import (
	"fmt"
	"html"
	"image/color"
	"regexp"
	"strings"
)

// styleAttr finds the style attributes that vgsvg writes. Words of a picture
// cannot look like one: vgsvg escapes their quotation marks.
var styleAttr = regexp.MustCompile(`\s*style="([^"]*)"`)

// families is the page's own choice of letters; a page's style may override it.
const families = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Liberation Sans', sans-serif"

// inline turns what vgsvg writes into an element that may stand in a page with
// a policy against inline style, and that fits the width it is given.
func inline(raw string, p Picture) string {
	_, body, _ := strings.Cut(raw, "<svg")
	_, body, _ = strings.Cut(body, ">")
	body = styleAttr.ReplaceAllStringFunc(body, func(m string) string {
		return attributes(styleAttr.FindStringSubmatch(m)[1])
	})
	body = strings.ReplaceAll(body, "\n", "")
	head := fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" role="img" class="chart" width="100%%" viewBox="0 0 %g %g" font-family="%s">`,
		p.Size.Width, p.Size.Height, families)
	return head + "<title>" + html.EscapeString(clean(p.Title)) + "</title><desc>" +
		html.EscapeString(clean(p.Desc)) + "</desc>" + body
}

// attributes rewrites "fill:none;stroke:#7F521B" as presentation attributes.
// The pen hides the anchor of a text in the variant of its font.
func attributes(style string) string {
	var b strings.Builder
	for _, part := range strings.Split(style, ";") {
		name, value, _ := strings.Cut(part, ":")
		switch name {
		case "font-family", "font-weight", "font-style":
			continue // set once for the whole picture
		case "font-variant":
			if value != string(middle) && value != string(end) {
				continue
			}
			name = "text-anchor"
		case "font-size":
			value = strings.TrimSuffix(value, "px")
		case "fill", "stroke":
			value = role(value)
		}
		fmt.Fprintf(&b, ` %s="%s"`, name, value)
	}
	return b.String()
}

// role puts right a colour that vgsvg rounded when it took the opacity out, so
// that a page's style finds it by its value.
func role(value string) string {
	var r, g, b int
	if n, _ := fmt.Sscanf(value, "#%02X%02X%02X", &r, &g, &b); n != 3 {
		return value
	}
	near := func(a int, b uint8) bool { return a-int(b) <= 2 && int(b)-a <= 2 }
	for _, c := range []color.NRGBA{paper, ink, quiet, hairline, brass, oxide, verdigris} {
		if near(r, c.R) && near(g, c.G) && near(b, c.B) {
			return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B)
		}
	}
	return value
}

// clean drops what cannot stand in XML or would turn the reading direction.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case r < ' ' || (r >= 0x7f && r < 0xa0) || r == 0xfffe || r == 0xffff || r == '\ufffd':
			return -1
		case (r >= 0x202a && r <= 0x202e) || (r >= 0x2066 && r <= 0x2069) || r == 0x200e || r == 0x200f:
			return -1
		}
		return r
	}, s)
}

// short cuts a text that would run out of the picture.
func short(s string, most int) string {
	r := []rune(clean(s))
	if len(r) <= most {
		return string(r)
	}
	return strings.TrimSpace(string(r[:most-1])) + "…"
}
