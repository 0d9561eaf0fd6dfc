package mail

import (
	"fmt"

	"regexp"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// pngLines is the picture of a message, which differs with every change of how
// charts look.
var pngLines = regexp.MustCompile(`(?s)(Content-Type: image/png\r\n\r\n)[A-Za-z0-9+/=\r\n]+`)

// TestWholeMessages holds each letter as it goes out, but for its pictures.
func TestWholeMessages(t *testing.T) {
	for file, l := range samples() {
		n, _ := composeBy(t, answeringComposer(), l)
		raw := pngLines.ReplaceAll(n.Raw, []byte("${1}[a picture]\r\n"))
		golden(t, file+".eml", []byte(strings.ReplaceAll(string(raw), "\r\n", "\n")))
	}
}

// tells holds that both forms of a letter say all of some words.
func tells(t *testing.T, what string, got letter, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(squeeze(got.text), w) || !strings.Contains(got.words, w) {
			t.Errorf("%s: a form does not say %q:\n%s", what, w, got.text)
		}
	}
}

// silent holds that neither form of a letter says any of some words.
func silent(t *testing.T, what string, got letter, words ...string) {
	t.Helper()
	for _, w := range words {
		if strings.Contains(squeeze(got.text), w) || strings.Contains(got.words, w) {
			t.Errorf("%s: a form says %q", what, w)
		}
	}
}

// Of two trains to wind there is one letter, with one link for both, one for each,
// and one word for a reply; the caution stands once.
func TestWindingOfBoth(t *testing.T) {
	n, got := composeBy(t, answeringComposer(), sampleBoth())
	if n.Title != "Corn hall clock: wind the going train and strike train by Sat 28 Nov; the first stops about Sun 29 Nov" || n.Subject != "going" {
		t.Errorf("%q of %s", n.Title, n.Subject)
	}
	tells(t, "both", got, "Please wind the going train and strike train of Corn hall clock by Saturday 28 Nov 2026. The first stops about 14:00 on Sunday 29 Nov 2026.",
		"Say that both are wound, or why not", `answer this letter with one word: "wound"`, "Going train alone", "Strike train alone", "The job takes about 30 minutes",
		"about 10:00 on Monday 30 Nov 2026", "5 days, 63 % of a full wind, about 50 turns")
	for _, nth := range []int{20, 0, 1} {
		if link := "/answer/" + token(nth); strings.Count(got.html, link+`"`) != 1 || strings.Count(squeeze(got.text), link) != 1 {
			t.Errorf("%s is not there once", link)
		}
	}
	if strings.Count(squeeze(got.text), squeeze(windCaution)) != 1 {
		t.Error("the caution does not stand once")
	}
	if strings.Count(got.text, "one word") != 1 {
		t.Error("how to reply does not stand once")
	}
	past := sampleBoth()
	past.Turn = 1
	past.Clocks[0].Trains[0].Wind.Past = true
	n, got = compose(t, past)
	if n.Title != "Your turn: Corn hall clock may have stopped: the going train and strike train want winding" {
		t.Errorf("%q", n.Title)
	}
	tells(t, "may have stopped", got, "By its log the going train of Corn hall clock stopped", "Please look, and wind both.", "Nobody has said yet that they are wound")
}

// A letter says that a reply is read where it can be logged alone; where it cannot
// tell of which task it is, that the links do; and where nothing is asked, neither.
func TestReplyIsOfferedWhereItCanBeLogged(t *testing.T) {
	three := sampleBoth()
	three.Passes[0].Clock, three.Passes[0].Task = "", "" // two of three trains
	nothing := sampleStanding()
	nothing.Passes = nothing.Offers(sampleID, sampleNow)
	for _, c := range []struct {
		what    string
		l       schedule.Letter
		base    string
		to      bool
		want    string
		notthis []string
	}{
		{"all trains", sampleBoth(), "https://clocks.example.org", true, "You may answer this letter", []string{"link beside it", "Questions and"}},
		{"two of three", three, "https://clocks.example.org", true, "use the link beside it: an answer to this letter waits for Clock Care.", []string{"You may answer", "one word", "Questions and"}},
		{"two of three, no pages", three, "", true, "An answer to this letter waits for Clock Care.", []string{"You may answer", "link beside it", "one word"}},
		{"nothing", nothing, "https://clocks.example.org", false, "Questions and corrections: answer this letter; it goes to Clock Care.", []string{"You may answer", "link beside it"}},
	} {
		by := answeringComposer()
		by.Base = c.base
		_, got := composeBy(t, by, c.l)
		tells(t, c.what, got, c.want)
		silent(t, c.what, got, c.notthis...)
		if at := got.head.Get("Reply-To"); strings.Contains(at, "answers+") != c.to {
			t.Errorf("%s: answers go to %q", c.what, at)
		}
	}
}

