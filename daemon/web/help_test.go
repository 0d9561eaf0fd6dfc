package web

import (
	"net/url"
	"slices"
	"strings"
	"testing"
)

// Help explains the words of the trade, each once and in order, what to do when
// a clock has stopped, and who decides; what pages lead to in it is there.
func TestHelp(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/help")
	checkPage(t, "/help", body)
	ids := map[string]bool{}
	var words []string
	in := false
	for _, n := range nodes(t, body) {
		id, _ := attr(n, "id")
		ids[id] = true
		in = in || id == "words"
		if in && n.Data == "dt" {
			words = append(words, textOf(n))
		}
	}
	for _, want := range []string{"Arbor", "Pivot", "Bush", "End-shake", "Side-shake", "Backlash", "Train", "Escapement", "Maintaining power", "Fly", "Locking plate",
		"Motion work", "Suspension", "Run-hours", "Strokes", "Thou", "Keeper", "Winder", "Deputy", "Conservator", "Owner", "Clockmaker", "Lock", "Letter"} {
		if !slices.Contains(words, want) {
			t.Errorf("%q is not explained", want)
		}
	}
	if !slices.IsSortedFunc(words, func(a, b string) int { return strings.Compare(strings.ToLower(a), strings.ToLower(b)) }) || len(slices.Compact(slices.Clone(words))) != len(words) {
		t.Errorf("the words are out of order, or come twice: %v", words)
	}
	text := flat(t, body)
	for _, want := range []string{"8 chances in 10", "do not run", "gives no leave", "one standard uncertainty",
		"ahead Its first good day is still to come. The due-list shows what opens within 90 days; a clock's year shows twelve months"} {
		if !strings.Contains(strings.ToLower(text), strings.ToLower(want)) {
			t.Errorf("help does not say %q", want)
		}
	}
	led := 0
	for _, path := range []string{"/", "/clock/mill", "/clock/mill/bearing/centre-front", "/compare?kind=" + url.QueryEscape(groupOf(s.desk.snap.Clocks[0].Outlooks[0]))} {
		_, body := get(t, s, path)
		for _, n := range nodes(t, body) {
			if href, _ := attr(n, "href"); strings.HasPrefix(href, "/help#") {
				led++
				if !ids[strings.TrimPrefix(href, "/help#")] {
					t.Errorf("%s leads to %s, which is not there", path, href)
				}
			}
		}
	}
	if led < 5 {
		t.Errorf("only %d words lead to help", led)
	}
}
