package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// kept is a clock with errors some days before now, in seconds.
func kept(tolerance float64, errors ...schedule.ErrorSeen) schedule.Assessment {
	a := schedule.Assessment{Clock: schedule.Clock{Name: "Moot Hall <clock>"}, Now: now, Zone: utc}
	a.Time.Tolerance = tolerance
	a.Time.Errors = errors
	return a
}

func seen(days int, seconds float64, left bool) schedule.ErrorSeen {
	return schedule.ErrorSeen{At: now.AddDate(0, 0, -days), Seconds: seconds, Left: left}
}

// Each error of the last two years is a dot at its height, fast above slow, and
// the words count those beyond what the clock is held to.
func TestTimeChart(t *testing.T) {
	a := kept(60, seen(900, 500, false), seen(300, 20, false), seen(200, 90, false), seen(200, 0, true), seen(100, -30, false), seen(10, -75, false))
	a.Time.Regulations = []schedule.Regulation{{At: now.AddDate(0, 0, -200), Turns: .5}}
	for _, size := range []Size{Wide, Narrow} {
		p := Time(a, size)
		svg := p.SVG()
		d := takeApart(t, svg)
		if hit, out := collisions(d), outside(d, p); len(hit)+len(out) > 0 {
			t.Errorf("%v: %s %s", size, strings.Join(hit, "; "), strings.Join(out, "; "))
		}
		if len(d.dots) != 5 {
			t.Fatalf("%d dots for the 5 errors of two years", len(d.dots))
		}
		high := map[string]float64{}
		for _, tip := range tipped(t, svg) {
			_, words, _ := strings.Cut(tip.Title, ": ")
			high[words] = p.Size.Height - tip.Y - tip.Height/2
		}
		order := []string{"75 s slow", "30 s slow", "right, as left", "20 s fast", "90 s fast"}
		for i := range order[1:] {
			if high[order[i]] >= high[order[i+1]] || high[order[i]] == 0 {
				t.Errorf("%q stands at %.0f and %q at %.0f: %v", order[i], high[order[i]], order[i+1], high[order[i+1]], high)
			}
		}
		// One scale: 50 s are as high wherever they lie.
		if a, b := high["20 s fast"]-high["30 s slow"], high["90 s fast"]-high["right, as left"]; math.Abs(a/50-b/90) > .05 {
			t.Errorf("50 s are %.1f high and 90 s %.1f", a, b)
		}
		if want := "5 errors, the last on " + schedule.DateOf(now.AddDate(0, 0, -10), utc).Words(); !strings.HasPrefix(d.desc, want) {
			t.Errorf("says %q, want %q", d.desc, want)
		}
		if want := "2 were beyond the 60 s that it is held to."; !strings.HasSuffix(d.desc, want) {
			t.Errorf("says %q, want %q", d.desc, want)
		}
	}
}

