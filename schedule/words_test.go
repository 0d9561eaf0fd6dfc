package schedule

import (
	"math"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func TestDays(t *testing.T) {
	for _, tt := range []struct {
		n    int
		want string
	}{
		{0, "0 days"}, {1, "1 day"}, {-1, "1 day"}, {12, "12 days"}, {20, "20 days"}, {21, "3 weeks"}, {-21, "3 weeks"}, {30, "4 weeks"}, {69, "10 weeks"},
		{70, "2 months"}, {90, "3 months"}, {182, "6 months"}, {365, "12 months"}, {729, "24 months"}, {730, "2 years"}, {1461, "4 years"}, {36500, "100 years"},
	} {
		if got := Days(tt.n); got != tt.want {
			t.Errorf("%d: got %q, want %q", tt.n, got, tt.want)
		}
	}
	for n := range 40000 {
		if s := Days(n); strings.HasPrefix(s, "0 ") && n > 0 || strings.HasPrefix(s, "1 ") && strings.HasSuffix(s, "s") {
			t.Fatalf("%d: %q", n, s)
		}
	}
}

func TestEveryWords(t *testing.T) {
	for n, want := range map[int]string{
		1: "day", 7: "7 days", 14: "2 weeks", 30: "30 days", 42: "6 weeks", 70: "70 days", 90: "90 days", 182: "182 days",
		364: "364 days", 365: "year", 366: "366 days", 730: "2 years", 1461: "1,461 days", 3650: "10 years",
	} {
		if got := everyWords(n); got != want {
			t.Errorf("%d: got %q, want %q", n, got, want)
		}
	}
}

func TestThousands(t *testing.T) {
	for _, tt := range []struct {
		v    float64
		want string
	}{
		{0, "0"}, {0.4, "0"}, {-0.4, "0"}, {999, "999"}, {999.6, "1,000"}, {1000, "1,000"}, {26298, "26,298"}, {56940, "56,940"},
		{350400, "350,400"}, {1e6, "1,000,000"}, {-12.7, "−13"}, {-56940, "−56,940"}, {123456789, "123,456,789"},
	} {
		if got := Thousands(tt.v); got != tt.want {
			t.Errorf("%v: got %q, want %q", tt.v, got, tt.want)
		}
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if got := Thousands(v); got != "not known" {
			t.Errorf("%v: got %q", v, got)
		}
	}
}

func TestSpanWords(t *testing.T) {
	for _, tt := range []struct {
		d    time.Duration
		want string
	}{
		{0, "0 hours"}, {time.Hour, "1 hour"}, {100 * time.Minute, "2 hours"}, {hour30, "30 hours"}, {71 * time.Hour, "71 hours"}, {72 * time.Hour, "3 days"},
		{days8, "8 days"}, {days8 + 12*time.Hour, "8.5 days"}, {380 * 24 * time.Hour, "12 months"}, {1234 * 24 * time.Hour, "3 years"},
	} {
		if got := spanWords(tt.d); got != tt.want {
			t.Errorf("%v: got %q, want %q", tt.d, got, tt.want)
		}
	}
}

func TestWhat(t *testing.T) {
	for _, tt := range []struct {
		task Task
		want string
	}{
		{Task{Kind: Oiling}, "oiling"},
		{Task{Kind: Winding, About: "going train"}, "winding of the going train"},
		{Task{Kind: Measuring, About: "3 bearings due together"}, "measuring of the 3 bearings due together"},
		{Task{Kind: NearLimit, About: "centre arbor, front bush"}, "work on the centre arbor, front bush"},
		{Task{Kind: NearLimit}, "near its limit"},
	} {
		if got := tt.task.What(); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
	for _, tt := range []struct{ bearing, arbor, want string }{
		{"front bush", "centre arbor", "centre arbor, front bush"}, {"", "centre arbor", "centre arbor"}, {"front bush", "", "front bush"},
		{"centre arbor front", "centre arbor", "centre arbor front"}, {"", "", ""},
	} {
		if got := NameOf(tt.bearing, tt.arbor); got != tt.want {
			t.Errorf("%q on %q: got %q, want %q", tt.bearing, tt.arbor, got, tt.want)
		}
	}
	for in, want := range map[string]string{"": "", "a": "A", "élan": "Élan", "A b": "A b", "9 x": "9 x"} {
		if got := Capital(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
	for in, want := range map[string]string{"": "", " ": "", "a": " (a)", "Twice.": " (Twice)"} {
		if got := inBrackets(in); got != want {
			t.Errorf("%q: got %q, want %q", in, got, want)
		}
	}
}

func TestNamesAndNumbers(t *testing.T) {
	for want, words := range map[string][]string{"": nil, "a": {"a"}, "a and b": {"a", "b"}, "a, b and c": {"a", "b", "c"},
		"Hall, Upper End; Hall; and Mill": {"Hall, Upper End", "Hall", "Mill"}, "a; and b, c": {"a", "b, c"}} {
		if got := And(words); got != want {
			t.Errorf("%v: got %q, want %q", words, got, want)
		}
	}
	for n, want := range map[int]string{-1: "−1 clocks", 0: "0 clocks", 1: "1 clock", 12: "12 clocks", 12047: "12,047 clocks"} {
		if got := Count(n, "clock", "clocks"); got != want {
			t.Errorf("%d: got %q, want %q", n, got, want)
		}
	}
	for _, tt := range []struct {
		train wear.Train
		want  string
	}{{wear.Train{Name: "quarters", Kind: wear.Chime}, "quarters"}, {wear.Train{Kind: wear.Strike}, "strike train"}} {
		if got := NameOfTrain(tt.train); got != tt.want {
			t.Errorf("got %q, want %q", got, tt.want)
		}
	}
}

func TestCaution(t *testing.T) {
	const end = "Local rules and licensed people decide."
	for _, tt := range []struct {
		name    string
		kind    TaskKind
		site    Site
		hazards []Hazard
		holds   []string
	}{
		{"nothing special", Winding, Site{}, nil, []string{"never stand under the weights"}},
		{"the site's own", Oiling, Site{Caution: " Loose boards.. "}, nil, []string{"Stop and hold the train", "Loose boards."}},
		{"a site's dots", Oiling, Site{Caution: "."}, nil, nil},
		{"radium and birds", Inspection, Site{}, []Hazard{Radium, BirdDirt}, []string{"radiation authority", "fitted FFP3 or P3 mask"}},
		{"unknown hazard", Measuring, Site{}, []Hazard{"ghosts"}, []string{"barrel blocked"}},
		{"unknown kind", "dusting", Site{}, nil, nil},
	} {
		got := Caution(tt.kind, tt.site, tt.hazards)
		if !strings.HasSuffix(got, end) || strings.Contains(got, "..") || strings.Contains(got, "  ") || strings.Contains(got, " . ") || strings.HasPrefix(got, " ") {
			t.Errorf("%s: %q", tt.name, got)
		}
		for _, want := range tt.holds {
			if !strings.Contains(got, want) {
				t.Errorf("%s: %q does not say %q", tt.name, got, want)
			}
		}
	}
	for kind, full := range taskWords {
		got := Caution(kind, Site{}, []Hazard{HeavyFall})
		if n := strings.Count(strings.ToLower(got), "never stand under"); n != 1 {
			t.Errorf("%s: with heavy weights %d times never stand under: %q", kind, n, got)
		}
		for _, part := range strings.Split(strings.TrimRight(full, "."), "; ") {
			if !strings.HasPrefix(part, "never stand under") && part != "and let nobody be below it" && !strings.Contains(got, part) {
				t.Errorf("%s: %q is lost: %q", kind, part, got)
			}
		}
	}
	all := []Hazard{Radium, LeadPaint, Asbestos, BirdDirt, Height, Mains, Bells, HeavyFall}
	if got := Caution(Winding, Site{}, all); strings.Count(got, ". ") < len(all) || len(all) != len(hazardWords) {
		t.Errorf("all hazards: %q", got)
	}
}

func TestSentences(t *testing.T) {
	x := Task{Kind: Winding, About: "going train", From: d("2026-03-07"), Due: d("2026-03-09"), Latest: d("2026-03-10")}
	for _, tt := range []struct {
		today string
		want  string
	}{
		{"2026-03-01", "Next: winding of the going train, from 7 Mar 2026."},
		{"2026-03-07", "Winding of the going train may be done now, and is due on 9 Mar 2026."},
		{"2026-03-10", "Winding of the going train is due now, by 10 Mar 2026."},
		{"2026-03-11", "Winding of the going train is 1 day late."},
		{"2026-06-11", "Winding of the going train is 3 months late."},
	} {
		x.State = stateOn(d(tt.today), x)
		if got := sentenceOf(x, d(tt.today)); got != tt.want {
			t.Errorf("%s: got %q, want %q", tt.today, got, tt.want)
		}
	}
}
