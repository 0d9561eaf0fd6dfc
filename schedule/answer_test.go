package schedule

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

const token = "abcdefghijklmnopqrstuvwxyz234567"

// asked is a pass for a task of the pump room's clock, given to its keeper.
func asked(kind TaskKind, subject, made string) Pass {
	return Pass{Token: token, Deed: Answering, Person: "ann", Clock: "pump-room", Task: kind, Subject: subject, Made: utc(made)}
}

// litPump is a clock with all that can be answered for.
func litPump() Clock {
	c := pump()
	c.Care.Seasons = lit("10-15", "11-30").Care.Seasons
	return c
}

func TestChoices(t *testing.T) {
	a := assess(litPump(), nil, "2026-11-20 09:00")
	for _, tt := range []struct {
		kind    TaskKind
		subject string
		want    string
	}{
		{Winding, "going", "done, stopped, not done"},
		{Winding, "", "done, stopped, not done"},
		{Winding, "quarters", ""}, // a train that is gone
		{Oiling, "", "done, not done"},
		{Oiling, "centre-front", "done, not done"},
		{Inspection, "strike", "all well, stopped, not done"},
		{Measuring, "centre-front", "reading, not done"},
		{Measuring, "", ""}, // a visit to several
		{NearLimit, "centre-front", "reading, not done"},
		{TimeChange, "", "done, not done"},
		{Seasonal, "lights", "done, not done"},
		{Seasonal, "", "done, not done"}, // to start it again
		{Seasonal, "heater", ""},
		{Locked, "do-not-run", ""}, {LineLook, "going-line", ""}, {LineAge, "going-line", ""}, {Visiting, "", ""}, {Mending, "going", ""}, {Setting, "", ""}, {PowerCheck, "going", ""},
		{"", "", ""}, {"rhubarb", "going", ""},
	} {
		p := asked(tt.kind, tt.subject, "2026-11-19")
		if got := list(p.Choices(a)); got != tt.want {
			t.Errorf("%s of %q: %q, want %q", tt.kind, tt.subject, got, tt.want)
		}
	}
	for _, k := range TaskKinds {
		if p := asked(k, "going", "2026-11-19"); p.What(a) == "" {
			t.Errorf("%s has no words", k)
		}
	}
	several := a
	several.Tasks = []Task{{Kind: Measuring, Subject: "centre-front", About: "3 bearings due together"}, {Kind: Seasonal, Subject: "lights", About: "lamps"}}
	if got := asked(Measuring, "centre-front", "2026-11-19").What(several); got != "measuring of the centre arbor, front bush" {
		t.Errorf("a reading of one of several: %s", got)
	}
	if got := asked(Seasonal, "lights", "2026-11-19").What(several); got != "lamps" {
		t.Errorf("the season: %s", got)
	}
	for name, p := range map[string]Pass{
		"another clock": {Token: token, Deed: Answering, Clock: "mill", Task: Oiling}, "a deed that is no answer": {Token: token, Deed: Declining, Clock: "pump-room", Task: Oiling},
	} {
		if got := p.Choices(a); got != nil {
			t.Errorf("%s may say %v", name, got)
		}
		if p.Open(a, Fleet{}, utc("2026-11-20")) == nil {
			t.Errorf("%s is open", name)
		}
	}
}

