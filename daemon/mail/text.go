package mail

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// Bounds, in characters, on what one field of data may put into a letter. Names
// are cut sooner, so that a pasted page of text cannot push the rest away.
const (
	maxName  = 120
	maxField = 4000
)

// textWidth is the width of the plain text part, in characters.
const textWidth = 72

// clean makes one safe line of text that came from data: no control characters,
// no bidirectional overrides, no invisible marks, single spaces, valid UTF-8.
// A "://" is parted so that mail programs make no link of a name, and "=?" so
// that none takes plain text for an encoded word (RFC 2047).
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == '\u200c' || r == '\u200d':
			return r // joiners: Persian and emoji need them
		case unicode.Is(unicode.Cf, r):
			return -1 // bidi controls (U+202A-E, U+2066-9), zero width, tags
		case unicode.IsControl(r) || unicode.IsSpace(r):
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
	s = strings.Join(strings.Fields(s), " ")
	s = strings.ReplaceAll(s, "://", ": //")
	return clip(strings.ReplaceAll(s, "=?", "= ?"), maxField)
}

// name cleans a name and cuts it to what a heading can bear.
func name(s string) string { return clip(clean(s), maxName) }

// clip cuts text to n characters; an ellipsis shows that something is left out.
func clip(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return strings.TrimRight(string([]rune(s)[:n-1]), " ") + "…"
}

// wrap breaks lines at spaces so that none is wider than width characters where
// that can be done. What a line is indented by, its continuation is too; after
// a "- " it stands under the words.
func wrap(text string, width int) string {
	var b strings.Builder
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		body := strings.TrimLeft(line, " ")
		indent := line[:len(line)-len(body)]
		hang := indent
		if strings.HasPrefix(body, "- ") {
			hang += "  "
		}
		wrapLine(&b, strings.Fields(body), indent, hang, width)
	}
	return b.String()
}

func wrapLine(b *strings.Builder, words []string, indent, hang string, width int) {
	used := 0
	for i, w := range words {
		n := utf8.RuneCountInString(w)
		switch {
		case i == 0:
			b.WriteString(indent)
			used = len(indent)
		case used+1+n > width:
			b.WriteString("\n" + hang)
			used = len(hang)
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(w)
		used += n
	}
	b.WriteByte('\n')
}
