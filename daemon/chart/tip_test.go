package chart

import (
	"encoding/xml"
	"fmt"
	"math"
	"strings"
	"testing"

	"endshake/schedule"
)

// tipped are the places of an SVG that tell something, read as XML.
func tipped(t *testing.T, svg string) (tips []struct {
	X      float64 `xml:"x,attr"`
	Y      float64 `xml:"y,attr"`
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Fill   string  `xml:"fill,attr"`
	Title  string  `xml:"title"`
}) {
	t.Helper()
	var doc struct {
		Rects []struct {
			X      float64 `xml:"x,attr"`
			Y      float64 `xml:"y,attr"`
			Width  float64 `xml:"width,attr"`
			Height float64 `xml:"height,attr"`
			Fill   string  `xml:"fill,attr"`
			Title  string  `xml:"title"`
		} `xml:"rect"`
	}
	if err := xml.Unmarshal([]byte(svg), &doc); err != nil {
		t.Fatal(err)
	}
	for _, r := range doc.Rects {
		if r.Title != "" {
			tips = append(tips, r)
		}
	}
	return tips
}

// A pointer on a reading is told its value in both systems, its day and who took
// it, and on the fan what is to be expected at each New Year; nothing of it is
// drawn, and each lies on its own dot.
func TestTips(t *testing.T) {
	o := worn(t)
	o.Parts[len(o.Parts)-1].Readings[0].By = "ida"
	p := Bearing(o, now, utc, Wide)
	p.Name = func(slug string) string { return "<" + slug + "> & co" }
	svg := p.SVG()
	d := takeApart(t, svg)
	tips := tipped(t, svg)
	words := map[string]bool{}
	years := 0
	for _, tip := range tips {
		words[tip.Title] = true
		if tip.Fill != "none" || tip.X < -reach || tip.Y < -reach || tip.X+tip.Width > Wide.Width+reach || tip.Y+tip.Height > Wide.Height+reach {
			t.Errorf("%q is drawn, or lies outside: %+v", tip.Title, tip)
		}
		if strings.HasPrefix(tip.Title, "1 Jan ") {
			years++
			var y int
			var low, high float64
			_, between, _ := strings.Cut(tip.Title, "between ")
			if _, err := fmt.Sscanf(tip.Title, "1 Jan %d:", &y); err != nil || y <= now.Year() {
				t.Errorf("%q: %v", tip.Title, err)
			}
			at := schedule.Date{Year: y, Month: 1, Day: 1}.Start(utc)
			if _, err := fmt.Sscanf(between, "%f and %f mm", &low, &high); err != nil || math.Abs(low-levelAt(o, at, .1)) > .02 || math.Abs(high-levelAt(o, at, .9)) > .02 {
				t.Errorf("%q: %v; the forecast itself says %.3f and %.3f", tip.Title, err, levelAt(o, at, .1), levelAt(o, at, .9))
			}
			continue
		}
		cx, cy := tip.X+tip.Width/2, Wide.Height-tip.Y-tip.Height/2
		near := false
		for _, dot := range d.dots {
			near = near || math.Hypot(dot.x-cx, dot.y-cy) < 0.5
		}
		if !near {
			t.Errorf("%q lies on no dot", tip.Title)
		}
	}
	if years < 3 {
		t.Errorf("%d years of the fan tell anything", years)
	}
	n := 0
	for _, part := range o.Parts {
		for _, r := range part.Readings {
			n++
			want := schedule.DateOf(r.At, utc).Words()
			found := false
			for w := range words {
				found = found || strings.Contains(w, want) && strings.Contains(w, r.Reading.Value.String()) && strings.Contains(w, "thou")
			}
			if !found {
				t.Errorf("no place tells of the reading of %s", want)
			}
		}
	}
	if n < 3 || len(tips) != n+years {
		t.Errorf("%d places for %d readings and %d years", len(tips), n, years)
	}
	if !strings.Contains(svg, "&lt;ida&gt; &amp; co") {
		t.Error("who took it is not told, or not escaped")
	}
	for name, o := range broken(t) {
		if svg := Bearing(o, now, utc, Wide).SVG(); strings.Contains(svg, `"NaN"`) || strings.Contains(svg, "Inf") {
			t.Errorf("%s: %s", name, svg)
		}
	}
}
