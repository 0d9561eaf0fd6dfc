package schedule

import (
	"testing"
	"time"
)

func TestAuditCheckSentence(t *testing.T) {
	at := time.Date(2026, 11, 25, 23, 30, 0, 0, time.UTC)
	paris, err := time.LoadLocation("Europe/Paris")
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range []struct {
		c    AuditCheck
		zone *time.Location
		want string
	}{
		{AuditCheck{At: at, Rows: 9}, time.UTC, "Every row fits those before it, looked at 25 Nov 2026."},
		{AuditCheck{At: at, Rows: 9}, paris, "Every row fits those before it, looked at 26 Nov 2026."},
		{AuditCheck{At: at, Rows: 9, Emptied: 1}, time.UTC, "Every row fits those before it, looked at 25 Nov 2026; of 1 row the words are gone with the person they spoke of."},
		{AuditCheck{At: at, Rows: 9, Broken: 10, Why: "it is missing"}, time.UTC,
			"Row 10 does not fit those before it (it is missing), looked at 25 Nov 2026: somebody changed the database beside this service; compare it with a backup."},
	} {
		if got := test.c.Sentence(test.zone); got != test.want {
			t.Errorf("got  %s\nwant %s", got, test.want)
		}
	}
}

func TestIsErased(t *testing.T) {
	for _, n := range []int{1, 12, 1 << 40} {
		if name := (Erasure{Person: "ned", Number: n}).Name(); !IsErased(name) {
			t.Errorf("%q is not known as erased", name)
		}
	}
	if got := (Erasure{Number: 12}).Name(); got != "person 12, erased" {
		t.Errorf("the name is %q", got)
	}
	for _, not := range []string{"", "ned", "12", "person 12", "person , erased", "person 0, erased", "person -1, erased", "person 012, erased", "person +1, erased",
		" person 1, erased", "person 1, erased ", "person 1, erased, erased", "person person 1, erased", "person 99999999999999999999, erased"} {
		if IsErased(not) {
			t.Errorf("%q is taken for erased", not)
		}
	}
}

// A correction may leave an entry with somebody who was erased; nobody logs
// anything new in such a name.
func TestByErased(t *testing.T) {
	f := fleetOf("Europe/London", alone())
	c := f.Clocks[0]
	old := did(Noted, "2026-10-25 08:00")
	old.ID, old.Clock, old.By, old.Note = "one", c.Slug, "person 3, erased", "stiff"
	e := old
	e.ID, e.RecordedAt = "", time.Time{}
	now := old.At.Add(time.Hour)
	if err := Validate(e, f, nil, Model{}, now); CodeOf(err) != NotFound {
		t.Errorf("a new entry by somebody erased: %v", err)
	}
	e.Replaces, e.Why, e.Note = "one", "it was not", "free"
	if err := Validate(e, f, []Entry{old}, Model{}, now); err != nil {
		t.Errorf("a correction that leaves it with them: %v", err)
	}
}
