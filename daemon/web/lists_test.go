package web

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
)

func TestFleetOpensWithTheOneThingToKnow(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/")
	var lede string
	rows := 0
	for _, n := range nodes(t, body) {
		if class, _ := attr(n, "class"); class == "lede" {
			lede = textOf(n)
		}
		if n.Data == "th" && within(n, "tbody") {
			rows++
		}
	}
	for _, want := range []string{"4 clocks in care", "1 clock is stopped", "late", "first of all winding"} {
		if !strings.Contains(lede, want) {
			t.Errorf("the fleet opens with %q, without %q", lede, want)
		}
	}
	if rows < 4 {
		t.Errorf("%d rows for 4 clocks", rows)
	}
	d := newDesk()
	d.snap = &schedule.Snapshot{Now: now}
	if _, body := get(t, siteOf(t, d), "/"); !strings.Contains(body, "There is no clock in care yet.") {
		t.Error("an empty fleet does not say so")
	}
}

func TestDueFilters(t *testing.T) {
	s := newSite(t)
	tasks := func(path string) (n int, all string) {
		_, body := get(t, s, path)
		for _, x := range nodes(t, body) {
			if class, _ := attr(x, "class"); class == "task" {
				n++
				all += textOf(x) + "\n"
			}
		}
		return n, all
	}
	whole, _ := tasks("/due")
	toms, text := tasks("/due?person=tom")
	if toms == 0 || toms >= whole {
		t.Errorf("%d tasks for one keeper of %d", toms, whole)
	}
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		if !strings.Contains(line, "Tom Barleymow") {
			t.Errorf("a task for somebody else: %s", line)
		}
	}
	winding, text := tasks("/due?kind=winding")
	if winding == 0 || winding >= whole || strings.Count(text, "Winding of") != winding {
		t.Errorf("%d of %d tasks are winding: %s", winding, whole, text)
	}
	// 25 Nov 2026 is a Wednesday: the week is over on the 29th.
	want := 0
	for _, x := range s.desk.snap.DueList().Tasks {
		if x.State != schedule.Resting && !x.Due.After(date(2026, 11, 29)) {
			want++
		}
	}
	if n, _ := tasks("/due?state=week"); n != want || n == 0 || n >= whole {
		t.Errorf("%d of %d tasks are to be done by Sunday, want %d", n, whole, want)
	}
	if none, _ := tasks("/due?person=nobody"); none != 0 {
		t.Errorf("%d tasks for nobody", none)
	}
}

func TestTasksLeadToTheirForm(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/due?kind=winding")
	found := false
	for _, link := range links(t, "/due", body) {
		if strings.HasPrefix(link, "/clock/mill/do/wind?subject=going") {
			found = true
			_, form := get(t, s, link)
			if v := filled(t, form); v.Get("train") != "going" || v.Get("at") == "" {
				t.Errorf("%s is filled with %v", link, v)
			}
		}
	}
	if !found {
		t.Error("no task leads to the form for winding")
	}
}

func TestTheLogIsPaged(t *testing.T) {
	s := newSite(t)
	seen := map[string]bool{}
	path, pages := "/clock/corn-hall", 0
	for path != "" && pages < 20 {
		_, body := get(t, s, path)
		pages++
		path = ""
		n := 0
		for _, x := range nodes(t, body) {
			if id, _ := attr(x, "id"); strings.HasPrefix(id, "entry-") {
				if seen[id] {
					t.Errorf("%s stands on two pages", id)
				}
				seen[id] = true
				n++
			}
			if href, _ := attr(x, "href"); x.Data == "a" && textOf(x) == "Older entries" {
				path, _, _ = strings.Cut(href, "#")
			}
		}
		if n > pageOfLog {
			t.Errorf("%d entries on a page", n)
		}
	}
	if want := len(s.desk.f.log["corn-hall"]); len(seen) != want || pages != (want+pageOfLog-1)/pageOfLog {
		t.Errorf("%d entries on %d pages, want %d", len(seen), pages, want)
	}
}

