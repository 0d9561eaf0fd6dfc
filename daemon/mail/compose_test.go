package mail

import (
	"bytes"
	"fmt"
	"html"
	"mime"
	"net/mail"
	"slices"
	"strings"
	"testing"
	"unicode"

	gomail "github.com/emersion/go-message/mail"

	"endshake/schedule"
	"endshake/wear"
)

func compose(t *testing.T, l schedule.Letter) (schedule.Notice, letter) {
	t.Helper()
	return composeBy(t, sampleComposer(), l)
}

func composeBy(t *testing.T, c Composer, l schedule.Letter) (schedule.Notice, letter) {
	t.Helper()
	n, err := c.Compose(l, sampleID, sampleNow)
	if err != nil {
		t.Fatal(err)
	}
	checkLines(t, n.Raw)
	return n, read(t, n.Raw)
}

// checkLines holds every message to RFC 5322 2.1.1 and 2.3: at most 998 octets
// in a line, CR and LF only together, and here ASCII only.
func checkLines(t *testing.T, raw []byte) {
	t.Helper()
	for i, line := range strings.Split(string(raw), "\r\n") {
		if len(line) > 998 || strings.ContainsAny(line, "\r\n\x00") || strings.IndexFunc(line, func(r rune) bool { return r > unicode.MaxASCII }) >= 0 {
			t.Errorf("line %d is not fit to send: %.80q", i+1, line)
		}
	}
}

func TestComposeHeaders(t *testing.T) {
	n, got := compose(t, sampleDueList())
	for key, want := range map[string]string{
		"From": `"Clock Care" <clocks@example.org>`, "Message-Id": "<" + sampleID + "@example.org>",
		"Auto-Submitted": "auto-generated", "Mime-Version": "1.0", "Date": "Wed, 25 Nov 2026 07:30:00 +0000",
		"Subject": "Due-list for November 2026: 1 late, 1 due, 1 open, 2 clocks",
	} {
		if len(got.head[key]) != 1 || got.head.Get(key) != want {
			t.Errorf("%s is %q, want once %q", key, got.head[key], want)
		}
	}
	to, err := got.head.AddressList("To")
	if err != nil || len(to) != 1 || *to[0] != (mail.Address{Name: "Ada Örn", Address: "ada@example.org"}) {
		t.Errorf("To: %v, %v", to, err)
	}
	if n.From != "clocks@example.org" || n.To != "ada@example.org" || n.State != schedule.Owed || n.Clock != "" ||
		n.Key != "ada|due-list||2026-11" || n.MessageID != got.head.Get("Message-Id") || n.Title != got.head.Get("Subject") || !n.NextTry.Equal(sampleNow) {
		t.Errorf("notice %+v", n)
	}
	again, err := sampleComposer().Compose(sampleDueList(), sampleID, sampleNow)
	if err != nil || !bytes.Equal(again.Raw, n.Raw) {
		t.Errorf("the same letter gave other bytes (%v)", err)
	}
	// The receiving library must agree with the standard one.
	r, err := gomail.CreateReader(bytes.NewReader(n.Raw))
	if err != nil {
		t.Fatal(err)
	}
	if id, err := r.Header.MessageID(); err != nil || "<"+id+">" != n.MessageID {
		t.Errorf("go-message reads the Message-ID %q, %v", id, err)
	}
	if s, err := r.Header.Subject(); err != nil || s != n.Title {
		t.Errorf("go-message reads the subject %q, %v", s, err)
	}
}

func TestComposeGolden(t *testing.T) {
	for name, l := range samples() {
		_, got := composeBy(t, answeringComposer(), l)
		golden(t, name+".txt", []byte(strings.ReplaceAll(got.text, "\r\n", "\n")))
		golden(t, name+".html", []byte(strings.ReplaceAll(got.html, "\r\n", "\n")))
	}
}

