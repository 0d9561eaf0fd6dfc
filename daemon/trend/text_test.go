package trend

import (
	"context"
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"
)

// Figures have three digits, or all before the point; hours have their thousands
// apart; what is no figure is a dash.
func TestFigures(t *testing.T) {
	for _, tt := range []struct{ got, want string }{
		{figure(0), "0"}, {figure(.0123456), "0.0123"}, {figure(1.23456), "1.23"}, {figure(99.96), "100.0"}, {figure(123.456), "123"},
		{figure(-.5), "-0.500"}, {figure(12345), "12345"}, {figure(1.5e7), "1.5e+07"}, {figure(2e-6), "2e-06"}, {figure(math.NaN()), "–"}, {figure(math.Inf(1)), "–"},
		{grouped(0), "0"}, {grouped(7.25), "7.25"}, {grouped(999), "999"}, {grouped(1000), "1,000"}, {grouped(1234567.6), "1,234,568"}, {grouped(123.4), "123"},
		{percent(.833), "83 %"}, {percent(1), "100 %"}, {percent(none), "–"},
		{shortest(.8), "0.8"}, {shortest(1e-9), "1e-09"}, {shortest(1.0 / 3), "0.333333"},
		{count(1, "point"), "1 point"}, {count(0, "point"), "0 points"}, {count(1200, "point"), "1,200 points"},
		{speed(true), "speeds up"}, {speed(false), "slows down"},
		{quote("a\x00"), `"a\x00"`}, {quote(strings.Repeat("b", 41)), `"` + strings.Repeat("b", 40) + `"…`},
	} {
		if tt.got != tt.want {
			t.Errorf("got %q, want %q", tt.got, tt.want)
		}
	}
	for _, tt := range []struct{ h, down, near float64 }{{57.25, 57.25, 57.25}, {126400, 126000, 126000}, {126600, 126000, 127000}, {100, 100, 100}, {99999, 99900, 100000}} {
		if down, near := roundHours(tt.h, math.Floor), roundHours(tt.h, math.Round); down != tt.down || near != tt.near {
			t.Errorf("%v h is rounded to %v and %v, want %v and %v", tt.h, down, near, tt.down, tt.near)
		}
	}
}

// What the table says of a crossing, from what is known of it.
func TestCrossingCells(t *testing.T) {
	for _, tt := range []struct {
		name string
		c    *Cross
		next Num
		want string
	}{
		{"no level", nil, none, "not known||now"},
		{"over", &Cross{1000, 1000, 1000, true, false}, 1000, "already||now"},
		{"ahead", &Cross{20000, 30000, 45670, false, false}, 9876, "30,000 h|20,000 to 45,700 h|9,870 h"},
		{"early now", &Cross{1000, 30000, 45670, false, false}, 1000, "30,000 h|now to 45,700 h|now"},
		{"late too far", &Cross{20000, 30000, none, false, true}, 15500, "30,000 h|20,000 to too far to say|15,500 h"},
		{"likely too far", &Cross{20000, none, none, false, true}, 15500, "too far to say|20,000 to too far to say|15,500 h"},
		{"all too far", &Cross{none, none, none, false, true}, none, "too far to say||too far to say"},
		{"rounded to before now", &Cross{1003, 1010, 1020, false, false}, 1004, "1,010 h|1,000 to 1,020 h|1,001 h"},
	} {
		p := &Point{Hours: 1001, Crossing: tt.c, NextMeasurement: tt.next}
		if tt.name == "over" || tt.name == "early now" {
			p.Hours = 1000
		}
		if got := strings.Join(crossingCells(p), "|"); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

// The columns stand below one another, as wide as they must be.
func TestAligned(t *testing.T) {
	got := aligned([]string{"a\tbb\tnote", "longer\tb\t", "ä\tb\tlast"})
	want := "a       bb  note\nlonger  b\nä       b   last\n"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// A line of the table and the point in JSON say the same.
func TestWordsAreTheFigures(t *testing.T) {
	r := answer(t, fleet(t), Options{Limit: "0.8", At: []float64{60000}})
	lines := strings.Split(asText(t, r), "\n")
	at := func(line, column string) string {
		i := utf8.RuneCountInString(lines[0][:strings.Index(lines[0], column)])
		cell, _, _ := strings.Cut(string([]rune(line)[i:]), "  ")
		return cell
	}
	for i, p := range r.Points {
		line := lines[i+1]
		if at(line, "point") != p.Point || at(line, "group") != p.Group {
			t.Errorf("line %d is of %q in %q, want %q in %q", i+2, at(line, "point"), at(line, "group"), p.Point, p.Group)
		}
		if got, err := strconv.ParseFloat(at(line, "a 1000 h"), 64); err != nil || off(p.Rate, got, .006*got) {
			t.Errorf("%s: a rate of %v, want %v", p.Point, got, p.Rate)
		}
		likely, _, _ := strings.Cut(at(line, "at 60,000 h"), " ")
		if got, err := strconv.ParseFloat(likely, 64); p.At[0].Mean.Real() && (err != nil || off(p.At[0].Q50, got, .006*got)) {
			t.Errorf("%s: at 60,000 h %v, want %v", p.Point, got, p.At[0].Q50)
		}
		if again := strings.Contains(line, "read again"); again != (len(p.Doubtful) > 0) {
			t.Errorf("%s: read again: %v, doubtful: %v", p.Point, again, p.Doubtful)
		}
		if changed := strings.Contains(line, "rate changed"); changed != p.Change.AfterHours.Real() {
			t.Errorf("%s: changed: %v, after %v", p.Point, changed, p.Change.AfterHours)
		}
	}
}

// Without a group there is no column of groups; with several there is.
func TestGroupsColumn(t *testing.T) {
	for csv, want := range map[string]bool{head + "a,,0,0.1\n": false, head + "a,g,0,0.1\nb,g,0,0.1\n": false, head + "a,g,0,0.1\nb,h,0,0.1\n": true} {
		text := asText(t, answer(t, csv, Options{}))
		first, _, _ := strings.Cut(text, "\n")
		if strings.Contains(first, "group") != want {
			t.Errorf("%q: head %q", csv, first)
		}
	}
}

// Of too few points the answer says what stands in for what they would teach.
func TestUntaught(t *testing.T) {
	csv := head + "a,g,0,0.1\na,g,9000,0.2\n"
	for text, r := range map[string]answered{
		"a rough starting value of":           answer(t, csv, Options{}),
		"the middle of what these points did": answer(t, csv, Options{Plain: true, Unit: "dB"}),
	} {
		if got := asText(t, r); !strings.Contains(got, text) || strings.Contains(got, "Learned from") {
			t.Errorf("no %q in:\n%s", text, got)
		}
	}
	if _, err := Run(context.Background(), strings.NewReader(csv), Options{Unit: "mm", TrackRecord: true, Folds: 2}); err != nil {
		t.Errorf("a track record of one point: %v", err)
	}
}
