package daemon

import (
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"endshake/daemon/login"
	"endshake/schedule"
)

// Who logs out while another request of theirs is under way stays logged out: that
// request keeps its session anew when it is done, and in vain.
func TestLoggedOutWhileARequestIsUnderWay(t *testing.T) {
	h := open(t, "2026-11-25 10:00")
	h.stop()
	d, _ := locked(t, h)
	const word = "larch mortar 61 plinth"
	hash, err := login.New().Hash(t.Context(), word)
	if err != nil {
		t.Fatal(err)
	}
	who := h.desk.Snapshot().Fleet.People[0].Slug
	err = d.store.ChangeAccount(t.Context(), "test", h.clock(), who, "let in", func(a *schedule.Account) error { a.Hash, a.Changed = hash, h.clock(); return nil })
	if err != nil {
		t.Fatal(err)
	}
	var cookies []*http.Cookie
	ask := func(method, path string, body io.Reader) *http.Response {
		r := httptest.NewRequest(method, "http://clocks.example.org"+path, body)
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		for _, c := range cookies {
			r.AddCookie(c)
		}
		w := httptest.NewRecorder()
		d.front.server.Handler.ServeHTTP(w, r)
		return w.Result()
	}
	res := ask("POST", "/login", strings.NewReader(url.Values{"name": {who}, "password": {word}}.Encode()))
	if cookies = res.Cookies(); res.StatusCode != http.StatusSeeOther || len(cookies) == 0 {
		t.Fatalf("logging in: %s", res.Status)
	}
	if res := ask("GET", "/due", nil); res.StatusCode != http.StatusOK {
		t.Fatalf("logged in: %s", res.Status)
	}
	h.set("2026-11-25 10:06") // so late that the use is noted, in the session
	body, form := io.Pipe()
	done := make(chan *http.Response)
	go func() { done <- ask("POST", "/me", body) }()
	if _, err := form.Write([]byte("version=")); err != nil { // it is read: the request is known by its session
		t.Fatal(err)
	}
	if res := ask("POST", "/logout", strings.NewReader("")); res.StatusCode != http.StatusSeeOther {
		t.Fatalf("logging out: %s", res.Status)
	}
	_ = form.Close()
	select {
	case <-done:
	case <-time.After(time.Minute):
		t.Fatal("the form is not answered")
	}
	if res := ask("GET", "/due", nil); res.StatusCode != http.StatusSeeOther || !strings.HasPrefix(res.Header.Get("Location"), "/login") {
		t.Errorf("after logging out: %s to %q", res.Status, res.Header.Get("Location"))
	}
}
