package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// What the fleet's form asks for is what its table shows, and how many are left
// is said.
func TestFleetSieve(t *testing.T) {
	s := newSite(t)
	all := []string{"bad", "corn-hall", "mill", "quay"}
	for query, want := range map[string][]string{
		"":                        all,
		"place=corn-hall":         {"corn-hall", "mill"},
		"place=the+QUAY":          {"quay"},              // a part of the name will do
		"place=osmery":            {"corn-hall", "mill"}, // where it lies
		"person=eve":              {"bad"},
		"person=barleymow":        {"corn-hall", "mill", "quay"},
		"state=resting":           {"quay"},
		"state=stopped":           {"bad", "mill"}, // by its log the mill has run down
		"state=locked":            {},
		"q=clock":                 all,
		"q=old+clock":             {"mill"}, // each word, wherever it stands
		"q=harbour":               {"quay"}, // where the place is
		"q=OSMERY":                {"corn-hall", "mill"},
		"q=%25":                   {}, // no wildcard stands for anything
		"q=_ill":                  {},
		"q=*":                     {},
		"place=corn-hall&q=mill":  {"mill"},
		"person=eve&place=quay":   {},
		"place=&person=&state=&q": all,
	} {
		path := "/?" + query
		res, body := get(t, s, path)
		checkPage(t, path, body)
		got := fleetRows(t, body)
		slices.Sort(got)
		if res.StatusCode != 200 || !slices.Equal(got, want) && len(got)+len(want) > 0 {
			t.Errorf("%s shows %v, want %v", path, got, want)
		}
		text := flat(t, body)
		if count := fmt.Sprintf("%d of 4 clocks", len(want)); len(want) < 4 && !strings.Contains(text, count) {
			t.Errorf("%s does not say %q", path, count)
		}
		if len(want) == 0 && (!strings.Contains(text, "No clock is like that.") || hrefOf(t, body, "show all") != "/") {
			t.Errorf("%s teaches nothing where there is nothing", path)
		}
	}
}

// Each state that can be asked for shows those clocks that are in it, by what
// the snapshot itself says.
func TestFleetStates(t *testing.T) {
	d := cared()
	for i := range d.snap.Clocks {
		if a := &d.snap.Clocks[i]; a.Clock.Slug == "mill" {
			a.Tasks = append(a.Tasks, schedule.Task{Clock: "mill", Kind: schedule.Winding, About: "strike train", Rank: schedule.MayHaveStopped, State: schedule.Due},
				schedule.Task{Clock: "mill", Kind: schedule.LineAge, About: "strike line", Rank: schedule.AtLimit, State: schedule.Due})
		}
	}
	s := siteOf(t, d)
	some := 0
	rank := map[string]schedule.Rank{"may": schedule.MayHaveStopped, "limit": schedule.AtLimit}
	for _, state := range clockStates {
		var want []string
		for _, a := range d.snap.Clocks {
			in := map[string]bool{"stopped": !a.Resting && (!a.Going || a.ProbablyStopped()), "unknown": a.Stance() == schedule.Unknown, "locked": len(a.Locks) > 0, "resting": a.Resting}[state.Value]
			for _, task := range a.Tasks {
				in = in || string(task.State) == state.Value && state.Value != "resting"
				if r, ok := rank[state.Value]; ok && task.Rank == r {
					in = true
					if task.Heading() != state.Label { // what its first task stands under is what is asked for
						t.Errorf("%q is asked for where the due-list says %q", state.Label, task.Heading())
					}
				}
			}
			if in {
				want = append(want, a.Clock.Slug)
			}
		}
		_, body := get(t, s, "/?state="+state.Value)
		got := fleetRows(t, body)
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", state.Value, got, want)
		}
		if _, ok := rank[state.Value]; ok && len(want) == 0 {
			t.Errorf("no clock is %s", state.Label)
		}
		some += len(want)
	}
	if some < 5 {
		t.Errorf("only %d clocks are in any state", some)
	}
}

func TestFleetOrders(t *testing.T) {
	s := newSite(t)
	snap := s.desk.snap
	used := func(slug string) float64 {
		a, _ := snap.Clock(slug)
		if o, ok := a.Worst(); ok {
			return o.Used
		}
		return -1
	}
	for by, less := range map[string]func(a, b string) bool{
		"name": func(a, b string) bool {
			x, _ := snap.Clock(a)
			y, _ := snap.Clock(b)
			return strings.ToLower(x.Clock.Name) <= strings.ToLower(y.Clock.Name)
		},
		"used": func(a, b string) bool { return used(a) >= used(b) },
		"place": func(a, b string) bool {
			x, _ := snap.Clock(a)
			y, _ := snap.Clock(b)
			return strings.ToLower(x.Site.Name) <= strings.ToLower(y.Site.Name)
		},
	} {
		_, body := get(t, s, "/?order="+by)
		got := fleetRows(t, body)
		if len(got) != 4 {
			t.Fatalf("%d clocks by %s", len(got), by)
		}
		for i := range got[1:] {
			if !less(got[i], got[i+1]) {
				t.Errorf("by %s: %v", by, got)
			}
		}
	}
	var want []string // each clock where its first task stands in the due-list
	for _, task := range snap.DueList().Tasks {
		if !slices.Contains(want, task.Clock) {
			want = append(want, task.Clock)
		}
	}
	if _, body := get(t, s, "/"); !slices.Equal(fleetRows(t, body), want) {
		t.Errorf("by what presses: %v, want %v", fleetRows(t, body), want)
	}
}

