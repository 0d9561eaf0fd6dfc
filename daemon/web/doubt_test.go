package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"endshake/schedule"
)

// doubtful is a form with a reading 25.4 times too large: the bearing stands at
// about 1 mm.
func doubtful() url.Values {
	v := goodForm(schedule.Measured)
	v.Set("bearing", "worn")
	v.Set("value", "25.4 mm")
	v.Del("celsius")
	return v
}

// A reading that does not fit is asked back: nothing is stored, all that was
// typed is there, the question is put, nothing is chosen for anybody, and only
// now is there a box to say that it is right.
func TestADoubtfulReadingIsAskedBack(t *testing.T) {
	s := siteOf(t, wearingDesk())
	path := "/clock/" + wearing + "/log"
	if _, body := get(t, s, path+"?kind=measured&bearing=worn"); strings.Contains(body, `name="sure"`) {
		t.Error("the box is there before anything is asked back")
	}
	res, body := send(t, s, path, doubtful())
	if res.StatusCode != http.StatusUnprocessableEntity || len(s.desk.logged) > 0 {
		t.Fatalf("answers %d, %d logged", res.StatusCode, len(s.desk.logged))
	}
	checkPage(t, "asked back", body)
	text := flat(t, body)
	for _, want := range []string{"Is this reading right?", "25.4 mm (1.000 in) does not fit: about 1.01 mm (39.8 thou) was expected. Was it 1.00 mm, 39.4 thou (1 mm written as inches)?", "Nothing is logged yet", "It is right as written", "Log the repair first"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q: %s", want, text)
		}
	}
	checkKept(t, "asked back", "", doubtful(), body)
	if v := filled(t, body); v.Has("sure") || v.Get("value") != "25.4 mm" {
		t.Errorf("chosen for them: %v", v)
	}
	if !slices.Contains(links(t, path, body), path+"?bearing=worn&kind=repaired") {
		t.Error("no link leads to the form for a repair")
	}
}

// box is what the box sends that a reading is right, as the page has it.
func box(t *testing.T, body string) string {
	t.Helper()
	for _, n := range nodes(t, body) {
		if name, _ := attr(n, "name"); name == "sure" {
			if _, checked := attr(n, "checked"); checked {
				t.Error("the box is checked already")
			}
			value, _ := attr(n, "value")
			return value
		}
	}
	t.Fatal("there is no box")
	return ""
}

// With the box checked the same form is logged, as said to be sure; the log
// says so, and a correction of it begins with the box checked.
func TestSayingThatItIsRight(t *testing.T) {
	s := siteOf(t, wearingDesk())
	path := "/clock/" + wearing + "/log"
	_, body := send(t, s, path, doubtful())
	again := filled(t, body)
	again.Set("sure", box(t, body))
	res, body := send(t, s, path, again)
	if res.StatusCode != http.StatusSeeOther || len(s.desk.logged) != 1 {
		t.Fatalf("answers %d: %s", res.StatusCode, flat(t, body))
	}
	if e := s.desk.logged[0]; !e.Sure || e.Reading.Value != 25400 {
		t.Errorf("logged as %+v", e)
	}
	if _, page := get(t, s, res.Header.Get("Location")); !strings.Contains(flat(t, page), "read twice") {
		t.Error("the log does not say that it was read twice")
	}
	_, form := get(t, s, path+"?kind=measured&replaces="+s.desk.logged[0].ID)
	if v := filled(t, form); v.Get("sure") != "worn 25.40 mm" {
		t.Errorf("its correction begins with %v", v)
	}
}

// The word given for one reading does not stand for another typed after it, nor
// for one of another bearing, nor without being asked for.
func TestSureMeansTheVeryReading(t *testing.T) {
	path := "/clock/" + wearing + "/log"
	for name, change := range map[string]func(url.Values){
		"another size":    func(v url.Values) { v.Set("value", "30 mm") },
		"another bearing": func(v url.Values) { v.Set("bearing", "young") },
		"any word":        func(v url.Values) { v.Set("sure", "on") },
		"no word":         func(v url.Values) { v.Del("sure") },
	} {
		s := siteOf(t, wearingDesk())
		_, body := send(t, s, path, doubtful())
		v := filled(t, body)
		v.Set("sure", box(t, body))
		change(v)
		res, body := send(t, s, path, v)
		if res.StatusCode != http.StatusUnprocessableEntity || len(s.desk.logged) > 0 {
			t.Errorf("%s: answers %d", name, res.StatusCode)
			continue
		}
		if got := box(t, body); got != v.Get("bearing")+" "+v.Get("value") {
			t.Errorf("%s: the box now means %q", name, got)
		}
	}
}

// Mended instead, it is logged like any other, and not as sure.
func TestMendingADoubtfulReading(t *testing.T) {
	s := siteOf(t, wearingDesk())
	path := "/clock/" + wearing + "/log"
	_, body := send(t, s, path, doubtful())
	v := filled(t, body)
	v.Set("value", "1.0 mm")
	if res, body := send(t, s, path, v); res.StatusCode != http.StatusSeeOther || s.desk.logged[0].Sure || s.desk.logged[0].Reading.Value != 1000 {
		t.Errorf("answers %d: %s", res.StatusCode, flat(t, body))
	}
}

// Another mistake in the same form keeps the word that was given.
func TestSureIsKeptThroughAnotherMistake(t *testing.T) {
	s := siteOf(t, wearingDesk())
	path := "/clock/" + wearing + "/log"
	_, body := send(t, s, path, doubtful())
	v := filled(t, body)
	v.Set("sure", box(t, body))
	v.Set("at", "soon")
	res, body := send(t, s, path, v)
	if res.StatusCode != http.StatusUnprocessableEntity || filled(t, body).Get("sure") != v.Get("sure") {
		t.Errorf("answers %d with %v", res.StatusCode, filled(t, body))
	}
	if strings.Contains(flat(t, body), "Is this reading right?") {
		t.Error("it is asked again, though the mistake is another")
	}
}
