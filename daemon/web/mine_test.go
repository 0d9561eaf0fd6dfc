package web

import (
	"compress/gzip"
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"endshake/schedule"
)

// Whoever winds one clock comes to its page at once: their own next work first,
// with by when, then what was done last and how to get in; all else is folded.
func TestAWinderSeesTheNextWindFirst(t *testing.T) {
	d := woundDesk()
	s := siteFor(t, d, winder)
	res, _ := get(t, s, "/")
	if res.StatusCode != 303 || res.Header.Get("Location") != "/clock/corn-hall" {
		t.Errorf("the fleet's page answers %d to %q", res.StatusCode, res.Header.Get("Location"))
	}
	_, body := get(t, s, "/clock/corn-hall")
	checkPage(t, "/clock/corn-hall", body)
	if !strings.Contains(body, `<a class="first" href="/clock/corn-hall/do/wind">Wind both trains</a>`) {
		t.Error("the first button is not the wind")
	}
	head, rest, ok := strings.Cut(body, "Everything else about this clock")
	if !ok {
		t.Fatal("nothing is folded")
	}
	for _, want := range []string{"Wind both trains, ", "Done last", "Access and keys", "Edda Quillfeather"} {
		if !strings.Contains(head, want) {
			t.Errorf("%q does not stand before the fold", want)
		}
	}
	for _, want := range []string{`id="year"`, `id="tasks"`, `id="bearings"`, `id="log"`} {
		if strings.Contains(head, want) || !strings.Contains(rest, want) {
			t.Errorf("%s is not folded", want)
		}
	}
	if res, _ := get(t, s, "/?order=name"); res.StatusCode != 200 {
		t.Errorf("the fleet cannot be reached: %d", res.StatusCode)
	}
	// A keeper has the page whole.
	if _, body := get(t, siteFor(t, d, schedule.Actor{Person: "tom"}), "/clock/corn-hall"); strings.Contains(body, "Everything else about this clock") {
		t.Error("it is folded for a keeper")
	}
}

// The keys and whom to call stand before the long parts for whoever goes up to a
// clock, once, and with each quick form; whoever runs the fleet has them at the end.
func TestKeysStandNearTheTop(t *testing.T) {
	d := woundDesk()
	at := func(body, part string) int {
		t.Helper()
		if strings.Count(body, part) != 1 {
			t.Fatalf("there are %d of %s: %s", strings.Count(body, part), part, body)
		}
		return strings.Index(body, part)
	}
	for name, tt := range map[string]struct {
		actor schedule.Actor
		first bool
	}{"a winder": {winder, true}, "a keeper": {schedule.Actor{Person: "tom"}, true}, "a conservator": {schedule.Actor{Person: "edda", Conservator: true}, false}} {
		s := siteFor(t, d, tt.actor)
		_, body := get(t, s, "/clock/corn-hall")
		checkPage(t, name, body)
		if first := at(body, `id="site"`) < at(body, `id="year"`); first != tt.first {
			t.Errorf("of %s the keys stand first: %v", name, first)
		}
		_, body = get(t, s, "/clock/corn-hall/do/wind")
		checkPage(t, name, body)
		if at(body, "Access and keys") > at(body, "<form class=\"entry quick\"") {
			t.Errorf("the form of %s has the keys at its end", name)
		}
		for _, want := range []string{"The key, and whom to call", "Key at the porter's desk, 64 steps", "Edda Quillfeather", "Keeper, winder Tom Barleymow"} {
			if !strings.Contains(flat(t, body), want) {
				t.Errorf("the form of %s does not say %q: %s", name, want, flat(t, body))
			}
		}
		if mail := strings.Contains(body, "edda@"); mail && tt.actor == winder {
			t.Error("a winder is shown an address")
		}
	}
}

// Pages go out squeezed where a browser takes that, but for those that may hold
// a secret: of such a one the length would tell.
func TestPagesAreSqueezed(t *testing.T) {
	s := newSite(t)
	for path, small := range map[string]bool{"/": true, "/due": true, "/clock/corn-hall": true, "/clock/corn-hall/do/wind": true, "/clock/corn-hall/log": true,
		"/clock/corn-hall/done/e001": true, "/help": true, "/nowhere": true, "/mail/m1": false, "/answer/x": false, "/people/programs": false} {
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("Accept-Encoding", "gzip")
		res, body := ask(t, s, r)
		if got := res.Header.Get("Content-Encoding") == "gzip"; got != small {
			t.Errorf("%s: squeezed %v, want %v", path, got, small)
			continue
		}
		if small {
			z, err := gzip.NewReader(strings.NewReader(body))
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			whole, err := io.ReadAll(z)
			if _, plain := get(t, s, path); err != nil || string(whole) != plain || len(body) >= len(plain) {
				t.Errorf("%s: %d bytes of %d, %v", path, len(body), len(plain), err)
			}
		}
	}
}
