package paper

import (
	"strings"
	"unicode"

	"endshake/daemon/chart"
	"endshake/schedule"
)

// words are those of a text; a figure and its unit are one.
func words(s string) []string {
	return schedule.Unbroken(s, func(string) bool { return true })
}

// lines breaks a text into lines no wider than there is room, at spaces where there
// are any, and gives them as they are to be printed.
func (p *press) lines(l chart.Letters, size float64, text string, room float64) []string {
	var out []string
	line := ""
	wide := func(s string) float64 { return p.s.Wide(l, size, p.s.Shown(l, s)) }
	for _, word := range schedule.Unbroken(text, func(pair string) bool { return wide(pair) <= room }) {
		if line != "" && wide(line+" "+word) > room {
			out = append(out, p.s.Shown(l, line))
			line = ""
		}
		for line == "" && wide(word) > room {
			n := p.fits(l, size, word, room)
			if n == len(word) {
				break
			}
			out = append(out, p.s.Shown(l, word[:n]))
			word = word[n:]
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	if line != "" {
		out = append(out, p.s.Shown(l, line))
	}
	return out
}

// fits is how much of a word too long for a line stands on it: whole letters with
// their accents, and one at least.
func (p *press) fits(l chart.Letters, size float64, word string, room float64) int {
	fit := 0
	for i := range word + "." {
		if i == 0 || i < len(word) && unicode.Is(unicode.M, []rune(word[i:])[0]) {
			continue
		}
		if fit > 0 && p.s.Wide(l, size, p.s.Shown(l, word[:i])) > room {
			break
		}
		fit = i
	}
	return fit
}

// fitted cuts a text to one line.
func (p *press) fitted(l chart.Letters, size float64, text string, room float64) string {
	all := p.lines(l, size, text, room)
	if len(all) == 0 {
		return ""
	}
	if len(all) > 1 {
		return p.fitted(l, size, strings.TrimSpace(text[:p.fits(l, size, text, room-size)])+"…", room)
	}
	return all[0]
}
