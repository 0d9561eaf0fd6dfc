package chart

import (
	"fmt"
	"math"
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
