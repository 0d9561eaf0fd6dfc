package chart

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

func task(kind schedule.TaskKind, about string, state schedule.TaskState, from, due, latest int) schedule.Task {
	today := schedule.DateOf(now, utc)
	return schedule.Task{Kind: kind, About: about, State: state, From: today.Add(from), Due: today.Add(due), Latest: today.Add(latest)}
}

func yearOf(size Size, tasks ...schedule.Task) Picture {
	return Year(schedule.Assessment{Clock: schedule.Clock{Name: "Mill clock"}, Now: now, Zone: utc, Tasks: tasks}, size)
}

func TestYearStrip(t *testing.T) {
	p := yearOf(Wide,
		task(schedule.Winding, "going train", schedule.Late, -9, -5, -2),
		task(schedule.Oiling, "", schedule.Open, -10, 20, 40),
		task(schedule.Measuring, "front bush", schedule.Ahead, 90, 120, 150),
		task(schedule.Measuring, "rear bush", schedule.Ahead, 90, 120, 150),
		task(schedule.Inspection, "", schedule.Ahead, 500, 520, 540))
	d := takeApart(t, p.SVG())
	d.sound(t, p)
	for _, want := range []string{"winding, going train: late", "oiling", "measuring, 2 places", "today", "and 1 later", "Oct 2026", "Jan 2027", "Sep"} {
		if _, ok := d.has(want); !ok {
			t.Errorf("%q is missing among %s", want, d.words())
		}
	}
	for _, want := range []string{"Twelve months from October 2026", "25 Nov 2026", "winding, going train: late, from 16 Nov 2026 to 23 Nov 2026 (late)"} {
		if !strings.Contains(d.desc, want) {
			t.Errorf("desc %q does not say %q", d.desc, want)
		}
	}
}

// What presses says under what it stands in the due-list, and shares no bar
// with what does not.
func TestYearStripSaysWhatPresses(t *testing.T) {
	soon, plain := task(schedule.Winding, "going train", schedule.Open, -1, 1, 2), task(schedule.Winding, "strike train", schedule.Open, -1, 1, 2)
	soon.Rank, plain.Rank = schedule.StopsSoon, schedule.Plain
	lock := task(schedule.Locked, "", schedule.Due, -20, -20, -20)
	lock.Rank = schedule.Danger
	p := yearOf(Wide, soon, plain, lock)
	d := takeApart(t, p.SVG())
	d.sound(t, p)
	for _, want := range []string{"lock: danger", "winding, going train: stops soon", "winding, strike train"} {
		if _, ok := d.has(want); !ok {
			t.Errorf("%q is missing among %s", want, d.words())
		}
	}
	for tasks, want := range map[*schedule.Task]bool{&soon: true, &plain: false, &lock: true} {
		if got := (bar{*tasks, 1}).color() == oxide; got != want {
			t.Errorf("%s of %s is in the colour of danger: %v, want %v", tasks.Kind, tasks.About, got, want)
		}
	}
}

// Today stands in proportion between the first and the last day of the strip.
func TestTodayStandsInItsPlace(t *testing.T) {
	d := takeApart(t, yearOf(Wide).SVG())
	today, ok := d.has("today")
	if !ok {
		t.Fatal("today is not marked")
	}
	// 1 October 2026 to 1 October 2027 is 365 days; 25 November is day 55.
	if want := 6 + (760-12)*55.5/365; math.Abs(today.x-want) > 0.1 {
		t.Errorf("today stands at %.1f, want %.1f", today.x, want)
	}
	if !strings.Contains(d.words(), "Nothing falls due") {
		t.Errorf("an empty year must say so: %s", d.words())
	}
}

func TestYearStripWithOddTasks(t *testing.T) {
	var crowd []schedule.Task
	for i := range 60 {
		crowd = append(crowd, task(schedule.Measuring, fmt.Sprintf("arbor %d, a bush with quite a long name", i), schedule.Ahead, 3*i, 3*i+20, 3*i+40))
	}
	for name, tasks := range map[string][]schedule.Task{
		"no dates at all": {{Kind: schedule.Oiling}},
		"only due":        {{Kind: schedule.Oiling, Due: schedule.DateOf(now, utc)}},
		"long ago":        {task(schedule.Winding, "strike train", schedule.Late, -9000, -8000, -7000)},
		"backwards":       {task(schedule.Winding, "strike train", schedule.Late, 30, 0, -30)},
		"a long name":     {task(schedule.Winding, strings.Repeat("very long ", 40), schedule.Due, -3, 0, 3)},
		"a crowd":         crowd,
		"resting":         {task(schedule.Oiling, "", schedule.Resting, 0, 10, 20)},
	} {
		for _, size := range []Size{Wide, Narrow, {}} {
			t.Run(fmt.Sprint(name, size), func(t *testing.T) {
				p := yearOf(size, tasks...)
				d := takeApart(t, p.SVG())
				d.sound(t, p)
				for _, m := range d.texts {
					if right := m.x + textWidth(m.word, small); m.anchor == "" && right > p.Size.Width+2 {
						t.Errorf("%q runs out of the picture: %.0f of %.0f", m.word, right, p.Size.Width)
					}
				}
			})
		}
	}
}

