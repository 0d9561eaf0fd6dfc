package mail

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"endshake/schedule"
)

// Bounds, in characters, on what one field of data may put into a letter. Names
// are cut sooner, so that a pasted page of text cannot push the rest away.
const (
	maxName  = 120
	maxField = 4000
)

// textWidth is the width of the plain text part, in characters.
const textWidth = 72

// clean makes one safe line of text that came from data: see [schedule.Visible].
// "://" and "www." are parted so that mail programs make no link of a name, and
// "=?" so that none takes plain text for an encoded word (RFC 2047).
func clean(s string) string {
	s = schedule.Visible(s)
	s = strings.ReplaceAll(s, "://", ": //")
	s = strings.Join(strings.Fields(www.ReplaceAllString(s, "$0 ")), " ")
	return clip(strings.ReplaceAll(s, "=?", "= ?"), maxField)
}

// www begins what some mail programs make a link of.
var www = regexp.MustCompile(`(?i)\bwww\.`)

// name cleans a name and cuts it to what a heading can bear.
func name(s string) string { return clip(clean(s), maxName) }

// clip cuts text to n characters; an ellipsis shows that something is left out.
func clip(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return strings.TrimRight(string([]rune(s)[:n-1]), " ") + "…"
}

// wrap breaks lines at spaces so that none is wider than width characters; a
// word that is wider itself is broken too, unless it is an address of a page.
// What a line is indented by, its continuation is too; after a "- " it stands
// under the words.
func wrap(text string, width int) string {
	var b strings.Builder
	for _, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		body := strings.TrimLeft(line, " ")
		indent := line[:len(line)-len(body)]
		hang := indent
		if strings.HasPrefix(body, "- ") {
			hang += "  "
		}
		wrapLine(&b, pieces(strings.Fields(body), width-len(hang)), indent, hang, width)
	}
	return b.String()
}

// pieces breaks the words that no line can hold.
func pieces(words []string, width int) []string {
	var out []string
	for _, w := range words {
		for r := []rune(w); len(r) > width && !strings.Contains(w, "://"); r = []rune(w) {
			out, w = append(out, string(r[:width])), string(r[width:])
		}
		out = append(out, w)
	}
	return out
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
