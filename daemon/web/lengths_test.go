package web

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// The inch is 25.4 mm by agreement (1959), so a thou is 0.0254 mm.
func TestOwnUnitFirst(t *testing.T) {
	for _, c := range []struct{ text, mm, thou string }{
		{"reach 0.80 mm between March 2029 and May 2033", "reach 0.80 mm (31.5 thou) between March 2029 and May 2033", "reach 31.5 thou (0.80 mm) between March 2029 and May 2033"},
		{"from 0.05 to 0.20 mm", "from 0.05 to 0.20 mm (2.0 to 7.9 thou)", "from 2.0 to 7.9 thou (0.05 to 0.20 mm)"},
		{"between 0.254 and 0.508 mm.", "between 0.254 and 0.508 mm (10.0 and 20.0 thou).", "between 10.0 and 20.0 thou (0.254 and 0.508 mm)."},
		{"0.42 mm (16.5 thou), give or take 0.02 mm", "0.42 mm (16.5 thou), give or take 0.02 mm (0.8 thou)", "16.5 thou (0.42 mm), give or take 0.8 thou (0.02 mm)"},
		{"about 0.001 mm (0.03 thou) a year", "about 0.001 mm (0.03 thou) a year", "about 0.03 thou (0.001 mm) a year"},
		{"no length in 3 mm pitch of 1999", "no length in 3 mm pitch of 1999", "no length in 3 mm pitch of 1999"},
		{"reach 0.20 mm in May 2033 (now about 0.17 mm); measure", "reach 0.20 mm (7.9 thou) in May 2033 (now about 0.17 mm, 6.7 thou); measure", "reach 7.9 thou (0.20 mm) in May 2033 (now about 6.7 thou, 0.17 mm); measure"},
		{"", "", ""},
	} {
		if got := own(wear.MM, c.text); got != c.mm {
			t.Errorf("own(mm, %q) = %q, want %q", c.text, got, c.mm)
		}
		if got := own(wear.Thou, c.text); got != c.thou {
			t.Errorf("own(thou, %q) = %q, want %q", c.text, got, c.thou)
		}
	}
}

var drawings = regexp.MustCompile(`(?s)<svg.*?</svg>`)

// A reader in thou finds them first on the pages of a clock and of its bearing,
// and one in mm those; the other stands beside it.
func TestPagesInTheReadersUnit(t *testing.T) {
	e := newEntrance(t)
	for i := range e.desk.f.fleet.People {
		if p := &e.desk.f.fleet.People[i]; p.Slug == "tom" {
			p.Units = wear.Thou
		}
	}
	e.desk.snap = e.desk.f.snapshot()
	e.lets("tom")
	e.lets("edda", runsFleet)
	for _, path := range []string{"/", "/clock/corn-hall", "/clock/corn-hall/bearing/centre-front"} {
		_, his := e.in("tom").get(path)
		e.desk.now = e.desk.now.Add(time.Minute)
		_, hers := e.in("edda").get(path)
		his, hers = drawings.ReplaceAllString(his, ""), drawings.ReplaceAllString(hers, "") // which show mm left, thou right
		if !strings.Contains(his, " thou (") || strings.Contains(his, " mm (") {
			t.Errorf("%s is not in thou first: %s", path, his)
		}
		if !strings.Contains(hers, " mm (") || strings.Contains(hers, " thou (") {
			t.Errorf("%s is not in mm first: %s", path, hers)
		}
	}
}