func TestBarsOfALaneKeepApart(t *testing.T) {
	var crowd []schedule.Task
	for i := range 12 {
		crowd = append(crowd, task(schedule.Oiling, fmt.Sprint("arbor ", i), schedule.Ahead, 25*i, 25*i+5, 25*i+10))
	}
	d := takeApart(t, yearOf(Wide, crowd...).SVG())
	right := map[float64]float64{}
	for _, m := range d.texts {
		if !strings.HasPrefix(m.word, "oiling") {
			continue
		}
		x := m.x
		if m.anchor == "end" {
			x -= textWidth(m.word, small)
		}
		if x < right[m.y] {
			t.Errorf("%q begins at %.0f, inside the words before it to %.0f", m.word, x, right[m.y])
		}
		right[m.y] = x + textWidth(m.word, small)
	}
	if len(right) < 2 {
		t.Errorf("twelve tasks stand in %d lanes", len(right))
	}
}

func TestYearInAnotherZone(t *testing.T) {
	zone := time.FixedZone("far", 14*3600)
	a := schedule.Assessment{Now: time.Date(2026, 12, 31, 20, 0, 0, 0, time.UTC), Zone: zone}
	if d := takeApart(t, Year(a, Wide).SVG()); !strings.Contains(d.desc, "today is 1 Jan 2027") {
		t.Errorf("it is the first of January there already: %s", d.desc)
	}
}

// Words never lie on a bar, their own or another's, however long the bars are.
func TestWordsKeepOffBars(t *testing.T) {
	var tasks []schedule.Task
	for i := range 9 {
		tasks = append(tasks, task(schedule.NearLimit, fmt.Sprintf("escape arbor %d, front bush", i), schedule.Late, -300+40*i, -200+40*i, 40*i))
		tasks = append(tasks, task(schedule.Oiling, fmt.Sprint("arbor ", i), schedule.Open, -20+9*i, 200, 290+5*i))
	}
	for _, size := range []Size{Wide, Narrow} {
		today := schedule.DateOf(now, utc)
		s := strip{today: today, zone: utc, width: size.Width, narrow: size.narrow(), first: today.Add(-55), last: today.Add(310)}
		s.x = scale{0, 365, 6, size.Width - 6}
		s.place(bars(tasks))
		var words, bodies []rect
		above := 0
		for i, lane := range s.lanes {
			y := -laneHeight * float64(i)
			for _, l := range lane {
				bodies = append(bodies, rect{l.x0, y, l.x1, y + 8})
				words = append(words, covers(point{l.textX, l.textY(y)}, l.anchor, l.text))
				if l.above {
					above++
				}
			}
		}
		if above == 0 || len(bodies) < 4 {
			t.Errorf("%v: %d bars, %d with words above: nothing is tried", size, len(bodies), above)
		}
		for i, w := range words {
			for j, b := range bodies {
				if w.overlaps(b) {
					t.Errorf("%v: words %d %v lie on bar %d %v", size, i, w, j, b)
				}
			}
			for j, v := range words[:i] {
				if w.overlaps(v) {
					t.Errorf("%v: words %d lie on words %d", size, i, j)
				}
			}
		}
	}
}

// How a bearing stands to its limit is said once.
func TestYearStripSaysTheLimitOnce(t *testing.T) {
	for _, tc := range []struct {
		state schedule.TaskState
		rank  schedule.Rank
		past  string
		count int
		want  string
	}{
		{schedule.Ahead, schedule.Plain, "", 1, "near its limit, front bush"},
		{schedule.Open, schedule.Plain, "", 1, "near its limit, front bush"},
		{schedule.Due, schedule.AtLimit, "", 1, "front bush: at its limit"},
		{schedule.Late, schedule.AtLimit, "", 2, "2 places: at its limit"},
		{schedule.Late, schedule.AtLimit, "past its limit since about 2018", 1, "front bush: past its limit since about 2018"},
		{schedule.Resting, schedule.Plain, "", 1, "near its limit, front bush: resting"},
	} {
		x := task(schedule.NearLimit, "front bush", tc.state, -10, 20, 90)
		x.Rank, x.PastLimit = tc.rank, tc.past
		if got := (bar{x, tc.count}).words(80); got != tc.want {
			t.Errorf("%s, %v: %q, want %q", tc.state, tc.rank, got, tc.want)
		}
	}
}

// What is past its limit has no good days: it says since when, and no days.
func TestYearStripOfWhatIsPastItsLimit(t *testing.T) {
	x := task(schedule.NearLimit, "front bush", schedule.Late, -900, -700, -600)
	x.PastLimit = "past its limit since about 2018"
	for size, want := range map[Size]string{Wide: "front bush: past its limit since about 2018", Narrow: ": past its limit"} {
		p := yearOf(size, x)
		d := takeApart(t, p.SVG())
		if hit, out := collisions(d), outside(d, p); len(hit)+len(out) > 0 || !strings.Contains(d.words(), want) {
			t.Errorf("%v: %v %v %s", size, hit, out, d.words())
		}
		if !strings.HasSuffix(d.desc, "past its limit since about 2018.") && size == Wide || strings.Contains(d.desc, "(late)") {
			t.Errorf("%v: %s", size, d.desc)
		}
	}
}
