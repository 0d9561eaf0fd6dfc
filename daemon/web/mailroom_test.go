package web

import (
	"encoding/base64"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
)

// sink holds messages by the rule of a receiving server: numbered from 1 as
// they come, oldest first, and only the last few kept.
type sink struct {
	most, taken int
	kept        []schedule.Arrival
}

func (s *sink) take(raw string) {
	s.taken++
	s.kept = append(s.kept, schedule.Arrival{Number: s.taken, At: now.Add(time.Duration(s.taken) * time.Minute), From: "clocks@example.org", Raw: []byte(raw)})
	if len(s.kept) > s.most {
		s.kept = s.kept[1:]
	}
}

func (s *sink) arrivals() []schedule.Arrival { return slices.Clone(s.kept) }

func siteWithSink(s *sink) http.Handler {
	d := newDesk()
	return New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: d, Mailroom: newPost(), Arrivals: s.arrivals, Now: func() time.Time { return d.now }})
}

func plainMail(subject, body string) string {
	return "From: clocks@example.org\r\nTo: tom@example.org\r\nSubject: " + subject + "\r\n\r\n" + body + "\r\n"
}

// The newest message comes first, and each link leads to its own message, also
// when the oldest are no longer kept and when more come in meanwhile.
func TestArrivals(t *testing.T) {
	box := &sink{most: 3}
	h := siteWithSink(box)
	if _, body := get(t, h, "/mail"); !strings.Contains(body, "Nothing has arrived yet.") {
		t.Error("an empty sink does not say so")
	}
	for i := 1; i <= 5; i++ {
		box.take(plainMail(fmt.Sprint("Letter ", i), fmt.Sprint("body of ", i)))
	}
	_, body := get(t, h, "/mail")
	var order, addresses []string
	for _, n := range nodes(t, body) {
		if href, _ := attr(n, "href"); n.Data == "a" && strings.HasPrefix(href, "/arrived/") {
			order, addresses = append(order, textOf(n)), append(addresses, href)
		}
	}
	if got := strings.Join(order, ", "); got != "Letter 5, Letter 4, Letter 3" {
		t.Errorf("arrived are %s, want the last three, newest first", got)
	}
	if got := strings.Join(addresses, " "); got != "/arrived/5 /arrived/4 /arrived/3" {
		t.Errorf("they stand at %s", got)
	}
	for i := 3; i <= 5; i++ {
		_, body := get(t, h, fmt.Sprint("/arrived/", i))
		if !strings.Contains(body, fmt.Sprint("body of ", i)) || !strings.Contains(body, fmt.Sprintf("Arrived 25 Nov 2026, 10:0%d UTC.", i)) {
			t.Errorf("message %d shows another, or another time", i)
		}
		checkPage(t, fmt.Sprint("arrived ", i), body)
	}
	box.take(plainMail("Letter 6", "body of 6"))
	if _, body := get(t, h, "/arrived/4"); !strings.Contains(body, "body of 4") {
		t.Error("number 4 is another message after one more has come")
	}
	for _, n := range []string{"3", "2", "7", "-1", "04x", "99999999999999999999"} {
		res, body := get(t, h, "/arrived/"+n)
		if res.StatusCode != 404 {
			t.Errorf("number %s answers %d", n, res.StatusCode)
		}
		checkPage(t, n, body)
	}
}

// Without a receiving server there is nothing to look into.
func TestNoSink(t *testing.T) {
	h := New(Options{Everyone: schedule.Actor{Conservator: true}, Desk: newDesk(), Mailroom: newPost(), Now: func() time.Time { return now }})
	if _, body := get(t, h, "/mail"); strings.Contains(body, "Arrived") {
		t.Error("the mail room shows arrivals without a sink")
	}
	if res, _ := get(t, h, "/arrived/1"); res.StatusCode != 404 {
		t.Errorf("an arrival without a sink answers %d", res.StatusCode)
	}
}

// Only what the server refused, or may have had, can be sent again by hand;
// what was never written cannot.
func TestSendItAgain(t *testing.T) {
	for _, tc := range []struct {
		state   schedule.NoticeState
		written bool
		want    bool
	}{
		{schedule.Owed, true, false}, {schedule.Sending, true, false}, {schedule.Sent, true, false},
		{schedule.Refused, true, true}, {schedule.Parked, true, true}, {schedule.Refused, false, false},
	} {
		s := newSite(t)
		s.post.notices[0].State = tc.state
		if !tc.written {
			s.post.notices[0].Raw = nil
		}
		_, body := get(t, s, "/mail/m1")
		checkPage(t, string(tc.state), body)
		button := ""
		for _, n := range nodes(t, body) {
			if action, _ := attr(n, "action"); n.Data == "form" {
				button = action
			}
		}
		if (button == "/mail/m1/resend") != tc.want || (button == "") == tc.want {
			t.Errorf("%s, written %v: the button leads to %q", tc.state, tc.written, button)
		}
		if tc.state == schedule.Sending && !strings.Contains(flat(t, body), "going out now; load this page again in a minute") {
			t.Errorf("of a letter that is going out it says: %s", flat(t, body))
		}
		if !strings.Contains(body, noticeWords[tc.state]) {
			t.Errorf("%s: the page does not say what that means", tc.state)
		}
	}
}

