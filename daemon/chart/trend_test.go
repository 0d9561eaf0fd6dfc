package chart

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"endshake/wear"
)

var inMM = TrendUnit{Name: "mm", Other: "thou", Per: 1000 / 25.4}

// ran is an invented point by hours, filtered, so that its fan is what the
// program makes.
func ran(t testing.TB, name string, rows ...[2]float64) Trend {
	t.Helper()
	var g []wear.Gauge
	part := TrendPart{Start: math.NaN()}
	for _, r := range rows {
		g = append(g, wear.Gauge{H: r[0] / 1000, Y: r[1], SD: .03})
		part.Readings = append(part.Readings, TrendReading{Hours: r[0], Size: r[1], SD: .03})
	}
	prior, segs := wear.Prior{Mu: math.Log(.01), Om: .8}, []wear.Segment{{Readings: g}}
	post, err := wear.Filter(prior, wear.DefaultParams(), segs)
	if err != nil {
		t.Fatal(err)
	}
	past := post.Past(prior, wear.DefaultParams(), segs)
	part.Level = func(h float64) float64 { return past.At(0, h/1000) }
	at := func(prob float64) float64 { return post.Crossing(.8, post.Now(), prob).H * 1000 }
	return Trend{Name: name, Now: post.Now() * 1000, Parts: []TrendPart{part}, Changed: math.NaN(),
		Quantile: func(h, prob float64) float64 { return post.LevelQuantile(h/1000, prob) },
		Early:    at(.1), Likely: at(.5), Late: at(.9), Verdict: "near 60,000 h"}
}

func steady(t testing.TB) Trend {
	return ran(t, "steady", [2]float64{0, .2}, [2]float64{12000, .31}, [2]float64{25000, .44})
}

func sheetOf(t *testing.T, limit float64, all ...Trend) (drawn, Picture) {
	t.Helper()
	p := Trends(all, inMM, limit, "Readings", "What they lead to.")
	d := takeApart(t, p.SVG())
	d.sound(t, p)
	return d, p
}

func (d drawn) dotsOf(colour string) (n int) {
	for _, m := range d.dots {
		if m.word == colour {
			n++
		}
	}
	return n
}

func TestTrendAlone(t *testing.T) {
	d, p := sheetOf(t, .8, steady(t))
	if p.Size != Wide {
		t.Errorf("size %v, want %v", p.Size, Wide)
	}
	for _, words := range []string{"mm", "thou", "hours of running", "limit 0.8 mm", "8 chances in 10", "20,000"} {
		if _, ok := d.has(words); !ok {
			t.Errorf("no %q among %s", words, d.words())
		}
	}
	if n := d.dotsOf("#1F2630"); n != 3 {
		t.Errorf("%d dots, want one for each of 3 readings", n)
	}
	if !strings.Contains(d.words(), "now about 0.4") {
		t.Errorf("the level now is not said: %s", d.words())
	}
	// A reading stands where its hours and its size are on the axes.
	x0, x1 := d.tick(t, "0"), d.tick(t, "20,000")
	y0, y1 := d.tick(t, "0.0"), d.tick(t, "0.4")
	last := d.dots[2]
	if want := x0.x + (x1.x-x0.x)*25000/20000; math.Abs(last.x-want) > .2 {
		t.Errorf("the last reading is at %.1f, want %.1f", last.x, want)
	}
	if want := y0.y + (y1.y-y0.y)*.44/.4 + 3.5; math.Abs(last.y-want) > .2 {
		t.Errorf("the last reading is at height %.1f, want %.1f", last.y, want)
	}
}

// tick finds an axis figure.
func (d drawn) tick(t *testing.T, words string) mark {
	t.Helper()
	m, ok := d.has(words)
	if !ok {
		t.Fatalf("no figure %q among %s", words, d.words())
	}
	return m
}

