package web

import (
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// What the year strip draws stands beside it as a table: each task with its days.
func TestYearAsATable(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/clock/mill")
	a, _ := s.desk.snap.Clock("mill")
	rows := map[string]string{}
	for _, n := range nodes(t, body) {
		if n.Data == "tr" {
			rows[textOf(n)] = ""
		}
	}
	for _, task := range a.Tasks {
		want := strings.Join([]string{schedule.Capital(task.What()), task.Heading(), task.From.Words(), task.Due.Words(), task.Latest.Words()}, "")
		if _, ok := rows[want]; !ok && !task.From.IsZero() && !task.Latest.IsZero() {
			t.Errorf("the table lacks %q", want)
		}
	}
	if len(a.Tasks) < 4 {
		t.Errorf("only %d tasks were looked for", len(a.Tasks))
	}
}

// Addresses are for the conservator of the fleet, and for whose they are.
func TestContacts(t *testing.T) {
	d := newDesk()
	for _, tc := range []struct {
		by        schedule.Actor
		edda, tom bool
	}{
		{schedule.Actor{Person: "edda", Conservator: true}, true, true},
		{schedule.Actor{Person: "tom"}, false, true},
	} {
		s := New(Options{Everyone: tc.by, Desk: d, Mailroom: newPost(), Now: func() time.Time { return now }})
		_, body := get(t, s, "/clock/mill")
		text := flat(t, body)
		if !strings.Contains(text, "Conservator Edda Quillfeather") || !strings.Contains(text, "Keeper, winder Tom Barleymow") {
			t.Errorf("%+v is not told who does what", tc.by)
		}
		if got := strings.Contains(text, "edda@example.org"); got != tc.edda {
			t.Errorf("%+v sees her address: %v", tc.by, got)
		}
		if got := strings.Contains(text, "tom@example.org"); got != tc.tom {
			t.Errorf("%+v sees his address: %v", tc.by, got)
		}
	}
}

// Who logs nothing on a clock reads first how it stands, who looks after it and
// what is coming, with its visits; what to mind stands with the work below.
func TestOwnersPage(t *testing.T) {
	d := newDesk()
	mill := &d.snap.Fleet.Clocks[slices.IndexFunc(d.snap.Fleet.Clocks, func(c schedule.Clock) bool { return c.Slug == "mill" })]
	mill.Duties = append(mill.Duties, schedule.Duty{Person: "eve", Role: schedule.Owner})
	for i := range d.snap.Clocks {
		if d.snap.Clocks[i].Clock.Slug == "mill" {
			d.snap.Clocks[i].Clock.Duties = mill.Duties
		}
	}
	res, body := get(t, siteFor(t, d, schedule.Actor{Person: "eve"}), "/clock/mill")
	if res.StatusCode != 200 {
		t.Fatalf("the owner is answered %d", res.StatusCode)
	}
	checkPage(t, "/clock/mill", body)
	text := flat(t, body)
	at := -1
	for _, want := range []string{"Old Mill clock", "Who looks after it", "What is coming", "The twelve months from", "visit", "The year", "Bearings", "What is to be done", "Caution"} {
		i := strings.Index(text[at+1:], want)
		if i < 0 {
			t.Fatalf("%q does not stand where it should: %s", want, text)
		}
		at += 1 + i
	}
	if strings.Contains(text[:strings.Index(text, "What is coming")], "Caution") {
		t.Error("the page begins with cautions")
	}
}