// A winding letter says which train, by when, when it stops, what can hurt, how
// to answer, and who is asked next.
func TestWindingLetter(t *testing.T) {
	n, got := composeBy(t, answeringComposer(), sampleWinding())
	if n.Title != "Corn hall clock: wind the going train by Sat 28 Nov; it stops about Sun 29 Nov" || n.Clock != "corn-hall" || n.Subject != "going" {
		t.Errorf("%q of %s, %s", n.Title, n.Clock, n.Subject)
	}
	tells(t, "winding", got, "Please wind the going train of Corn hall clock by Saturday 28 Nov 2026. It stops about 14:00 on Sunday 29 Nov 2026.",
		"nine times in ten between 05:00 and 23:00", windCaution, `answer this letter with one word: "wound"; if it stands, "stopped"; if not, "not done" and why.`,
		"Dee Finch is asked next, and then Bo Alder.", "key at the bakery, 61 stairs", "4 days, 53 % of a full wind, about 42 turns")
	link := "https://clocks.example.org/answer/" + token(0)
	if !strings.Contains(got.text, "\n  "+link+"\r\n") && !strings.Contains(got.text, "\n  "+link+"\n") || strings.Count(got.html, `href="`+link+`"`) != 1 {
		t.Error("the link to answer is not written out once in each form")
	}
	if i, j := strings.Index(got.text, "Caution:"), strings.Index(got.text, link); i < 0 || i > j {
		t.Error("the caution stands behind the answer")
	}
	soon := sampleWinding()
	st := &soon.Clocks[0].Trains[0].Wind
	st.Stops = time.Date(2026, 11, 28, 16, 27, 0, 0, time.UTC)
	st.Early, st.Late = st.Stops.Add(-30*time.Hour), st.Stops.Add(30*time.Hour)
	if n, got = compose(t, soon); n.Title != "Corn hall clock: wind the going train; it stops about 16:27 on Sat 28 Nov" {
		t.Errorf("of a train that stops on its day: %q", n.Title)
	}
	tells(t, "stops on its day", got, "between 10:27 on Friday 27 Nov 2026 and 22:27 on Sunday 29 Nov 2026")
	lost := sampleWinding()
	lost.Clocks[0].Trains[0].Wind = schedule.WindState{Known: true, Lost: "wound in part on 2 Nov 2026, and how much is not logged"}
	n, got = compose(t, lost)
	if n.Title != "Corn hall clock: wind the going train by Sat 28 Nov" {
		t.Errorf("of a train of which nobody knows: %q", n.Title)
	}
	tells(t, "nobody knows", got, "Not known", "wound in part on 2 Nov 2026, and how much is not logged")
	silent(t, "nobody knows", got, "It stops", "Run left")
	late := sampleWinding()
	late.Task.Due = day(2026, 11, 20)
	if _, got = compose(t, late); got.calendar != nil {
		t.Errorf("a day that is over is set:\n%s", got.calendar)
	}
	if n, got = composeBy(t, answeringComposer(), sampleTurn()); !strings.HasPrefix(n.Title, "Your turn: Corn hall clock may have stopped") {
		t.Errorf("of the deputy's turn: %q", n.Title)
	}
	tells(t, "turn", got, "Nobody has said yet that it is wound, so now it is your turn.", "unless somebody wound it and did not write it down", "Also asked, for it may stand already: Bo Alder.")
}

