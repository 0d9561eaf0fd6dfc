package web

import (
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"endshake/daemon/reckon"
	"endshake/schedule"
)

// Each sheet has its page, reached from the Reckoner; its example shows each
// figure with its unit, its formula and its source, and says what can hurt.
func TestBench(t *testing.T) {
	s := newSite(t)
	_, hub := get(t, s, "/reckoner")
	linked := links(t, "/reckoner", hub)
	for _, sheet := range reckon.Sheets {
		path := "/reckoner/" + sheet.Name
		if !slices.Contains(linked, path) {
			t.Errorf("the Reckoner does not lead to %s", path)
		}
		res, body := get(t, s, path)
		checkPage(t, path, body)
		text := flat(t, body)
		if res.StatusCode != http.StatusOK || !strings.Contains(text, sheet.Title) || !strings.Contains(text, sheet.About) || !strings.Contains(text, sheet.Caution) {
			t.Errorf("%s answers %d, or lacks its title, what it is for or its caution", path, res.StatusCode)
		}
		if strings.Contains(body, "<table") || strings.Contains(body, `role="alert"`) {
			t.Errorf("%s answers before it is asked", path)
		}
		for _, in := range sheet.Inputs {
			if !strings.Contains(body, `name="`+in.Name+`"`) {
				t.Errorf("%s does not ask for %s", path, in.Name)
			}
		}
		example := exampleOf(sheet)
		if !slices.Contains(links(t, path, body), example) {
			t.Errorf("%s does not lead to its example %s", path, example)
		}
		res, body = get(t, s, example)
		checkPage(t, example, body)
		want, faults := sheet.Reckon(sheet.ExampleInputs(), schedule.DateOf(now, now.Location()))
		if res.StatusCode != http.StatusOK || len(faults) > 0 {
			t.Fatalf("%s answers %d, %v", example, res.StatusCode, faults)
		}
		text = flat(t, body)
		for _, r := range want.Results {
			if !strings.Contains(text, strings.Join([]string{r.Label, r.Text, r.Formula, r.Source}, " ")) {
				t.Errorf("%s does not show %s, %s, %s, %s", example, r.Label, r.Text, r.Formula, r.Source)
			}
		}
		for _, remark := range append(want.Remarks, sheet.Caution) {
			if !strings.Contains(text, remark) {
				t.Errorf("%s does not say %q", example, remark)
			}
		}
		for name, v := range sheet.ExampleInputs() {
			if in := `name="` + name + `" value="` + html.EscapeString(v) + `"`; !strings.Contains(strings.ReplaceAll(body, "&#34;", "&quot;"), in) && !strings.Contains(body, `<option value="`+v+`" selected>`) {
				t.Errorf("%s does not keep %s = %s in the form", example, name, v)
			}
		}
	}
}

// What cannot be reckoned is said at its field, with what was typed kept; and
// nothing typed becomes a part of the page.
func TestBenchRefuses(t *testing.T) {
	s := newSite(t)
	res, body := get(t, s, "/reckoner/washer?end-shake=1.15&want=0.3+mm")
	checkPage(t, "washer", body)
	for _, want := range []string{`href="#f-end-shake"`, `id="w-end-shake"`, `aria-invalid="true"`, `value="1.15"`, `value="0.3 mm"`, "no unit"} {
		if !strings.Contains(body, want) {
			t.Errorf("the refusal does not hold %q", want)
		}
	}
	if res.StatusCode != http.StatusUnprocessableEntity || strings.Contains(body, "<table") {
		t.Errorf("answers %d, or shows figures", res.StatusCode)
	}
	for _, sheet := range reckon.Sheets {
		for _, in := range sheet.Inputs {
			path := "/reckoner/" + sheet.Name + "?" + in.Name + "=" + url.QueryEscape(evil+"\xff")
			res, body := get(t, s, path)
			checkPage(t, path, body)
			if res.StatusCode != http.StatusUnprocessableEntity || strings.Contains(body, "<x-evil") {
				t.Errorf("%s answers %d", path, res.StatusCode)
			}
		}
	}
	for path, want := range map[string]int{"/reckoner/barometer": 404, "/reckoner/washer/1": 404, "/reckoner/washer?x=1": 200, "/reckoner/washer?end-shake=": 200} {
		if res, _ := get(t, s, path); res.StatusCode != want {
			t.Errorf("%s answers %d, want %d", path, res.StatusCode, want)
		}
	}
	if res, _ := ask(t, s, httptest.NewRequest("POST", "/reckoner/washer", nil)); res.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("a sheet takes a POST: %d", res.StatusCode)
	}
}

// A time change is looked for from the day that the page is asked on.
func TestBenchToday(t *testing.T) {
	_, body := get(t, newSite(t), "/reckoner/timechange?zone=Europe%2FLondon")
	if text := flat(t, body); !strings.Contains(text, "Sunday 28 Mar 2027") { // the last Sunday in March (Summer Time Order 2002)
		t.Errorf("the next change after %v is not found: %s", now, text)
	}
}
