package web

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// Sentences count tasks by their state, alike on every page.
func TestTasksAreCountedInOneWay(t *testing.T) {
	d := cared()
	counts := map[schedule.TaskState]int{}
	for _, task := range d.snap.DueList().Tasks {
		counts[task.State]++
	}
	words := stateWords(counts)
	if counts[schedule.Late]+counts[schedule.Due] == 0 {
		t.Fatal("nothing presses, so nothing is tried")
	}
	s := siteOf(t, d)
	if text := pageText(t, s, "/"); !strings.Contains(text, schedule.Capital(words)+"; first of all") {
		t.Errorf("the fleet does not say %q: %s", words, text)
	}
	if text := pageText(t, s, "/due"); !strings.Contains(text, " tasks: "+words) && !strings.Contains(text, " task: "+words) {
		t.Errorf("the due-list does not say %q: %s", words, text)
	}
	for want, counts := range map[string]map[schedule.TaskState]int{
		"nothing late, due or open": {schedule.Ahead: 4}, "2 late, 1 open": {schedule.Late: 2, schedule.Open: 1}, "3 due": {schedule.Due: 3},
	} {
		if got := stateWords(counts); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

// Beside the sizes, the share used says between which of them it lies.
func TestShareUsedSaysOfWhat(t *testing.T) {
	o := schedule.Outlook{Known: true, Level: wear.Level{Mean: 0.115}, Limit: &wear.Limit{Size: 200}, Used: 0.43,
		Bearing: wear.Bearing{Fitted: 50}} // (0.115 - 0.05) of (0.20 - 0.05)
	if got := usedOf(o); got != "of the way from 0.05 to 0.20 mm (2.0 to 7.9 thou)" {
		t.Error(got)
	}
	if o.Bearing.Fitted = 0; usedOf(o) != "of its limit of 0.20 mm (7.9 thou)" {
		t.Error(usedOf(o))
	}
	text := pageText(t, siteOf(t, wearingDesk()), "/clock/bell-house")
	if !strings.Contains(text, "Of the way to its limit") || !strings.Contains(text, " % of the way from ") {
		t.Errorf("the clock's page does not say of what its bearings' shares are: %s", text)
	}
}

// A link that came for a line has the line asked first, and all of it before More.
func TestLineIsAskedFirst(t *testing.T) {
	s := careSite(t)
	_, body := get(t, s, "/clock/corn-hall/log?kind=inspected&line=rope")
	at := 0
	for _, name := range append(slices.Clone(lineNames), "found", "errorFound") {
		i := strings.Index(body[at:], `name="`+name+`"`)
		if i < 0 {
			t.Fatalf("%s does not come after those before it", name)
		}
		at += i
	}
	if more := strings.Index(body, "<details"); more < at {
		t.Errorf("More stands at %d, before the questions at %d", more, at)
	}
	if _, body = get(t, s, "/clock/corn-hall/log?kind=inspected"); strings.Index(body, `name="line"`) < strings.Index(body, "<details") {
		t.Error("a line is asked first though no link came for one")
	}
}

// What is done to hands and pendulum has the caution of setting.
func TestSettingHasItsCaution(t *testing.T) {
	d := cared()
	a, _ := d.snap.Clock("corn-hall")
	for _, kind := range []schedule.EntryKind{schedule.Set, schedule.Regulated} {
		f := entryForm{a: a, fleet: d.snap.Fleet, now: now}
		if got, want := f.caution(kind), schedule.Caution(schedule.Setting, a.Site, a.Clock.Cautions); got != want {
			t.Errorf("%s: %q, want %q", kind, got, want)
		}
	}
	text := pageText(t, siteOf(t, d), "/clock/corn-hall/log?kind=oiled")
	if !strings.Contains(text, "What the old oil left behind") {
		t.Errorf("the form does not ask what the old oil left behind: %s", text)
	}
}

// The foot of a page says when what it shows was assessed: an entry has its own
// clock assessed anew.
func TestFootSaysWhenItsClockWasAssessed(t *testing.T) {
	d := cared()
	later := d.snap.Now.Add(3 * time.Hour)
	d.snap.Clocks[0].Now = later
	s := siteOf(t, d)
	for path, at := range map[string]time.Time{
		"/": later, "/clock/" + d.snap.Clocks[0].Clock.Slug: later, "/clock/" + d.snap.Clocks[1].Clock.Slug: d.snap.Clocks[1].Now,
	} {
		_, body := get(t, s, path)
		if want := fmt.Sprintf("As of %s UTC", at.UTC().Format("2 Jan 2006, 15:04")); !strings.Contains(body, want) {
			t.Errorf("%s does not say %q", path, want)
		}
	}
}

// The form takes an error in minutes, and asks back what is no time.
func TestFormTakesMinutes(t *testing.T) {
	d := cared()
	a, _ := d.snap.Clock("corn-hall")
	f := entryForm{a: a, fleet: d.snap.Fleet, now: now, values: map[string][]string{"kind": {"set"}, "at": {wallText(now, a.Zone)},
		"errorFound": {"18 min 27 s"}, "errorFoundWay": {"slow"}, "errorLeft": {"1:30"}, "errorLeftWay": {"fast"}}}
	e, faults := f.entry()
	if len(faults) > 0 || e.ErrorFound == nil || *e.ErrorFound != -1107 || e.ErrorLeft == nil || *e.ErrorLeft != 90 {
		t.Errorf("%+v, %v", e.Detail, faults)
	}
	f.values.Set("errorFound", "1:75")
	if _, faults = f.entry(); len(faults) != 1 || faults[0].Field != "errorFound" {
		t.Errorf("1:75 is taken: %v", faults)
	}
}
