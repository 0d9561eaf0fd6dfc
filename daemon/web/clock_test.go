package web

import (
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
