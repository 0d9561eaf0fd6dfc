package web

import (
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// The page opens with the one thing to know, and names the days in order, each with
// its places by the hour, its length, its way and why it is that day.
func TestRoundsPage(t *testing.T) {
	s := newSite(t)
	s.desk.marks = []schedule.RoundMark{{Kind: schedule.BarVisit, Site: "quay", Person: "tom", Day: s.desk.snap.Today().Add(20), Why: "the harbour feast", By: "edda", At: now}}
	_, body := get(t, s, "/rounds")
	checkPage(t, "/rounds", body)
	text := flat(t, body)
	for _, want := range []string{
		"2 days of visits until 24 Feb 2027: the next on Thu 3 Dec, Tom Barleymow at two sites; 1 task cannot be met in time.",
		"December 2026", "8:40 Corn Hall, ", "11:10 The quay, ", "Out 5 h 55 min, from 8:00 to 13:55; 39 km (24 miles).",
		"The first day on which Corn Hall lets people in.", "No day of Tom Barleymow is long enough: let somebody come along. It is done all the same, late, on Thu 3 Dec 2026.",
		"Tom Barleymow does not go to The quay on Tue 15 Dec 2026.", "the harbour feast", "By Edda Quillfeather, 25 Nov 2026", "Lift it",
		"12 windings are left to those who live near", "Where Corn Hall, The quay and <b>Site</b> lie is not known",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q: %s", want, text)
		}
	}
	// A kilometre is 0.6214 miles: 38.8 km are 24.1.
	if strings.Index(text, "Thu 3 Dec") > strings.Index(text, "Mon 28 Dec") {
		t.Error("days are out of order")
	}
	_, one := get(t, s, "/rounds?months=1&person=eve")
	if got := flat(t, one); !strings.Contains(got, "No days of “eve” stand in this plan: these are everybody's.") || !strings.Contains(got, "11:10 The quay") {
		t.Errorf("eve goes on 28 Dec, which is after a month: %s", got)
	}
	_, eve := get(t, s, "/rounds?months=2&person=eve")
	if got := flat(t, eve); strings.Contains(got, "11:10 The quay") || !strings.Contains(got, "1 day of visits until 24 Jan 2027") {
		t.Errorf("the days of eve: %s", got)
	}
	for _, months := range []string{"0", "13", "-1", "x", "1.5", "999999999999999999999"} {
		_, body := get(t, s, "/rounds?months="+months)
		if !strings.Contains(body, "Rounds are planned for 1 to 12 months: this is the plan of 3.") {
			t.Errorf("%s months are not refused in a sentence", months)
		}
	}
}

// Where nothing is planned the page says where somebody says when they go.
func TestNoRounds(t *testing.T) {
	d := newDesk()
	s := newServer(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: newPost(), Now: func() time.Time { return d.now }, NewKey: func() string { return "" }})
	s.rounds = func(*schedule.Snapshot, schedule.RoundAsk, time.Time) schedule.Rounds {
		return schedule.Rounds{From: schedule.Date{Year: 2026, Month: 11, Day: 25}, Until: schedule.Date{Year: 2027, Month: 2, Day: 25}}
	}
	_, body := get(t, s.handler(), "/rounds")
	checkPage(t, "/rounds", body)
	if got := flat(t, body); !strings.Contains(got, "No day of visits is planned until 24 Feb 2027.") || !strings.Contains(got, "stands with each of the people") {
		t.Errorf("an empty plan says %s", got)
	}
}