// What is not known is left out, and nothing runs off the picture.
func TestTrendOdd(t *testing.T) {
	none := math.NaN()
	change := steady(t)
	change.Changed = 12000
	doubt := steady(t)
	doubt.Parts[0].Readings[1].Doubtful = true
	repaired := steady(t)
	repaired.Parts = append([]TrendPart{{Start: .1, Readings: []TrendReading{{Hours: 100, Size: .2, SD: .03}}}}, repaired.Parts...)
	repaired.Parts[1].From, repaired.Parts[1].Work = 200, "repaired"
	repaired.Parts[1].Readings = repaired.Parts[1].Readings[1:]
	over := ran(t, "over", [2]float64{0, .5}, [2]float64{9000, .9}, [2]float64{20000, 1.2})
	over.Over = true
	fallen := steady(t)
	fallen.Parts[0].Level = func(h float64) float64 { return .4 - h/1e6 }
	late := steady(t)
	late.Early, late.Likely, late.Late = none, none, none
	nothing := Trend{Name: "nothing", Now: 5000, Parts: []TrendPart{{From: 5000, Start: none, Work: "repaired"}},
		Changed: none, Early: none, Likely: none, Late: none}
	odd := map[string]struct {
		of   Trend
		want string
	}{
		"one reading": {ran(t, "one", [2]float64{3000, .2}), "now about 0.2"}, "at 0 hours": {ran(t, "zero", [2]float64{0, 0}), "now about"},
		"falling": {ran(t, "falling", [2]float64{0, .3}, [2]float64{9000, .25}), "now about"}, "changed": {change, "rate changed"},
		"doubtful": {doubt, "now about"}, "repaired": {repaired, "repaired at 200 h"}, "over": {over, "limit 0.8 mm"},
		"heals": {fallen, "now about"}, "far": {late, "now about"}, "nothing": {nothing, "Nothing is measured: no level, no forecast."},
	}
	dir := os.Getenv("ENDSHAKE_SHOTS")
	var all []Trend
	for name, o := range odd {
		d, p := sheetOf(t, .8, o.of)
		if !strings.Contains(d.words(), o.want) {
			t.Errorf("%s: no %q among %s", name, o.want, d.words())
		}
		sheetOf(t, none, o.of)
		all = append(all, o.of)
		if dir != "" {
			data, err := p.PNG(2)
			if err == nil {
				err = os.WriteFile(filepath.Join(dir, "trend-"+strings.ReplaceAll(name, " ", "-")+".png"), data, 0o644)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	sheetOf(t, .8, all...)
	hollow, _ := sheetOf(t, .8, doubt)
	full, _ := sheetOf(t, .8, steady(t))
	if hollow.dotsOf("#FBF8F1") != full.dotsOf("#FBF8F1")+1 {
		t.Error("the doubtful reading is not hollow")
	}
	if d, _ := sheetOf(t, .8); !strings.Contains(d.words(), "No point") {
		t.Errorf("without a point it says %q", d.words())
	}
}

// Several points share one scale, and of very many only so many are drawn.
func TestTrendsTogether(t *testing.T) {
	var all []Trend
	for i := range 30 {
		one := steady(t)
		one.Name = fmt.Sprint("point ", i, strings.Repeat(" long", i))
		all = append(all, one)
	}
	for _, n := range []int{2, 3, 5, 24, 30} {
		d, p := sheetOf(t, .8, all[:n]...)
		if got := d.dotsOf("#1F2630"); got != 3*min(n, MostTrends) {
			t.Errorf("%d points: %d dots, want 3 each of up to %d", n, got, MostTrends)
		}
		if p.Size.Width > 900 || p.Size.Height > 1600 {
			t.Errorf("%d points: %v is too large for a page", n, p.Size)
		}
	}
	// The same history is as high and as far along in every panel.
	d, _ := sheetOf(t, .8, steady(t), steady(t))
	if a, b := d.dots[0], d.dots[3]; math.Abs(b.x-a.x-trendWidth) > .01 || math.Abs(b.y-a.y) > .01 {
		t.Errorf("two panels put the same reading at %v and %v", a, b)
	}
}

// The PDF is one page of the picture's size with its colours as they are and
// one font, and every letter that the font has.
func TestPDF(t *testing.T) {
	one := steady(t)
	p := Trends([]Trend{one}, TrendUnit{Name: "µm тест"}, .8, "Readings", "What they lead to.")
	data, err := p.PDF()
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Contains(data, []byte("/MediaBox [0 0 760.00 400.00]")) && !bytes.Contains(data, []byte("/MediaBox [0 0 760 400]")) {
		t.Errorf("the page is not 760 by 400: %q", regexp.MustCompile(`/MediaBox[^\n]*`).Find(data))
	}
	if n := bytes.Count(data, []byte("/FontFile2")); n != 1 {
		t.Errorf("%d fonts are in the file, want 1", n)
	}
	var page string
	for _, s := range regexp.MustCompile(`(?s)stream\n(.*?)\nendstream`).FindAllSubmatch(data, -1) {
		if z, err := zlib.NewReader(bytes.NewReader(s[1])); err == nil {
			if text, err := io.ReadAll(z); err == nil && bytes.Contains(text, []byte(" rg")) {
				page = string(text)
			}
		}
	}
	if !strings.Contains(page, "0.498 0.322 0.106 rg") {
		t.Error("the bands are not of brass, #7F521B")
	}
	if !strings.Contains(page, "(\x00\xb5\x00m\x00 \x04\x42\x04\x35\x04\x41\x04\x42)") { // UTF-16, as PDF has it
		t.Error("the unit's letters are not those that it is written in")
	}
}
