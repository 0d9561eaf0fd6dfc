package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"

	"endshake/schedule"
)

var sampleSettings = Settings{
	Version: "9.9", Engine: "sqlite", Schema: 5, Size: 12_300_000, Listen: "127.0.0.1:8080", Base: "https://clocks.example.org/", Zone: "Europe/London",
	Server: "mail.example.org:587", From: "Clock desk <clocks@example.org>", DKIMDomain: "example.org", DKIMSelector: "k1",
	Jobs: []JobSetting{{Name: "learn", At: "03:40", For: schedule.Date{Year: 2026, Month: 11, Day: 25}, State: "done", Done: now, Note: "nothing new"}, {Name: "never", At: "04:00"}},
}

// The settings say what is in force and where from, and lead only where there
// is a page.
func TestSettings(t *testing.T) {
	s := newSite(t)
	_, body := get(t, s, "/settings")
	checkPage(t, "/settings", body)
	text := flat(t, body)
	for _, want := range []string{"SQLite, in a file of its own, schema 5, 12 MB", "--base-url or ENDSHAKE_BASE_URL", "https://clocks.example.org/", "mail.example.org:587",
		"the address it comes from", "k1._domainkey.example.org", "for 25 Nov 2026: done on 25 Nov 2026, 10:00", "nothing new", "not yet", "4 clocks at 3 places", "none yet: it learns at night"} {
		if !strings.Contains(text, want) {
			t.Errorf("the settings do not say %q: %s", want, text)
		}
	}
	for _, link := range links(t, "/settings", body) {
		if res, _ := get(t, s, link); res.StatusCode != http.StatusOK {
			t.Errorf("%s answers %d", link, res.StatusCode)
		}
	}
	for _, tc := range []struct {
		by   schedule.Actor
		want int
	}{{schedule.Actor{Person: "tom"}, 403}, {schedule.Actor{Person: "edda", Conservator: true}, 200}} {
		h := New(Options{Everyone: tc.by, Desk: newDesk(), Mailroom: newPost(), Settings: func(context.Context) (Settings, error) { return sampleSettings, nil }})
		if res, _ := get(t, h, "/settings"); res.StatusCode != tc.want {
			t.Errorf("%+v is answered %d, want %d", tc.by, res.StatusCode, tc.want)
		}
		_, help := get(t, h, "/help")
		if led := hrefOf(t, help, "Settings") != ""; led != (tc.want == 200) {
			t.Errorf("%+v is led there: %v", tc.by, led)
		}
	}
	bare := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: newDesk(), Mailroom: newPost()})
	if res, _ := get(t, bare, "/settings"); res.StatusCode != 404 {
		t.Errorf("what is not shown answers %d", res.StatusCode)
	}
	broken := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: newDesk(), Mailroom: newPost(),
		Settings: func(context.Context) (Settings, error) { return Settings{}, errors.New("the secret disk is gone") }})
	if res, body := get(t, broken, "/settings"); res.StatusCode != 500 || strings.Contains(body, "secret") {
		t.Errorf("a fault answers %d: %s", res.StatusCode, body)
	}
}