// What is asked next depends on who is left.
func TestNext(t *testing.T) {
	bo, cy := schedule.Person{Slug: "bo", Name: "Bo Alder"}, schedule.Person{Slug: "cy"}
	for _, tc := range []struct {
		l    schedule.Letter
		past bool
		want string
	}{
		{schedule.Letter{}, false, "Nobody else is asked: please answer, also where you cannot go."},
		{schedule.Letter{Turn: 2}, true, "Nobody is asked after this."},
		{schedule.Letter{Next: []schedule.Person{bo}}, false, "Bo Alder is asked next."},
		{schedule.Letter{Next: []schedule.Person{bo, cy}, Others: []schedule.Person{cy}}, false, "Asked with you: cy. Bo Alder is asked next, and then cy."},
		{schedule.Letter{Next: []schedule.Person{bo, cy}}, true, "Also asked, for it may stand already: Bo Alder and cy."},
	} {
		if got := asked(tc.l, tc.past); got.Words != tc.want {
			t.Errorf("%q, want %q", got.Words, tc.want)
		}
	}
}

// How to answer by mail fits what is asked.
func TestReplyWords(t *testing.T) {
	a := schedule.Assessment{Clock: schedule.Clock{Trains: []wear.Train{{Code: "going", Arbors: []wear.Arbor{{Bearings: []wear.Bearing{{Code: "b", Shake: wear.SideShake}}}}}}}}
	for _, tc := range []struct {
		kind  schedule.TaskKind
		about string
		said  schedule.Said
		unit  wear.Unit
		want  string
	}{
		{schedule.Winding, "going", schedule.SaidDone, wear.MM, `with one word: "wound"; if it stands, "stopped"; if not, "not done" and why`},
		{schedule.Oiling, "", schedule.SaidDone, wear.MM, `with one word: "done"; if not, "not done" and why`},
		{schedule.Inspection, "", schedule.SaidWell, wear.MM, `with two words: "all well"; if not, "not done" and why`},
		{schedule.Measuring, "b", schedule.SaidRead, wear.MM, `with the reading: "side-shake 0.42 mm", or "16 thou"; if not, "not done" and why`},
		{schedule.Measuring, "?", schedule.SaidRead, wear.Thou, `with the reading: "end-shake 16 thou", or "0.42 mm"; if not, "not done" and why`},
	} {
		if got := replyWords(a, schedule.Task{Kind: tc.kind, Subject: tc.about}, tc.said, tc.unit); got != tc.want {
			t.Errorf("%s: %q, want %q", tc.kind, got, tc.want)
		}
		// And whoever answers so is understood (schedule.ReadAnswer).
		for _, word := range regexp.MustCompile(`"([^"]*)"`).FindAllStringSubmatch(tc.want, -1) {
			text := word[1]
			if text == "not done" {
				text += ", no key"
			}
			if _, err := schedule.ReadAnswer(text, tc.unit); err != nil {
				t.Errorf("%s: told to answer %q, which is not read: %v", tc.kind, text, err)
			}
		}
	}
}

func TestStandingLetter(t *testing.T) {
	n, got := compose(t, sampleStanding())
	if n.Title != "Corn hall clock has stopped: weather" {
		t.Errorf("stopped: %q", n.Title)
	}
	tells(t, "stopped", got, "Corn hall clock has stopped (weather). It stands since 09:05 on Tuesday 24 Nov 2026.", "stopped, 16:20 on Tuesday 24 Nov 2026, by Bo Alder",
		"Ice on the hands of the north dial.", "Somebody knows you are up", "Local rules and licensed people decide.")
	byHand := sampleStanding()
	byHand.Entry.Cause, byHand.Entry.Until = schedule.ForWork, day(2026, 11, 20)
	if n, got = compose(t, byHand); n.Title != "Corn hall clock was stopped: for work" {
		t.Errorf("for work: %q", n.Title)
	}
	tells(t, "for work", got, "20 Nov 2026")
	unknown := sampleStanding()
	unknown.Entry.Cause = ""
	if n, _ = compose(t, unknown); n.Title != "Corn hall clock has stopped: the cause is not known" {
		t.Errorf("unknown: %q", n.Title)
	}
	n, got = compose(t, sampleLockedNow())
	if n.Title != "Corn hall clock is locked: do not run" {
		t.Errorf("locked: %q", n.Title)
	}
	tells(t, "locked", got, "nobody may run it until the conservator or the clockmaker clears it by name", "broken strand found on 24 Nov 2026 (going line)", "Touch nothing and let nobody run it")
	if n, _ = compose(t, sampleMayStand()); n.Title != "Corn hall clock may have stopped" {
		t.Errorf("may stand: %q", n.Title)
	}
	two := sampleMayStand()
	two.Clocks[0].Clock.Trains = append(two.Clocks[0].Clock.Trains, wear.Train{Code: "strike", Name: "strike train", Kind: wear.Strike})
	if n, _ = compose(t, two); n.Title != "Corn hall clock: the going train may have stopped" {
		t.Errorf("one train of two may stand: %q", n.Title)
	}
}