// A clock that stood for most of an hour does not flatten the chart: it is an
// arrow at the foot with its words, and no dot; so one that is far fast at the head.
func TestTimeBeyondTheChart(t *testing.T) {
	var errors []schedule.ErrorSeen
	for i := range 30 {
		errors = append(errors, seen(400-10*i, float64(5*(i%9)-20), false))
	}
	errors = append(errors, seen(60, -3260, false), seen(20, 5400, false))
	for _, size := range []Size{Wide, Narrow} {
		p := Time(kept(60, errors...), size)
		svg := p.SVG()
		d := takeApart(t, svg)
		if hit, out := collisions(d), outside(d, p); len(hit)+len(out) > 0 {
			t.Errorf("%v: %s %s", size, strings.Join(hit, "; "), strings.Join(out, "; "))
		}
		if len(d.dots) != 30 {
			t.Errorf("%v: %d dots for the 30 errors that fit", size, len(d.dots))
		}
		within := takeApart(t, Time(kept(60, errors[:30]...), size).SVG())
		slow, okSlow := d.has("54 min slow")
		fast, okFast := d.has("90 min fast")
		if !okSlow || !okFast {
			t.Fatalf("%v: the arrows have no words: %s", size, d.words())
		}
		// Two arrows and the scraps of paper under their words.
		if got := d.fills - within.fills; got != 4 {
			t.Errorf("%v: %d fills more for two arrows with words", size, got)
		}
		for _, tip := range tipped(t, svg) {
			_, words, _ := strings.Cut(tip.Title, ": ")
			x, y := tip.X+tip.Width/2, p.Size.Height-tip.Y-tip.Height/2
			for said, at := range map[string]mark{"54 min slow": slow, "90 min fast": fast} {
				if words != said {
					continue
				}
				arrow := slices.ContainsFunc(d.arrows, func(m mark) bool { return m.word == "#1F2630" && math.Hypot(m.x-x, m.y-y) < 1 })
				if edge := map[bool]float64{true: 26, false: p.Size.Height - 20}[at == slow]; !arrow || math.Abs(y-edge) > 1 {
					t.Errorf("%v: no arrow points at %.0f, %.0f for %q: %v", size, x, y, said, d.arrows)
				}
				if math.Abs(at.x-x) > 10 || math.Abs(at.y-y) > 60 {
					t.Errorf("%v: %q stands at %.0f, %.0f and its arrow at %.0f, %.0f", size, said, at.x, at.y, x, y)
				}
			}
		}
		if strings.Contains(svg, "e+0") {
			t.Errorf("%v: a figure with an exponent", size)
		}
	}
}

func TestHowFarOff(t *testing.T) {
	for want, s := range map[string]float64{
		"0.4 s": .42, "75 s": 75, "120 s": 120.3, "2 min 1 s": 121, "4 min": 240, "4 min 20 s": 260, "10 min": 599.7, "54 min": 3260, "90 min": 5400,
		"2 h": 7190, "3 h 5 min": 11100, "23 h 59 min": 86340, "2 days": 172800, "12 days": 12 * 86400,
	} {
		if got := errorSize(schedule.ErrorSeen{Seconds: -s}); got != want+" slow" {
			t.Errorf("%v s: %q, want %q", s, got, want+" slow")
		}
		if got := errorSize(schedule.ErrorSeen{Seconds: s}); got != want+" fast" {
			t.Errorf("%v s: %q, want %q", s, got, want+" fast")
		}
	}
	if got := errorSize(schedule.ErrorSeen{}); got != "right" {
		t.Errorf("no error is %q", got)
	}
}

// What no log should give is survived, and nothing to show is said.
func TestTimeChartOfTheBroken(t *testing.T) {
	for name, a := range map[string]schedule.Assessment{
		"nothing": kept(0), "no number": kept(60, seen(5, nan, false), seen(4, inf, false)), "a day out": kept(60, seen(5, 86400, false)),
		"tiny": kept(0, seen(5, 1e-9, false)), "huge": kept(1e300, seen(5, 1e300, false)), "one instant": kept(5, seen(3, 1, false), seen(3, 2, true)),
		"no zone": {Now: now}, "no time": {}, "ahead": kept(5, seen(-400, 3, false)),
	} {
		p := Time(a, Size{})
		svg := p.SVG()
		takeApart(t, svg)
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%s: %s", name, svg)
		}
		if name == "nothing" && !strings.Contains(p.Desc, "No error was written down") {
			t.Errorf("%s says %q", name, p.Desc)
		}
	}
	var many []schedule.ErrorSeen
	for i := range 700 {
		many = append(many, schedule.ErrorSeen{At: now.Add(-time.Duration(700-i) * 24 * time.Hour), Seconds: float64(i%40 - 20)})
	}
	if svg := Time(kept(30, many...), Wide).SVG(); len(svg) > 400_000 {
		t.Errorf("%s bytes", fmt.Sprint(len(svg)))
	}
}
