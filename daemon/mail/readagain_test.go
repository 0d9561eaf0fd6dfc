package mail

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// The letter stands alone: what was read, what was expected, by which day, what
// to leave alone, what can hurt somebody, and who else knows.
func TestReadAgainSaysEverythingTwice(t *testing.T) {
	l := sampleReadAgain()
	n, got := compose(t, l)
	if n.Title != "Corn hall clock: centre arbor, front bush is to be read again" || n.Clock != "corn-hall" || n.Subject != "centre-front" || n.Kind != schedule.ReadAgain {
		t.Errorf("notice %q about %q, %q, %q", n.Title, n.Clock, n.Subject, n.Kind)
	}
	for part, words := range map[string]string{"text": squeeze(got.text), "html": got.words} {
		for _, want := range []string{
			wear.OwnFirst(l.Person.Units, l.Outlook.Sentence), "centre arbor, front bush, going train, end-shake",
			"29.1 thou (0.74 mm) on 22 Nov 2026, by Bo Alder, with dial indicator, at 52.7 °F (11.5 °C)",
			// 0.47 mm at the reference, 0.04 mm less when it was read.
			"about 16.9 thou (0.43 mm), going by 2 other readings", "a chance of 96 %", "31.5 thou (0.80 mm), set by: conservator",
			"Take the reading again by 22 Dec 2026. Wipe the faces", "Barrel blocked. Local rules and licensed people decide.",
			"do not act on that one reading", "Also told, each at the hours that they chose: Bo Alder and Cy Quill.",
		} {
			if !strings.Contains(words, want) {
				t.Errorf("%s does not say %q", part, want)
			}
		}
		if strings.Contains(words, "Plan the work") || strings.Contains(words, "Used up") || strings.Contains(strings.ToLower(words), "not measured") {
			t.Errorf("%s speaks of work, or of what was not measured", part)
		}
	}
	if !strings.Contains(got.text, "https://clocks.example.org/clock/corn-hall/bearing/centre-front") || len(got.pictures) != 1 {
		t.Error("the letter has no way to its page, or no chart")
	}
	if _, alt := imageOf(t, got.html); alt != wear.OwnFirst(l.Person.Units, l.Outlook.Sentence) {
		t.Errorf("the chart is called %q", alt)
	}
}

func TestReadAgainWithLittleKnown(t *testing.T) {
	for _, tc := range []struct {
		what   string
		change func(*schedule.Letter)
		want   []string
		never  string
	}{
		{"no parts", func(l *schedule.Letter) { l.Outlook.Parts = nil }, []string{"Take the reading again by 22 Dec 2026."}, "Expected"},
		{"no level", func(l *schedule.Letter) { l.Outlook.Known = false }, []string{"Expected: not known"}, "NaN"},
		{"a level that is none", func(l *schedule.Letter) { l.Outlook.Level.Mean = math.NaN() }, []string{"Expected: not known"}, "NaN"},
		{"nobody", func(l *schedule.Letter) { l.Outlook.Parts[0].Readings[2].By = "" }, []string{"22 Nov 2026, with dial indicator"}, ", by Bo"},
		{"a stranger", func(l *schedule.Letter) { l.Outlook.Parts[0].Readings[2].By = "x<b>\r\nBcc: y" }, []string{"by x<b> Bcc: y"}, "Bo Alder, with"},
		{"no day", func(l *schedule.Letter) { l.Outlook.Measure = schedule.Date{} }, []string{"Take the reading again. Wipe"}, "by no date"},
		{"no task", func(l *schedule.Letter) { l.Clocks[0].Tasks = nil }, []string{"Caution: Weight down or held"}, "Barrel blocked. Local"},
		{"no zone", func(l *schedule.Letter) { l.Clocks[0].Zone = nil }, []string{"22 Nov 2026"}, "panic"},
		{"certain", func(l *schedule.Letter) { l.Outlook.Parts[0].Readings[2].Doubt = 1 }, []string{"a chance of 99 %"}, "100 %"},
	} {
		l := sampleReadAgain()
		tc.change(&l)
		_, got := compose(t, l)
		text := squeeze(got.text)
		for _, want := range tc.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the letter does not say %q:\n%s", tc.what, want, got.text)
			}
		}
		if strings.Contains(text, tc.never) {
			t.Errorf("%s: the letter says %q:\n%s", tc.what, tc.never, got.text)
		}
	}
}