// What an answer comes to, and that the log takes it.
func TestAnswersBecomeEntries(t *testing.T) {
	c := litPump()
	now := utc("2026-11-20 09:00")
	f := fleetOf("Europe/London", c)
	log := book(did(Oiled, "2026-01-01", called("first")))
	a := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: log}, now)
	r := side
	for _, tt := range []struct {
		name string
		pass Pass
		ans  Answer
		want Entry // without what every answer has
	}{
		{"wound", asked(Winding, "strike", "2026-11-19"), Answer{Said: SaidDone}, Entry{Kind: Wound, Train: "strike"}},
		{"wound, with a word", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidDone, Because: " stiff \n"}, Entry{Kind: Wound, Train: "going", Note: "stiff"}},
		{"found stopped", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidStopped}, Entry{Kind: Stopped, Detail: Detail{Cause: NotKnown}}},
		{"the striking found stopped", asked(Winding, "strike", "2026-11-19"), Answer{Said: SaidStopped, Cause: RanDown}, Entry{Kind: Stopped, Train: "strike", Detail: Detail{Cause: RanDown}}},
		{"not wound", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidNot, Because: "the stair is shut"},
			Entry{Kind: Noted, Note: "Not done: winding of the going train. Because: the stair is shut"}},
		{"oiled", asked(Oiling, "", "2026-11-19"), Answer{Said: SaidDone}, Entry{Kind: Oiled}},
		{"a bearing oiled", asked(Oiling, "centre-front", "2026-11-19"), Answer{Said: SaidDone}, Entry{Kind: Oiled, Train: "going", Bearing: "centre-front"}},
		{"all well", asked(Inspection, "", "2026-11-19"), Answer{Said: SaidWell}, Entry{Kind: Inspected, Detail: Detail{Found: Sound}}},
		{"read", asked(Measuring, "centre-front", "2026-11-19"), Answer{Said: SaidRead, Reading: &r}, Entry{Kind: Measured, Train: "going", Bearing: "centre-front", Detail: Detail{Reading: &r}}},
		{"changed", asked(TimeChange, "", "2026-10-22"), Answer{Said: SaidDone, At: utc("2026-10-25 10:00")}, Entry{Kind: Set, Detail: Detail{Change: d("2026-10-25")}}},
		{"lamps on", asked(Seasonal, "lights", "2026-11-19"), Answer{Said: SaidDone}, Entry{Kind: Noted, Detail: Detail{Season: "lights"}}},
		{"not measured", asked(Measuring, "centre-front", "2026-11-19"), Answer{Said: SaidNot, Because: "no gauge"},
			Entry{Kind: Noted, Note: "Not done: measuring of the centre arbor, front bush. Because: no gauge"}},
	} {
		got, err := tt.pass.Entry(tt.ans, a, now)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		key := got.Key
		want := tt.want
		want.Clock, want.By, want.Source, want.Key, want.At = "pump-room", "ann", "link", key, now
		if !tt.ans.At.IsZero() {
			want.At = tt.ans.At
		}
		if !got.says(want) || got.Clock != want.Clock || got.Source != want.Source || !got.At.Equal(want.At) {
			t.Errorf("%s: %+v, want %+v", tt.name, got, want)
		}
		if err := Validate(got, f, log, Model{}, now); err != nil {
			t.Errorf("%s is refused: %v", tt.name, err)
		}
		later, err := tt.pass.Entry(tt.ans, a, now.Add(time.Minute))
		if err != nil || later.Key != key || !strings.HasPrefix(key, "pass ") || strings.Contains(key, token) {
			t.Errorf("%s: the second time %v, key %q after %q", tt.name, err, later.Key, key)
		}
		other := tt.pass
		other.Token = strings.Repeat("b", tokenLength)
		if e, err := other.Entry(tt.ans, a, now); err != nil || e.Key == key {
			t.Errorf("%s: another pass has the key %q, %v", tt.name, e.Key, err)
		}
		after := Assess(Facts{Clock: c, Site: f.Sites[0], Entries: append(slices.Clone(log), got)}, now.Add(time.Minute))
		if err := tt.pass.Open(after, f, now.Add(time.Minute)); (err == nil) != (tt.ans.Said == SaidNot) {
			t.Errorf("%s: and then %v", tt.name, err)
		}
		if e, used := tt.pass.Used(after.Entries); used == (tt.ans.Said == SaidNot) || used && e.Kind != got.Kind {
			t.Errorf("%s: used %v, %+v", tt.name, used, e)
		}
	}
}

