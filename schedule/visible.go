package schedule

import (
	"strings"
	"unicode"
)

// Visible takes out of one line of text what a reader cannot see, or what would
// show it in another order than it stands in: control characters and line breaks
// become spaces; bidirectional controls, zero-width marks and tags go. It is
// valid UTF-8. Joiners stay between two characters beyond Latin and Greek, for
// Persian and emoji need them.
func Visible(s string) string {
	runes := []rune(strings.ToValidUTF8(s, "\uFFFD"))
	out := make([]rune, 0, len(runes))
	for i, r := range runes {
		switch {
		case r == '\u200c' || r == '\u200d':
			if i > 0 && i+1 < len(runes) && joins(runes[i-1]) && joins(runes[i+1]) {
				out = append(out, r)
			}
		case unicode.Is(unicode.Cf, r):
		case unicode.IsControl(r) || unicode.IsSpace(r):
			out = append(out, ' ')
		default:
			out = append(out, r)
		}
	}
	return strings.Join(strings.Fields(string(out)), " ")
}

// firstJoined is the first character that a joiner may stand beside: Hebrew,
// Arabic and the scripts of India come after it, and all emoji.
const firstJoined = '\u0590'

func joins(r rune) bool {
	return r >= firstJoined && !unicode.IsControl(r) && !unicode.IsSpace(r) && !unicode.Is(unicode.Cf, r)
}
