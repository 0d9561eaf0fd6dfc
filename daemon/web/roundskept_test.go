package web

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// With the planner itself: what speaks against a visit that was kept stands on its day,
// in the list and among one's own days, and a visit with nothing left to do has what
// lifts it beside it. A day is the same however many months are asked for.
func TestRoundsKeptAgainstTheFacts(t *testing.T) {
	d := newDesk()
	for i := range d.f.fleet.People {
		if d.f.fleet.People[i].Slug == "tom" {
			d.f.fleet.People[i].Going = schedule.Going{Days: schedule.Week, From: 8 * 60, To: 18 * 60,
				Away: []schedule.Span{{From: schedule.Date{Year: 2026, Month: 12, Day: 15}, Until: schedule.Date{Year: 2026, Month: 12, Day: 15}, Why: "the dentist"}}}
		}
	}
	d.snap = d.f.snapshot()
	s := site{Handler: New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: newPost(), Base: "https://clocks.example.org",
		Now: func() time.Time { return d.now }}), desk: d}
	_, body := get(t, s, "/rounds?months=12")
	day := regexp.MustCompile(`/rounds/tom/(\d{4}-\d\d-\d\d)`).FindStringSubmatch(body)
	if day == nil {
		t.Fatal(flat(t, body))
	}
	_, year := get(t, s, day[0]+"?months=12")
	_, quarter := get(t, s, day[0]+"?months=3")
	if body := func(page string) string { return flat(t, page[strings.Index(page, "<h1>"):]) }; body(year) != body(quarter) {
		t.Errorf("a day is %s in twelve months and %s in three", body(year), body(quarter))
	}
	where := regexp.MustCompile(`name="site" value="([^"]+)"`).FindStringSubmatch(year)
	if where == nil {
		t.Fatal(flat(t, year))
	}
	_, text := sentTo(t, s, day[0], url.Values{"act": {"move"}, "site": {where[1]}, "to": {"2026-12-15"}})
	const against = "Against it: Tom Barleymow is away: have the visit on another day, or made by somebody else."
	_, list := get(t, s, "/rounds?months=12")
	checkPage(t, "/rounds", list)
	for what, text := range map[string]string{"its day": text, "the list": flat(t, list)} {
		if !strings.Contains(text, against) || strings.Contains(text, "dentist") {
			t.Errorf("%s says %s", what, text)
		}
	}
	last := &d.marks[len(d.marks)-1]
	if last.Kind != schedule.SetVisit || len(last.Tasks) == 0 {
		t.Fatalf("moved for %+v", last)
	}
	// Kept twice for the same work: the later visit has nothing to do.
	twice := *last
	twice.Day = twice.Day.Add(1)
	d.marks = append(d.marks, twice)
	res, page := get(t, s, "/rounds/tom/2026-12-16")
	status(t, "the second visit", res, 200, "")
	checkPage(t, "the second visit", page)
	if text := flat(t, page); !strings.Contains(text, "Nothing is left to do here: lift it.") || !strings.Contains(page, `aria-label="Lift it: `) {
		t.Errorf("the second visit says %s", text)
	}
}

// Help tells who sees where somebody lives.
func TestHelpTellsOfHomes(t *testing.T) {
	_, body := get(t, newSite(t), "/help")
	if text := flat(t, body); !strings.Contains(text, "Where somebody lives is shown to whoever runs the fleet and to themselves alone") || strings.Contains(text, "shown to nobody") {
		t.Error("help says nothing of it, or something else")
	}
}
