package web

import (
	"html"
	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// The inch is 25.4 mm by agreement (1959), so a thou is 0.0254 mm. What somebody
// else wrote, and what a form gives back, stays as it is.
func TestOwnFirstOnAPage(t *testing.T) {
	const page = `<p title="0.80 mm (31.5 thou)">reach 0.80 mm (31.5 thou), at <b>12 °C (54 °F)</b></p><pre class="letter">0.80 mm (31.5 thou)</pre>` +
		`<span class="words">0.80 mm (31.5 thou)</span> <i>6 mm (0.236 in)</i><textarea>0.80 mm (31.5 thou)</textarea><text>act 0.80 mm (31.5 thou)`
	const want = `<p title="0.80 mm (31.5 thou)">reach 31.5 thou (0.80 mm), at <b>54 °F (12 °C)</b></p><pre class="letter">0.80 mm (31.5 thou)</pre>` +
		`<span class="words">0.80 mm (31.5 thou)</span> <i>0.236 in (6 mm)</i><textarea>0.80 mm (31.5 thou)</textarea><text>act 31.5 thou (0.80 mm)`
	if got := string(ownFirst(wear.Thou, []byte(page))); got != want {
		t.Errorf("in thou: %s", got)
	}
	if got := string(ownFirst(wear.MM, []byte(page))); got != page {
		t.Errorf("in mm: %s", got)
	}
	for _, odd := range []string{"", "<", ">", "a < b", "<p", "1 (", "<pre"} {
		if got := string(ownFirst(wear.Thou, []byte(odd))); got != odd {
			t.Errorf("%q becomes %q", odd, got)
		}
	}
}

var (
	theirs = regexp.MustCompile(`(?s)<(pre|textarea)\b.*?</(pre|textarea)>|<\w+ class="words">[^<]*<`)
	tags   = regexp.MustCompile(`<[^>]*>`)
	// twice is what is told in thou, in, lb or °F and then in the other system.
	twice = regexp.MustCompile(`[-+\d][\d. to and]* (?:thou|in|ft|lb|°F|ft \d+ in)(?: \(|, )[-+\d][\d. to and]* (?:mm|m|kg|°C)\)?`)
	once  = regexp.MustCompile(`\d (?:mm|kg|°C|m|µm|micrometres)(?:$|[ ,.;:)]).{0,20}`)
)

// shownHow are the texts that show how a size may be written, or name a part by its
// module, which is in mm wherever it is sold.
var shownHow = []string{"0.42 mm, 16 thou or 5/64 in", "0.42 mm or 16 thou", "16 thou or 0.42 mm", "A thousandth of an inch: 0.0254 mm", "0.30 mm or 12 thou",
	"0.10 mm or 4 thou", "0.25 mm or 10 thou", "5.9 mm or 15/64 in", "400 mm or 2 ft", "0.42 mm, 12 thou, 5/64 in, 3 ft or 10.3 m", "0.2 mm, 0.3 mm, 0.5 mm",
	"24 N, 2.4 kg or 5 lb", "usually 0.1 mm", "usually 0 mm", "3 ft or 10.3 m", "module 2 mm"}

// walked are the pages that have an address of their own, with the blanks of the
// others filled in.
func walked(e *entrance) (out []string) {
	blanks := axePaths(e)
	for _, rt := range e.s.routes() {
		switch path := strings.ReplaceAll(rt.path, "{$}", ""); {
		case rt.get == nil || ofAPI(rt.path):
		case strings.Contains(path, "{"):
			out = append(out, blanks[rt.path]...)
		default:
			out = append(out, path)
		}
	}
	return out
}

// On no page does a size, a weight or a temperature stand in the metric system
// alone, or first, for whoever reads thou.
func TestNoPageInMMAlone(t *testing.T) {
	e := newEntrance(t)
	for i := range e.desk.f.fleet.People {
		if p := &e.desk.f.fleet.People[i]; p.Slug == "edda" {
			p.Units = wear.Thou
		}
	}
	e.desk.snap = e.desk.f.snapshot()
	e.lets("edda", runsFleet)
	b, told := e.in("edda"), 0
	paths := append(walked(e), "/clock/corn-hall/bearing/centre-front?washer=0.3+mm", "/clock/corn-hall/bearing/centre-front?fitted=12+thou&outer=30+mm&inner=10+mm")
	for _, path := range paths {
		_, body := b.get(path)
		text := theirs.ReplaceAllString(body, "<")
		for _, line := range strings.Split(tags.ReplaceAllString(text, "\n"), "\n") {
			line = html.UnescapeString(line)
			for _, a := range shownHow {
				line = strings.ReplaceAll(line, a, "")
			}
			told += len(twice.FindAllString(line, -1))
			if left := once.FindString(twice.ReplaceAllString(line, "")); left != "" {
				t.Errorf("%s says %q alone or first: %s", path, left, line)
			}
		}
	}
	if told < 50 {
		t.Errorf("%d figures on %d pages: the walk sees nothing", told, len(paths))
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