// A lock comes before all else; then what presses, under its heading.
func TestDueListStandsInTheOrderOfActing(t *testing.T) {
	_, got := compose(t, sampleLocked())
	for part, words := range map[string]string{"text": strings.ToLower(squeeze(got.text)), "html": strings.ToLower(got.words)} {
		at := 0
		for _, want := range []string{"quay post clock is locked: do not run", "in force since 3 nov 2026: a strand of the strike line is broken.", "caution: touch nothing and let nobody run it",
			"2 late, 2 due, 2 open; nothing more falls due by", "danger", "quay post clock: lock (due now), due 3 nov 2026. caution 1.", "ask who put the lock on what they saw. about 2 hours.",
			"stops soon", "winding of the strike train", "caution 2.", "look first. about 45 minutes.",
			"at its limit", "work on the centre arbor, front bush", "17 days past its last good day", "late", "winding of the going train", "8 days past its last good day", "in the next 30 days", "later, to",
			"what can hurt somebody", "caution 1, lock", "touch nothing.", "caution 2, winding", "keep clear of the handle", "local rules and licensed people decide."} {
			i := strings.Index(words[at:], want)
			if i < 0 {
				t.Fatalf("%s: %q does not come after %q", part, want, words[max(0, at-60):at])
			}
			at += i + len(want)
		}
	}
}

func TestDueListSaysEverythingTwice(t *testing.T) {
	l := sampleDueList()
	_, got := compose(t, l)
	for part, words := range map[string]string{"text": squeeze(got.text), "html": got.words} {
		for _, task := range l.Clocks[0].Tasks {
			what := "Corn hall clock: " + task.What()
			if shown := task.Due != day(2027, 8, 1); strings.Contains(words, what) != shown {
				t.Errorf("%s: %q shown is %v, want %v", part, what, !shown, shown)
				continue
			} else if !shown {
				continue
			}
			from, at := words[strings.Index(words, what):], strings.TrimSuffix(task.Caution, " Local rules and licensed people decide.")
			if strings.Count(words, at) != 1 || !strings.Contains(from, at) {
				t.Errorf("%s: the caution of %q stands %d times", part, what, strings.Count(words, at))
			}
			if !strings.HasPrefix(from, fmt.Sprintf("%s (%s", what, map[bool]string{true: "may be done now", false: string(task.State)}[task.State == schedule.Open])) ||
				!strings.Contains(from, ", due "+task.Due.Words()+". Caution ") || task.State != schedule.Ahead && !strings.Contains(from, task.Next) {
				t.Errorf("%s: %q stands without its state, day or first step", part, what)
			}
			if strings.Contains(words, task.Reason) || strings.Contains(words, task.Evidence) || strings.Contains(words, task.Confidence) {
				t.Errorf("%s: of %q it says what its page has", part, what)
			}
		}
		for _, want := range []string{
			"1 late, 1 due, 1 open; nothing more falls due by 25 Dec 2026.", "8 days past its last good day", "1 more thing falls due after 23 Feb 2027.",
			"Corn hall clock, centre arbor, front bush", "Likely to reach 31.5 thou (0.80 mm) between March 2029 and May 2033.",
			"wound 4 times, last on 22 Nov 2026; measured on 22 Nov 2026.", "resting until 28 Mar 2027; 1 task waits until it goes again.",
			"keeper (Corn hall clock, Quay post clock)", "key at the bakery, 61 stairs",
		} {
			if !strings.Contains(words, want) {
				t.Errorf("%s does not say %q", part, want)
			}
		}
		if strings.Contains(words, "Quay post clock: oiling") || strings.Contains(words, "oiled on") {
			t.Errorf("%s shows a resting task, or work of more than a month ago", part)
		}
	}
	for i, line := range strings.Split(got.text, "\r\n") {
		if len([]rune(line)) > textWidth {
			t.Errorf("text line %d is wider than %d: %q", i+1, textWidth, line)
		}
	}
}

