package web

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// timed is a connection that notes by when it is to have been read and written.
type timed struct {
	*httptest.ResponseRecorder
	read, write time.Time
}

func (c *timed) SetReadDeadline(t time.Time) error  { c.read = t; return nil }
func (c *timed) SetWriteDeadline(t time.Time) error { c.write = t; return nil }

// A form that brings files has minutes, and an end: it holds whatever becomes of the
// request's context, also for what is left to be read when the handler has gone.
func TestFormsWithFilesHaveAnEnd(t *testing.T) {
	for _, c := range []struct {
		pattern, kind string
		long          bool
	}{
		{"/clock/{clock}/log", "multipart/form-data; boundary=b", true},
		{"/clock/{clock}/do/{task}", "multipart/form-data; boundary=b", true},
		{"/old-book", "multipart/form-data; boundary=b", true},
		{"/clock/{clock}/log", "application/x-www-form-urlencoded", false},
		{"/me", "multipart/form-data; boundary=b", false},
	} {
		ctx, gone := context.WithCancel(t.Context())
		r := httptest.NewRequest("POST", "/", strings.NewReader("x")).WithContext(ctx)
		r.Pattern = c.pattern
		r.Header.Set("Content-Type", c.kind)
		w, before := &timed{ResponseRecorder: httptest.NewRecorder()}, time.Now()
		bodyOf(w, r)
		gone()
		least, most := before.Add(slowest), time.Now().Add(slowest+time.Minute)
		inside := func(at time.Time) bool { return !at.Before(least) && !at.After(most) }
		if c.long && !(inside(w.read) && inside(w.write)) || !c.long && !(w.read.IsZero() && w.write.IsZero()) {
			t.Errorf("%s with %s is to have been read by %v and answered by %v", c.pattern, c.kind, w.read, w.write)
		}
	}
}

// A file that takes longer on its way than a page may arrives whole.
func TestExportOutlastsThePagesTime(t *testing.T) {
	const pages = 250 * time.Millisecond
	e := strangers(t, func(o *Options) {
		history := o.History
		o.Exported = func(context.Context, string, []string) error { return nil }
		o.History = func(ctx context.Context, clock string) ([]schedule.Entry, error) {
			select {
			case <-time.After(pages):
			case <-ctx.Done(): // as a database ends what it was asked
				return nil, ctx.Err()
			}
			return history(ctx, clock)
		}
	})
	srv := httptest.NewUnstartedServer(e)
	srv.Config.ReadTimeout, srv.Config.WriteTimeout = pages, pages
	srv.Start()
	defer srv.Close()
	r, err := http.NewRequestWithContext(t.Context(), "POST", srv.URL+"/export", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	for _, c := range e.in("edda").cookies {
		r.AddCookie(c)
	}
	res, err := srv.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK {
		t.Fatalf("%s, broken off after %d bytes: %v", res.Status, len(body), err)
	}
	if out := exported(t, string(body)); len(out.fleet.Clocks) != 3 {
		t.Errorf("%d clocks arrive", len(out.fleet.Clocks))
	}
}