// A day has its visits with their tasks, what to take along under each heading, its
// cautions in full, and a sheet with a code for each clock.
func TestRoundPage(t *testing.T) {
	s := newSite(t)
	at := roundAt(s.desk.snap, "corn-hall")
	res, body := get(t, s, at)
	status(t, at, res, 200, "")
	checkPage(t, at, body)
	text := flat(t, body)
	for _, want := range []string{"Thu 3 Dec 2026: Tom Barleymow", "Two sites, ", "Leave at 8:00, back by 13:55: 5 h 55 min and 39 km (24 miles).", "Key at the porter's desk",
		"9 points, at least 14 drops of light marine oil", "of a kind that is not recorded: ask before you choose one", "Leave to ask for", "Second person", "Hoist, lift or scaffold",
		"The visit could be from 28 Nov 2026 to 4 Jan 2027.", "As late as its first task allows", "Local rules and licensed people decide. This list reminds; it gives no leave.", "to be measured", "watch 0.80 mm (31 thou)"} {
		if !strings.Contains(text, want) {
			t.Errorf("the day does not say %q: %s", want, text)
		}
	}
	plan := simpleRounds(s.desk.snap, schedule.RoundAsk{}, now)
	clocks := map[string]bool{}
	for _, stop := range plan.Days[0].Stops {
		for _, task := range stop.Tasks {
			clocks[task.Clock] = true
			if !strings.Contains(text, schedule.Capital(task.What())) {
				t.Errorf("%s of %s is not named", task.What(), task.Clock)
			}
			if first, _, _ := strings.Cut(task.Caution, ";"); !strings.Contains(text, first) {
				t.Errorf("the caution of %s is not there: %q", task.What(), task.Caution)
			}
		}
	}
	if n := strings.Count(body, `<svg class="code"`); n != len(clocks) {
		t.Errorf("%d codes for %d clocks", n, len(clocks))
	}
	if strings.Contains(text, "Log the oiling") {
		t.Error("a day to come can be logged already")
	}
	s.desk.now = now.Add(8 * 24 * time.Hour) // the day has come: what is planned is logged from here
	s.desk.snap = schedule.Survey(s.desk.f.fleet, s.desk.f.log, schedule.Model{}, s.desk.now)
	for _, d := range simpleRounds(s.desk.snap, schedule.RoundAsk{}, now).Days[:1] {
		_, body := get(t, s, "/rounds/"+d.Person+"/"+d.Day.String())
		if strings.Contains(flat(t, body), "Log the look") {
			t.Error("a day a week ahead can be logged already")
		}
	}
	s.desk.marks = []schedule.RoundMark{{Kind: schedule.SetVisit, Site: "corn-hall", Person: "tom", Day: schedule.Date{Year: 2026, Month: 12, Day: 3}}}
	if _, body := get(t, s, at); !strings.Contains(flat(t, body), "Log the look") {
		t.Errorf("what is done today cannot be logged from its page: %s", flat(t, body))
	}
}

// A day that the plan holds no more says so, and leads to those that it holds.
func TestRoundThatIsGone(t *testing.T) {
	s := newSite(t)
	for _, at := range []string{"/rounds/tom/2026-12-24", "/rounds/edda/2026-12-03", "/rounds/tom/2031-01-01", "/rounds/tom/2020-01-01", "/rounds/tom/2027-11-02"} {
		res, body := get(t, s, at)
		status(t, at, res, 200, "")
		checkPage(t, at, body)
		if got := flat(t, body); !strings.Contains(got, "The plan holds no visits of") || !strings.Contains(got, "See the days that it holds now") || strings.Contains(got, "Keep this day") {
			t.Errorf("%s says %s", at, got)
		}
	}
	for _, at := range []string{"/rounds/nobody/2026-12-03", "/rounds/tom/3-12-2026", "/rounds/tom/2026-13-40", "/rounds/tom/", "/rounds/tom"} {
		if res, _ := get(t, s, at); res.StatusCode != 404 {
			t.Errorf("%s answers %d", at, res.StatusCode)
		}
	}
}

// sentTo posts a form and gives the page that it leads to, as flat text.
func sentTo(t *testing.T, s site, at string, v url.Values) (to, text string) {
	t.Helper()
	res, body := send(t, s, at, v)
	if res.StatusCode != http.StatusSeeOther {
		t.Fatalf("%s %v answers %d: %s", at, v, res.StatusCode, flat(t, body))
	}
	to = res.Header.Get("Location")
	res, body = get(t, s, to)
	status(t, to, res, 200, "")
	checkPage(t, to, body)
	return to, flat(t, body)
}

