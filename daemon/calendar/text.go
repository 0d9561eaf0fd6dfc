package calendar

import (
	"strings"
	"unicode"
)

// visible takes out what does not print: control characters become spaces, and
// bidirectional overrides and invisible marks go. Lines end in LF.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\u200c' || r == '\u200d':
			return r // joiners: Persian and emoji need them
		case unicode.Is(unicode.Cf, r):
			return -1
		case unicode.IsControl(r) || unicode.IsSpace(r):
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}