func TestAnswersThatCannotBe(t *testing.T) {
	c := litPump()
	a := assess(c, nil, "2026-11-20 09:00")
	now := a.Now
	bare := asked(Winding, "going", "2026-11-19")
	bare.Token = ""
	for _, tt := range []struct {
		name  string
		pass  Pass
		ans   Answer
		field string
	}{
		{"nothing said", asked(Winding, "going", "2026-11-19"), Answer{}, "said"},
		{"a reading of a winding", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidRead, Reading: &side}, "said"},
		{"a lock", asked(Locked, "do-not-run", "2026-11-19"), Answer{Said: SaidDone}, "said"},
		{"no token", bare, Answer{Said: SaidDone}, "said"},
		{"not done without a word", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidNot, Because: " \n"}, "because"},
		{"no reading", asked(Measuring, "centre-front", "2026-11-19"), Answer{Said: SaidRead}, "value"},
		{"long before the letter", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidDone, At: utc("2026-10-01")}, "at"},
		{"in the year 1", asked(Winding, "going", "2026-11-19"), Answer{Said: SaidDone, At: time.Date(1, 1, 2, 0, 0, 0, 0, time.UTC)}, "at"},
	} {
		_, err := tt.pass.Entry(tt.ans, a, now)
		if e, ok := err.(*Error); !ok || e.Field != tt.field {
			t.Errorf("%s: %v, want a fault of %s", tt.name, err, tt.field)
		}
	}
	// Validate has the last word: no future, no running of a locked clock.
	f := fleetOf("UTC", roped())
	locked := []Entry{strand}
	at := utc("2026-11-06 09:00")
	b := Assess(Facts{Clock: roped(), Site: f.Sites[0], Entries: locked}, at)
	e, err := asked(Winding, "going", "2026-11-05").Entry(Answer{Said: SaidDone}, b, at)
	if err != nil || CodeOf(Validate(e, f, locked, Model{}, at)) != Conflict {
		t.Errorf("a locked clock wound: %v, %v", err, Validate(e, f, locked, Model{}, at))
	}
	e, err = asked(Winding, "going", "2026-11-05").Entry(Answer{Said: SaidDone, At: utc("2026-12-01")}, b, at)
	if err != nil || CodeOf(Validate(e, f, nil, Model{}, at)) != Invalid {
		t.Errorf("wound in the future: %v", err)
	}
}

// The error that a reply tells goes into the entry of a wind or a look, and of
// nothing else.
func TestAnswerWithAnError(t *testing.T) {
	at := utc("2026-11-06 09:00")
	f := fleetOf("UTC", roped())
	a := Assess(Facts{Clock: roped(), Site: f.Sites[0]}, at)
	e, err := asked(Winding, "going", "2026-11-05").Entry(Answer{Said: SaidDone, Error: new(-95.0)}, a, at)
	if err != nil || e.ErrorFound == nil || *e.ErrorFound != -95 || Validate(e, f, nil, Model{}, at) != nil {
		t.Errorf("%+v, %v, %v", e, err, Validate(e, f, nil, Model{}, at))
	}
	if e, err = asked(Oiling, "", "2026-11-05").Entry(Answer{Said: SaidDone, Error: new(95.0)}, a, at); CodeOf(err) != Doubtful {
		t.Errorf("of an oiling: %+v, %v", e, err)
	}
}

// A link that says "not done" again and again fills no log.
func TestNotDoneIsBounded(t *testing.T) {
	p := asked(Winding, "going", "2026-11-19")
	var log []Entry
	now := utc("2026-11-20 09:00")
	for i := range 3 * mostNots {
		a := Assess(Facts{Clock: pump(), Site: fleetOf("UTC").Sites[0], Entries: log}, now)
		e, err := p.Entry(Answer{Said: SaidNot, Because: fmt.Sprint("rain ", i)}, a, now)
		if (err == nil) != (i < mostNots) {
			t.Fatalf("%d: %v", i, err)
		}
		if err == nil {
			log = append(log, e)
		}
		if again, err := p.Entry(Answer{Said: SaidNot, Because: "rain 0"}, a, now); err != nil || i > 0 && again.Key != log[0].Key {
			t.Fatalf("%d: the first once more: %v", i, err)
		}
	}
}

