package calendar

import (
	"bytes"
	"net/mail"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"

	"endshake/schedule"
)

var now = time.Date(2026, 11, 25, 7, 30, 0, 0, time.UTC)

func date(y int, m time.Month, d int) schedule.Date { return schedule.Date{Year: y, Month: m, Day: d} }

// read takes a calendar apart with the library's own reader.
func read(t *testing.T, raw []byte) *ical.Calendar {
	t.Helper()
	for i, line := range strings.Split(strings.TrimSuffix(string(raw), "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
			t.Errorf("line %d is no line of RFC 5545 3.1: %q", i+1, line)
		}
	}
	cal, err := ical.NewDecoder(bytes.NewReader(raw)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, raw)
	}
	return cal
}

func TestEncode(t *testing.T) {
	c := Calendar{Name: "Clocks", From: &mail.Address{Name: `Clock "Care"`, Address: "clocks@example.org"}, Events: []Event{
		{UID: "a@endshake", Day: date(2026, 12, 31), Title: "Corn hall clock: winding; strike, going", Words: "One\ntwo \\ three", Where: "Fernby", Page: "https://clocks.example.org/clock/corn-hall"},
		{UID: "b@endshake", Title: "of no day"},
		{UID: "c@endshake", Day: date(2028, 2, 29), Title: "Hall\r\nATTENDEE:mailto:x@example.net\u202e" + strings.Repeat("鐘", 60), Page: "javascript:alert(1)"},
	}}
	raw, err := c.Encode(now)
	if err != nil {
		t.Fatal(err)
	}
	if again, _ := c.Encode(now); !bytes.Equal(raw, again) {
		t.Error("the same calendar gave other bytes")
	}
	cal := read(t, raw)
	if m, _ := cal.Props.Text("METHOD"); m != "PUBLISH" {
		t.Errorf("method %q", m)
	}
	events := cal.Events()
	if len(events) != 2 {
		t.Fatalf("%d events, want the two that have a day", len(events))
	}
	for i, want := range []map[string]string{
		{"UID": "a@endshake", "SUMMARY": "Corn hall clock: winding; strike, going", "DESCRIPTION": "One\ntwo \\ three", "LOCATION": "Fernby"},
		{"UID": "c@endshake", "SUMMARY": "Hall ATTENDEE:mailto:x@example.net" + strings.Repeat("鐘", 60), "LOCATION": ""},
	} {
		for name, text := range want {
			if got, err := events[i].Props.Text(name); err != nil || got != text {
				t.Errorf("event %d: %s is %q, %v; want %q", i+1, name, got, err, text)
			}
		}
		if len(events[i].Props["ATTENDEE"]) > 0 || len(events[i].Children) > 0 {
			t.Errorf("event %d invites somebody or rings", i+1)
		}
	}
	for i, want := range [][2]string{{"20261231", "20270101"}, {"20280229", "20280301"}} {
		if from, to := events[i].Props.Get("DTSTART").Value, events[i].Props.Get("DTEND").Value; from != want[0] || to != want[1] {
			t.Errorf("event %d lasts from %s to before %s, want %v", i+1, from, to, want)
		}
	}
	if by := events[0].Props.Get("ORGANIZER"); by.Value != "mailto:clocks@example.org" || by.Params.Get("CN") != "Clock 'Care'" {
		t.Errorf("published by %+v", by)
	}
	if events[0].Props.Get("URL") == nil || events[1].Props.Get("URL") != nil {
		t.Error("a page is linked over http and https alone")
	}
}

// An event lasts to the end of its last day, or stands at an instant; a calendar
// that nobody sent has no method, which would ask for one who did (RFC 5546 3.2.1).
func TestDaysAndInstants(t *testing.T) {
	kolkata := time.FixedZone("", 5*3600+1800)
	raw, err := Calendar{Events: []Event{
		{UID: "a@endshake", Day: date(2026, 12, 30), Until: date(2027, 1, 2), Title: "over the year's end"},
		{UID: "b@endshake", Day: date(2026, 12, 30), Until: date(2026, 12, 1), Title: "to before its first day"},
		{UID: "c@endshake", At: time.Date(2026, 12, 31, 3, 15, 0, 0, kolkata), Title: "at an instant"},
		{UID: "d@endshake", Day: date(2026, 12, 31), At: time.Date(2026, 12, 31, 3, 15, 0, 0, kolkata), Title: "an instant of a day"},
	}}.Encode(now)
	if err != nil || bytes.Contains(raw, []byte("METHOD")) {
		t.Fatalf("%v\n%s", err, raw)
	}
	want := [][2]string{{"20261230", "20270103"}, {"20261230", "20261231"}, {"20261230T214500Z", ""}, {"20261230T214500Z", ""}}
	for i, e := range read(t, raw).Events() {
		got := [2]string{e.Props.Get("DTSTART").Value}
		if to := e.Props.Get("DTEND"); to != nil {
			got[1] = to.Value
		}
		if got != want[i] {
			t.Errorf("event %d lasts %v, want %v", i+1, got, want[i])
		}
	}
}

func TestEmpty(t *testing.T) {
	raw, err := Calendar{Name: "Clocks"}.Encode(now)
	if err != nil || len(read(t, raw).Children) != 0 {
		t.Errorf("%v\n%s", err, raw)
	}
}

// A line may be folded between characters alone, and unfolds to what it was.
func TestFold(t *testing.T) {
	for n := range 160 {
		line := strings.Repeat("x", n) + strings.Repeat("鐘", 60) + "\r\n"
		folded := string(fold([]byte(line)))
		if !strings.HasSuffix(folded, "\r\n") || strings.ReplaceAll(folded, "\r\n ", "") != line {
			t.Fatalf("%d: %q", n, folded)
		}
		for part := range strings.SplitSeq(strings.TrimSuffix(folded, "\r\n"), "\r\n") {
			if len(part) > 75 || strings.ToValidUTF8(part, "?") != part {
				t.Errorf("%d: line %q", n, part)
			}
		}
	}
}

func TestOf(t *testing.T) {
	a := schedule.Assessment{Clock: schedule.Clock{Slug: "corn-hall", Name: "Corn hall clock"},
		Site: schedule.Site{Name: "Market Square", Place: "Fernby, north side", Access: "key at the bakery"}}
	task := schedule.Task{Clock: "corn-hall", Kind: schedule.Winding, Subject: "going", About: "going train", From: date(2026, 12, 1), Due: date(2026, 12, 3),
		Latest: date(2026, 12, 4), Reason: "wound in full on 26 Nov 2026", Confidence: "firm: from the logged wind", Caution: "Keep clear of the handle."}
	want := Event{UID: schedule.EventUID("corn-hall", schedule.Winding, "going"), Day: date(2026, 12, 3), Title: "Corn hall clock: winding of the going train",
		Words: "Good days: 1 Dec 2026 to 4 Dec 2026.\nWhy: wound in full on 26 Nov 2026\nHow sure: firm: from the logged wind\nCaution: Keep clear of the handle.\nAccess: key at the bakery",
		Where: "Market Square, Fernby, north side", Page: "https://clocks.example.org/clock/corn-hall"}
	if got := Of(a, task, "https://clocks.example.org/"); got != want {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}
