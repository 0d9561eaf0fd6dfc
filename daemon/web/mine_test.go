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