func TestReminderSaysEverythingTwice(t *testing.T) {
	l := sampleReminder()
	n, got := compose(t, l)
	if n.Title != "Corn hall clock: centre arbor, front bush is near its limit" || n.Clock != "corn-hall" || n.Subject != "centre-front" {
		t.Errorf("notice %q about %q, %q", n.Title, n.Clock, n.Subject)
	}
	for part, words := range map[string]string{"text": squeeze(got.text), "html": got.words} {
		for _, want := range []string{
			"29.1 thou (0.74 mm)", "31.5 thou (0.80 mm), set by: conservator, survey of 2019", "86 % of the way from 15.4 to 31.5 thou (0.39 to 0.80 mm)", "Likely to reach 31.5 thou (0.80 mm) between March 2029 and May 2033.",
			"Measure again by 12 Jun 2027: half of its likely remaining life is gone by then.", "Barrel blocked. Local rules and licensed people decide.",
			"Plan the work on this bearing. Good days: 22 Feb 2029 to 8 Mar 2029, due 1 Mar 2029.", "Springs let down first. Local rules",
			"Without a reading since they were fitted: centre arbor, back bush.", "Also told, each at the hours that they chose: Bo Alder and Cy Quill.",
		} {
			if !strings.Contains(words, want) {
				t.Errorf("%s does not say %q", part, want)
			}
		}
	}
	l.Clocks[0].Tasks, l.Clocks[0].Site.Caution, l.Outlook.Known, l.Outlook.Limit, l.Outlook.Over = nil, "Loose boards.", false, nil, true
	n, got = compose(t, l)
	for _, want := range []string{"Loose boards. Weight down or held", "Level now: not known", "Limit: none is set"} {
		if !strings.Contains(squeeze(got.text), want) || !strings.Contains(got.words, strings.Replace(want, ": ", " ", 1)) {
			t.Errorf("without facts the letter does not say %q", want)
		}
	}
	if !strings.HasSuffix(n.Title, "is more likely than not over its limit") {
		t.Errorf("subject of a bearing over its limit: %q", n.Title)
	}
}

// A bearing past its limit has no good days: the letter says since when it is,
// and doubts it only where its readings do.
func TestReminderOfWhatIsPastItsLimit(t *testing.T) {
	for _, tc := range []struct{ past, short, title, says string }{
		{"over 0.80 mm since about 2018 (first reading above it: 7 May 2019)", "past its limit since about 2018", "is past its limit since about 2018",
			"Past its limit: over 0.80 mm since about 2018 (first reading above it: 7 May 2019)."},
		{"probably over 0.80 mm since about July 2022 (first reading above it: 1 Jan 2023)", "probably past its limit since about July 2022", "is probably past its limit since about July 2022",
			"Probably past its limit: over 0.80 mm since about July 2022 (first reading above it: 1 Jan 2023)."},
	} {
		l := sampleReminder()
		l.Outlook.Over = true
		work := &l.Clocks[0].Tasks[len(l.Clocks[0].Tasks)-1]
		work.Past, work.PastLimit = tc.past, tc.short
		n, got := compose(t, l)
		if n.Title != "Corn hall clock: centre arbor, front bush "+tc.title {
			t.Errorf("subject %q", n.Title)
		}
		for part, words := range map[string]string{"text": squeeze(got.text), "html": got.words} {
			if !strings.Contains(words, "Plan the work on this bearing. "+tc.says) || strings.Contains(words, "Good days") || strings.Contains(words, "more likely than not") {
				t.Errorf("%s: %s", part, words)
			}
		}
	}
}

// usual are the headers of a letter.
var usual = []string{"From", "To", "Reply-To", "Subject", "Date", "Message-Id", "In-Reply-To", "References", "Auto-Submitted", "List-Id",
	"List-Unsubscribe", "List-Unsubscribe-Post", "Mime-Version", "Content-Type"}

