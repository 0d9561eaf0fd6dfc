package schedule

import (
	"strings"
	"testing"

	"endshake/wear"
)

// said is what is said of an outlook on a day.
func said(o Outlook, today string, parts ...Part) forecast {
	if len(parts) == 0 {
		parts = []Part{{}}
	}
	o.Parts = parts
	return forecast{o: &o, memo: &memo{}, today: d(today), a: &Assessment{Zone: utc(today).Location()}}
}

// readOn is a part read on days at sizes in mm.
func readOn(sizes []float64, days ...string) Part {
	var p Part
	for i, day := range days {
		p.Readings = append(p.Readings, Point{At: utc(day), Value: sizes[i], Reading: wear.Reading{Value: mm(sizes[i])}})
	}
	return p
}

// Each state of knowledge has its own sentence, and the most pressing wins.
func TestSentenceOfEachState(t *testing.T) {
	two := readOn([]float64{0.20, 0.24}, "2022-01-01", "2023-01-01")
	past := readOn([]float64{0.20, 0.40}, "2022-01-01", "2023-01-01")
	base := Outlook{Known: true, Taught: true, Ahead: true, Limit: limitAt(0.35), Measure: d("2024-01-01"), seen: d("2023-01-01"), Level: wear.Level{Mean: 0.2449, SD: 0.01}}
	with := func(change func(*Outlook)) Outlook {
		o := base
		change(&o)
		return o
	}
	dates := func(early, likely, late string) func(*Outlook) {
		return func(o *Outlook) { o.Dated, o.Early, o.Likely, o.Late = true, d(early), d(likely), d(late) }
	}
	for _, tt := range []struct {
		name string
		o    Outlook
		part Part
		want string
	}{
		{"never measured", with(func(o *Outlook) { o.Known = false }), Part{}, "Never measured, so there is no forecast; measure by January 2024."},
		{"not measured since the work", with(func(o *Outlook) { o.Known = false }), Part{From: utc("2022-05-06"), Work: NewBush}, "Not measured since the work of 6 May 2022, so there is no forecast; measure by January 2024."},
		{"no limit", with(func(o *Outlook) { o.Limit, o.PerYear[1] = nil, 0.0213 }), two, "Now about 0.24 mm (9.4 thou), growing about 0.021 mm (0.84 thou) a year; no limit is set; measure again by January 2024."},
		{"no limit, no rate", with(func(o *Outlook) { o.Limit, o.Taught = nil, false }), two, "0.24 mm (9.4 thou) on 1 Jan 2023; no limit is set; measure again by January 2024."},
		{"fitted, and never read", with(func(o *Outlook) { o.Taught, o.Level.Mean = false, 0.1 }), Part{}, "The readings cannot carry a date for 0.35 mm (13.8 thou) yet (fitted at 0.10 mm, 3.9 thou); measure again by January 2024."},
		{"dated", with(dates("2026-03-01", "2028-01-01", "2031-07-01")), two, "Likely to reach 0.35 mm (13.8 thou) between March 2026 and July 2031 (now about 0.24 mm, 9.4 thou); measure again by January 2024."},
		{"the early date is past", with(dates("2023-05-01", "2024-01-01", "2025-07-01")), two, "May have reached 0.35 mm (13.8 thou) already, and is likely to by July 2025 (now about 0.24 mm, 9.4 thou); measure again by January 2024."},
		{"beyond", with(func(o *Outlook) { o.Beyond = true }), two, "Not expected to reach 0.35 mm (13.8 thou) within 40 years (now about 0.24 mm, 9.4 thou); measure again by January 2024."},
		{"over", with(func(o *Outlook) { o.Over = true }), two, "Probably past its limit of 0.35 mm (13.8 thou) already (now about 0.24 mm, 9.4 thou): plan the work now, and measure again by January 2024."},
		{"the last reading alone is past", base, past, "The last reading is past the limit of 0.35 mm (13.8 thou), but by the others it is not there yet (now about 0.24 mm, 9.4 thou); measure again by January 2024."},
		{"read again", with(func(o *Outlook) { o.ReadAgain, o.Over = true, true }), past, "The reading of 1 Jan 2023, 0.40 mm (15.7 thou), does not fit the others: re-measure before acting, by January 2024 (now about 0.24 mm, 9.4 thou). Without it too the limit of 0.35 mm (13.8 thou) is probably passed."},
		{"read again wins over a change", with(func(o *Outlook) { o.ReadAgain, o.Changed = true, d("2022-01-01") }), past, "The reading of 1 Jan 2023, 0.40 mm (15.7 thou), does not fit the others: re-measure before acting, by January 2024 (now about 0.24 mm, 9.4 thou)."},
		{"changed", with(func(o *Outlook) { o.Changed = d("2022-01-01") }), two, "The readings cannot carry a date for 0.35 mm (13.8 thou) yet (now about 0.24 mm, 9.4 thou); measure again by January 2024. The rate changed after 1 Jan 2022; after a change the forecast is less sure than it looks."},
		{"due this month", with(func(o *Outlook) { o.Measure = d("2023-06-20") }), two, "The readings cannot carry a date for 0.35 mm (13.8 thou) yet (now about 0.24 mm, 9.4 thou); measure again by 20 Jun 2023."},
		{"due before now", with(func(o *Outlook) { o.Measure = d("2023-05-20") }), two, "The readings cannot carry a date for 0.35 mm (13.8 thou) yet (now about 0.24 mm, 9.4 thou); measure again now, for it was to be read by 20 May 2023."},
	} {
		p := said(tt.o, "2023-06-01", tt.part)
		if got := p.sentence(); got != tt.want {
			t.Errorf("%s:\n got %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

// How sure a forecast is begins with one of three words and says what it rests on.
func TestConfidenceInWords(t *testing.T) {
	start := &wear.Level{Mean: 0.1}
	many := readOn([]float64{0.2, 0.2, 0.2, 0.2}, "2019-01-01", "2020-01-01", "2021-01-01", "2022-01-01")
	dated := Outlook{Known: true, Taught: true, Limit: limitAt(1), Dated: true, seen: d("2022-01-01"), Early: d("2026-01-01"), Likely: d("2027-01-01"), Late: d("2028-01-01")}
	with := func(change func(*Outlook)) Outlook {
		o := dated
		change(&o)
		return o
	}
	for _, tt := range []struct {
		name     string
		o        Outlook
		part     Part
		supposed bool
		want     string
	}{
		{"never measured", Outlook{}, Part{}, false, "weak: never measured"},
		{"one reading", Outlook{Known: true}, readOn([]float64{0.2}, "2021-01-01"), false, "weak: one reading"},
		{"one reading since it was fitted", Outlook{Known: true}, Part{Start: start, Readings: many.Readings[:1]}, false, "weak: one reading since it was fitted"},
		{"several on one day", Outlook{Known: true}, readOn([]float64{0.2, 0.21}, "2021-01-01", "2021-01-01 09:00"), false, "weak: 2 readings on one day"},
		{"read again", with(func(o *Outlook) { o.ReadAgain = true }), many, false, "weak: 4 readings over 3 years, and the last does not fit: re-measure before acting"},
		{"changed", with(func(o *Outlook) { o.Changed = d("2020-01-01") }), many, false, "weak: 4 readings over 3 years, and the rate changed after 1 Jan 2020; after a change the forecast is less sure than it looks"},
		{"no limit", with(func(o *Outlook) { o.Limit = nil }), many, false, "fair: 4 readings over 3 years"},
		{"beyond", with(func(o *Outlook) { o.Beyond = true }), many, false, "fair: 4 readings over 3 years"},
		{"not dated", with(func(o *Outlook) { o.Dated = false }), many, false, "weak: 4 readings over 3 years cannot carry a date"},
		{"over", with(func(o *Outlook) { o.Over = true }), many, false, "fair: 4 readings over 3 years, over the limit more likely than not"},
		{"a narrow band of four", dated, many, false, "firm: 4 readings over 3 years; 8 chances in 10 lie within 2 years"},
		{"of three", dated, Part{Readings: many.Readings[:3]}, false, "fair: 3 readings over 2 years; 8 chances in 10 lie within 2 years"},
		{"a wide band of four", with(func(o *Outlook) { o.Late = d("2036-01-01") }), many, false, "fair: 4 readings over 3 years; 8 chances in 10 lie within 10 years"},
		{"as wide as a working life", with(func(o *Outlook) { o.Late = o.Early.Add(54 * 365) }), many, false, "weak: 4 readings over 3 years; 8 chances in 10 lie within 54 years"},
		{"over, and no doubt of it", with(func(o *Outlook) { o.Over, o.past = true, &past{sure: true} }), many, false, "firm: 4 readings over 3 years, and they leave no doubt that it is over the limit"},
		{"over and changed, and no doubt of it", with(func(o *Outlook) { o.Over, o.Changed, o.past = true, d("2020-01-01"), &past{sure: true} }), many, false, "firm: 4 readings over 3 years, and they leave no doubt that it is over the limit"},
		{"only thought of", dated, Part{}, true, "fair: work that is only thought of, at the rate shown so far; 8 chances in 10 lie within 2 years"},
		{"thought of, and nothing shown", with(func(o *Outlook) { o.Taught = false }), Part{}, true, "fair: work that is only thought of, at a rate that no reading has shown; 8 chances in 10 lie within 2 years"},
	} {
		p := said(tt.o, "2023-06-01", tt.part)
		p.fitted = tt.supposed
		if got := p.confidence(); got != tt.want {
			t.Errorf("%s:\n got %q\nwant %q", tt.name, got, tt.want)
		}
	}
}

// Whatever the log, a sentence is one: it begins with a capital or a figure,
// ends with a stop and prints no slip of a format.
func TestSentencesAreSentences(t *testing.T) {
	for _, sizes := range [][]float64{nil, {0.1}, {0.1, 0.1}, {0.3, 0.2}, {0.1, 0.2, 0.9}, {0, 0, 0}, {0.34, 0.35, 0.36}, {90, 0.1}} {
		for _, now := range []string{"2021-01-02", "2024-01-02", "2060-01-02"} {
			o := outlookOf(t, assess(alone(), book(read(2021, sizes...)...), now), "centre-front")
			for _, s := range []string{o.Sentence, Capital(o.Confidence) + ".", Capital(o.Why) + "."} {
				if s == "" || !strings.HasSuffix(s, ".") || strings.Contains(s, "%!") || strings.Contains(s, "NaN") || strings.Contains(s, "  ") || s != Capital(s) {
					t.Errorf("%v on %s: %q", sizes, now, s)
				}
			}
		}
	}
}