func TestBearingPage(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/clock/corn-hall/bearing/centre-front")
	for _, want := range []string{"front washer", "conservator, survey of 2019", "Archard", "0.57", "22.4", "Edda Quillfeather", "dial indicator",
		"plain straight line through the 5 readings", "8 chances in 10", "run-hours", "A repair starts the size anew"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	_, body = get(t, s, "/clock/mill/bearing/centre-rear")
	if !strings.Contains(body, "new washer, leaving 0.25 mm (9.8 thou)") || strings.Contains(body, "plain straight line") {
		t.Error("the repair is missing, or a line was fitted through two readings")
	}
}

func TestMailRoom(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/mail")
	for _, want := range []string{"1 notice wants looking at", "parked", "no answer after the message", "Tom Barleymow", "Arrived", "Due in December – Corn Hall"} {
		if !strings.Contains(body, want) {
			t.Errorf("the mail room does not say %q", want)
		}
	}
	_, body = get(t, s, "/mail/m1")
	for _, want := range []string{"tom@example.org", "due. – &lt;script&gt;", "Sent 25 Nov 2026, 10:00 UTC"} {
		if !strings.Contains(strings.ReplaceAll(body, "&lt;tom@", "tom@"), want) {
			t.Errorf("the message does not show %q", want)
		}
	}
	res, part := get(t, s, "/mail/m1/html")
	policy := res.Header.Get("Content-Security-Policy")
	if !strings.HasPrefix(policy, "sandbox; default-src 'none'; style-src 'unsafe-inline'") || strings.Contains(policy, "allow-") {
		t.Errorf("the HTML part is shown under %q", policy)
	}
	if !strings.Contains(part, `<img src="data:image/png;base64,iVBORw0KGgo=">`) {
		t.Errorf("the HTML part has lost its picture: %s", part)
	}
	if _, body := get(t, s, "/mail/m2"); !strings.Contains(body, "no subject") {
		t.Error("what is no message at all is not shown as one")
	}
}

func TestResend(t *testing.T) {
	s := newSite(t)
	if _, body := get(t, s, "/mail/m3"); strings.Contains(body, "Send it again") {
		t.Error("a notice that is owed already can be owed again")
	}
	res, _ := send(t, s, "/mail/m2/resend", nil)
	if res.StatusCode != http.StatusSeeOther || fmt.Sprint(s.post.resent) != "[conservator m2]" {
		t.Errorf("answers %d after %v", res.StatusCode, s.post.resent)
	}
	if _, body := get(t, s, res.Header.Get("Location")); !strings.Contains(body, "owed once more") {
		t.Error("the page does not say that it is owed once more")
	}
	s.post.err = &schedule.Error{Code: schedule.Conflict, Message: "it is on its way"}
	if res, body := send(t, s, "/mail/m2/resend", nil); res.StatusCode != 409 || !strings.Contains(body, "It is on its way.") {
		t.Errorf("a refusal answers %d", res.StatusCode)
	}
}

// large is a fleet of many clocks, each with the history of the first.
func large(n int) *schedule.Snapshot {
	f := newFixture()
	snap := f.snapshot()
	a := snap.Clocks[0]
	snap.Clocks = nil
	for i := range n {
		a.Clock.Slug = fmt.Sprintf("clock-%d", i)
		a.Tasks = slices.Clone(a.Tasks)
		for j := range a.Tasks {
			a.Tasks[j].Clock = a.Clock.Slug
		}
		snap.Clocks = append(snap.Clocks, a)
	}
	return snap
}

// A page of the fleet holds fifty clocks, and the pages together hold each once.
func TestThreeHundredClocks(t *testing.T) {
	d := newDesk()
	d.snap = large(300)
	s := siteOf(t, d)
	seen, path := map[string]int{}, "/"
	for n := 1; path != ""; n++ {
		_, body := get(t, s, path)
		if rows := fleetRows(t, body); len(rows) != 50 || n > 6 {
			t.Fatalf("page %d has %d clocks", n, len(rows))
		} else {
			for _, slug := range rows {
				seen[slug]++
			}
		}
		plain := body
		for from := strings.Index(plain, "<svg"); from >= 0; from = strings.Index(plain, "<svg") {
			plain = plain[:from] + plain[from+strings.Index(plain[from:], "</svg>"):]
		}
		if len(plain) > 150_000 {
			t.Errorf("%s has %d bytes without its pictures", path, len(plain))
		}
		path = hrefOf(t, body, "the next")
	}
	if len(seen) != 300 {
		t.Errorf("%d clocks on all pages", len(seen))
	}
}

// fleetRows are the slugs of the clocks in the fleet's table.
func fleetRows(t *testing.T, body string) (slugs []string) {
	t.Helper()
	for _, n := range nodes(t, body) {
		if head, _ := attr(n, "data-head"); n.Data == "th" && head == "Clock" {
			for c := range n.ChildNodes() {
				if href, ok := attr(c, "href"); ok {
					slugs = append(slugs, strings.TrimPrefix(href, "/clock/"))
				}
			}
		}
	}
	return slugs
}

// hrefOf is where a link with these words leads; empty: there is none.
func hrefOf(t *testing.T, body, words string) string {
	t.Helper()
	for _, n := range nodes(t, body) {
		if n.Data == "a" && textOf(n) == words {
			href, _ := attr(n, "href")
			return href
		}
	}
	return ""
}

func BenchmarkPages(b *testing.B) {
	for _, n := range []int{4, 300} {
		d := newDesk()
		if n > 4 {
			d.snap = large(n)
		}
		s := siteOf(b, d)
		clock := d.snap.Clocks[0].Clock.Slug
		for _, path := range []string{"/", "/due", "/clock/" + clock, "/clock/" + clock + "/bearing/centre-front", "/clock/" + clock + "/log?kind=measured"} {
			b.Run(fmt.Sprint(n, path), func(b *testing.B) {
				size := 0
				for b.Loop() {
					size = fetch(b, s, path)
				}
				b.ReportMetric(float64(size), "bytes")
			})
		}
	}
}

// Whoever does not run the fleet reads first what is for them, and what is for
// others folded and counted; no task is lost by it. Who runs it reads all as one.
func TestDueOfOneself(t *testing.T) {
	d := woundDesk()
	s, all := siteFor(t, d, winder), 0
	for _, at := range newDeck(d.snap, nil).due() {
		if !at.far && d.snap.Clocks[at.clock].Clock.Slug == "corn-hall" {
			all++
		}
	}
	for _, path := range []string{"/due", "/due?order=place"} {
		_, body := get(t, s, path)
		checkPage(t, path, body)
		first, folded, named := 0, 0, 0
		for _, n := range nodes(t, body) {
			if class, _ := attr(n, "class"); n.Data != "li" || class != "task" {
				continue
			}
			switch mine := strings.Contains(textOf(n), "Wim Oster"); {
			case within(n, "details"):
				folded++
				if mine {
					named++
				}
			case folded > 0 || !mine:
				t.Errorf("%s: for others, or after what is: %s", path, textOf(n))
			default:
				first++
			}
		}
		if first == 0 || folded == 0 || named > 0 || first+folded != all || !strings.Contains(body, fmt.Sprintf("For others (%d)", folded)) ||
			!strings.Contains(body, schedule.Count(first+folded, "task", "tasks")+": ") {
			t.Errorf("%s: %d first, %d folded (%d theirs) of %d", path, first, folded, named, all)
		}
	}
	if strings.Contains(fetchText(t, siteOf(t, d), "/due"), "For others") {
		t.Error("who runs the fleet has tasks of others")
	}
	if body := fetchText(t, s, "/due?person=tom"); strings.Contains(body, "For others") || !strings.Contains(body, `<li class="task"`) {
		t.Error("what is asked for by name is folded")
	}
}

func fetchText(t *testing.T, s site, path string) string {
	t.Helper()
	_, body := get(t, s, path)
	return body
}
