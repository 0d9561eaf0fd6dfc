package mail

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
)

// reader is a message as Python's own email package and icalendar read it: both
// are independent of all that composes here.
type reader struct {
	Defects []string
	Counts  map[string]int // of headers, by name in small letters
	Heads   map[string]string
	Parts   [][3]string // type, disposition, file name
	Text    string
	HTML    string
	Method  string // of the calendar
	Events  []struct{ UID, Summary, Start, End, Status string }
}

const readInPython = `
import email, email.policy, json, os, sys
import icalendar
out = {}
for name in sorted(os.listdir(sys.argv[1])):
    with open(os.path.join(sys.argv[1], name), "rb") as f:
        m = email.message_from_binary_file(f, policy=email.policy.default)
    r = {"Defects": [], "Counts": {}, "Heads": {}, "Parts": [], "Text": "", "HTML": "", "Method": "", "Events": []}
    for k, v in m.items():
        r["Counts"][k.lower()] = r["Counts"].get(k.lower(), 0) + 1
        r["Heads"][k.lower()] = str(v)
        r["Defects"] += [k + ": " + str(d) for d in getattr(v, "defects", [])]
    for p in m.walk():
        r["Defects"] += [p.get_content_type() + ": " + str(d) for d in p.defects]
        r["Parts"].append([p.get_content_type(), p.get_content_disposition() or "", p.get_filename() or ""])
        if p.get_content_type() == "text/plain": r["Text"] = p.get_content()
        if p.get_content_type() == "text/html": r["HTML"] = p.get_content()
        if p.get_content_type() == "image/png" and not p.get_content().startswith(b"\x89PNG"): r["Defects"].append("no PNG")
        if p.get_content_type() == "text/calendar":
            r["Method"] = p.get_param("method") or ""
            cal = icalendar.Calendar.from_ical(p.get_content())
            for e in cal.walk("VEVENT"):
                r["Defects"] += [str(x) for x in e.errors]
                r["Events"].append({"UID": str(e["UID"]), "Summary": str(e["SUMMARY"]), "Start": str(e.decoded("DTSTART")), "End": str(e.decoded("DTEND")), "Status": str(e.get("ATTENDEE", ""))})
    out[name] = r
json.dump(out, sys.stdout)
`

// python finds an interpreter with icalendar, or skips loudly.
func python(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"python3", "/usr/bin/python3"} {
		if path, err := exec.LookPath(name); err == nil && exec.Command(path, "-c", "import icalendar").Run() == nil {
			return path
		}
	}
	skip(t, "no python3 with icalendar is installed, so no letter was read by another program: install the packages python3 and python3-icalendar")
	return ""
}

// readByPython reads messages by their names.
func readByPython(t *testing.T, messages map[string][]byte) map[string]reader {
	t.Helper()
	path, dir := python(t), t.TempDir()
	for name, raw := range messages {
		if err := os.WriteFile(filepath.Join(dir, name), raw, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	c := exec.Command(path, "-c", readInPython, dir)
	var said bytes.Buffer
	c.Stderr = &said
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, said.String())
	}
	all := map[string]reader{}
	if err := json.Unmarshal(out, &all); err != nil {
		t.Fatal(err)
	}
	return all
}

// Every kind of letter is read back by Python and by go-message, and both find
// what was written: RFC 5322 (one From, Date, Message-ID, lines), RFC 3834, RFC
// 2919, RFC 8058 and RFC 5545.
func TestLettersAreReadByOthers(t *testing.T) {
	messages, notices := map[string][]byte{}, map[string]schedule.Notice{}
	kinds := map[schedule.NoticeKind]bool{}
	for name, l := range samples() {
		n, _ := composeBy(t, answeringComposer(), l)
		messages[name], notices[name] = n.Raw, n
		kinds[l.Kind] = true
	}
	for _, kind := range schedule.NoticeKinds {
		if !kinds[kind] {
			t.Errorf("no sample of the kind %q is read", kind)
		}
	}
	for name, r := range readByPython(t, messages) {
		l, n := samples()[name], notices[name]
		_, own := composeBy(t, answeringComposer(), l)
		if len(r.Defects) > 0 {
			t.Errorf("%s: Python finds %q", name, r.Defects)
		}
		for _, once := range []string{"from", "to", "date", "message-id", "subject", "auto-submitted", "list-id", "mime-version", "content-type"} {
			if r.Counts[once] != 1 {
				t.Errorf("%s: %s stands %d times", name, once, r.Counts[once])
			}
		}
		for head, want := range map[string]string{"subject": n.Title, "message-id": n.MessageID, "auto-submitted": "auto-generated", "list-id": "<endshake.example.org>", "from": "Clock Care <clocks@example.org>"} {
			if got := strings.ReplaceAll(r.Heads[head], `"`, ""); got != want {
				t.Errorf("%s: Python reads %s as %q, want %q", name, head, got, want)
			}
		}
		if text(r.Text) != text(own.text) || text(r.HTML) != text(own.html) {
			t.Errorf("%s: Python reads other words", name)
		}
		checkHeads(t, name, l, n, r)
		checkEvents(t, name, l, r)
		checkGoMessage(t, name, n)
	}
}

