package schedule

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

func justRead(v float64) *wear.Reading { return &wear.Reading{Value: wear.FromMM(v)} }

func shaken(s wear.Shake, v float64) *wear.Reading {
	return &wear.Reading{Shake: s, Value: wear.FromMM(v)}
}

// Replies as people write them, all invented, and the one thing that each means.
var plainReplies = []struct {
	text  string
	units wear.Unit
	want  Answer
}{
	{"wound", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"Wound.", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"WOUND!!", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"Wound it this morning, thanks", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"Hi Ada,\n\nWound it this morning.\n\nBest wishes\nNed", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"Dear all,\nThe clock was wound at 9.30 am today.\nKind regards,\nNed Sallowby", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"I’ve wound it", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"Both trains wound, all well.", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}}},
	{"Wound. Lovely view from up here.", "", Answer{Said: SaidDone, Tasks: []TaskKind{Winding}, Because: "Lovely view from up here"}},
	{"oiled", "", Answer{Said: SaidDone, Tasks: []TaskKind{Oiling}}},
	{"Oiled today\n--\nNed", "", Answer{Said: SaidDone, Tasks: []TaskKind{Oiling}}},
	{"Done", "", Answer{Said: SaidDone}},
	{"done, thanks", "", Answer{Said: SaidDone}},
	{"It is done now.", "", Answer{Said: SaidDone}},
	{"Yes, done", "", Answer{Said: SaidDone}},
	{"checked, all well", "", Answer{Said: SaidWell, Tasks: []TaskKind{Inspection, LineLook, PowerCheck}}},
	{"Checked this morning. Everything is fine.\nNed", "", Answer{Said: SaidWell, Tasks: []TaskKind{Inspection, LineLook, PowerCheck}}},
	{"All well", "", Answer{Said: SaidWell}},
	{"Nothing found.", "", Answer{Said: SaidWell}},
	{"inspected, no faults found", "", Answer{Said: SaidWell, Tasks: []TaskKind{Inspection, LineLook, PowerCheck, Visiting}}},
	{"checked", "", Answer{Said: SaidDone, Tasks: []TaskKind{Inspection, LineLook, PowerCheck}}},

	{"end-shake 0.42 mm", "", Answer{Said: SaidRead, Reading: shaken(wear.EndShake, 0.42)}},
	{"End shake: 0.42mm", wear.Thou, Answer{Said: SaidRead, Reading: shaken(wear.EndShake, 0.42)}},
	{"side-shake is 16 thou", "", Answer{Said: SaidRead, Reading: shaken(wear.SideShake, 0.4064)}},
	{"0.42", "", Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{"0.42", wear.MM, Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{"0,42", wear.MM, Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{".42 mm", "", Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{"16 thou", "", Answer{Said: SaidRead, Reading: justRead(0.4064)}},
	{"16", wear.Thou, Answer{Said: SaidRead, Reading: justRead(0.4064)}},
	{"16 thou (0.41 mm)", "", Answer{Said: SaidRead, Reading: justRead(0.4064)}},
	{"5/64", "", Answer{Said: SaidRead, Reading: justRead(1.984)}},
	{"5/64\"", wear.MM, Answer{Said: SaidRead, Reading: justRead(1.984)}},
	{"1/16 in", "", Answer{Said: SaidRead, Reading: justRead(1.588)}},
	{"0.016 in", "", Answer{Said: SaidRead, Reading: justRead(0.4064)}},
	{"420 um", "", Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{"Measured today: 0.42 millimetres.\nThanks,\nNed", "", Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{"Hello\n\nThe reading is 0.42 mm.\n\nRegards\nN. Sallowby", "", Answer{Said: SaidRead, Reading: justRead(0.42)}},
	{"measured at 10:15, 0.42 mm", "", Answer{Said: SaidRead, Reading: justRead(0.42)}},

	{"stopped", "", Answer{Said: SaidStopped}},
	{"stopped, snow on the hands", "", Answer{Said: SaidStopped, Cause: Weather, Because: "snow on the hands"}},
	{"The clock has stopped.", "", Answer{Said: SaidStopped, Whole: true}},
	{"All dials stopped", "", Answer{Said: SaidStopped, Whole: true}},
	{"Found it stopped at 4:20. Pigeons in the works.", "", Answer{Said: SaidStopped, Cause: Birds, Because: "Pigeons in the works"}},
	{"It has stopped - it ran down", "", Answer{Said: SaidStopped, Cause: RanDown, Because: "it ran down"}},
	{"I stopped the clock, rope frayed", "", Answer{Said: SaidStopped, Whole: true, Cause: ByHand, Because: "rope frayed"}},
	{"stopped: ice and a nest behind the dial", "", Answer{Said: SaidStopped, Because: "ice and a nest behind the dial"}}, // two causes: none is chosen

	{"not done: ladder locked", "", Answer{Said: SaidNot, Because: "ladder locked"}},
	{"Not done - the ladder is locked", "", Answer{Said: SaidNot, Because: "the ladder is locked"}},
	{"could not wind", "", Answer{Said: SaidNot, Tasks: []TaskKind{Winding}}},
	{"Sorry, couldn't wind it today", "", Answer{Said: SaidNot, Tasks: []TaskKind{Winding}}},
	{"I haven’t oiled it yet, no key", "", Answer{Said: SaidNot, Because: "no key", Tasks: []TaskKind{Oiling}}},
	{"Unable to measure: pivot out of reach", "", Answer{Said: SaidNot, Because: "pivot out of reach", Tasks: []TaskKind{Measuring, NearLimit}}},
	{"Unable to get in, the door has a new lock", "", Answer{Said: SaidNot, Because: "Unable to get in, the door has a new lock"}},
	{"Not done, will go on Friday", "", Answer{Said: SaidNot, Because: "will go on Friday"}},
	{"Could not reach the dial because of the scaffold", "", Answer{Said: SaidNot, Because: "Could not reach the dial because of the scaffold"}},
	{"No access this week.", "", Answer{Said: SaidNot, Because: "No access this week"}},
}

func TestReadAnswer(t *testing.T) {
	for _, c := range plainReplies {
		if c.want.Said == SaidRead {
			c.want.Tasks = []TaskKind{Measuring, NearLimit}
		}
		got, err := ReadAnswer(c.text, c.units)
		if err != nil {
			t.Errorf("%q is held: %v", c.text, err)
			continue
		}
		if !reflect.DeepEqual(got, c.want) {
			r := func(a Answer) string { return fmt.Sprintf("%+v %+v", a, a.Reading) }
			t.Errorf("%q:\n got %s\nwant %s", c.text, r(got), r(c.want))
		}
	}
}

// What could mean two things, or is no answer, with a word of the reason.
var doubtfulReplies = []struct{ text, why string }{
	{"", "no words"}, {" \n\t ", "no words"}, {"\u200b", "no words"},
	{"ok", "does not say"}, {"yes", "does not say"}, {"Thanks!", "does not say"}, {"No.", "\"no\""}, {"Ned", "does not say"},
	{"lorem ipsum", "does not say"}, {"aufgezogen", "does not say"}, {"remonté ce matin", "does not say"}, {"👍", "does not say"},
	{"wound?", "question"}, {"Did you mean the strike?\nwound", "question"}, {"have you not wound it yet？", "question"},
	// Two claims.
	{"done and not done", "both"}, {"done / not done", "both"}, {"[x] done [ ] not done", "both"},
	{"wound. not oiled", "both"}, {"not wound, not oiled", "two tasks"}, {"could not wind the strike, wound the going", "both"},
	{"wound and oiled", "two tasks"}, {"checked and wound", "two tasks"}, {"oiled, wound", "two tasks"},
	{"stopped, wound it", "something else as well"}, {"I stopped by and wound it", "something else as well"}, {"stopped. all well", "something else as well"},
	{"stopped, restarted it", "restarted"}, {"stopped raining at last", "\"last\""}, {"we stopped", "what the writer stopped"},
	{"stopped at 4, stopped again at 6", ""}, {"not done 0.42 mm", "both"}, {"wound, 0.42 mm", "gives a figure as well"},
	// A negation.
	{"not wound properly", "properly"}, {"not fully wound", "\"not\""}, {"not stopped", "\"not\""}, {"never wound", "\"never\""}, {"no longer stopped", "\"no\""},
	{"It was not wound by me", "\"by\""}, {"not done until Friday", "\"until\""}, {"not only wound but polished", "\"not\""},
	{"wound, but not the strike", "\"not\""}, {"nobody wound it", "\"nobody\""}, {"I did not say it was wound", "\"not\""}, {"could not see anything wrong", "\"not\""},
	{"it isn't true that it was wound", "\"not\""}, {"Ned says it could not be wound yesterday, it was not done", "does not begin"},
	{"hasnt stopped", "\"not\""}, {"don't think it was wound", "\"not\""},
	// What is to come, guessed, partial, of another day, person or train.
	{"will be wound tomorrow", "\"will\""}, {"I'll have it wound tonight", "\"will\""}, {"should be wound", "\"should\""}, {"nearly done", "\"nearly\""},
	{"I think it was wound", "\"think\""}, {"probably done", "\"probably\""}, {"half wound", "\"half\""}, {"wound a bit", "\"a\""}, {"partly oiled", "\"partly\""},
	{"wound the strike train", "\"strike\""}, {"wound the going side", "\"going\""}, {"all wound except the chime", "\"except\""}, {"wound. Strike side left", "\"strike\""},
	{"wound yesterday", "\"yesterday\""}, {"wound last week", "\"last\""}, {"wound on Tuesday", "\"tuesday\""}, {"wound 3 days ago", "\"days\""},
	{"he wound it", "\"he\""}, {"Ned wound it", "\"ned\""}, {"wound by Ned", "\"by\""}, {"ask Ned if it was wound", "\"ask\""}, {"if wound then fine", "\"if\""},
	{"wound the wrong clock", "\"wrong\""}, {"please ignore, wound", "\"ignore\""}, {"I was about to say done", "\"about\""}, {"done for", "\"for\""}, {"done in", "\"in\""},
	{"a wound on my hand", "\"on\""}, {"wound dressing", "dressing"}, {"wound 14 turns", "gives a figure as well"}, {"well done Ned", "\"well\""},
	{"wound, rope is frayed", "frayed"}, {"oiled. A grinding noise from the fly", "grinding"},
	{"all well, apart from the hands", "more"}, {"checked, all well. Rope Frayed", "more"}, {"all well\nRope Frayed", "frayed"}, {"set it an hour back", ""},
	{"cleaned", ""}, {"measured", "not the reading"},
	// Figures.
	{"16", "no unit"}, {"1.2", "no unit"}, {"0.016", "no unit"}, {"0.05", "no unit"}, {"42", "no unit"}, {"1/2", "no unit"}, {"25/11", "no unit"},
	{"0.42 or 0.45 mm", "\"or\""}, {"0.42 mm 0.48 mm", "differ"}, {"0.42-0.45 mm", ""}, {"0.42 mm, was 0.38 mm", "differ"}, {"0.42 mm (12 thou)", "differ"},
	{"about 0.42 mm", "\"about\""}, {"~0.42 mm", "sign"}, {"-0.42 mm", "sign"}, {"±0.42 mm", "sign"}, {"<0.4 mm", "sign"}, {"0.42 mm +/- 0.02", ""},
	{"1,250 mm", "comma"}, {"1.250,5 mm", ""}, {"0.42 mils", ""}, {"0.42 cm", ""}, {"16 thousandths", ""}, {"16 in the morning", ""}, {"2nd", ""},
	{"0.42 metres", ""}, {"120 mm", "no likely"}, {"0 mm", "no likely"}, {"0.42 mm centre rear", "centre"}, {"end-shake 0.42 side-shake 0.20", ""},
	{"end-shake and side-shake 0.42 mm", "of side-shake"}, {"0.42 mm at 12 C", ""}, {"all well 0.42 mm", "all is well"}, {"99999999999999999999999 mm", "not understood"},
	{"0.4.2 mm", ""}, {"NaN mm", "does not say"}, {"1e9 mm", ""}, {"0x10 mm", ""}, {"1/0 in", "not understood"}, {"07700 900123", ""},
	{strings.Repeat("wound ", 300), "longer"}, {"wound \ufffd", "signs"}, {"wound \xff", "signs"},
}

func TestReadAnswerHolds(t *testing.T) {
	for _, c := range doubtfulReplies {
		got, err := ReadAnswer(c.text, wear.MM)
		if err == nil {
			t.Errorf("%.60q was taken as %+v, want held", c.text, got)
			continue
		}
		if CodeOf(err) != Doubtful || strings.ContainsAny(err.Error(), "\n\r") {
			t.Errorf("%.60q: %v is no sentence that a person can act on", c.text, err)
		}
		if !strings.Contains(strings.ToLower(err.Error()), c.why) {
			t.Errorf("%.60q is held because %q, want %q in it", c.text, err, c.why)
		}
	}
	for _, text := range []string{"0.42", "1.5", "2.9", "0.5", "160"} {
		if got, err := ReadAnswer(text, wear.Thou); err == nil {
			t.Errorf("%q of one who reads in thou was taken as %v", text, got.Reading.Value)
		}
	}
}

// What holds a reply holds it wherever it stands, and politeness changes nothing.
func TestReadAnswerProperties(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 1))
	pick := func(list ...string) string { return list[random.IntN(len(list))] }
	for range 5000 {
		c := plainReplies[random.IntN(len(plainReplies))]
		polite := pick("", "Hi Ada,\n", "Hello,\n\n", "Dear all,\n", "Good morning,\n") + pick(c.text, strings.ToUpper(c.text[:1])+c.text[1:]) +
			pick("", "\n\n")
		if !strings.HasSuffix(c.text, "Ned") && !strings.HasSuffix(c.text, "Sallowby") { // a name stands last
			polite += pick("", "\nThanks", "\n\nMany thanks,\nNed", "\nKind regards\nNed Sallowby")
		}
		got, err := ReadAnswer(polite, c.units)
		if err != nil || got.Said != c.want.Said || got.Cause != c.want.Cause || !reflect.DeepEqual(got.Reading, c.want.Reading) {
			t.Fatalf("%q alone is %v, but %q is %+v, %v", c.text, c.want.Said, polite, got, err)
		}
		// A question anywhere, a second reading, a contrary claim: held.
		for _, more := range []string{"Is that right?", "0.77 mm, 0.11 mm", pick("not done. It was done", "done. It was not done")} {
			both := pick(c.text+"\n"+more, more+"\n"+c.text)
			if got, err := ReadAnswer(both, c.units); err == nil {
				t.Fatalf("%q was taken as %+v", both, got)
			}
		}
		// A doubt before what was done.
		if c.want.Said == SaidDone || c.want.Said == SaidWell || c.want.Said == SaidRead {
			doubt := pick("perhaps", "not", "I will have", "nobody", "almost", "tomorrow", "Ned said", "if", "the strike") + " " + c.text
			if got, err := ReadAnswer(doubt, c.units); err == nil && got.Said == c.want.Said {
				t.Fatalf("%q was taken as %+v", doubt, got)
			}
		}
	}
}

// Every reading that is written with its unit comes back as it was.
func TestReadAnswerReadings(t *testing.T) {
	for um := wear.Length(20); um <= 3000; um += 7 {
		for _, text := range []string{fmt.Sprintf("%.3f mm", um.MM()), fmt.Sprintf("end-shake %.3f mm", um.MM()), fmt.Sprintf("%.3fmm, thanks", um.MM())} {
			got, err := ReadAnswer(text, wear.Thou)
			if err != nil || got.Reading.Value != um {
				t.Fatalf("%q: %+v, %v", text, got, err)
			}
		}
		want, err := wear.ParseLength(fmt.Sprintf("%.1f thou", um.Thou()))
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadAnswer(fmt.Sprintf("%.1f thou", um.Thou()), wear.MM)
		if err != nil || got.Reading.Value != want {
			t.Fatalf("%.1f thou: %+v, %v", um.Thou(), got, err)
		}
		// Without its unit it is never read in another's.
		for _, u := range []wear.Unit{wear.MM, wear.Thou} {
			text := strings.TrimSuffix(um.In(u), " "+string(u))
			if got, err := ReadAnswer(text, u); err == nil && got.Reading.Value != mustLength(t, text+" "+string(u)) {
				t.Fatalf("%q in %s was read as %v", text, u, got.Reading.Value)
			}
		}
	}
}

func mustLength(t *testing.T, s string) wear.Length {
	t.Helper()
	l, err := wear.ParseLength(s)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func FuzzReadAnswer(f *testing.F) {
	for _, c := range plainReplies {
		f.Add(c.text, c.units == wear.Thou)
	}
	for _, c := range doubtfulReplies {
		f.Add(c.text, false)
	}
	f.Fuzz(func(t *testing.T, text string, thou bool) {
		units := wear.MM
		if thou {
			units = wear.Thou
		}
		a, err := ReadAnswer(text, units)
		if err != nil {
			if CodeOf(err) != Doubtful || strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if strings.Contains(text, "?") {
			t.Fatalf("a question was taken: %q", text)
		}
		switch a.Said {
		case SaidDone, SaidWell, SaidNot, SaidStopped:
			if a.Reading != nil {
				t.Fatalf("%q: %+v carries a reading", text, a)
			}
		case SaidRead:
			if a.Reading == nil || a.Reading.Value <= 0 || a.Reading.Value > mostRead {
				t.Fatalf("%q: reading %+v", text, a.Reading)
			}
		default:
			t.Fatalf("%q was taken as %q", text, a.Said)
		}
		again, err := ReadAnswer(text+"\n", units)
		if err != nil || !reflect.DeepEqual(a, again) {
			t.Fatalf("%q is %+v, with an empty line %+v, %v", text, a, again, err)
		}
	})
}