// A letter that could not be written has a reason and no message.
func TestUnwrittenNotice(t *testing.T) {
	s := newSite(t)
	s.post.notices = append(s.post.notices, schedule.Notice{ID: "m4", Kind: schedule.DueList, Person: "tom", Title: "Could not be written: due-list",
		State: schedule.Refused, Created: now, Reply: `letter to tom: mail address "tom@" cannot be read`})
	_, body := get(t, s, "/mail/m4")
	checkPage(t, "m4", body)
	for _, want := range []string{"Could not be written: due-list", "mail address &#34;tom@&#34; cannot be read", "No message was written", "Refused (owed ", "0 tries"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, not := range []string{"Send it again", "See it as a mail program", "It has no plain text", "cannot be read."} {
		if strings.Contains(body, not) {
			t.Errorf("the page says %q", not)
		}
	}
	if res, _ := get(t, s, "/mail/m4/html"); res.StatusCode != 404 {
		t.Errorf("its HTML answers %d", res.StatusCode)
	}
	if _, body := get(t, s, "/mail"); !strings.Contains(body, "2 notices want looking at") || !strings.Contains(body, "Could not be written: due-list") {
		t.Error("the mail room does not list it")
	}
}

func TestMailRoomLedes(t *testing.T) {
	s := newSite(t)
	s.post.notices = nil
	if _, body := get(t, s, "/mail"); !strings.Contains(body, "No notice has been written yet.") {
		t.Error("an empty mail room does not say so")
	}
	s.post.notices = newPost().notices[:1]
	if _, body := get(t, s, "/mail"); !strings.Contains(body, "Every notice has gone out, or is on its way.") {
		t.Error("a mail room in order does not say so")
	}
	n := s.post.notices[0]
	n.State, n.Attempts, n.SentAt, n.NextTry = schedule.Owed, 2, time.Time{}, now.Add(time.Hour)
	s.post.notices = []schedule.Notice{n}
	if _, body := get(t, s, "/mail"); !strings.Contains(body, "next try 25 Nov 2026, 11:00") {
		t.Error("a notice to be tried again does not say when")
	}
	n.Title = ""
	s.post.notices = []schedule.Notice{n}
	if _, body := get(t, s, "/mail"); !strings.Contains(body, noSubject) {
		t.Error("a notice without a subject has no name to click on")
	}
}

// oddHead begins a multipart message whose parts follow.
const oddHead = "Subject: Odd\r\nMIME-Version: 1.0\r\nContent-Type: multipart/alternative; boundary=b\r\n\r\n"

func oddPart(kind, body string) string {
	return "--b\r\nContent-Type: " + kind + "\r\n\r\n" + body + "\r\n"
}

// oddMessages are messages as they should not be, and what can be read of each.
var oddMessages = []struct {
	name, raw           string
	title, text, inHTML string
	trouble             bool
}{
	{"nothing", "", noSubject, "", "", false},
	{"words only", "hello there\r\n", noSubject, "", "", true},
	{"a plain message", plainMail("Plain", "Hello."), "Plain", "Hello.", "", false},
	{"an encoded subject", plainMail("=?utf-8?q?B=C3=BCcher?=", "x"), "Bücher", "x", "", false},
	{"a subject in a charset that nobody has", plainMail("=?x-nowhere?q?B=FCcher?=", "x"), noSubject, "x", "", false},
	{"Latin letters", "Subject: L\r\nContent-Type: text/plain; charset=iso-8859-1\r\n\r\nB\xfccher\r\n", "L", "", "", false},
	{"no end", oddHead + oddPart("text/plain", "Cut off") + "--b\r\nContent-Ty", "Odd", "Cut off", "", true},
	{"two texts", oddHead + oddPart("text/plain", "First") + oddPart("text/plain", "Second") + "--b--\r\n", "Odd", "First", "", false},
	{"HTML only", oddHead + oddPart("text/html", "<p>Hi</p>") + "--b--\r\n", "Odd", "", "<p>Hi</p>", false},
	{"an odd kind of part", oddHead + oddPart("application/x-odd", "?") + oddPart("text/plain", "Words") + "--b--\r\n", "Odd", "Words", "", false},
	{"bad base64", oddHead + "--b\r\nContent-Type: text/plain\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!!\r\n--b--\r\n", "Odd", "", "", true},
	{"a picture that nobody calls for", oddHead + oddPart("text/html", "<p>Hi</p>") + oddPart("image/png", "x") + "--b--\r\n", "Odd", "", "<p>Hi</p>", false},
	{"a very long part", plainMail("Long", strings.Repeat("long line of words ", mostPart/19+10)), "Long", "long line of words long", "", false},
}

// Each odd message is shown as far as it can be read.
func TestOddMessages(t *testing.T) {
	for _, tc := range oddMessages {
		l := readLetter([]byte(tc.raw))
		if l.Title != tc.title || titleOf([]byte(tc.raw)) != tc.title {
			t.Errorf("%s: title %q, and %q by itself; want %q", tc.name, l.Title, titleOf([]byte(tc.raw)), tc.title)
		}
		if !strings.HasPrefix(l.Text, tc.text) || !strings.Contains(l.HTML, tc.inHTML) || (l.Trouble != "") != tc.trouble {
			t.Errorf("%s: text %.40q, HTML %q, trouble %q", tc.name, l.Text, l.HTML, l.Trouble)
		}
		if len(l.Text) > mostPart {
			t.Errorf("%s: %d bytes of text are held", tc.name, len(l.Text))
		}
		box := &sink{most: 1}
		box.take(tc.raw)
		res, body := get(t, siteWithSink(box), "/arrived/1")
		if res.StatusCode != 200 || !strings.Contains(body, "<h1>"+tc.title+"</h1>") {
			t.Errorf("%s: its page answers %d", tc.name, res.StatusCode)
		}
		checkPage(t, tc.name, body)
	}
}

// The picture of a message is put in where the HTML calls for it, as data, so
// that nothing is fetched.
func TestPicturesOfMessages(t *testing.T) {
	dot, err := base64.StdEncoding.DecodeString("iVBORw0KGgo=")
	if err != nil {
		t.Fatal(err)
	}
	l := readLetter([]byte(sample))
	want := `src="data:image/png;base64,` + base64.StdEncoding.EncodeToString(dot) + `"`
	if !strings.Contains(l.HTML, want) || strings.Contains(l.HTML, "cid:") {
		t.Errorf("HTML %q, want %s", l.HTML, want)
	}
	res, body := get(t, newSite(t), "/arrived/1/html")
	if res.Header.Get("Content-Type") != "text/html; charset=utf-8" || body != l.HTML {
		t.Errorf("shown as %s: %q", res.Header.Get("Content-Type"), body)
	}
}

// Whatever arrives, it is read without a panic, and the list and the page give
// it one name.
func FuzzReadLetter(f *testing.F) {
	f.Add([]byte(sample))
	f.Add([]byte("Subject: =?utf-8?q?=00=0D=0A?=\r\nContent-Type: multipart/mixed; boundary=\"\"\r\n\r\n--\r\n"))
	f.Add([]byte("Content-Type: text/html\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n=3Cscript=3E=\r\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		l := readLetter(raw)
		if l.Title == "" || len(l.Text) > mostPart {
			t.Errorf("title %q and %d bytes of text", l.Title, len(l.Text))
		}
		if got := titleOf(raw); got != l.Title {
			t.Errorf("the list names it %q and its page %q", got, l.Title)
		}
	})
}

// The history of a notice stands under its letter, every step in words.
func TestStepsOfANotice(t *testing.T) {
	for what := range stepWords {
		if stepWords[what] == "" {
			t.Errorf("step %q has no words", what)
		}
	}
	s := newSite(t)
	s.post.steps = map[string][]schedule.Step{"m1": {
		{At: now, What: schedule.StepOwed},
		{At: now.Add(time.Minute), What: schedule.StepPutOff, Words: "451 <b>later</b>"},
		{At: now.Add(2 * time.Minute), What: "of a later version", Words: "words"},
	}}
	_, body := get(t, s, "/mail/m1")
	checkPage(t, "m1", body)
	at := 0
	for _, want := range []string{"What became of it", "25 Nov 2026, 10:00", "came to be owed", "25 Nov 2026, 10:01", "not taken yet, to be tried again",
		"451 &lt;b&gt;later&lt;/b&gt;", "25 Nov 2026, 10:02", "of a later version"} {
		i := strings.Index(body[at:], want)
		if i < 0 {
			t.Fatalf("the page does not say %q, or not in its place", want)
		}
		at += i
	}
	if _, body := get(t, s, "/mail/m2"); strings.Contains(body, "What became of it") {
		t.Error("a notice without steps has a history")
	}
}

// A mailbox that is stopped is shown with its reader, day and reason, and goes
// again by its button, once.
func TestStoppedMailboxes(t *testing.T) {
	s := newSite(t)
	if _, body := get(t, s, "/mail"); strings.Contains(body, "nothing is sent to") {
		t.Error("the mail room speaks of stopped addresses where there is none")
	}
	s.post.boxes = []schedule.Mailbox{{Address: "tom@example.org", Stopped: now, Why: "550 5.1.1 <nobody>"}, {Address: "gone@example.org", Stopped: now, Why: "full"}}
	_, body := get(t, s, "/mail")
	checkPage(t, "mail", body)
	for _, want := range []string{"Nothing is sent to 2 addresses any more", "tom@example.org", "Tom Barleymow", "25 Nov 2026, 10:00", "550 5.1.1 &lt;nobody&gt;", "nobody in the fleet now"} {
		if !strings.Contains(body, want) {
			t.Errorf("the mail room does not say %q", want)
		}
	}
	res, _ := send(t, s, "/mailbox", url.Values{"address": {"tom@example.org"}})
	if res.StatusCode != http.StatusSeeOther || res.Header.Get("Location") != "/mail?going=tom%40example.org" || !slices.Equal(s.post.started, []string{"conservator tom@example.org"}) {
		t.Errorf("answered %d to %q, started %v", res.StatusCode, res.Header.Get("Location"), s.post.started)
	}
	if _, body := get(t, s, "/mail?going=tom%40example.org"); !strings.Contains(body, "Letters go to tom@example.org again") {
		t.Error("the mail room does not say that letters go there again")
	}
	if res, _ := send(t, s, "/mailbox", url.Values{"address": {"tom@example.org"}}); res.StatusCode != http.StatusNotFound {
		t.Errorf("a second press answers %d", res.StatusCode)
	}
	if res, _ := get(t, s, "/mailbox"); res.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("GET answers %d: a look must change nothing", res.StatusCode)
	}
}

