package web

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// That a clock ran down the day after a full wind is asked back by the form, with a
// tick for whoever is sure of it; the tick is of that cause, and of no other.
func TestRanDownIsAskedBack(t *testing.T) {
	d := woundDesk()
	log := append([]schedule.Entry{}, d.f.log["corn-hall"]...)
	log = append(log, schedule.Entry{ID: "full", Clock: "corn-hall", Kind: schedule.Wound, At: now.Add(-24 * time.Hour), By: "wim"})
	d.f.log["corn-hall"] = log
	d.snap = d.snap.With("corn-hall", log, d.model(), d.now)
	s := siteFor(t, d, winder)
	path := "/clock/corn-hall/do/stopped"
	_, body := get(t, s, path)
	v := filled(t, body)
	if v.Has("sure") || strings.Contains(body, `name="sure"`) {
		t.Error("the tick is there before anything is asked back")
	}
	v.Set("cause", "ran down")
	before := len(d.logged)
	res, body := send(t, s, path, v)
	checkPage(t, path, body)
	text := flat(t, body)
	if res.StatusCode == http.StatusSeeOther || len(d.logged) != before || !strings.Contains(text, "Is this cause right?") || !strings.Contains(text, "it cannot have run down") {
		t.Fatalf("%d, %d logged: %s", res.StatusCode, len(d.logged)-before, text)
	}
	v = filled(t, body)
	v.Set("cause", "ran down")
	v.Set("sure", "fault")
	if res, _ := send(t, s, path, v); res.StatusCode == http.StatusSeeOther {
		t.Error("the tick of another cause is taken for this one")
	}
	v.Set("sure", "ran down")
	if res, body := send(t, s, path, v); res.StatusCode != http.StatusSeeOther || len(d.logged) != before+1 || !d.logged[before].Sure {
		t.Errorf("%d, %d logged: %s", res.StatusCode, len(d.logged)-before, flat(t, body))
	}
}

// An entry that does not count as the inspection that it is written down as says so
// in the log and on the page after it was logged.
func TestUncountedIsTold(t *testing.T) {
	d := woundDesk()
	log := append([]schedule.Entry{}, d.f.log["corn-hall"]...)
	log = append(log, schedule.Entry{ID: "mum", Clock: "corn-hall", Kind: schedule.Inspected, At: now.Add(-time.Hour), By: "wim", Detail: schedule.Detail{Old: true}},
		schedule.Entry{ID: "said", Clock: "corn-hall", Kind: schedule.Inspected, At: now.Add(-2 * time.Hour), By: "wim", Detail: schedule.Detail{Found: schedule.Sound}})
	d.f.log["corn-hall"] = log
	d.snap = d.snap.With("corn-hall", log, d.model(), d.now)
	s := siteFor(t, d, schedule.Actor{Conservator: true})
	const want = "It does not count as an inspection, since it does not say what was found"
	for path, n := range map[string]int{"/clock/corn-hall/done/mum": 1, "/clock/corn-hall/done/said": 0, "/clock/corn-hall": 1} {
		if got := strings.Count(pageText(t, s, path), want); got != n {
			t.Errorf("%s says it %d times, want %d", path, got, n)
		}
	}
}