// Whoever keeps a visit, leaves it out or moves it is told so in a sentence, and finds
// the plan made anew around it.
func TestRoundForms(t *testing.T) {
	s := newSite(t)
	at := roundAt(s.desk.snap, "quay")
	_, text := sentTo(t, s, at, url.Values{"act": {"set"}, "site": {"quay"}, "why": {"  the tide is out  "}})
	if !strings.Contains(text, "Kept by hand: Tom Barleymow goes to The quay on Thu 3 Dec 2026. The plan is made anew around it.") || !strings.Contains(text, "kept by hand") {
		t.Errorf("keeping a visit says %s", text)
	}
	if len(s.desk.marks) != 1 || s.desk.marks[0].Why != "the tide is out" || s.desk.marks[0].Kind != schedule.SetVisit || !s.desk.marks[0].At.Equal(now) {
		t.Fatalf("kept: %+v", s.desk.marks)
	}
	work := s.desk.marks[0].Tasks
	if len(work) != 6 && len(work) != 5 || work[0].Clock == "" || work[0].Kind == "" {
		t.Errorf("kept for %+v", work)
	}
	to, text := sentTo(t, s, at, url.Values{"act": {"move"}, "site": {"quay"}, "to": {"2026-12-10"}})
	if m := s.desk.marks[len(s.desk.marks)-1]; m.Kind != schedule.SetVisit || !slices.Equal(m.Tasks, work) {
		t.Errorf("moved for %+v, want %v", m, work)
	}
	if !strings.Contains(to, "/rounds/tom/2026-12-10?") || !strings.Contains(text, "Moved by hand: Tom Barleymow goes to The quay on Thu 10 Dec 2026.") || strings.Contains(text, "6 tasks") || !strings.Contains(text, "The quay, 5 tasks.") {
		t.Errorf("moving a visit leads to %s, which says %s", to, text)
	}
	if _, text := sentTo(t, s, at, url.Values{"act": {"not"}, "site": {""}, "why": {"ill"}}); !strings.Contains(text, "Ruled out by hand: Tom Barleymow does not go anywhere on Thu 3 Dec 2026.") || !strings.Contains(text, "Fri 4 Dec Tom Barleymow 8:40 Corn Hall") {
		t.Errorf("ruling a day out says %s", text)
	}
	want := []schedule.MarkKind{schedule.BarVisit, schedule.SetVisit, schedule.BarVisit}
	var got []schedule.MarkKind
	for _, m := range s.desk.marks {
		got = append(got, m.Kind)
	}
	if !slices.Equal(got, want) {
		t.Errorf("decided: %+v", s.desk.marks)
	}
	// Each is lifted by its button, as the page has it.
	for len(s.desk.marks) > 0 {
		n, m := len(s.desk.marks), s.desk.marks[0]
		_, text := sentTo(t, s, "/rounds", url.Values{"kind": {string(m.Kind)}, "site": {m.Site}, "person": {m.Person}, "day": {m.Day.String()}})
		if !strings.Contains(text, "Lifted: the plan is made anew without it.") || len(s.desk.marks) != n-1 {
			t.Fatalf("lifting %+v says %s", m, text)
		}
		if res, body := send(t, s, "/rounds", url.Values{"kind": {string(m.Kind)}, "site": {m.Site}, "person": {m.Person}, "day": {m.Day.String()}}); res.StatusCode != 404 || !strings.Contains(flat(t, body), "perhaps it was lifted already") {
			t.Errorf("lifting it twice answers %d", res.StatusCode)
		}
	}
	// A whole day is moved and kept with all its visits.
	if to, text := sentTo(t, s, at, url.Values{"act": {"move"}, "site": {""}, "to": {"2027-04-08"}}); !strings.Contains(to, "months=5") || !strings.Contains(text, "These visits are moved by hand.") || !strings.Contains(text, "Corn Hall clock") || !strings.Contains(text, "Quay post clock") {
		t.Errorf("moving a day leads to %s, which says %s", to, text)
	}
	if len(s.desk.marks) != 4 {
		t.Errorf("decided: %+v", s.desk.marks)
	}
	for _, m := range s.desk.marks {
		if (len(m.Tasks) > 0) != (m.Kind == schedule.SetVisit) {
			t.Errorf("a whole day that was moved: %+v", m)
		}
	}
}