// TestHostileNames is the catalogue of outgoing text, O01 to O09 and O11 to
// O13: whatever a name holds, one letter with the same headers comes out.
func TestHostileNames(t *testing.T) {
	for _, tc := range []struct{ what, name, want string }{
		{"CR LF and a header", "Hall\r\nBcc: x@example.net", "Hall Bcc: x@example.net"},
		{"bare LF", "Hall\nX-Other: 1", "Hall X-Other: 1"},
		{"a header's name", "Bcc: x", "Bcc: x"},
		{"bidi override", "Hall\u202eklat", "Hallklat"},
		{"bidi isolate", "\u2066Hall\u2069", "Hall"},
		{"zero width", "Ha\u200bll\ufeff", "Hall"},
		{"NUL and C1", "Ha\x00ll\u0085", "Ha ll"},
		{"emoji", "Hall \U0001F570", "Hall \U0001F570"},
		{"template braces", "{{.Title}} {{template \"foot\"}}", "{{.Title}} {{template \"foot\"}}"},
		{"markup", "<script>alert(1)</script>", "<script>alert(1)</script>"},
		{"encoded word", "=?utf-8?q?a=0D=0ABcc:_x?=", "= ?utf-8?q?a=0D=0ABcc:_x?="},
		{"link", "see http://evil.example/x", "see http: //evil.example/x"},
		{"link without a scheme", "see WWW.evil.example", "see WWW. evil.example"},
		{"homoglyphs", "C\u043ern h\u0430ll", "C\u043ern h\u0430ll"}, // letters of another alphabet are letters
		{"joiner in Latin", "Ha\u200dll", "Hall"},
		{"leading dot", ".", "."},
		{"invalid UTF-8", "Hall\xff", "Hall\uFFFD"},
		{"10,000 characters", strings.Repeat("x", 10000), strings.Repeat("x", 119) + "…"},
		{"10,000 wide characters", strings.Repeat("鐘", 10000), strings.Repeat("鐘", 119) + "…"},
	} {
		t.Run(tc.what, func(t *testing.T) {
			for _, l := range []schedule.Letter{sampleDueList(), sampleReminder(), sampleReadAgain()} {
				l.Person.Name, l.Clocks[0].Clock.Name, l.Clocks[0].Site.Name, l.Clocks[0].Site.Access = tc.name, tc.name, tc.name, tc.name
				_, got := compose(t, l)
				for name, values := range got.head {
					if !slices.Contains(usual, name) || len(values) != 1 {
						t.Errorf("header %s: %q", name, values)
					}
				}
				to, err := got.head.AddressList("To")
				if err != nil || len(to) != 1 || to[0].Address != "ada@example.org" || to[0].Name != tc.want {
					t.Errorf("To %v, %v; want %q", to, err, tc.want)
				}
				subject, err := new(mime.WordDecoder).DecodeHeader(got.head.Get("Subject"))
				if err != nil || l.Kind != schedule.DueList && !strings.HasPrefix(subject, tc.want+": ") {
					t.Errorf("subject %q, %v", subject, err)
				}
				if words := html.UnescapeString(got.html); !strings.Contains(strings.Join(strings.Fields(got.text), ""), strings.Join(strings.Fields(tc.want), "")) || !strings.Contains(words, tc.want) {
					t.Errorf("a part does not hold %q", tc.want)
				}
				if strings.Contains(got.html, "<script") {
					t.Error("markup from a name reached the page")
				}
			}
		})
	}
}

func TestOnlyTheReadersClocks(t *testing.T) {
	l := sampleDueList()
	l.Clocks = l.Clocks[1:]
	_, got := compose(t, l)
	if strings.Contains(got.text, "Corn hall") || strings.Contains(got.html, "Corn hall") || strings.Contains(got.text, "Market Square") {
		t.Error("the letter names a clock that is not in it")
	}
}

func TestComposeRefuses(t *testing.T) {
	change := func(f func(*schedule.Letter)) schedule.Letter { l := sampleReminder(); f(&l); return l }
	for _, tc := range []struct {
		what string
		c    Composer
		l    schedule.Letter
		id   string
		want string // empty: taken
	}{
		{"all well", sampleComposer(), sampleReminder(), sampleID, ""},
		{"no address", sampleComposer(), change(func(l *schedule.Letter) { l.Person.Email = "" }), sampleID, "cannot be read"},
		{"address with a line break", sampleComposer(), change(func(l *schedule.Letter) { l.Person.Email = "a@example.org\r\nRCPT TO:<x@example.net>" }), sampleID, "cannot be read"},
		{"two addresses", sampleComposer(), change(func(l *schedule.Letter) { l.Person.Email = "a@example.org, b@example.org" }), sampleID, "cannot be read"},
		{"no sender", Composer{}, sampleReminder(), sampleID, "sender"},
		{"odd ID", sampleComposer(), sampleReminder(), "a b>", "cannot be the ID"},
		{"no outlook", sampleComposer(), change(func(l *schedule.Letter) { l.Outlook = nil }), sampleID, "outlook"},
		{"to be read again", sampleComposer(), sampleReadAgain(), sampleID, ""},
		{"to be read again, of no bearing", sampleComposer(), change(func(l *schedule.Letter) { l.Kind, l.Outlook = schedule.ReadAgain, nil }), sampleID, "outlook"},
		{"to be read again, of two clocks", sampleComposer(), change(func(l *schedule.Letter) {
			l.Kind, l.Clocks = schedule.ReadAgain, sampleDueList().Clocks
		}), sampleID, "one clock"},
		{"no words", sampleComposer(), change(func(l *schedule.Letter) { l.Kind = "sonnet" }), sampleID, "no words"},
	} {
		n, err := tc.c.Compose(tc.l, tc.id, sampleNow)
		switch {
		case tc.want == "" && (err != nil || len(n.Raw) == 0):
			t.Errorf("%s: %v", tc.what, err)
		case tc.want != "" && (err == nil || !strings.Contains(err.Error(), tc.want)):
			t.Errorf("%s: error %v, want one with %q", tc.what, err, tc.want)
		}
	}
}