// What binds, what changed, and what late oil cost are told in the reminder.
func TestWornBearing(t *testing.T) {
	worn := sampleWorn()
	const oil = "aged or gone for 30 % of its running; by the usual figures for its materials late oiling made 61 % of the wear; the forecast reckons with it."
	for name, l := range map[string]schedule.Letter{"reminder": worn} {
		_, got := compose(t, l)
		for part, words := range map[string]string{"text": squeeze(got.text), "html": got.words} {
			for _, want := range []string{
				"30.7 thou (0.78 mm), from the mesh: motion bevels, bevel mesh, module 1 mm, cone 45°", "31.5 thou (0.80 mm) is later (conservator, survey of 2019)",
				"he rate changed after 2 Mar 2024; after a change the forecast is less sure than it looks", strings.TrimSuffix(oil, "."),
			} {
				if !strings.Contains(words, want) {
					t.Errorf("%s, %s does not say %q", name, part, want)
				}
			}
		}
	}
	for _, tc := range []struct {
		what   string
		change func(*schedule.Outlook)
		want   string
		never  string
	}{
		{"oiled in time", func(o *schedule.Outlook) { o.Oil.Late = 0.05 }, "How sure", "Oil:"},
		{"no oil is followed", func(o *schedule.Outlook) { o.Oil = nil }, "How sure", "Oil:"},
		{"oil is not weighed", func(o *schedule.Outlook) { o.Oil.InForce = false }, "How sure", "Oil:"},
		{"nothing taught", func(o *schedule.Outlook) { o.Taught = false }, "Rate of wear: the rate changed", "mm a year"},
		{"nothing changed", func(o *schedule.Outlook) { o.Changed = schedule.Date{} }, "Rate of wear: about 1.2 thou (0.031 mm) a year", "less sure"},
		{"the conservator's is as small", func(o *schedule.Outlook) { o.Limit.Size = 800; o.Meshes[0].Act = 800 }, "(0.80 mm), set by:", "from the mesh"},
		{"must not run", func(o *schedule.Outlook) { o.Stop = o.Limit }, "beyond it the clock must not run", "panic"},
	} {
		l := sampleWorn()
		tc.change(l.Outlook)
		_, got := compose(t, l)
		if text := squeeze(got.text); !strings.Contains(text, tc.want) || strings.Contains(text, tc.never) {
			t.Errorf("%s: wanted %q and no %q:\n%s", tc.what, tc.want, tc.never, got.text)
		}
	}
}

// A changed rate is in the due-list also where the bearing is sound.
func TestDueListNamesAChangedRate(t *testing.T) {
	l := sampleDueList()
	o := &l.Clocks[0].Outlooks[0]
	o.Condition = schedule.Sound
	if _, got := compose(t, l); strings.Contains(got.text, "KEEP AN EYE") {
		t.Error("a sound bearing is to be watched")
	}
	o.Changed, o.Sentence = day(2024, 3, 2), "The rate changed after 2 Mar 2024."
	if _, got := compose(t, l); !strings.Contains(squeeze(got.text), "front bush (sound). The rate changed after 2 Mar 2024.") {
		t.Errorf("the due-list does not name the change:\n%s", got.text)
	}
}

// From the log to the letter: an invented bearing with a wrong last reading.
func TestReadAgainFromTheLog(t *testing.T) {
	f := schedule.Fleet{
		Sites:  []schedule.Site{{Slug: "market", Name: "Market Square", Zone: "Europe/London"}},
		People: []schedule.Person{{Slug: "ada", Name: "Ada Örn", Email: "ada@example.org"}, {Slug: "bo", Name: "Bo Alder", Email: "bo@example.org"}},
		Clocks: []schedule.Clock{{Slug: "hall", Name: "Corn hall clock", Kind: schedule.Turret, Site: "market", InCare: day(2018, 1, 1),
			Duties: []schedule.Duty{{Person: "ada", Role: schedule.Conservator}, {Person: "bo", Role: schedule.Winder}},
			Trains: []wear.Train{{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.AutoWound, Arbors: []wear.Arbor{{Code: "centre", Name: "centre arbor",
				Bearings: []wear.Bearing{{Code: "front", Name: "front bush", Form: wear.Bush, Shake: wear.EndShake, Act: &wear.Limit{Size: 800, Source: "conservator"}}}}}}}}},
	}
	log := map[string][]schedule.Entry{}
	for i, size := range []wear.Length{200, 215, 230, 245, 260, 275, 290, 610} {
		log["hall"] = append(log["hall"], schedule.Entry{ID: fmt.Sprint("e", i), Clock: "hall", Kind: schedule.Measured, Bearing: "front", By: "bo",
			At: sampleNow.Add(time.Duration(i-7) * 365 * 24 * time.Hour), Detail: schedule.Detail{Reading: &wear.Reading{Shake: wear.EndShake, Value: size}}})
	}
	var again []schedule.Letter
	for _, l := range schedule.LimitLetters(schedule.Survey(f, log, schedule.Model{}, sampleNow)) {
		if l.Kind == schedule.ReadAgain {
			again = append(again, l)
		}
	}
	if len(again) != 1 || again[0].Person.Slug != "ada" {
		t.Fatalf("%d letters to read again, want the conservator's alone", len(again))
	}
	n, got := compose(t, again[0])
	// A straight line through the others says 0.305 mm; the gauge is good for 0.03.
	text := squeeze(got.text)
	if !strings.Contains(text, "0.61 mm (24.0 thou) on 25 Nov 2026, by bo") || !strings.Contains(text, "does not fit the others") ||
		!strings.Contains(text, "about 0.3") || !strings.Contains(text, "going by 7 other readings") || !strings.Contains(n.Title, "read again") {
		t.Errorf("the letter:\n%s", got.text)
	}
}

// A kind that has no words is refused, and the notice that stands for it says so.
func TestUnknownKindIsShown(t *testing.T) {
	for _, kind := range []schedule.NoticeKind{"", "sonnet", "read again\r\nBcc: x"} {
		l := sampleReadAgain()
		l.Kind = kind
		_, err := sampleComposer().Compose(l, sampleID, sampleNow)
		if err == nil || !strings.Contains(err.Error(), "no words for a letter of the kind") {
			t.Fatalf("kind %q: %v, want a refusal", kind, err)
		}
		n := Unwritable(l, sampleID, sampleNow, err)
		if n.State != schedule.Refused || !strings.Contains(n.Reply, "no words for a letter of the kind") || strings.ContainsAny(n.Title+n.Reply, "\r\n") {
			t.Errorf("kind %q: notice %+v", kind, n)
		}
	}
}
