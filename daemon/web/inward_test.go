package web

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// inwardRoom keeps messages in memory.
type inwardRoom struct{ list []schedule.Inward }

func (r *inwardRoom) Inwards(context.Context, int) ([]schedule.Inward, error) { return r.list, nil }

func (r *inwardRoom) Inward(_ context.Context, id string) (schedule.Inward, error) {
	for _, m := range r.list {
		if m.ID == id {
			return m, nil
		}
	}
	return schedule.Inward{}, &schedule.Error{Code: schedule.NotFound, Message: "there is no such message"}
}

func (r *inwardRoom) CloseIn(_ context.Context, _, id, _ string, now time.Time) error {
	for i := range r.list {
		if r.list[i].ID == id && r.list[i].State == schedule.Held {
			r.list[i].State, r.list[i].Settled = schedule.Closed, now
			return nil
		}
	}
	return &schedule.Error{Code: schedule.Conflict, Message: "it is not held"}
}

func TestWhatCameIn(t *testing.T) {
	d, p := newDesk(), newPost()
	clock := d.Snapshot().Clocks[0].Clock
	person := clock.Duties[0].Person
	room := &inwardRoom{list: []schedule.Inward{
		{ID: "i2", At: d.now, From: "x@example.org", Title: "<b>Re: wind</b>", State: schedule.Held, Why: "it asks a question", Person: person, Clock: clock.Slug, Raw: []byte("x")},
		{ID: "i1", At: d.now.Add(-time.Hour), State: schedule.Bounced, Why: "5.1.1 no such user"},
	}}
	h := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: p, Now: func() time.Time { return d.now }, Inward: room,
		ReadInward: func(schedule.Inward) string { return "<script>wound?</script>" }})
	_, list := get(t, h, "/inward")
	for _, want := range []string{"answer waits for somebody", "&lt;b&gt;Re: wind&lt;/b&gt;", "it asks a question", "a mail server", "5.1.1 no such user"} {
		if !strings.Contains(list, want) {
			t.Errorf("the list lacks %q", want)
		}
	}
	if _, mail := get(t, h, "/mail"); !strings.Contains(mail, `href="/inward"`) {
		t.Error("the mail room does not lead to what came in")
	}
	_, one := get(t, h, "/inward/i2")
	for _, want := range []string{"&lt;script&gt;wound?", "Log as wound", "/clock/" + clock.Slug + "/log?by=" + person + "&amp;kind=measured", "Nothing more to do"} {
		if !strings.Contains(one, want) {
			t.Errorf("the held message lacks %q:\n%s", want, one)
		}
	}
	if _, one := get(t, h, "/inward/i1"); strings.Contains(one, "Log as") || strings.Contains(one, "<form") {
		t.Error("a message that is not held can be decided")
	}
	post := func(id string) int {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest(http.MethodPost, "/inward/"+id, nil))
		return w.Code
	}
	if code := post("i2"); code != http.StatusSeeOther || room.list[0].State != schedule.Closed {
		t.Errorf("closing: %d, %s", code, room.list[0].State)
	}
	if code := post("i2"); code != http.StatusConflict {
		t.Errorf("closing twice: %d", code)
	}
	if w, _ := get(t, h, "/inward/none"); w.StatusCode != http.StatusNotFound {
		t.Errorf("an unknown message: %d", w.StatusCode)
	}
	without := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: p, Now: func() time.Time { return d.now }})
	if w, _ := get(t, without, "/inward"); w.StatusCode != http.StatusNotFound {
		t.Errorf("where nothing comes in: %d", w.StatusCode)
	}
}