func text(s string) string { return strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n")) }

// checkHeads holds the headers that hang on passes and on the clock.
func checkHeads(t *testing.T, name string, l schedule.Letter, n schedule.Notice, r reader) {
	t.Helper()
	want := map[string]string{}
	if p, ok := l.PassTo(schedule.Declining); ok {
		want["list-unsubscribe"], want["list-unsubscribe-post"] = "<https://clocks.example.org/decline/"+p.Token+">", "List-Unsubscribe=One-Click"
	}
	if p, ok := l.PassTo(schedule.Answering); ok {
		want["reply-to"] = "Clock Care <answers+" + p.Token + "@clocks.example.org>"
	}
	if n.Clock != "" {
		want["references"] = "<clock.corn-hall." + l.Person.Slug + "@example.org>"
		want["in-reply-to"] = want["references"]
	}
	for _, head := range []string{"list-unsubscribe", "list-unsubscribe-post", "reply-to", "references", "in-reply-to"} {
		if got := strings.ReplaceAll(strings.ReplaceAll(r.Heads[head], `"`, ""), " \n", ""); strings.TrimSpace(got) != want[head] {
			t.Errorf("%s: %s is %q, want %q", name, head, got, want[head])
		}
	}
	if n.From != "answers+bounce-"+sampleID+"@clocks.example.org" {
		t.Errorf("%s: comes from %q by the envelope", name, n.From)
	}
	for _, p := range n.Passes {
		if p.Notice != n.ID {
			t.Errorf("%s: a pass is of the notice %q", name, p.Notice)
		}
	}
}

// checkEvents holds the calendar: one event for each date that the letter sets,
// attached, inviting nobody.
func checkEvents(t *testing.T, name string, l schedule.Letter, r reader) {
	t.Helper()
	want := map[string]string{} // UID to day
	switch l.Kind {
	case schedule.WindReminder:
		want[schedule.EventUID("corn-hall", schedule.Winding, "going")] = "2026-11-28"
		if len(l.With) > 0 {
			want[schedule.EventUID("corn-hall", schedule.Winding, "strike")] = "2026-11-29"
		}
	case schedule.ChangeWeek:
		want[schedule.EventUID("corn-hall", schedule.TimeChange, "")] = "2027-03-28"
		want[schedule.EventUID("quay-post", schedule.TimeChange, "")] = "2027-03-28"
	case schedule.DueList:
		want[schedule.EventUID("corn-hall", schedule.Oiling, "")] = "2026-12-01" // the others are late, far off, or rest
	}
	got := map[string]string{}
	for _, e := range r.Events {
		got[e.UID] = e.Start
		if e.Status != "" || e.End <= e.Start || !strings.Contains(e.Summary, "clock: ") {
			t.Errorf("%s: event %+v", name, e)
		}
	}
	if len(got) != len(want) || len(r.Events) != len(want) {
		t.Errorf("%s: events %v, want %v", name, got, want)
	}
	for uid, day := range want {
		if got[uid] != day {
			t.Errorf("%s: event %s is on %q, want %s", name, uid, got[uid], day)
		}
	}
	attached := slices.Contains(r.Parts, [3]string{"text/calendar", "attachment", "clocks.ics"})
	if attached != (len(want) > 0) || attached && r.Method != "PUBLISH" {
		t.Errorf("%s: parts %v, method %q", name, r.Parts, r.Method)
	}
}

// checkGoMessage reads a letter by the library that reads what comes in.
func checkGoMessage(t *testing.T, name string, n schedule.Notice) {
	t.Helper()
	r, err := gomail.CreateReader(bytes.NewReader(n.Raw))
	if err != nil {
		t.Fatal(err)
	}
	if from, err := r.Header.AddressList("From"); err != nil || len(from) != 1 || from[0].Address != "clocks@example.org" {
		t.Errorf("%s: From %v, %v", name, from, err)
	}
	if s, err := r.Header.Subject(); err != nil || s != n.Title {
		t.Errorf("%s: subject %q, %v", name, s, err)
	}
	if at, err := r.Header.Date(); err != nil || !at.Equal(sampleNow) {
		t.Errorf("%s: date %v, %v", name, at, err)
	}
	for {
		p, err := r.NextPart()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if _, err := io.Copy(io.Discard, p.Body); err != nil {
			t.Errorf("%s: a part cannot be read: %v", name, err)
		}
	}
}

// Whatever stands in names, both readers find one letter to one reader, and
// nothing in it that was smuggled in.
func TestHostileNamesAreReadByOthers(t *testing.T) {
	messages := map[string][]byte{}
	for name, l := range samples() {
		hostile(&l, "Hall\r\nBcc: x@example.net\r\n\r\nmore =?utf-8?q?x?= \u202e\U0001F570, \"<b@example.net>\"; "+strings.Repeat("鐘", 200))
		n, err := answeringComposer().Compose(l, sampleID, sampleNow)
		if err != nil {
			t.Fatal(err)
		}
		checkLines(t, n.Raw)
		messages[name] = n.Raw
	}
	for name, r := range readByPython(t, messages) {
		if len(r.Defects) > 0 || r.Counts["bcc"] > 0 || r.Counts["from"] != 1 || r.Counts["to"] != 1 || !strings.Contains(r.Heads["to"], "<ada@example.org>") && !strings.Contains(r.Heads["to"], "@example.org>") {
			t.Errorf("%s: %v %v %q", name, r.Defects, r.Counts, r.Heads["to"])
		}
		for i, line := range strings.Split(r.Text, "\n") {
			if len([]rune(line)) > textWidth && !strings.Contains(line, "https://") {
				t.Errorf("%s: line %d is wider than %d: %q", name, i+1, textWidth, line)
			}
		}
		if strings.Contains(r.Text+r.HTML+r.Heads["subject"], "\u202e") {
			t.Errorf("%s holds an override", name)
		}
	}
}

// hostile puts one text into every name and note of a letter.
func hostile(l *schedule.Letter, s string) {
	l.Person.Name = s
	l.Clocks = slices.Clone(l.Clocks)
	for i := range l.Clocks {
		a := &l.Clocks[i]
		a.Clock.Name, a.Site.Name, a.Site.Place, a.Site.Access, a.Site.Caution, a.Status = s, s, s, s, s, s
		a.Tasks = slices.Clone(a.Tasks)
		for j := range a.Tasks {
			t := &a.Tasks[j]
			t.About, t.Reason, t.Confidence, t.Evidence, t.Next, t.Caution = s, s, s, s, s, s
		}
		for j := range a.Locks {
			a.Locks[j].Why = s
		}
	}
	if l.Task != nil {
		t := *l.Task
		t.About, t.Reason, t.Next, t.Caution = s, s, s, s
		l.Task = &t
	}
	if l.Entry != nil {
		e := *l.Entry
		e.Note, e.By = s, s
		l.Entry = &e
	}
	if l.Outlook != nil {
		o := *l.Outlook
		o.Sentence, o.Why, o.Bearing.Name, o.Arbor.Name, o.Train.Name = s, s, s, s, s
		l.Outlook = &o
	}
	if l.Changes != nil {
		for i := range l.Changes.Sites {
			at := &l.Changes.Sites[i]
			at.Name, at.Place, at.Access = s, s, s
			for j := range at.Clocks {
				at.Clocks[j].Name, at.Clocks[j].How, at.Clocks[j].Caution = s, s, s
			}
		}
	}
	if l.Trouble != nil {
		for i := range l.Trouble.Notices {
			l.Trouble.Notices[i].Title, l.Trouble.Notices[i].Reply = s, s
		}
		for i := range l.Trouble.Held {
			l.Trouble.Held[i].Title, l.Trouble.Held[i].From, l.Trouble.Held[i].Why = s, s, s
		}
	}
	for i := range l.Others {
		l.Others[i].Name = s
	}
	for i := range l.Next {
		l.Next[i].Name = s
	}
}

// FuzzHeaders composes letters with whatever stands in names: they have the
// usual headers, each once, and nothing that is not fit to send.
func FuzzHeaders(f *testing.F) {
	for _, s := range []string{"Corn hall clock", "Hall\r\nBcc: x@example.net", "=?utf-8?q?a=0D=0A?=", "\u202eklat", "a\x00b", `"<x@example.net>"`, strings.Repeat("鐘", 300), "\xff", "{{.Title}}", ",;:<>@[]\\\"", "d\xc0\\-"} {
		f.Add(s)
	}
	base := sampleWinding()
	f.Fuzz(func(t *testing.T, s string) {
		l := base
		l.Others, l.Next = slices.Clone(base.Others), slices.Clone(base.Next)
		hostile(&l, s)
		c := answeringComposer()
		n, err := c.Compose(l, sampleID, sampleNow)
		if err != nil {
			t.Fatalf("%q: %v", s, err)
		}
		checkLines(t, n.Raw)
		got := read(t, n.Raw)
		for head, values := range got.head {
			if !slices.Contains(usual, head) || len(values) != 1 {
				t.Errorf("%q: header %s: %q", s, head, values)
			}
		}
		if to, err := got.head.AddressList("To"); err != nil || len(to) != 1 || to[0].Address != "ada@example.org" {
			t.Errorf("%q: To %v, %v", s, to, err)
		}
		if got.calendar == nil || bytes.Contains(got.calendar, []byte("ATTENDEE")) && !strings.Contains(s, "ATTENDEE") {
			t.Errorf("%q: calendar %s", s, got.calendar)
		}
	})
}
