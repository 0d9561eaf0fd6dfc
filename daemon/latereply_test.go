package daemon

import (
	"bytes"
	"io"
	"mime/quotedprintable"
	netmail "net/mail"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// A reply that lay long on its way is logged as of when it was written; one that
// bears a date before its letter is held.
func TestLateReply(t *testing.T) {
	for _, c := range []struct {
		later time.Duration // than its date
		state schedule.InwardState
		late  bool
	}{
		{-25 * time.Hour, schedule.Held, false}, {0, schedule.Logged, false}, {lateReply, schedule.Logged, false}, {26 * time.Hour, schedule.Logged, true},
	} {
		r := newInwardRoom(t)
		written := r.at
		raw := plain("wound\n")
		if c.later < 0 { // written by a clock that is a day slow
			raw = strings.Replace(raw, "Wed, 25 Nov", "Tue, 24 Nov", 1)
		} else {
			r.at = r.at.Add(c.later - 10*time.Millisecond)
		}
		came := r.at
		r.bring("ned@example.org", to(windToken), raw)
		r.clerk.book = forgetful{r.store}
		_ = r.clerk.settleAll(t.Context())
		r.clerk.book = r.store
		got := r.settle() // anew, after a kill
		if got.State != c.state {
			t.Errorf("%s late: %s, %s", c.later, got.State, got.Why)
		}
		if c.state == schedule.Held {
			if !strings.Contains(got.Why, "24 Nov 2026") || len(r.fromReplies()) != 0 {
				t.Errorf("held because %q, %d entries", got.Why, len(r.fromReplies()))
			}
			continue
		}
		list := r.fromReplies()
		if len(list) != 1 {
			t.Fatalf("%s late: %d entries", c.later, len(list))
		}
		want := came
		if c.late {
			want = written
		}
		if d := list[0].At.Sub(want); d < 0 || d > time.Second {
			t.Errorf("%s late: logged as of %s, want %s", c.later, list[0].At, want)
		}
	}
}

// Not done for the same reason: the same on one day, and news a week later.
func TestNotDoneByMailAgain(t *testing.T) {
	r := newInwardRoom(t)
	for i, c := range []struct {
		later time.Duration
		want  int
	}{{0, 1}, {time.Hour, 1}, {7 * 24 * time.Hour, 2}} {
		r.at = r.at.Add(c.later)
		r.bring("ned@example.org", to(windToken), strings.Replace(plain("not done: ladder locked\n"), "Wed, 25 Nov 2026 10:00:00 +0000", r.at.Format(time.RFC1123Z), 1))
		if got := r.settle(); got.State != schedule.Logged || got.Entry == "" || len(r.fromReplies()) != c.want {
			t.Errorf("%d: %s, %s; %d entries, want %d", i, got.State, got.Why, len(r.fromReplies()), c.want)
		}
	}
}

// Who is told that a reply is held is told a way that leads on: of a letter of
// many tasks no other answer by mail does.
func TestHeldSaysHow(t *testing.T) {
	const words, links, newer = "with one short sentence in plain English", "use the link beside each task that you did", "answer the newest letter about it"
	all := []string{words, links, newer}
	for _, c := range []struct{ token, body, base, want string }{
		{listToken, "wound the moot hall clock\n", "https://clocks.example.org", links},
		{listToken, "done\n", "", "tell the conservator which task you mean"},
		{windToken, "hmm\n", "https://clocks.example.org", words},
		{windToken, "could not oil it, no key\n", "https://clocks.example.org", words},
		{measureToken, "4.2 mm\n", "https://clocks.example.org", words},
		{oldToken, "wound\n", "https://clocks.example.org", newer},
		{windToken[:20], "wound\n", "https://clocks.example.org", newer},
	} {
		r := newInwardRoom(t)
		r.clerk.compose.Base = c.base
		r.bring("ned@example.org", to(c.token), plain(c.body))
		if got := r.settle(); got.State != schedule.Held || len(r.told()) != 1 {
			t.Fatalf("%q is %s, told %d times", c.body, got.State, len(r.told()))
		}
		n, err := r.store.Notice(t.Context(), r.told()[0].ID)
		if err != nil {
			t.Fatal(err)
		}
		m, err := netmail.ReadMessage(bytes.NewReader(n.Raw))
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(quotedprintable.NewReader(m.Body))
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Join(strings.Fields(string(b)), " ")
		if !strings.Contains(text, c.want) {
			t.Errorf("%q to %s: no %q in %s", c.body, c.token, c.want, text)
		}
		for _, other := range all {
			if other != c.want && strings.Contains(text, other) {
				t.Errorf("%q to %s: says also %q", c.body, c.token, other)
			}
		}
	}
}

// What was not done is of the task that the letter asked for, or is held.
func TestNotDoneOfAnother(t *testing.T) {
	r := newInwardRoom(t)
	r.bring("ned@example.org", to(windToken), plain("could not oil it, no key\n"))
	if got := r.settle(); got.State != schedule.Held || !strings.Contains(got.Why, "oiling") || len(r.fromReplies()) != 0 {
		t.Errorf("%s: %s", got.State, got.Why)
	}
}
