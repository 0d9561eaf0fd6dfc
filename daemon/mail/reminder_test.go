package mail

import (
	"bytes"
	"errors"
	"image/png"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"endshake/daemon/chart"
	"endshake/schedule"
	"endshake/wear"
)

// imageOf finds the one picture on a page, as an HTML parser reads it.
func imageOf(t *testing.T, page string) (src, alt string) {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for e := range root.Descendants() {
		if e.Type != html.ElementNode || e.Data != "img" {
			continue
		}
		n++
		for _, a := range e.Attr {
			switch a.Key {
			case "src":
				src = a.Val
			case "alt":
				alt = a.Val
			}
		}
	}
	if n != 1 {
		t.Fatalf("%d pictures on the page, want one", n)
	}
	return src, alt
}

func TestReminderCarriesTheChart(t *testing.T) {
	l := sampleReminder()
	l.Outlook.Sentence = `Past "0.80 mm" <now>: plan & measure.`
	_, got := compose(t, l)
	img, err := png.Decode(bytes.NewReader(got.pictures["chart@"+sampleID]))
	if err != nil {
		t.Fatal(err)
	}
	if b := img.Bounds(); b.Dx() != 888 || b.Dy() != 900 { // 296 by 300 at three
		t.Errorf("the picture is %v", b)
	}
	want, err := chart.Bearing(*l.Outlook, l.Clocks[0].Now, l.Clocks[0].Zone, chart.Narrow).PNG(sharp)
	if err != nil || !bytes.Equal(want, got.pictures["chart@"+sampleID]) {
		t.Errorf("the picture is not the chart of the bearing (%v)", err)
	}
	src, alt := imageOf(t, got.html)
	if src != "cid:"+got.order[0] || alt != l.Outlook.Sentence {
		t.Errorf("picture %q with %q, want cid:%s with the sentence", src, alt, got.order[0])
	}
	// A Content-Id is a msg-id (RFC 2045 7, RFC 5322 3.6.4): two dot-atoms.
	if !regexp.MustCompile(`^[a-z]+@[0-9A-Za-z-]+$`).MatchString(got.order[0]) {
		t.Errorf("Content-Id %q", got.order[0])
	}
	if strings.Contains(got.text, "cid:") || strings.Contains(got.text, "<img") {
		t.Error("the text speaks of the picture")
	}
}

func TestReminderNamesTheOthers(t *testing.T) {
	for _, tc := range []struct {
		others []schedule.Person
		want   string
	}{
		{nil, "Nobody else gets this letter."},
		{[]schedule.Person{{Slug: "bo", Name: "Bo Alder"}}, "Also told, each at the hours that they chose: Bo Alder."},
		{[]schedule.Person{{Slug: "bo", Name: "Bo Alder"}, {Slug: "cy", Name: "Cy Quill"}, {Slug: "di"}}, "Also told, each at the hours that they chose: Bo Alder, Cy Quill and di."},
		{[]schedule.Person{{Slug: "x", Name: "<b>Eve</b>\r\nBcc: z@example.net"}}, "Also told, each at the hours that they chose: <b>Eve</b> Bcc: z@example.net."},
	} {
		l := sampleReminder()
		l.Others = tc.others
		_, got := compose(t, l)
		if !strings.Contains(squeeze(got.text), tc.want) || strings.Contains(got.html, "<b>") {
			t.Errorf("the letter does not say %q, or not as words", tc.want)
		}
		if plain := strings.NewReplacer("<b>", "&lt;b&gt;", "</b>", "&lt;/b&gt;").Replace(tc.want); !strings.Contains(squeeze(got.html), plain) {
			t.Errorf("the HTML does not say %q", tc.want)
		}
	}
}

