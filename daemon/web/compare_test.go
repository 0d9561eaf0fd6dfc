package web

import (
	"net/url"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
)

// Each kind of bearing is led to, and its page shows each bearing of it once,
// the most worn first, and none of another kind.
func TestCompare(t *testing.T) {
	s := newSite(t)
	_, hub := get(t, s, "/compare")
	checkPage(t, "/compare", hub)
	want := map[string][]string{} // by group
	used := map[string]float64{}
	for _, a := range s.desk.snap.Clocks {
		for _, o := range a.Outlooks {
			path := bearingPath(a.Clock.Slug, o.Bearing.Code)
			group := schedule.Group(o.Bearing, o.Arbor, o.Train)
			want[group] = append(want[group], path)
			if used[path] = -1; o.Known && o.Limit != nil {
				used[path] = o.Used
			}
		}
	}
	if len(want) < 2 {
		t.Fatalf("the fixture has %d kinds", len(want))
	}
	for group, all := range want {
		path := "/compare?" + url.Values{"kind": {group}}.Encode()
		if !slices.Contains(links(t, "/compare", hub), path) {
			t.Errorf("no link leads to %s", path)
		}
		res, body := get(t, s, path)
		checkPage(t, path, body)
		var got []string
		for _, link := range links(t, path, body) {
			if strings.Contains(link, "/bearing/") {
				got = append(got, link)
			}
		}
		for i := range got[1:] {
			if used[got[i]] < used[got[i+1]] {
				t.Errorf("%s stands before %s, which is more worn", got[i], got[i+1])
			}
		}
		slices.Sort(got)
		slices.Sort(all)
		if res.StatusCode != 200 || !slices.Equal(got, all) {
			t.Errorf("%s answers %d and shows %v, want %v", path, res.StatusCode, got, all)
		}
		if text := flat(t, body); !strings.Contains(text, "8 in 10") || !strings.Contains(text, "mm") || !strings.Contains(text, "Its kind:") {
			t.Errorf("%s does not say how sure it is: %s", path, text)
		}
		_, page := get(t, s, all[0])
		if !slices.Contains(links(t, all[0], page), path) {
			t.Errorf("%s does not lead to its kind", all[0])
		}
	}
	if _, body := get(t, s, "/"); !slices.Contains(links(t, "/", body), "/compare") {
		t.Error("the fleet does not lead to the kinds")
	}
}

// A kind can be narrowed to the bearings, or clocks, of a name, over pages too.
func TestCompareCalled(t *testing.T) {
	d := newDesk()
	d.snap = large(60)
	s := siteOf(t, d)
	o := d.snap.Clocks[0].Outlooks[0]
	whole := comparePath(groupOf(o))
	name := strings.ToLower(schedule.NameOf(o.Bearing.Name, o.Arbor.Name))
	count := func(path string) (n int, next, text string) {
		_, body := get(t, s, path)
		checkPage(t, path, body)
		for _, link := range links(t, path, body) {
			if strings.Contains(link, "/bearing/") {
				n++
			}
		}
		return n, hrefOf(t, body, "the next"), flat(t, body)
	}
	found := 0
	for path := whole + "&q=" + url.QueryEscape(name); path != ""; {
		n, next, text := count(path)
		if found, path = found+n, next; !strings.Contains(text, "60 bearings of 60 clocks") || next != "" && !strings.Contains(next, "q=") {
			t.Errorf("%s: %s", next, text)
		}
	}
	if found != 60 {
		t.Errorf("%d bearings are called %s", found, name)
	}
	all, _, _ := count(whole)
	if n, _, text := count(whole + "&q=nowhere"); n != all || !strings.Contains(text, "all are shown") {
		t.Errorf("%d of %d for a name that none has: %s", n, all, text)
	}
}

// Many bearings of one kind stand on several pages; addresses are not trusted,
// and what is another's is not there.
func TestComparePages(t *testing.T) {
	d := newDesk()
	d.snap = large(60)
	s := siteOf(t, d)
	path, seen := comparePath(groupOf(d.snap.Clocks[0].Outlooks[0])), map[string]bool{}
	for n := 0; path != "" && n < 50; n++ {
		_, body := get(t, s, path)
		checkPage(t, path, body)
		for _, link := range links(t, path, body) {
			if strings.Contains(link, "/bearing/") {
				if seen[link] {
					t.Errorf("%s stands on two pages", link)
				}
				seen[link] = true
			}
		}
		path = hrefOf(t, body, "the next")
	}
	if len(seen) < 120 {
		t.Errorf("%d bearings on all pages", len(seen))
	}
	s = newSite(t)
	for _, query := range []string{"kind=nothing", "kind=" + url.QueryEscape(evil), "kind=%25", "kind=%00%ff", "kind=x&page=-7", "page=3"} {
		res, body := get(t, s, "/compare?"+query)
		checkPage(t, query, body)
		checkTame(t, query, body)
		if res.StatusCode != 200 || len(links(t, query, body)) < 8 {
			t.Errorf("%s answers %d", query, res.StatusCode)
		}
	}
	eve := New(Options{Everyone: schedule.Actor{Person: "eve"}, Desk: newDesk(), Mailroom: newPost()})
	_, hub := get(t, eve, "/compare")
	for _, path := range append(links(t, "/compare", hub), "/compare") {
		if strings.HasPrefix(path, "/compare") {
			if _, body := get(t, eve, path); strings.Contains(body, "/clock/mill") || strings.Contains(body, "Corn Hall") {
				t.Errorf("%s shows another's clock", path)
			}
		}
	}
}

func groupOf(o schedule.Outlook) string { return schedule.Group(o.Bearing, o.Arbor, o.Train) }
