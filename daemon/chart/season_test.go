package chart

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// months are the words of a strip's top row, in order.
func months(d drawn) []string {
	var out []string
	for _, m := range d.texts {
		for name := time.January; name <= time.December; name++ {
			if strings.HasPrefix(m.word, name.String()[:3]) && len(m.word) <= len("Jan 2027") {
				out = append(out, m.word)
			}
		}
	}
	return out
}

// The strip begins with the month before this one, whatever the month.
func TestYearStripOverAYearEnd(t *testing.T) {
	for _, tc := range []struct{ now, months string }{
		{"2026-12-31T23:59:59Z", "Nov 2026 Dec Jan 2027 Feb Mar Apr May Jun Jul Aug Sep Oct"},
		{"2027-01-01T00:00:00Z", "Dec 2026 Jan 2027 Feb Mar Apr May Jun Jul Aug Sep Oct Nov"},
		{"2027-01-31T12:00:00Z", "Dec 2026 Jan 2027 Feb Mar Apr May Jun Jul Aug Sep Oct Nov"},
		{"2027-02-15T12:00:00Z", "Jan 2027 Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"},
		{"2024-03-31T12:00:00Z", "Feb 2024 Mar Apr May Jun Jul Aug Sep Oct Nov Dec Jan 2025"},
	} {
		at, err := time.Parse(time.RFC3339, tc.now)
		if err != nil {
			t.Fatal(err)
		}
		today := schedule.DateOf(at, utc)
		p := Year(schedule.Assessment{Now: at, Zone: utc, Tasks: []schedule.Task{{Kind: schedule.Oiling, State: schedule.Open,
			From: today.Add(-5), Due: today.Add(3), Latest: today.Add(20)}}}, Wide)
		d := takeApart(t, p.SVG())
		d.sound(t, p)
		if got := strings.Join(months(d), " "); got != tc.months {
			t.Errorf("%s: %s, want %s", tc.now, got, tc.months)
		}
		mark, ok := d.has("today")
		if !ok {
			t.Fatalf("%s: today is not marked", tc.now)
		}
		first := time.Date(at.Year(), at.Month()-1, 1, 0, 0, 0, 0, time.UTC)
		whole := first.AddDate(1, 0, 0).Sub(first).Hours() / 24
		day := math.Floor(at.Sub(first).Hours()/24) + 0.5
		if want := 6 + (760-12)*day/whole; math.Abs(mark.x-want) > 0.1 {
			t.Errorf("%s: today stands at %.1f, want %.1f", tc.now, mark.x, want)
		}
		if c := append(collisions(d), outside(d, p)...); len(c) > 0 {
			t.Errorf("%s: %s", tc.now, strings.Join(c, "; "))
		}
	}
}

// A bar over the New Year is one bar, from its first to its last good day.
func TestABarOverTheNewYear(t *testing.T) {
	bar := schedule.Task{Kind: schedule.Inspection, State: schedule.Open, From: schedule.Date{Year: 2026, Month: 12, Day: 20},
		Due: schedule.Date{Year: 2027, Month: 1, Day: 5}, Latest: schedule.Date{Year: 2027, Month: 1, Day: 19}}
	d := takeApart(t, yearOf(Wide, bar).SVG())
	// Of 365 days from 1 October 2026, 20 December is number 80 and the end of
	// 19 January is number 111.
	x0, x1 := 6+748*80/365.0, 6+748*111/365.0
	if !has(d.xs, x0) || !has(d.xs, x1) {
		t.Errorf("no bar from %.1f to %.1f", x0, x1)
	}
	if d.fills < 2 { // the bar and the scrap under its words
		t.Error("an open task has no filled bar")
	}
	if !strings.Contains(d.desc, "from 20 Dec 2026 to 19 Jan 2027 (open)") {
		t.Errorf("desc %q", d.desc)
	}
}

func has(all []float64, want float64) bool {
	for _, v := range all {
		if math.Abs(v-want) < 0.1 {
			return true
		}
	}
	return false
}