// What is mistaken in a form comes back as a sentence beside what was typed, and
// nothing is kept.
func TestRoundFormsRefuse(t *testing.T) {
	s := newSite(t)
	at := roundAt(s.desk.snap, "quay")
	for _, x := range []struct {
		v    url.Values
		want string
	}{
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {"2026-11-24"}}, "Tue 24 Nov 2026 is over: choose a day from today on."},
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {"10/12/2026"}}, "is not a day: write it as year-month-day"},
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {"2026-02-30"}}, "is not a day"},
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {" "}}, "Say on which day it is to be instead."},
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {"2026-12-03"}}, "It is on that day already"},
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {"2027-11-25"}}, "choose a day up to 24 Nov 2027."},
		{url.Values{"act": {"move"}, "site": {"quay"}, "to": {"9999-12-31"}}, "choose a day up to 24 Nov 2027."},
		{url.Values{"act": {"set"}, "site": {"nowhere"}}, "The plan holds no such visit on that day any more"},
		{url.Values{"act": {"set"}, "site": {evil}}, "The plan holds no such visit on that day any more"},
		{url.Values{"act": {"fly"}, "site": {"quay"}}, "Say what is to become of it"},
		{url.Values{}, "Say what is to become of it"},
		{url.Values{"act": {"not"}, "site": {"quay"}, "why": {strings.Repeat("x", 301)}}, "That is too long: a line is enough."},
	} {
		x.v.Set("why", x.v.Get("why")+"<b>typed</b>")
		res, body := send(t, s, at, x.v)
		if res.StatusCode != 422 {
			t.Errorf("%v answers %d", x.v, res.StatusCode)
		}
		checkPage(t, at, body)
		checkTame(t, at, body)
		text := flat(t, body)
		if !strings.Contains(text, x.want) || !strings.Contains(text, "Nothing was changed") {
			t.Errorf("%v is refused with %s", x.v, text)
		}
		if site := x.v.Get("site"); site == "quay" || site == "" {
			if n := strings.Count(body, `value="`+strings.NewReplacer("<", "&lt;", ">", "&gt;").Replace(x.v.Get("why"))+`"`); n != 1 {
				t.Errorf("%v: what was typed stands %d times", x.v, n)
			}
		}
	}
	// A day that is gone, one that is over, and what the desk refuses.
	for path, want := range map[string]string{"/rounds/tom/2026-12-24": "The plan holds no such visit on that day any more", "/rounds/tom/2026-11-20": "That day is over"} {
		res, body := send(t, s, path, url.Values{"act": {"set"}})
		if res.StatusCode != 422 || !strings.Contains(flat(t, body), want) {
			t.Errorf("%s answers %d: %s", path, res.StatusCode, flat(t, body))
		}
	}
	if len(s.desk.marks) > 0 {
		t.Errorf("kept: %+v", s.desk.marks)
	}
}

// A plan is worked out once for all who look, and anew where something was decided by
// hand, an hour has passed or a clock has another answer.
func TestPlanIsWorkedOutOnce(t *testing.T) {
	d, n := newDesk(), 0
	s := newServer(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: newPost(), Now: func() time.Time { return d.now }, NewKey: func() string { return "" }})
	s.rounds = func(snap *schedule.Snapshot, ask schedule.RoundAsk, now time.Time) schedule.Rounds {
		n++
		return simpleRounds(snap, ask, now)
	}
	h := s.handler()
	look := func(want int, what string) {
		t.Helper()
		for _, path := range []string{"/rounds", roundAt(d.snap, "corn-hall"), "/rounds?person=tom"} {
			get(t, h, path)
		}
		if n != want {
			t.Errorf("%s: worked out %d times, want %d", what, n, want)
		}
	}
	look(1, "three pages")
	look(1, "again")
	d.marks = append(d.marks, schedule.RoundMark{Kind: schedule.BarVisit, Person: "tom", Day: d.snap.Today().Add(50)})
	look(2, "decided by hand")
	d.now = d.now.Add(time.Hour)
	look(3, "an hour later")
	d.snap = d.snap.With("mill", d.f.log["mill"], schedule.Model{}, d.now)
	look(4, "a clock has another answer")
	for i := range 3 * mostPlans {
		d.marks[0].Day = d.snap.Today().Add(60 + i)
		get(t, h, "/rounds")
	}
	if kept := len(s.shelf.deck.plans.by); kept > mostPlans {
		t.Errorf("%d plans are kept", kept)
	}
}