// A letter stands in one line with its state; the server's words stand there only
// where they say more than that it took the letter, and its steps are folded.
func TestMailRoomIsALineALetter(t *testing.T) {
	s := newSite(t)
	s.post.notices[0].Reply = "250 2.0.0 OK"
	s.post.notices[2].Reply = "451 4.7.1 come again later"
	s.post.steps = map[string][]schedule.Step{"m1": {{At: now, What: schedule.StepOwed}, {At: now, What: schedule.StepSent, Words: "250 2.0.0 OK"}}}
	_, body := get(t, s, "/mail")
	var lines []string
	for _, n := range nodes(t, body) {
		if n.Data == "li" && strings.Contains(textOf(n), "for ") {
			lines = append(lines, strings.Join(strings.Fields(textOf(n)), " "))
		}
	}
	want := []string{"Due in December for Tom Barleymow sent 25 Nov 2026, 10:00",
		"Near its limit: <b>centre</b> for Edda Quillfeather parked (owed 25 Nov 2026, 10:00): " + noticeWords[schedule.Parked] + "no answer after the message",
		"Due in December for Eve <script>alert(3)</script> owed with the next try 25 Nov 2026, 11:00: " + noticeWords[schedule.Owed] + "451 4.7.1 come again later"}
	if !slices.Equal(lines, want) {
		t.Errorf("the mail room lists\n%q, want\n%q", lines, want)
	}
	if strings.Contains(body, "250 2.0.0") {
		t.Error("it repeats that the server said yes")
	}
	_, body = get(t, s, "/mail/m1")
	if strings.Contains(body, "250 2.0.0") || !strings.Contains(body, "<details><summary>What became of it") || !strings.Contains(flat(t, body), "Sent 25 Nov 2026, 10:00 UTC. For Tom Barleymow.") {
		t.Errorf("the letter shows %s", flat(t, body))
	}
}

// What is more than a yes is shown: a queue's name finds the letter again.
func TestMore(t *testing.T) {
	for _, reply := range []string{"250 2.0.0 OK", "250 ok", "250 2.0.0 taken", "250 OK.", "250 2.0.0 Accepted", "250 2.0.0 OK: queued"} {
		if more(reply) != "" {
			t.Errorf("%q is shown", reply)
		}
	}
	for _, reply := range []string{"250 2.0.0 Ok: queued as 4F2", "250 OK but slow", "251 2.1.5 forwarded", "450 4.2.0 ok", "550 5.1.1 no", "no answer", "1250 OK"} {
		if more(reply) != reply {
			t.Errorf("%q is not shown", reply)
		}
	}
}