func TestOpen(t *testing.T) {
	made := "2026-11-19 07:00"
	logged := func(e Entry, when string) Entry { e.RecordedAt = utc(when); return e }
	ticked := did(Set, "2026-10-26", func(e *Entry) { e.Change = d("2026-10-25") }, called("tick"))
	back := asked(Winding, "going", made)
	back.Ended = utc("2026-11-19 12:00")
	short := asked(Winding, "going", made)
	short.Ends = utc("2026-11-20")
	gone := asked(Winding, "going", made)
	gone.Person = "eve"
	for _, tt := range []struct {
		name string
		pass Pass
		log  []Entry
		now  string
		want string // empty: open
	}{
		{"at once", asked(Winding, "going", made), nil, "2026-11-19 07:00", ""},
		{"on its last day", asked(Winding, "going", made), nil, "2027-01-03 06:59", ""},
		{"after 45 days", asked(Winding, "going", made), nil, "2027-01-03 07:00", "ended on 3 Jan 2027"},
		{"ended sooner", short, nil, "2026-11-20", "ended on 20 Nov 2026"},
		{"taken back", back, nil, "2026-11-19 13:00", "taken back on 19 Nov 2026"},
		{"no duty", gone, nil, "2026-11-19 13:00", "has no duty"},
		{"wound before", asked(Winding, "going", made), []Entry{did(Wound, "2026-11-19 06:00")}, "2026-11-20", ""},
		{"wound since", asked(Winding, "going", made), []Entry{did(Wound, "2026-11-19 08:00")}, "2026-11-20", "done: it was logged as wound at 08:00 on 19 Nov 2026"},
		{"wound before, logged since", asked(Winding, "going", made), []Entry{logged(did(Wound, "2026-11-18 08:00"), "2026-11-19 09:00")}, "2026-11-20", "08:00 on 18 Nov 2026"},
		{"an older wind logged since", asked(Winding, "going", made), []Entry{logged(did(Wound, "2026-10-30 08:00"), "2026-11-19 09:00"), did(Wound, "2026-11-12 08:00")}, "2026-11-20", ""},
		{"an older wind corrected since", asked(Winding, "going", made), []Entry{logged(did(Wound, "2026-11-12 08:50", called("w")), "2026-11-12 09:00"), logged(did(Wound, "2026-11-12 09:00", called("v"), func(e *Entry) { e.Replaces = "w" }), "2026-11-19 09:00")}, "2026-11-20", ""},
		{"wound before, logged since and corrected", asked(Winding, "going", made), []Entry{logged(did(Wound, "2026-11-18 08:50", called("w")), "2026-11-19 08:00"), logged(did(Wound, "2026-11-18 09:00", called("v"), func(e *Entry) { e.Replaces = "w" }), "2026-11-19 09:00")}, "2026-11-20", "09:00 on 18 Nov 2026"},
		{"copied from an old book since", asked(Winding, "going", made), []Entry{logged(did(Wound, "2026-11-18 08:00", old), "2026-11-19 09:00")}, "2026-11-20", ""},
		{"the other train wound", asked(Winding, "going", made), []Entry{did(Wound, "2026-11-19 08:00", of("strike"))}, "2026-11-20", ""},
		{"wound in part", asked(Winding, "going", made), []Entry{did(Wound, "2026-11-19 08:00", partly)}, "2026-11-20", ""},
		{"stopped", asked(Winding, "going", made), []Entry{did(Stopped, "2026-11-19 08:00", by(Fault))}, "2026-11-20", ""},
		{"topped up", asked(Oiling, "", made), []Entry{did(Oiled, "2026-11-19 08:00", func(e *Entry) { e.TopUp = true })}, "2026-11-20", ""},
		{"oiled", asked(Oiling, "", made), []Entry{did(Oiled, "2026-11-19 08:00")}, "2026-11-20", "done"},
		{"cleaned", asked(Oiling, "strike", made), []Entry{did(Cleaned, "2026-11-19 08:00")}, "2026-11-20", "done"},
		{"another bearing oiled", asked(Oiling, "", made), []Entry{did(Oiled, "2026-11-19 08:00", onBearing("centre-front"))}, "2026-11-20", ""},
		{"a line looked at", asked(Inspection, "", made), []Entry{did(Inspected, "2026-11-19 08:00", ofLine("going-line", LineCheck{}))}, "2026-11-20", ""},
		{"inspected", asked(Inspection, "", made), []Entry{did(Inspected, "2026-11-19 08:00", found(Act))}, "2026-11-20", "done"},
		{"measured", asked(Measuring, "centre-front", made), []Entry{did(Measured, "2026-11-19 08:00", gave(.2))}, "2026-11-20", "done"},
		{"near its limit and measured", asked(NearLimit, "centre-front", made), []Entry{did(Measured, "2026-11-19 08:00", gave(.2))}, "2026-11-20", ""},
		{"repaired", asked(NearLimit, "centre-front", made), []Entry{did(Repaired, "2026-11-19 08:00", left(.1))}, "2026-11-20", "done"},
		{"lamps on", asked(Seasonal, "lights", made), []Entry{did(Noted, "2026-11-19 08:00", season("lights"))}, "2026-11-20", "done"},
		{"started again", asked(Seasonal, "", made), []Entry{did(Started, "2026-11-19 08:00")}, "2026-11-20", "done"},
		{"the change ticked", asked(TimeChange, "", "2026-10-22"), []Entry{ticked}, "2026-10-27", "done: it was logged as set at 00:00 on 26 Oct 2026"},
		{"the change not ticked", asked(TimeChange, "", "2026-10-22"), nil, "2026-10-27", ""},
		{"the change waited for ticked", asked(TimeChange, "", "2026-11-01"), []Entry{ticked}, "2026-11-02", ""}, // asked of another then: of none
	} {
		f := fleetOf("Europe/London", litPump())
		now := utc(tt.now)
		a := Assess(Facts{Clock: f.Clocks[0], Site: f.Sites[0], Entries: book(tt.log...)}, now)
		err := tt.pass.Open(a, f, now)
		if (err == nil) != (tt.want == "") || err != nil && (!strings.Contains(err.Error(), tt.want) || CodeOf(err) != Conflict) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}

// Which change of time a letter meant: the one of its week, and otherwise the
// one that was waited for when it was written.
func TestChangeAsked(t *testing.T) {
	f := fleetOf("Europe/London", pump())
	for _, tt := range []struct{ made, want string }{
		{"2026-10-18 07:00", "2026-10-25"},
		{"2026-10-25 07:00", "2026-10-25"},
		{"2026-12-01 07:00", "2026-10-25"},
		{"2027-03-21 07:00", "2027-03-28"}, // October's was never logged
	} {
		now := utc(tt.made).AddDate(0, 0, 20)
		log := book(did(Set, "2026-03-29", func(e *Entry) { e.Change = d("2026-03-29") }, called("spring")))
		a := Assess(Facts{Clock: f.Clocks[0], Site: f.Sites[0], Entries: log}, now)
		s, ok := asked(TimeChange, "", tt.made).changeAsked(a)
		if !ok || s.On != d(tt.want) {
			t.Errorf("a letter of %s: the change of %s, %v; want %s", tt.made, s.On, ok, tt.want)
		}
	}
	f.Sites[0].Zone = "UTC"
	a := Assess(Facts{Clock: f.Clocks[0], Site: f.Sites[0]}, utc("2026-10-20"))
	if _, err := asked(TimeChange, "", "2026-10-18").Entry(Answer{Said: SaidDone}, a, a.Now); CodeOf(err) != Conflict {
		t.Errorf("where no clock changes: %v", err)
	}
}

func TestReadToken(t *testing.T) {
	for s, want := range map[string]string{
		token: token, strings.ToUpper(token): token, "": "", token[1:]: "", token + "a": "", token[:31] + "=": "",
		token[:31] + "1": "", token[:31] + "8": "", token[:31] + " ": "", token[:31] + "\n": "", token[:30] + "é": "",
		token[:29] + "\u212a": "", strings.Repeat("\u212a", 32): "", // the Kelvin sign is no k
	} {
		if got, ok := ReadToken(s); got != want || ok != (want != "") {
			t.Errorf("%q: %q, %v", s, got, ok)
		}
	}
}

func FuzzReadToken(f *testing.F) {
	for _, s := range []string{token, strings.ToUpper(token), "../../etc", token[:29] + "\u212a", strings.Repeat("\x00", 32)} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, ok := ReadToken(s)
		if again, still := ReadToken(got); ok && (again != got || !still || len(got) != tokenLength || !strings.EqualFold(got, s)) {
			t.Errorf("%q: %q, then %q", s, got, again)
		}
	})
}
