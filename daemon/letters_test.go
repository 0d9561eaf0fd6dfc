package daemon

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"endshake/daemon/mail"
	"endshake/schedule"
)

// fakeOutbox owes letters in memory.
type fakeOutbox struct {
	begun time.Time
	owed  map[string]schedule.Notice
	asks  int
	fail  error  // of the next Owe
	bad   string // a key that is refused
}

func (f *fakeOutbox) Begin(_ context.Context, _, _ string, now time.Time) (time.Time, bool, error) {
	first := f.begun.IsZero()
	if first {
		f.begun = now
	}
	return f.begun, first, nil
}

func (f *fakeOutbox) KnownKeys(_ context.Context, keys []string) (map[string]bool, error) {
	f.asks++
	known := map[string]bool{}
	for _, k := range keys {
		if n, ok := f.owed[k]; ok && len(n.Raw) > 0 {
			known[k] = true
		}
	}
	return known, nil
}

func (f *fakeOutbox) Owe(_ context.Context, _ time.Time, notices []schedule.Notice) (int, error) {
	if err := f.fail; err != nil {
		f.fail = nil
		return 0, err
	}
	for _, n := range notices {
		if n.Key == f.bad {
			return 0, &schedule.Error{Code: schedule.Invalid, Field: "raw", Message: "it cannot be stored"}
		}
	}
	for _, n := range notices {
		f.owed[n.Key] = n
		for _, k := range n.Covers {
			f.owed[k] = n
		}
	}
	return len(notices), nil
}

func (f *fakeOutbox) Declined(context.Context) ([]schedule.Decline, error) { return nil, nil }

func (f *fakeOutbox) Mailboxes(context.Context, int) ([]schedule.Mailbox, error) {
	return []schedule.Mailbox{{Address: "Ned@example.org"}}, nil
}

func (f *fakeOutbox) Trouble(context.Context, time.Time, time.Time) (schedule.Trouble, error) {
	return schedule.Trouble{}, nil
}

// writerAt is a writer of letters on the test fleet.
func writerAt(t *testing.T, now string) (*letterWriter, *fakeOutbox) {
	h := open(t, now, wound(t, "2024-01-01 09:00", "2026-11-23 09:00")...)
	f := &fakeOutbox{owed: map[string]schedule.Notice{}, begun: at(t, "2026-10-01 09:00")}
	return &letterWriter{outbox: f, facts: f, desk: h.desk, owner: "test", log: slog.New(slog.DiscardHandler),
		compose: mail.Composer{From: "Desk <desk@example.org>", Base: "https://clocks.example.org"}}, f
}

// Known keys are asked for once; what fails is owed at the next wake; one letter
// that is refused holds up no other, and a stopped mailbox gets none.
func TestLetterWriter(t *testing.T) {
	const list, owner = "ada|due-list||2026-11", "council|owner's month||2026-11"
	w, f := writerAt(t, "2026-11-02 10:00")
	now := at(t, "2026-11-02 10:00")
	f.fail = errors.New("the disk is full")
	if err := w.write(t.Context(), now); err == nil || len(f.owed) != 0 {
		t.Fatalf("%v, %d owed; want the failure told", err, len(f.owed))
	}
	f.bad = owner
	if err := w.write(t.Context(), now.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	n, ok := f.owed[list]
	if !ok || len(f.owed) != 1 || len(n.Passes) < 2 || len(n.Raw) == 0 {
		t.Fatalf("owed %v, want Ada's list alone, with its passes", f.owed)
	}
	seen := map[string]bool{}
	for _, p := range n.Passes {
		if _, ok := schedule.ReadToken(p.Token); !ok || seen[p.Token] || p.Notice != n.ID || p.Person != "ada" {
			t.Errorf("pass %+v", p)
		}
		seen[p.Token] = true
	}
	asks := f.asks
	for i := range 10 {
		if err := w.write(t.Context(), now.Add(time.Duration(i+2)*time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if f.asks != asks {
		t.Errorf("keys that are known were asked for %d times more", f.asks-asks)
	}
	f.bad = ""
	if err := w.write(t.Context(), now.Add(unwrittenWait+2*time.Minute)); err != nil || len(f.owed) != 2 {
		t.Errorf("%v, %d owed; want the refused letter owed when it can be", err, len(f.owed))
	}
	// Another process finds all of it owed already.
	again, _ := writerAt(t, "2026-11-02 10:00")
	again.outbox, again.facts = f, f
	before := f.owed[list].ID
	if err := again.write(t.Context(), now.Add(time.Hour)); err != nil || f.owed[list].ID != before {
		t.Errorf("%v: another process wrote it anew", err)
	}
}