func TestChangeLetter(t *testing.T) {
	n, got := compose(t, sampleChange())
	if n.Title != "The time goes forward on Sun 28 Mar: 2 clocks to see to" {
		t.Errorf("%q", n.Title)
	}
	tells(t, "spring", got, "On Sunday 28 Mar 2027 the time goes forward by 1 hour: 2 of yours want seeing to.", "letting it strike every hour as it goes",
		"Who: Ada Örn and Dee Finch", "Who: nobody is named", "rests: nothing to do", "never force the hands back")
	silent(t, "spring", got, "Free the setting clutch")
	for what, tc := range map[string]struct {
		change func(*schedule.ChangeList)
		title  string
		says   string
	}{
		"autumn":       {func(l *schedule.ChangeList) { each(l, func(c *schedule.ChangeClock) { c.Minutes = -60 }) }, "The time goes back on Sun 28 Mar: 2 clocks to see to", "the time goes back by 1 hour: 2 of yours want seeing to. Stop a clock for as long, or put its hands on round the dial, as stands with it: never force hands back."},
		"half an hour": {func(l *schedule.ChangeList) { each(l, func(c *schedule.ChangeClock) { c.Minutes = 30 }) }, "The time goes forward on Sun 28 Mar: 2 clocks to see to", "by 30 minutes"},
		"done":         {func(l *schedule.ChangeList) { each(l, func(c *schedule.ChangeClock) { c.Done = true }) }, "The clocks change: nothing is left to do", "each of yours is done or rests"},
		"two days":     {func(l *schedule.ChangeList) { l.Sites[1].Clocks[0].On = day(2027, 3, 26) }, "The clocks change: 2 clocks to see to", "The day of each stands with it."},
		"one":          {func(l *schedule.ChangeList) { l.Sites = l.Sites[:1] }, "The time goes forward on Sun 28 Mar: 1 clock to see to", "1 of yours wants seeing to"},
	} {
		l := sampleChange()
		tc.change(l.Changes)
		n, got := compose(t, l)
		if n.Title != tc.title {
			t.Errorf("%s: %q, want %q", what, n.Title, tc.title)
		}
		tells(t, what, got, tc.says)
		if (got.calendar == nil) != (what == "done") {
			t.Errorf("%s: calendar %s", what, got.calendar)
		}
	}
}

func each(l *schedule.ChangeList, f func(*schedule.ChangeClock)) {
	for i := range l.Sites {
		for j := range l.Sites[i].Clocks {
			f(&l.Sites[i].Clocks[j])
		}
	}
}