func TestBaseIsLinkedOnlyOverHTTP(t *testing.T) {
	for base, want := range map[string]bool{"https://clocks.example.org": true, "": false, "javascript:alert(1)": false} {
		n, err := Composer{From: "clocks@example.org", Base: base}.Compose(sampleDueList(), sampleID, sampleNow)
		if err != nil {
			t.Fatal(err)
		}
		if got := read(t, n.Raw); strings.Contains(got.html, "href=") != want || strings.Contains(got.text, "All clocks") != want {
			t.Errorf("base %q linked is %v, want %v", base, !want, want)
		}
		for _, l := range []schedule.Letter{sampleReminder(), sampleReadAgain()} {
			n, err := Composer{From: "clocks@example.org", Base: base}.Compose(l, sampleID, sampleNow)
			if err != nil {
				t.Fatal(err)
			}
			page := "/clock/corn-hall/bearing/centre-front"
			if got := read(t, n.Raw); strings.Contains(got.html, `href="`+base+page+`"`) != want || strings.Contains(got.text, page) != want {
				t.Errorf("base %q: the page of the bearing is linked: %v, want %v", base, !want, want)
			}
		}
	}
}

func TestOpeningAndSubject(t *testing.T) {
	by := day(2026, 12, 25)
	for _, tc := range []struct {
		late, open, soon int
		want             string
	}{
		{3, 0, 5, "3 late; by 25 Dec 2026 5 more fall due."},
		{1, 2, 0, "1 late, 2 open; nothing more falls due by 25 Dec 2026."},
		{0, 0, 1, "Nothing is late, due or open; 1 task falls due by 25 Dec 2026."},
		{0, 0, 0, "Nothing is late, due or open, and nothing falls due by 25 Dec 2026."},
	} {
		if got := opening(map[schedule.TaskState]int{schedule.Late: tc.late, schedule.Open: tc.open}, tc.soon, by); got != tc.want {
			t.Errorf("opening(%d, %d, %d) = %q, want %q", tc.late, tc.open, tc.soon, got, tc.want)
		}
	}
	l := sampleDueList()
	l.Clocks = l.Clocks[1:]
	if n, _ := compose(t, l); n.Title != "Due-list for November 2026: nothing late, due or open, 1 clock" {
		t.Errorf("subject %q", n.Title)
	}
}

func TestLengthsInTheReadersUnit(t *testing.T) {
	for unit, want := range map[wear.Unit]string{wear.MM: "0.74 mm (29.1 thou)", wear.Thou: "29.1 thou (0.74 mm)", "": "0.74 mm (29.1 thou)"} {
		l := sampleReminder()
		l.Person.Units = unit
		if _, got := compose(t, l); !strings.Contains(squeeze(got.text), want) {
			t.Errorf("unit %q: the letter does not say %q", unit, want)
		}
	}
}

// Beside the sizes the share says between which of them it lies.
func TestShareUsedSaysOfWhat(t *testing.T) {
	o := sampleOutlook()
	o.Bearing.Fitted, o.Used = 400, 0.858 // (0.7431 - 0.40) of (0.80 - 0.40)
	if got, want := usedUp(o), "86 % of the way from 0.40 to 0.80 mm (15.7 to 31.5 thou)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if o.Known = false; usedUp(o) != "" {
		t.Error("a share of what is not known")
	}
}
