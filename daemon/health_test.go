package daemon

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// What is long on its way has no end by the database's time, and everything else has
// one, sooner where the database is known to be away: asked as the service is asked.
func TestWhatIsLongOnItsWay(t *testing.T) {
	const form, files = "application/x-www-form-urlencoded", "multipart/form-data; boundary=b"
	p := newPulse(func(context.Context) error { return errAway }, time.Now, slog.New(slog.DiscardHandler), func() {})
	var left time.Duration
	var bounded bool
	f := &front{}
	f.answer(guarded(Config{BaseURL: "https://clocks.example.org/"}, p, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var end time.Time
		end, bounded = r.Context().Deadline()
		left = time.Until(end)
	})))
	for _, most := range []time.Duration{requestTime, awayTime} {
		for _, c := range []struct {
			method, path, kind string
			long               bool
		}{
			{"POST", "/clock/moot-hall/log", files, true},
			{"POST", "/clock/moot-hall/do/winding/going", files, true},
			{"POST", "/old-book", files, true},
			{"POST", "/export", form, true},
			{"POST", "/clock/moot-hall/history", form, true},
			{"POST", "/clock/moot-hall/log", form, false},
			{"POST", "/clock/moot-hall/log", "multipart/form-datas; boundary=b", false},
			{"POST", "/clock/moot-hall/log", "multipart/form-data; boundary", false},
			{"POST", "/clock/moot-hall/log", "", false},
			{"POST", "/api/clocks/moot-hall/log", "application/json", false},
			{"POST", "/exports", form, false},
			{"GET", "/export", "", false},
			{"GET", "/clock/moot-hall/history", "", false},
			{"GET", "/clock/moot-hall", files, false},
			{"PUT", "/clock/moot-hall/log", files, false},
			{"HEAD", "/export", form, false},
			{"GET", "/metrics", "", false},
		} {
			r := httptest.NewRequest(c.method, c.path, nil)
			r.Host = "clocks.example.org"
			r.Header.Set("Content-Type", c.kind)
			left, bounded = -1, false
			(*f.handler.Load()).ServeHTTP(httptest.NewRecorder(), r)
			if left == -1 || bounded == c.long || !c.long && (left > most || left <= 0) {
				t.Errorf("%s %s with %q: bounded %v, by %v; want %v, within %v", c.method, c.path, c.kind, bounded, left, !c.long, most)
			}
		}
		p.look(t.Context())
		p.look(t.Context()) // twice, and it is away
	}
	if p.answers() {
		t.Error("the database counts as there all the time")
	}
}