// A resting clock has its tasks drawn hollow, with the word.
func TestARestingClock(t *testing.T) {
	of := func(state schedule.TaskState) []schedule.Task {
		return []schedule.Task{task(schedule.Winding, "going train", state, 3, 5, 8), task(schedule.Oiling, "", state, 100, 120, 140)}
	}
	for _, size := range []Size{Wide, Narrow} {
		year := func(tasks []schedule.Task) (Picture, drawn) {
			p := Year(schedule.Assessment{Clock: schedule.Clock{Name: "Quay clock"}, Now: now, Zone: utc, Resting: true,
				Back: schedule.DateOf(now, utc).Add(120), Tasks: tasks}, size)
			return p, takeApart(t, p.SVG())
		}
		p, d := year(of(schedule.Resting))
		d.sound(t, p)
		for _, want := range []string{"winding, going train: resting", "oiling: resting"} {
			if _, ok := d.has(want); !ok {
				t.Errorf("%v: %q is missing among %s", size, want, d.words())
			}
		}
		if strings.Count(d.desc, "(resting)") != 2 {
			t.Errorf("desc %q", d.desc)
		}
		if _, open := year(of(schedule.Open)); d.fills != open.fills-2 {
			t.Errorf("%v: %d fills where the same tasks have %d when open: resting bars must be hollow", size, d.fills, open.fills)
		}
		for _, m := range d.lines {
			if m.word == "#9C1F2E" {
				t.Errorf("%v: a resting task is drawn as late", size)
			}
		}
	}
}

// Each state has its look: late in the colour of danger, what may be done now
// in that of our own estimates, the rest quiet.
func TestStatesOfBars(t *testing.T) {
	for state, want := range map[schedule.TaskState]string{
		schedule.Late: "#9C1F2E", schedule.Due: "#7F521B", schedule.Open: "#7F521B", schedule.Ahead: "#6B6A63", schedule.Resting: "#6B6A63",
	} {
		b := bar{task(schedule.Oiling, "", state, 0, 5, 10), 1}
		c := b.color()
		if got := fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B); got != want {
			t.Errorf("%s is drawn in %s, want %s", state, got, want)
		}
		named := state == schedule.Late || state == schedule.Due || state == schedule.Resting
		if words := b.words(40); strings.Contains(words, string(state)) != named {
			t.Errorf("%s: the words are %q", state, words)
		}
	}
}

// Tasks of one kind with the same days share a bar, others do not.
func TestBarsAreJoined(t *testing.T) {
	a, b := task(schedule.Measuring, "front bush", schedule.Ahead, 1, 2, 3), task(schedule.Measuring, "rear bush", schedule.Ahead, 1, 2, 3)
	later, oiling, open := b, b, b
	later.Due, oiling.Kind, open.State = later.Due.Add(1), schedule.Oiling, schedule.Open
	for _, tc := range []struct {
		name  string
		tasks []schedule.Task
		want  string
	}{
		{"the same days", []schedule.Task{a, b}, "measuring, 2 places"},
		{"another day", []schedule.Task{a, later}, "measuring, front bush | measuring, rear bush"},
		{"another kind", []schedule.Task{a, oiling}, "measuring, front bush | oiling, rear bush"},
		{"another state", []schedule.Task{a, open}, "measuring, front bush | measuring, rear bush"},
		{"none", nil, ""},
		{"no dates", []schedule.Task{{Kind: schedule.Oiling}}, ""},
		{"the earliest first", []schedule.Task{a, task(schedule.Inspection, "", schedule.Open, -9, -5, 2)}, "inspection | measuring, front bush"},
	} {
		var got []string
		for _, b := range bars(tc.tasks) {
			got = append(got, b.words(40))
		}
		if s := strings.Join(got, " | "); s != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, s, tc.want)
		}
	}
}

// However many tasks there are and wherever their days lie, no words of the
// strip lie on others, at either width.
func TestWordsOfTheStripKeepApart(t *testing.T) {
	for n := range 30 {
		var tasks []schedule.Task
		for i := range n {
			from := (i*97)%400 - 60
			tasks = append(tasks, task(schedule.TaskKinds[i%5], fmt.Sprintf("arbor %d", i), schedule.TaskStates[i%5], from, from+i, from+2*i))
		}
		for _, size := range []Size{Wide, Narrow} {
			p := yearOf(size, tasks...)
			d := takeApart(t, p.SVG())
			d.sound(t, p)
			if c := append(collisions(d), outside(d, p)...); len(c) > 0 {
				t.Errorf("%d tasks, %v: %s", n, size, strings.Join(c, "; "))
			}
		}
	}
}
