package web

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// With the planner itself: who goes has days, each leads to its list with the cautions
// and sheets of its clocks, and what is ruled out by hand is on that day no more.
func TestRoundsOfThePlanner(t *testing.T) {
	d := newDesk()
	for i := range d.f.fleet.People {
		if d.f.fleet.People[i].Slug == "tom" {
			d.f.fleet.People[i].Going = schedule.Going{Days: schedule.Week, From: 8 * 60, To: 18 * 60}
		}
	}
	d.snap = d.f.snapshot()
	s := site{Handler: New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: newPost(), Base: "https://clocks.example.org",
		Now: func() time.Time { return d.now }}), desk: d}
	_, body := get(t, s, "/rounds")
	checkPage(t, "/rounds", body)
	days := regexp.MustCompile(`/rounds/tom/\d{4}-\d\d-\d\d`).FindAllString(body, -1)
	if len(days) == 0 {
		t.Fatalf("tom goes on every day, and nothing is planned: %s", flat(t, body))
	}
	sheets := 0
	for _, at := range days {
		res, page := get(t, s, at)
		status(t, at, res, 200, "")
		checkPage(t, at, page)
		text, n := flat(t, page), strings.Count(page, `<svg class="code"`)
		if n == 0 || n != strings.Count(page, `class="fold clockwork"`) || !strings.Contains(text, "Local rules and licensed people decide.") || strings.Count(page, "<ol class=\"caution\">") != 1 {
			t.Errorf("%s has %d sheets: %s", at, n, text)
		}
		sheets += n
	}
	if sheets < 2 {
		t.Errorf("%d sheets on %d days", sheets, len(days))
	}
	_, text := sentTo(t, s, days[0], url.Values{"act": {"not"}, "site": {""}})
	if _, page := get(t, s, days[0]); !strings.Contains(flat(t, page), "The plan holds no visits of Tom Barleymow") || !strings.Contains(text, "does not go anywhere") {
		t.Errorf("a day that was ruled out: %s", text)
	}
}