// Nobody is told more of a day that is not theirs than that and about when somebody
// comes to a clock of theirs: not how long the day is, how far it leads or why.
func TestRoundOfSomebodyElse(t *testing.T) {
	e := strangers(t)
	at := "/rounds/kim/" + e.desk.snap.Today().Add(8).String()
	own, others := flatOf(t, e.in("kim"), at), flatOf(t, e.in("wyn"), at)
	for _, words := range []string{"Leave at 8:00", "km", "lets people in", "as late as its first task allows", "Keep, leave out or move"} {
		if !strings.Contains(strings.ToLower(own), strings.ToLower(words)) || strings.Contains(strings.ToLower(others), strings.ToLower(words)) {
			t.Errorf("%q: on one's own day %v, on another's %v", words, strings.Contains(own, words), strings.Contains(others, words))
		}
	}
	if !strings.Contains(others, "about 8:40") || !strings.Contains(others, "Corn Hall clock") {
		t.Errorf("whoever winds the clock is not told that somebody comes: %s", others)
	}
	if list := flatOf(t, e.in("wyn"), "/rounds"); strings.Contains(list, "own reason") || strings.Contains(list, "Lift it") || strings.Contains(list, "12 windings") {
		t.Errorf("the plan of others says %s", list)
	}
	if list := flatOf(t, e.in("kim"), "/rounds"); !strings.Contains(list, "own reason") || strings.Contains(strings.ToLower(list), mark) {
		t.Errorf("one's own plan says %s", list)
	}
	// Whoever keeps the clock decides of visits to it, and of no more of the day.
	e.lets("tom")
	if text := flatOf(t, e.in("tom"), at); !strings.Contains(text, "Keep, leave out or move the visit to Corn Hall") || strings.Contains(text, "the whole day") {
		t.Errorf("whoever keeps the clock is offered %s", text)
	}
	res, _ := e.in("tom").send(at, url.Values{"act": {"not"}, "site": {""}})
	status(t, "a whole day of another's", res, 403, "")
	res, _ = e.in("tom").send(at, url.Values{"act": {"set"}, "site": {"corn-hall"}})
	status(t, "a visit to one's own clock", res, 303, "")
	// W19: a form decides in no other name, and of nobody else's days.
	kim := e.in("kim")
	res, _ = kim.send(at, url.Values{"act": {"set"}, "site": {"corn-hall"}, "person": {"zqxvqkeeper"}, "by": {"edda"}, "By": {"edda"}, "day": {"2026-12-09"}})
	status(t, "one's own day", res, 303, "")
	if m := e.desk.marks[len(e.desk.marks)-1]; m.Person != "kim" || m.By != "kim" || m.Day != e.desk.snap.Today().Add(8) {
		t.Errorf("decided: %+v", m)
	}
	before := len(e.desk.marks)
	for path, v := range map[string]url.Values{
		at: {"act": {"move"}, "site": {"zqxvqsite"}, "to": {"2026-12-09"}},
		"/rounds/zqxvqkeeper/" + e.desk.snap.Today().Add(8).String(): {"act": {"not"}},
	} {
		if res, body := kim.send(path, v); res.StatusCode/100 != 4 || strings.Contains(strings.ToLower(body), "zqxvqnamed") {
			t.Errorf("%s answers %d", path, res.StatusCode)
		}
	}
	if len(e.desk.marks) != before {
		t.Errorf("decided: %+v", e.desk.marks)
	}
}

func flatOf(t *testing.T, b *visit, path string) string {
	t.Helper()
	res, body := b.get(path)
	status(t, path, res, 200, "")
	checkPage(t, path, body)
	return flat(t, body)
}

// One's own days stand by themselves, the next first, each leading to what to take.
func TestMyRounds(t *testing.T) {
	e := strangers(t)
	_, body := e.in("kim").get("/me/rounds")
	text := flat(t, body)
	if !strings.Contains(text, "1 day of yours until 24 Feb 2027.") || !strings.Contains(text, "Thu 3 Dec 2026 in 8 days") || !strings.Contains(text, "8:40 to 10:45") && !strings.Contains(text, "8:40") {
		t.Errorf("kim's days: %s", text)
	}
	if !regexp.MustCompile(`<a class="first" href="/rounds/kim/2026-12-03"`).MatchString(body) {
		t.Errorf("it does not lead to what to take along: %s", body)
	}
	if text := flatOf(t, e.in("wyn"), "/me/rounds"); !strings.Contains(text, "No day of visits is planned for you until 24 Feb 2027.") || strings.Contains(text, "Corn Hall") {
		t.Errorf("wyn's days: %s", text)
	}
}