// Whatever an address asks for is answered with a whole page that says in plain
// words what was not understood.
func TestFleetSieveIsNotTrusted(t *testing.T) {
	s := newSite(t)
	for query, want := range map[string]string{
		"place=nowhere":              "No place here is called “nowhere”.",
		"person=nobody":              "No person here is called “nobody”.",
		"state=asleep":               "There is no state “asleep”: choose one from the list.",
		"order=slug;drop table":      "There is no such order",
		"page=0":                     "Pages are counted from 1",
		"page=-1":                    "Pages are counted from 1",
		"page=two":                   "Pages are counted from 1",
		"page=7":                     "There is no page 7: this is the last.",
		"page=99999999999999999999":  "Pages are counted from 1",
		"page=9223372036854775807":   "this is the last.",
		"q=edda@example.org":         "not by a mail address",
		"place=x' OR '1'='1":         "No place here is called “x' OR '1'='1”.",
		"person=\x00\xff\u202e":      "", // nothing is left of it
		"state=late') UNION SELECT1": "There is no state",
	} {
		name, value, _ := strings.Cut(query, "=")
		path := "/?" + name + "=" + url.QueryEscape(value)
		res, body := get(t, s, path)
		checkPage(t, path, body)
		if text := flat(t, body); res.StatusCode != 200 || !strings.Contains(text, want) {
			t.Errorf("%q answers %d, and does not say %q: %s", query, res.StatusCode, want, text)
		}
	}
	for _, name := range []string{"place", "person", "state", "q", "order", "page", "kind", "<script>"} {
		for _, value := range []string{evil, `'; DROP TABLE clock; --`, `" OR 1=1`, "%", "_", `\`, "{{.}}", strings.Repeat("x", 4000), "\x00", "\xff\xfe"} {
			for _, path := range []string{"/", "/due"} {
				path += "?" + url.Values{name: {value}}.Encode()
				res, body := get(t, s, path)
				if res.StatusCode != 200 || len(body) > 200_000 {
					t.Errorf("%.80s answers %d with %d bytes", path, res.StatusCode, len(body))
				}
				checkPage(t, path, body)
				checkTame(t, path, body)
			}
		}
	}
}

// What is not a reader's is answered as what is not there, in filters too, and
// in no count.
func TestFleetSieveOfAnother(t *testing.T) {
	d := newDesk()
	s := New(Options{Everyone: schedule.Actor{Person: "eve"}, Desk: d, Mailroom: newPost()})
	_, body := get(t, s, "/")
	text := flat(t, body)
	if got := fleetRows(t, body); !slices.Equal(got, []string{"bad"}) || !strings.Contains(text, "1 clock in care") {
		t.Errorf("she sees %v: %s", got, text)
	}
	for _, secret := range []string{"Corn Hall", "Barleymow", "quay"} {
		if strings.Contains(body, secret) {
			t.Errorf("the page tells of %s", secret)
		}
	}
	answer := func(query string) string {
		_, body := get(t, s, "/?"+query)
		return flat(t, body)
	}
	for _, pair := range [][2]string{{"place=corn-hall", "place=xorn-hall"}, {"person=tom", "person=xom"}, {"q=mill", "q=xill"}} {
		a, b := answer(pair[0]), answer(pair[1])
		_, x, _ := strings.Cut(pair[0], "=")
		_, y, _ := strings.Cut(pair[1], "=")
		if strings.ReplaceAll(a, x, y) != b {
			t.Errorf("%s is answered otherwise than %s:\n%s\n%s", pair[0], pair[1], a, b)
		}
	}
	d.snap = schedule.Survey(schedule.Fleet{}, nil, schedule.Model{}, now)
	if _, body := get(t, s, "/"); !strings.Contains(body, "No clock is in your care yet.") || strings.Contains(body, "fleet load") {
		t.Error("somebody with no clock is not told what to do")
	}
}

// The due-list is sifted as the fleet is, and place by place each place stands
// once, with its keys; on all pages together each task stands once.
func TestDueSieve(t *testing.T) {
	s := newSite(t)
	heads := func(path string) (heads []string, tasks int, text string) {
		_, body := get(t, s, path)
		checkPage(t, path, body)
		for _, n := range nodes(t, body) {
			if class, _ := attr(n, "class"); n.Data == "li" && class == "task" {
				tasks++
			}
			if id, _ := attr(n, "id"); strings.HasPrefix(id, "head-") {
				heads = append(heads, textOf(n))
			}
		}
		return heads, tasks, flat(t, body)
	}
	_, all, _ := heads("/due")
	places, n, text := heads("/due?order=place")
	if len(places) != 3 || n != all || !strings.HasPrefix(places[1], "Corn Hall") || !strings.Contains(text, "Access: Key at the porter's desk") {
		t.Errorf("%d of %d tasks at %v", n, all, places)
	}
	sum := 0
	for _, place := range []string{"corn-hall", "quay", "bad"} {
		_, n, _ := heads("/due?place=" + place)
		sum += n
	}
	if sum != all {
		t.Errorf("%d tasks place by place, want %d", sum, all)
	}
	sum = 0
	for _, state := range taskStates[:5] { // the week cuts across them
		_, n, _ := heads("/due?state=" + state.Value)
		sum += n
	}
	if sum != all || all < 10 {
		t.Errorf("%d tasks state by state, want %d", sum, all)
	}
	for path, want := range map[string]string{"/due?q=mill&kind=winding": "", "/due?q=nothing": "No task is like that.", "/due?kind=sleeping": "There is no work called “sleeping”"} {
		if _, n, text := heads(path); !strings.Contains(text, want) || (n > 0) != (want == "") {
			t.Errorf("%s shows %d tasks, and does not say %q", path, n, want)
		}
	}
	s.desk.snap = large(300)
	seen, pages, path := map[string]int{}, 0, "/due?order=place"
	for path != "" {
		_, body := get(t, s, path)
		for _, n := range nodes(t, body) {
			if class, _ := attr(n, "class"); n.Data == "li" && class == "task" {
				seen[textOf(n)]++
			}
		}
		if len(body) > 150_000 {
			t.Errorf("%s has %d bytes", path, len(body))
		}
		if pages++; pages > 100 {
			t.Fatal("the pages do not end")
		}
		path = hrefOf(t, body, "the next")
	}
	total := 0
	for _, n := range seen {
		total += n
	}
	near := slices.DeleteFunc(newDeck(s.desk.snap, nil).due(), func(at taskAt) bool { return at.far })
	if want := len(near); total != want || pages != (want+pageOfLines-1)/pageOfLines {
		t.Errorf("%d tasks on %d pages, want %d", total, pages, want)
	}
}

// What by the log has run down and what nobody knows of since a power cut are
// counted apart, on the fleet's page and in the due-list.
func TestUnknownIsNotRunDown(t *testing.T) {
	d := cared()
	look := func(a *schedule.Assessment, going bool) {
		a.Going, a.Resting, a.Locks, a.Problems = going, false, nil, nil
		a.Entries = nil
		a.Trains = []schedule.TrainState{{Train: wear.Train{Code: "going", Kind: wear.Going}, Going: going}}
		a.Tasks = []schedule.Task{{Clock: a.Clock.Slug, Kind: schedule.PowerCheck, Rank: schedule.MayHaveStopped, State: schedule.Due, Unsure: going,
			From: date(2026, 11, 20), Due: date(2026, 11, 20), Latest: date(2026, 11, 20), Confidence: "firm: x", Caution: "x"}}
	}
	for i, going := range []bool{false, true, true} {
		look(&d.snap.Clocks[i], going)
	}
	s := siteOf(t, d)
	stances := map[schedule.Stance]int{}
	for _, a := range d.snap.Clocks {
		stances[a.Stance()]++
	}
	if stances[schedule.RunOut] != 1 || stances[schedule.Unknown] != 2 {
		t.Fatalf("the fixture stands %v", stances)
	}
	text := pageText(t, s, "/")
	for _, want := range []string{"1 clock has probably run down: ", "2 clocks are not known to go, for nobody has checked them since a power cut: ", "not known since the power cut"} {
		if !strings.Contains(text, want) {
			t.Errorf("the fleet does not say %q: %s", want, text)
		}
	}
	if text := pageText(t, s, "/due"); !strings.Contains(text, "3 tasks: 1 by the log run down, 2 not known since a power cut") || !strings.Contains(text, "check after the power cut") || strings.Contains(text, "ook after a power cut") {
		t.Errorf("the due-list says %s", text)
	}
	if _, body := get(t, s, "/?state=unknown"); len(fleetRows(t, body)) != 2 {
		t.Errorf("not known are %v", fleetRows(t, body))
	}
}
