package chart

import (
	"bytes"
	"image/png"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// broken are outlooks that no clock should give, but that a picture must
// survive: figures that are no numbers, and facts in a wrong order.
func broken(t testing.TB) map[string]schedule.Outlook {
	out := map[string]schedule.Outlook{}
	for name, change := range breaks {
		o := repaired(t)
		o.Parts = slices.Clone(o.Parts)
		for i := range o.Parts {
			o.Parts[i].Readings = slices.Clone(o.Parts[i].Readings)
		}
		change(&o)
		out[name] = o
	}
	return out
}

var (
	nan   = math.NaN()
	inf   = math.Inf(1)
	today = schedule.DateOf(now, utc)
	far   = schedule.Date{Year: 9999, Month: 12, Day: 31}
)

// breaks are the ways to break an outlook of two parts.
var breaks = map[string]func(*schedule.Outlook){
	"readings of one instant": func(o *schedule.Outlook) {
		for i := range o.Parts[1].Readings {
			o.Parts[1].Readings[i].At = now
		}
	},
	"a reading not a number":     func(o *schedule.Outlook) { o.Parts[1].Readings[0].Value, o.Parts[1].Readings[0].SD = nan, nan },
	"an endless reading":         func(o *schedule.Outlook) { o.Parts[1].Readings[1].Value = inf },
	"doubts beyond all bounds":   func(o *schedule.Outlook) { o.Parts[1].Readings[0].Doubt, o.Parts[1].Readings[1].Doubt = 7, nan },
	"changed, nobody knows when": func(o *schedule.Outlook) { o.Changed = far },
	"readings out of order":      func(o *schedule.Outlook) { slices.Reverse(o.Parts[0].Readings) },
	"a reading ahead of now":     func(o *schedule.Outlook) { o.Parts[1].Readings[1].At = now.AddDate(3, 0, 0) },
	"a reading of the year 1":    func(o *schedule.Outlook) { o.Parts[0].Readings[0].At = time.Time{} },
	"a reading below nothing":    func(o *schedule.Outlook) { o.Parts[1].Readings[0].Value = -.5 },
	"a reading of a metre":       func(o *schedule.Outlook) { o.Parts[1].Readings[0].Value = 1000 },
	"a part fitted ahead of now": func(o *schedule.Outlook) { o.Parts[1].From = now.AddDate(1, 0, 0) },
	"parts out of order":         func(o *schedule.Outlook) { slices.Reverse(o.Parts) },
	"a part without readings":    func(o *schedule.Outlook) { o.Parts[1].Readings = nil },
	"a start not a number":       func(o *schedule.Outlook) { o.Parts[1].Start = &wear.Level{Mean: nan, SD: 0} },
	"no parts":                   func(o *schedule.Outlook) { o.Parts = nil },
	"limits of nothing": func(o *schedule.Outlook) {
		o.Watch, o.Act, o.Limit = limit(0), limit(0), limit(0)
	},
	"limits the wrong way round": func(o *schedule.Outlook) { o.Watch, o.Act = limit(.8), limit(.6) },
	"a limit of a kilometre":     func(o *schedule.Outlook) { o.Act = limit(1e6) },
	"a limit below nothing":      func(o *schedule.Outlook) { o.Act = limit(-1) },
	"late before early": func(o *schedule.Outlook) {
		o.Dated, o.Early, o.Likely, o.Late = true, today.Add(4000), today.Add(2000), today.Add(10)
	},
	"early without late": func(o *schedule.Outlook) {
		o.Dated, o.Early, o.Likely, o.Late = true, today.Add(40), today.Add(20), schedule.Date{}
	},
	"dates long past": func(o *schedule.Outlook) {
		o.Dated, o.Early, o.Likely, o.Late = true, today.Add(-90000), today.Add(-80000), today.Add(-70000)
	},
	"dates of the year 9999":    func(o *schedule.Outlook) { o.Dated, o.Early, o.Likely, o.Late = true, far, far, far },
	"known, but nothing learnt": func(o *schedule.Outlook) { o.Wear = wear.Posterior{} },
	"no words": func(o *schedule.Outlook) {
		o.Sentence, o.Bearing.Name, o.Bearing.Shake, o.Parts[1].Work = "", "", "", ""
	},
	"long words": func(o *schedule.Outlook) {
		o.Bearing.Name, o.Parts[1].Work = strings.Repeat("long ", 400), schedule.RepairWork(strings.Repeat("work ", 100))
	},
}

// Whatever the facts, the SVG is XML without a NaN, and nothing panics.
func TestDegenerateOutlooksAreValidSVG(t *testing.T) {
	all := odd(t)
	for name, o := range broken(t) {
		all[name] = o
	}
	_, after := supposed(t, schedule.Change{Washer: wear.FromMM(.2)})
	for name, o := range all {
		for what, p := range map[string]Picture{
			"if done": WhatIf(o, after, now, utc, Wide), "done to": WhatIf(worn(t), o, now, nil, Narrow),
			"wide": Bearing(o, now, utc, Wide), "narrow": Bearing(o, now, nil, Narrow), "trend": Spark(o, now),
			"before everything": Bearing(o, now.AddDate(-40, 0, 0), utc, Wide), "long after": Bearing(o, now.AddDate(80, 0, 0), utc, Narrow),
		} {
			svg := p.SVG()
			d := takeApart(t, svg)
			if len(d.names) < 4 || d.title == "" || d.desc == "" {
				t.Errorf("%s, %s: %d elements, title %q, desc %q", name, what, len(d.names), d.title, d.desc)
			}
			if tags := tagsOf(svg); strings.Contains(tags, "NaN") || strings.Contains(tags, "Inf") {
				t.Errorf("%s, %s: there is a NaN or an Inf among the attributes", name, what)
			}
			if len(svg) > 1<<18 {
				t.Errorf("%s, %s: %d bytes", name, what, len(svg))
			}
		}
	}
}

// tagsOf is an SVG without its words: the tags alone.
func tagsOf(svg string) string {
	var b strings.Builder
	for _, s := range strings.Split(svg, "<")[1:] {
		tag, _, _ := strings.Cut(s, ">")
		b.WriteString(tag + "\n")
	}
	return b.String()
}

// Every picture decodes as PNG, of the size that it says.
func TestPNGOfEveryPicture(t *testing.T) {
	pictures := map[string]Picture{
		"year": yearOf(Wide, task(schedule.Oiling, "", schedule.Open, -10, 20, 40)), "empty year": yearOf(Narrow),
		"trend": Spark(worn(t), now), "worn": Bearing(worn(t), now, utc, Narrow), "odd size": Bearing(worn(t), now, utc, Size{1001.5, 333.3}),
	}
	for name, o := range broken(t) {
		pictures[name] = Bearing(o, now, utc, Narrow)
	}
	for name, p := range pictures {
		data, err := p.PNG(1)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		img, err := png.Decode(bytes.NewReader(data))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		b := img.Bounds()
		if math.Abs(float64(b.Dx())-p.Size.Width) > 1 || math.Abs(float64(b.Dy())-p.Size.Height) > 1 {
			t.Errorf("%s: %v pixels for %v", name, b, p.Size)
		}
		if r, g, bl, _ := img.At(b.Max.X-1, b.Min.Y).RGBA(); r>>8 != 0xFB || g>>8 != 0xF8 || bl>>8 != 0xF1 {
			t.Errorf("%s: the corner is %x %x %x, want paper", name, r>>8, g>>8, bl>>8)
		}
	}
}

// The same facts give the same bytes: a picture may be kept by its hash.
func TestDrawingIsRepeatable(t *testing.T) {
	for name, o := range odd(t) {
		if once, again := Bearing(o, now, utc, Wide).SVG(), Bearing(o, now, utc, Wide).SVG(); once != again {
			t.Errorf("%s: two drawings differ", name)
		}
	}
	p := Bearing(worn(t), now, utc, Wide)
	one, err1 := p.PNG(1)
	two, err2 := p.PNG(1)
	if first := p.SVG(); err1 != nil || err2 != nil || !bytes.Equal(one, two) || first != p.SVG() {
		t.Errorf("two drawings of one picture differ (%v, %v)", err1, err2)
	}
}

func TestSizesThatNothingFitsOn(t *testing.T) {
	for _, tc := range []struct{ in, want Size }{
		{Wide, Wide}, {Narrow, Narrow}, {Size{}, Narrow}, {Size{-1, 400}, Narrow}, {Size{760, math.NaN()}, Narrow}, {Size{math.Inf(1), 400}, Narrow},
		{Size{6000, 400}, Narrow}, {Size{5000, 5000}, Size{5000, 5000}}, {Size{290, 400}, Narrow},
	} {
		if got := Bearing(worn(t), now, utc, tc.in).Size; got != tc.want {
			t.Errorf("%v becomes %v, want %v", tc.in, got, tc.want)
		}
		if got := yearOf(tc.in).Size; got.Width != tc.want.Width {
			t.Errorf("a year on %v is %v wide, want %v", tc.in, got.Width, tc.want.Width)
		}
	}
}

// Names stay words, whatever they are made of, and the picture stays XML.
func FuzzNames(f *testing.F) {
	for _, s := range []string{"front bush", `</title><script>`, "\x00\u202e\ufffe", `" style="x`, "]]>", "&amp;&#0;", "\xff\xfe", strings.Repeat("é", 300)} {
		f.Add(s, s)
	}
	o := repaired(f)
	f.Fuzz(func(t *testing.T, name, sentence string) {
		o := o
		o.Bearing.Name, o.Sentence = name, sentence
		d := takeApart(t, Bearing(o, now, utc, Wide).SVG())
		for _, e := range d.names {
			if !slices.Contains([]string{"svg", "title", "desc", "g", "path", "text", "rect"}, e) {
				t.Errorf("a name brought a <%s>", e)
			}
		}
		if len([]rune(d.title)) > 120 {
			t.Errorf("the title has %d letters", len([]rune(d.title)))
		}
		takeApart(t, Year(schedule.Assessment{Clock: schedule.Clock{Name: name}, Now: now, Zone: utc,
			Tasks: []schedule.Task{task(schedule.Measuring, name, schedule.Open, -3, 4, 9)}}, Wide).SVG())
	})
}