// The conservator's own facts go all the way: what schedule calls for is
// composed, each with the names of the rest.
func TestLimitLettersCompose(t *testing.T) {
	f := schedule.Fleet{
		Sites: []schedule.Site{{Slug: "market", Name: "Market Square", Zone: "Europe/London"}},
		People: []schedule.Person{{Slug: "ada", Name: "Ada Örn", Email: "ada@example.org"}, {Slug: "bo", Name: "Bo Alder", Email: "bo@example.org"},
			{Slug: "cy", Name: "Cy Quill"}},
		Clocks: []schedule.Clock{{Slug: "hall", Name: "Corn hall clock", Kind: schedule.Turret, Site: "market", InCare: day(2016, 1, 1),
			Duties: []schedule.Duty{{Person: "ada", Role: schedule.Conservator}, {Person: "bo", Role: schedule.Keeper}, {Person: "cy", Role: schedule.Keeper}},
			Trains: []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.AutoWound, Arbors: []wear.Arbor{{Code: "centre", Name: "centre arbor",
				Bearings: []wear.Bearing{{Code: "front", Name: "front bush", Form: wear.Bush, Shake: wear.EndShake, Act: &wear.Limit{Size: 400, Source: "conservator"}}}}}}}}},
	}
	log := map[string][]schedule.Entry{}
	for i, size := range []wear.Length{200, 300, 390, 480} {
		log["hall"] = append(log["hall"], schedule.Entry{ID: string(rune('a' + i)), Clock: "hall", Kind: schedule.Measured, Bearing: "front",
			At: sampleNow.AddDate(i*2-8, 0, 0), Detail: schedule.Detail{Reading: &wear.Reading{Shake: wear.EndShake, Value: size}}})
	}
	letters := schedule.LimitLetters(schedule.Survey(f, log, schedule.Model{}, sampleNow))
	if len(letters) != 2 {
		t.Fatalf("%d letters, want one for each of two people with an address", len(letters))
	}
	for _, l := range letters {
		other := "Bo Alder"
		if l.Person.Slug == "bo" {
			other = "Ada Örn"
		}
		if _, got := compose(t, l); !strings.Contains(squeeze(got.text), "Also told, each at the hours that they chose: "+other+".") || strings.Contains(got.text, "Cy Quill") || len(got.pictures) != 1 {
			t.Errorf("letter to %s:\n%s", l.Person.Slug, got.text)
		}
	}
}

// A due-list that is written late is still the one of its month.
func TestDueListIsOfItsMonth(t *testing.T) {
	for occurrence, want := range map[string]string{"2026-12": "December 2026", "2027-01": "January 2027", "": "November 2026", "2026-13": "November 2026"} {
		l := sampleDueList()
		l.Occurrence = occurrence
		n, got := compose(t, l)
		if l.Person.Mail.Day = 28; occurrence == "2026-12" { // which begins in the month, and ends in the next
			if n, got := compose(t, l); !strings.HasPrefix(n.Title, "Due-list from 28 Dec 2026: ") || !strings.HasPrefix(got.text, "Due-list from 28 Dec 2026") {
				t.Errorf("of the 28th: title %q", n.Title)
			}
		}
		if !strings.HasPrefix(n.Title, "Due-list for "+want+": ") || !strings.HasPrefix(got.text, "Due-list for "+want) {
			t.Errorf("occurrence %q: title %q, want %s", occurrence, n.Title, want)
		}
	}
}

func TestCheck(t *testing.T) {
	for from, ok := range map[string]bool{
		"Clock Care <clocks@example.org>": true, "clocks@example.org": true, "": false, "clocks": false,
		"a@example.org, b@example.org": false, "clocks@exa mple.org": false, "a@example.org\r\nBcc: b@example.org": false,
	} {
		err := Composer{From: from}.Check()
		if (err == nil) != ok || err != nil && strings.ContainsAny(err.Error(), "\r\n") {
			t.Errorf("sender %q: %v", from, err)
		}
		// What is checked must hold when it comes to writing.
		if _, wrote := (Composer{From: from}).Compose(sampleDueList(), sampleID, sampleNow); (wrote == nil) != ok {
			t.Errorf("sender %q is checked as %v and writes with %v", from, err, wrote)
		}
	}
}

func TestUnwritable(t *testing.T) {
	l := sampleReminder()
	l.Person.Email = "no address\r\nBcc: x"
	_, err := sampleComposer().Compose(l, sampleID, sampleNow)
	if err == nil {
		t.Fatal("a letter to no address was written")
	}
	n := Unwritable(l, sampleID, sampleNow, err)
	if n.ID != sampleID || n.Key != l.Key || n.Kind != l.Kind || n.Person != "ada" || n.Occurrence != l.Occurrence || n.State != schedule.Refused ||
		!n.Created.Equal(sampleNow) || len(n.Raw) != 0 || n.Title != "Could not be written: near its limit" {
		t.Errorf("notice %+v", n)
	}
	if !strings.Contains(n.Reply, "letter to ada: mail address") || slices.ContainsFunc([]string{n.Reply, n.To}, func(s string) bool { return strings.ContainsAny(s, "\r\n") }) {
		t.Errorf("reason %q for %q", n.Reply, n.To)
	}
	if long := Unwritable(l, sampleID, sampleNow, errors.New(strings.Repeat("x", 5000))); len([]rune(long.Reply)) > maxReply {
		t.Errorf("a reason of %d characters is kept", len(long.Reply))
	}
}