// An owner's letter says what went, what stood and why, and what nobody looked
// at.
func TestOwnersLetter(t *testing.T) {
	n, got := compose(t, sampleOwner())
	if n.Title != "Your 2 clocks in October 2026" {
		t.Errorf("%q", n.Title)
	}
	tells(t, "owner", got, "these stood, if only for a part of a day: Corn hall clock on 3 days. How long Quay post clock went is not known.",
		"on 28 of 31 days all day, as far as the log tells; stood 5 Oct 2026 to 7 Oct 2026 (for work)", "looked at 2 times, at worst 75 s fast; within the 60 s it is held to 1 of 2 times",
		"logged 5 times; it was never found run down", "oiled on 7 Oct 2026; inspected on 8 Oct 2026", "Likely to reach 0.80 mm (31.5 thou) between March 2029 and May 2033.",
		"Winding of the strike train, due 24 Nov 2026: Ada Örn and Bo Alder", "Inspection, due 20 Jan 2027", "key at the bakery, 61 stairs", "Loose boards on the second landing", "Bird droppings",
		"What was not checked", "No bearing was measured in the month.", "Without a reading since they were fitted: centre arbor, escape bush.")
	silent(t, "owner", got, "Measuring of the 4 bearings", "wound 5 times")
	if len(got.pictures) != 1 || strings.Count(got.html, "cid:") != 1 {
		t.Errorf("%d pictures", len(got.pictures))
	}
	one := sampleOwner()
	one.Clocks = one.Clocks[:1]
	n, got = compose(t, one)
	if n.Title != "Corn hall clock in October 2026" {
		t.Errorf("of one: %q", n.Title)
	}
	tells(t, "one", got, "In October 2026, by its log, it stood on 3 days, if only for a part of each.")
	one.Today = day(2026, 10, 3)
	n, got = compose(t, one)
	tells(t, "September", got, "In September 2026, by the log, it went all through the month.")
	one.Clocks[0].Tasks[0].Rank = schedule.MayHaveStopped
	_, got = compose(t, one)
	tells(t, "pressing", got, "1 thing presses now: see below. In September 2026")
	if from, to := monthBefore(day(2026, 3, 31)); from != day(2026, 2, 1) || to != day(2026, 2, 28) {
		t.Errorf("the month before March is %v to %v", from, to)
	}
	if from, to := monthBefore(day(2028, 1, 1)); from != day(2027, 12, 1) || to != day(2027, 12, 31) {
		t.Errorf("the month before January is %v to %v", from, to)
	}
}

func TestTroubleLetter(t *testing.T) {
	n, got := compose(t, sampleTrouble())
	if n.Title != "Mail: 2 letters did not arrive, and more" {
		t.Errorf("%q", n.Title)
	}
	tells(t, "trouble", got, "2 letters did not arrive, 1 address refuses letters, 1 answer waits for you and 1 person declined a duty's letters.",
		"refused, to Cy Quill, owed 23 Nov 2026. The server said: 550 5.1.1 no such mailbox here.", "may or may not have gone out, perhaps twice, and is not sent again by itself, to Cy Quill, owed 23 Nov 2026. Perhaps handed over twice, and never answered: ask the reader whether it came",
		"nothing is sent there since 23 Nov 2026, after 3 refusals", "it says both done and not done", "wants no more winding letters, since 23 Nov 2026")
	if !strings.Contains(got.text, "https://clocks.example.org/mail") {
		t.Error("the mail room is not named")
	}
	many := sampleTrouble()
	for i := range 100 {
		many.Trouble.Notices = append(many.Trouble.Notices, schedule.Notice{Title: fmt.Sprint("letter ", i), State: schedule.Owed})
	}
	_, got = compose(t, many)
	tells(t, "many", got, "102 letters did not arrive", "And", "62 more, in the mail room")
	silent(t, "many", got, "letter 50")
	none := sampleTrouble()
	none.Trouble = &schedule.Trouble{}
	n, _ = compose(t, none)
	if n.Title != "Mail: nothing is wrong" {
		t.Errorf("of nothing: %q", n.Title)
	}
}

// A due-list draws the worst few of its bearings, links each task that can be
// answered, and says of none that cannot.
func TestDueListAnswersAndTrends(t *testing.T) {
	l := sampleAnswered()
	for i := range 6 {
		o := *sampleMeasured()
		o.Bearing.Code, o.Bearing.Name, o.Used = fmt.Sprint("b", i), fmt.Sprint("bush ", i), 0.1*float64(i)
		l.Clocks[0].Outlooks = append(l.Clocks[0].Outlooks, o)
	}
	_, got := composeBy(t, answeringComposer(), l)
	if len(got.pictures) != mostTrends || len(got.order) != mostTrends {
		t.Errorf("%d pictures, want %d", len(got.pictures), mostTrends)
	}
	for cid := range got.pictures {
		if strings.Count(got.html, "cid:"+cid) != 1 {
			t.Errorf("picture %s is shown %d times", cid, strings.Count(got.html, "cid:"+cid))
		}
	}
	tells(t, "trends", got, "Corn hall clock, centre arbor, bush 5")
	linked := map[string]bool{}
	for _, m := range regexp.MustCompile(`/answer/([a-z2-7]{32})`).FindAllStringSubmatch(got.text, -1) {
		linked[m[1]] = true
		if !strings.Contains(got.html, m[0]) {
			t.Errorf("%s is in the text alone", m[0])
		}
	}
	for _, p := range l.Passes {
		a := l.Clocks[0]
		if p.Clock == l.Clocks[1].Clock.Slug {
			a = l.Clocks[1]
		}
		if want := p.Clock != "" && len(p.Choices(a)) > 0; linked[p.Token] != want {
			t.Errorf("%s of %s is linked: %v, want %v", p.Task, p.Clock, linked[p.Token], want)
		}
	}
	silent(t, "many tasks", got, "with one word")
	for _, css := range []string{"@media print", ".screen { display: none !important; }", `class="box"`} {
		if !strings.Contains(got.html, css) {
			t.Errorf("on paper: no %s", css)
		}
	}
}

