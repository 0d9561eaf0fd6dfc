package web

import (
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"endshake/schedule"
)

// GET shows, POST declines, and the same page has the letters again.
func TestDecline(t *testing.T) {
	for _, kind := range schedule.NoticeKinds {
		s := newSite(t)
		path := "/decline/" + s.links.give(schedule.Pass{Deed: schedule.Declining, Person: "tom", Kind: kind})
		for _, method := range []string{"GET", "HEAD"} {
			if res, _ := ask(t, s, httptest.NewRequest(method, path+"?List-Unsubscribe=One-Click", nil)); res.StatusCode != 200 || len(s.links.declined) > 0 {
				t.Fatalf("%s: %s answers %d, %v declined", kind, method, res.StatusCode, s.links.declined)
			}
		}
		res, body := get(t, s, path)
		bare(t, path, res, body)
		text := flat(t, body)
		duty := kind != schedule.OwnersMonth && kind != schedule.MailTrouble
		if !strings.Contains(text, "Tom Barleymow gets "+mailWords[kind]) || strings.Contains(text, "conservator will be told") != duty || buttons(t, body) != "Have no more of them" {
			t.Errorf("%s: %s", kind, text)
		}
		for range 2 {
			res, body = sendLink(t, s, path, url.Values{})
			bare(t, path, res, body)
			text = flat(t, body)
			if res.StatusCode != 200 || len(s.links.declined) != 1 || s.links.declined[0] != (schedule.Decline{Person: "tom", Kind: kind, At: now}) ||
				!strings.Contains(text, "25 Nov 2026") || strings.Contains(text, "conservator will be told") != duty || buttons(t, body) != "Have them again" {
				t.Errorf("%s declined: %d, %v, %s", kind, res.StatusCode, s.links.declined, text)
			}
		}
		res, body = sendLink(t, s, path, url.Values{"again": {"yes"}})
		if text = flat(t, body); res.StatusCode != 200 || len(s.links.declined) != 0 || buttons(t, body) != "Have no more of them" ||
			!strings.Contains(text, "gets "+mailWords[kind]+" again") || strings.Contains(text, "conservator will be told") {
			t.Errorf("%s had again: %d, %v", kind, res.StatusCode, s.links.declined)
		}
		if _, body = get(t, s, path); !strings.Contains(flat(t, body), "Have no more of these letters?") {
			t.Errorf("%s looked at later: %s", kind, flat(t, body))
		}
	}
}

// One click of a mail program: no cookie, no origin, either encoding of a form,
// and a body that is bad declines all the same (RFC 8058 3.1, 3.2).
func TestOneClick(t *testing.T) {
	const multi = "--b\r\nContent-Disposition: form-data; name=\"List-Unsubscribe\"\r\n\r\nOne-Click\r\n--b--\r\n"
	for _, tt := range []struct{ name, kind, body string }{
		{"urlencoded", "application/x-www-form-urlencoded", "List-Unsubscribe=One-Click"},
		{"multipart", "multipart/form-data; boundary=b", multi},
		{"multipart cut off", "multipart/form-data; boundary=b", multi[:40]},
		{"no body", "", ""},
		{"too large", "application/x-www-form-urlencoded", "x=" + strings.Repeat("x", 2*mostBody)},
	} {
		s := newSite(t)
		path := "/decline/" + s.links.give(schedule.Pass{Deed: schedule.Declining, Person: "tom", Kind: schedule.DueList})
		r := httptest.NewRequest("POST", path, strings.NewReader(tt.body))
		if tt.kind != "" {
			r.Header.Set("Content-Type", tt.kind)
		}
		if tt.name == "multipart" { // from the page of a mail program
			r.Header.Set("Origin", "https://mail.example.net")
			r.Header.Set("Sec-Fetch-Site", "cross-site")
		}
		res, body := ask(t, s, r)
		bare(t, path, res, body)
		if res.StatusCode != 200 || len(s.links.declined) != 1 {
			t.Errorf("%s: %d, %v", tt.name, res.StatusCode, s.links.declined)
		}
	}
}

func TestDeclinesThatAreOver(t *testing.T) {
	s := newSite(t)
	for name, p := range map[string]schedule.Pass{
		"taken back":       {Person: "tom", Kind: schedule.DueList, Ended: now},
		"ended":            {Person: "tom", Kind: schedule.DueList, Ends: now},
		"who left":         {Person: "gone", Kind: schedule.DueList},
		"of no known kind": {Person: "tom", Kind: "rhubarb"},
	} {
		p.Deed = schedule.Declining
		path := "/decline/" + s.links.give(p)
		for _, method := range []string{"GET", "POST"} {
			res, body := ask(t, s, httptest.NewRequest(method, path, nil))
			bare(t, path, res, body)
			if res.StatusCode != 410 || len(s.links.declined) > 0 {
				t.Errorf("%s: %s answers %d, %v declined", name, method, res.StatusCode, s.links.declined)
			}
		}
	}
}