// Who has many clocks is told in full of all that is late or due, with its link,
// and where no page can have the rest, of that too.
func TestDueListOfManyClocks(t *testing.T) {
	l := sampleDueList()
	for i := range 10 {
		a := sampleClock(fmt.Sprintf("clock-%d", i), fmt.Sprintf("Clock %c", 'A'+i), l.Clocks[0].Site)
		for _, task := range l.Clocks[0].Tasks {
			task.Clock = a.Clock.Slug
			if task.Kind == schedule.Winding {
				task.Subject = ""
			}
			a.Tasks = append(a.Tasks, task)
		}
		l.Clocks = append(l.Clocks, a)
	}
	l.Clocks = l.Clocks[2:]
	l = withPasses(l)
	for i := range l.Passes {
		l.Passes[i].Token = strings.Repeat("a", 28) + fmt.Sprintf("%c%c%cb", 'a'+i/26, 'a'+i%26, 'a'+i%26)
	}
	for base, told := range map[string]bool{"https://clocks.example.org": true, "": false} {
		c := answeringComposer()
		c.Base = base
		_, got := composeBy(t, c, l)
		for _, a := range l.Clocks {
			tells(t, base, got, a.Clock.Name+": winding of the going train (late", a.Clock.Name+": winding of the strike train (due now), due 24 Nov 2026")
			rest := []string{a.Clock.Name + ": oiling (may be done now)", a.Clock.Name + ": inspection (ahead)"}
			if told {
				silent(t, base, got, rest...)
			} else {
				tells(t, base, got, rest...)
			}
			for _, task := range a.Tasks[:2] {
				p, _ := l.PassFor(task)
				if link := base + "/answer/" + p.Token; told != (strings.Contains(got.text, link) && strings.Contains(got.html, link)) {
					t.Errorf("with the pages at %q, %s of %s has its link: %v", base, task.What(), a.Clock.Name, !told)
				}
			}
		}
		if told {
			tells(t, base, got, "Market Square", "10 open, 10 within 90")
		} else {
			silent(t, base, got, "10 open, 10 within 90", "No link")
		}
	}
}

// O10: addresses that need quoting, and domains beyond ASCII, reach the header
// and the envelope as mail servers want them.
func TestOddAddresses(t *testing.T) {
	for address, want := range map[string]string{
		`"a b"@example.org`: `"a b"@example.org`, "ada@bücher.example": "ada@xn--bcher-kva.example", `"x@y"@example.org`: `"x@y"@example.org`, "a'b@example.org": "a'b@example.org",
	} {
		l := sampleWinding()
		l.Person.Email = address
		n, got := composeBy(t, answeringComposer(), l)
		to, err := got.head.AddressList("To")
		if n.To != want || err != nil || len(to) != 1 || envelope(to[0]) != want {
			t.Errorf("%s: envelope %q, To %v, %v; want %q", address, n.To, to, err, want)
		}
	}
	c := Composer{From: "Clock Care <clocks@bücher.example>", Base: "https://clocks.example.org"}
	n, got := composeBy(t, c, withPasses(sampleWinding()))
	if from, err := got.head.AddressList("From"); err != nil || from[0].Address != "clocks@xn--bcher-kva.example" || n.MessageID != "<"+sampleID+"@xn--bcher-kva.example>" || got.head.Get("List-Id") != "<endshake.xn--bcher-kva.example>" {
		t.Errorf("from %v, %v, %s, %s", from, err, n.MessageID, got.head.Get("List-Id"))
	}
}
