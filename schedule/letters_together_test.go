package schedule

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// rotaOf is a rota whose clock has so many trains to wind, each of its reserve.
func rotaOf(reserves ...time.Duration) Fleet {
	f := rota(reserves[0])
	f.Clocks[0].Trains = nil
	for i, r := range reserves {
		f.Clocks[0].Trains = append(f.Clocks[0].Trains, wear.Train{Code: []string{"going", "strike", "chime"}[i],
			Kind: []wear.TrainKind{wear.Going, wear.Strike, wear.Chime}[i], Drive: wear.HandWound, Reserve: r})
	}
	return f
}

// asksOf are the letters that ask for winding, in the order in which they come to
// be owed: person, turn, trains, day and hour.
func asksOf(f Fleet, log []Entry, from, to string) []string {
	var out []string
	owed, owing := map[string]time.Time{}, covering{}
	for now := utc(from); now.Before(utc(to)); now = now.Add(15 * time.Minute) {
		s := Survey(f, map[string][]Entry{"pump-room": book(until1(log, now)...)}, Model{}, now)
		for _, l := range owedOf(s, MailRoom{}, WindReminder) {
			if !owing.take(owed, l, now) {
				continue
			}
			var trains []string
			for _, t := range l.Tasks() {
				trains = append(trains, t.Subject)
			}
			out = append(out, fmt.Sprintf("%s %d %s %s", l.Person.Slug, l.Turn, strings.Join(trains, "+"), now.Format("02 15:04")))
		}
	}
	return out
}

// until1 is what was logged by an instant.
func until1(log []Entry, now time.Time) []Entry {
	return slices.DeleteFunc(slices.Clone(log), func(e Entry) bool { return e.At.After(now) })
}

func ofTrain(code string) change { return func(e *Entry) { e.Train = code } }

// Whoever climbs winds all: of one clock one letter asks for the trains that fall
// due together, in the turns of the first, reckoned by hand as in TestTurns. One
// that was wound alone leaves the other, where that is due later, in turns of its
// own; otherwise what somebody was asked once they are not asked again.
func TestTrainsTogether(t *testing.T) {
	both := did(Wound, "2026-03-02 09:00", called("w"))
	going, strike := did(Wound, "2026-03-02 09:00", called("g"), ofTrain("going")), did(Wound, "2026-03-03 10:00", called("s"), ofTrain("strike"))
	for _, tt := range []struct {
		name     string
		reserves []time.Duration
		log      []Entry
		to       string
		want     string
	}{
		{"both wound at once", []time.Duration{days8, days8}, []Entry{both}, "2026-03-10 09:00",
			"ben 0 going+strike 09 07:00, dan 1 going+strike 09 14:30, cleo 2 going+strike 09 18:15"},
		{"three trains", []time.Duration{days8, days8, days8}, []Entry{both}, "2026-03-10 09:00",
			"ben 0 going+strike+chime 09 07:00, dan 1 going+strike+chime 09 14:30, cleo 2 going+strike+chime 09 18:15"},
		{"a day apart", []time.Duration{days8, days8}, []Entry{going, strike}, "2026-03-10 08:00",
			"ben 0 going+strike 09 07:00, dan 1 going+strike 09 14:30, cleo 2 going+strike 09 18:15"},
		{"a day apart, and neither wound", []time.Duration{days8, days8}, []Entry{going, strike}, "2026-03-13 00:00",
			"ben 0 going+strike 09 07:00, dan 1 going+strike 09 14:30, cleo 2 going+strike 09 18:15"},
		{"the going train alone is wound: the strike in its own turns, on its own day", []time.Duration{days8, days8},
			[]Entry{going, strike, did(Wound, "2026-03-09 10:00", called("g2"), ofTrain("going"))}, "2026-03-13 00:00",
			"ben 0 going+strike 09 07:00, ben 0 strike 10 07:00, dan 1 strike 10 14:30, cleo 2 strike 10 18:15"},
		{"the going train alone is wound, when everybody was asked", []time.Duration{days8, days8},
			[]Entry{going, strike, did(Wound, "2026-03-09 19:00", called("g2"), ofTrain("going"))}, "2026-03-13 00:00",
			"ben 0 going+strike 09 07:00, dan 1 going+strike 09 14:30, cleo 2 going+strike 09 18:15, ben 0 strike 10 07:00, dan 1 strike 10 14:30, cleo 2 strike 10 18:15"},
		{"both due that day, and the going train alone is wound when everybody was asked", []time.Duration{days8, days8},
			[]Entry{both, did(Wound, "2026-03-09 19:00", called("g2"), ofTrain("going"))}, "2026-03-13 00:00",
			"ben 0 going+strike 09 07:00, dan 1 going+strike 09 14:30, cleo 2 going+strike 09 18:15"},
		{"the strike alone is wound", []time.Duration{days8, days8}, []Entry{both, did(Wound, "2026-03-09 10:00", called("s2"), ofTrain("strike"))}, "2026-03-10 09:00",
			"ben 0 going+strike 09 07:00, dan 1 going 09 14:30, cleo 2 going 09 18:15"},
		{"both are wound", []time.Duration{days8, days8}, []Entry{both, did(Wound, "2026-03-09 10:00", called("w2"))}, "2026-03-11 09:00",
			"ben 0 going+strike 09 07:00"},
		{"days apart", []time.Duration{days8, days8 + 3*24*time.Hour}, []Entry{both}, "2026-03-13 00:00",
			"ben 0 going 09 07:00, dan 1 going 09 14:30, cleo 2 going 09 18:15, ben 0 strike 12 07:00, dan 1 strike 12 13:30, cleo 2 strike 12 16:45"},
		{"the two later ones together", []time.Duration{days8, days8 + 3*24*time.Hour, days8 + 3*24*time.Hour}, []Entry{both}, "2026-03-12 08:00",
			"ben 0 going 09 07:00, dan 1 going 09 14:30, cleo 2 going 09 18:15, ben 0 strike+chime 12 07:00"},
	} {
		got := asksOf(rotaOf(tt.reserves...), tt.log, "2026-03-06 09:00", tt.to)
		if s := strings.Join(got, ", "); s != tt.want {
			t.Errorf("%s:\n got %s\nwant %s", tt.name, s, tt.want)
		}
	}
}

// One answer tells of all trains where the letter names all, and is used up when
// each was wound; a letter that names some of them has a link for each.
func TestOffersOfTrains(t *testing.T) {
	f, now := rotaOf(days8, days8, days8+3*24*time.Hour), utc("2026-03-09 08:00")
	log := []Entry{did(Wound, "2026-03-02 09:00", called("w"))}
	offers := func(f Fleet) (Letter, Assessment, string) {
		s := Survey(f, logOf(log...), Model{}, now)
		l := owedOf(s, MailRoom{}, WindReminder)[0]
		var got []string
		l.Passes = l.Offers("n", now)
		for i := range l.Passes {
			p := &l.Passes[i]
			p.Token = fmt.Sprint("token", i)
			got = append(got, strings.TrimSpace(fmt.Sprintf("%s %s %s", p.Clock, p.Task, p.Subject)))
		}
		return l, s.Clocks[0], strings.Join(got, "; ")
	}
	if _, _, s := offers(f); s != "; pump-room winding going; pump-room winding strike; " {
		t.Errorf("two of three: %q", s)
	}
	l, a, s := offers(rotaOf(days8, days8))
	if s != "pump-room winding; pump-room winding going; pump-room winding strike; " {
		t.Fatalf("both: %q", s)
	}
	whole := l.Passes[0]
	if got := whole.What(a); got != "winding of the going train and strike train" {
		t.Errorf("what is asked: %q", got)
	}
	e, err := whole.Entry(Answer{Said: SaidDone}, a, now)
	if err != nil || e.Kind != Wound || e.Train != "" || e.Part {
		t.Errorf("both wound: %+v, %v", e, err)
	}
	for _, tt := range []struct {
		name string
		more []Entry
		open [3]bool // both, going, strike
	}{
		{"nothing yet", nil, [3]bool{true, true, true}},
		{"the going train", []Entry{did(Wound, "2026-03-09 09:00", ofTrain("going"))}, [3]bool{true, false, true}},
		{"one and then the other", []Entry{did(Wound, "2026-03-09 09:00", ofTrain("going")), did(Wound, "2026-03-09 09:10", ofTrain("strike"))}, [3]bool{}},
		{"both at once", []Entry{did(Wound, "2026-03-09 09:00")}, [3]bool{}},
		{"both in part", []Entry{did(Wound, "2026-03-09 09:00", partly)}, [3]bool{true, true, true}},
	} {
		later := utc("2026-03-09 10:00")
		after := Survey(rotaOf(days8, days8), logOf(append(slices.Clone(log), tt.more...)...), Model{}, later).Clocks[0]
		for i, want := range tt.open {
			if err := l.Passes[i].Open(after, rotaOf(days8, days8), later); (err == nil) != want {
				t.Errorf("%s, link %d: %v, want it open: %v", tt.name, i, err, want)
			}
		}
	}
}

// One answer for all trains tells of those that were not wound since the letter:
// nobody winds a train twice by it.
func TestAllWoundButOne(t *testing.T) {
	now := utc("2026-03-11 09:00")
	all := Pass{Token: token, Deed: Answering, Person: "ben", Clock: "pump-room", Task: Winding, Made: utc("2026-03-09 07:00")}
	going, strike := did(Wound, "2026-03-09 09:00", ofTrain("going")), did(Wound, "2026-03-10 09:00", ofTrain("strike"))
	two, three := []time.Duration{days8, days8}, []time.Duration{days8, days8, days8}
	for _, tt := range []struct {
		name     string
		reserves []time.Duration
		since    []Entry
		train    string
		what     string
		refused  string // empty: it is logged
	}{
		{"none yet", two, nil, "", "winding of the going train and strike train", ""},
		{"the going train", two, []Entry{going}, "strike", "winding of the strike train", ""},
		{"the going train in part", two, []Entry{did(Wound, "2026-03-09 09:00", ofTrain("going"), partly)}, "", "winding of the going train and strike train", ""},
		{"one of three", three, []Entry{going}, "", "winding of the strike train and chime train", "has wound the going train:"},
		{"two of three", three, []Entry{going, strike}, "chime", "winding of the chime train", ""},
	} {
		log := append([]Entry{did(Wound, "2026-03-02 09:00", called("w"))}, tt.since...)
		a := Survey(rotaOf(tt.reserves...), logOf(log...), Model{}, now).Clocks[0]
		e, err := all.Entry(Answer{Said: SaidDone}, a, now)
		if tt.refused != "" {
			if CodeOf(err) != Conflict || !strings.Contains(err.Error(), tt.refused) {
				t.Errorf("%s: %v, want a conflict about %q", tt.name, err, tt.refused)
			}
		} else if err != nil || e.Kind != Wound || e.Train != tt.train {
			t.Errorf("%s: logged as wound is %q, %v; want %q", tt.name, e.Train, err, tt.train)
		}
		if got := all.What(a); got != tt.what {
			t.Errorf("%s: asked for is %q, want %q", tt.name, got, tt.what)
		}
	}
}

// A reply about all trains is held where it may be of one of them; one about a
// single train is not.
func TestReplyOfOneAmongTrains(t *testing.T) {
	a := Survey(rotaOf(days8, days8), nil, Model{}, utc("2026-03-09 09:00")).Clocks[0]
	all := Pass{Token: token, Deed: Answering, Person: "ben", Clock: "pump-room", Task: Winding}
	one := all
	one.Subject = "strike"
	for _, tt := range []struct {
		words string
		held  string // empty: it is taken
	}{
		{"wound", ""}, {"both trains wound", ""},
		{"stopped", "whole clock"}, {"stopped, pigeons in the works", "whole clock"}, {"Found it stopped", "whole clock"},
		{"the clock stopped", ""}, {"The hands have stopped, snow", ""},
		{"not done: ladder locked", ""}, {"could not wind, no key", ""},
		{"Could not wind the strike, the handle is broken", "strike"}, {"not done, the going barrel is stuck", "going"},
	} {
		ans, err := ReadAnswer(tt.words, "")
		if err != nil {
			t.Errorf("%q: %v", tt.words, err)
			continue
		}
		if err := all.Doubt(ans, a); (err == nil) != (tt.held == "") || err != nil && !strings.Contains(err.Error(), tt.held) {
			t.Errorf("%q: %v, want it held for %q", tt.words, err, tt.held)
		}
		if err := one.Doubt(ans, a); err != nil {
			t.Errorf("%q to a letter about one train: %v", tt.words, err)
		}
	}
}

// A clock that a power cut may have stopped is told of once, to those who see to
// it, until somebody has looked.
func TestPowerCutIsTold(t *testing.T) {
	f := rota(days8)
	f.Clocks[0].Trains = drivenBy(wear.Electric, 0).Trains
	noted := did(Noted, "2026-03-04 10:00", called("c"), cut("2026-03-04 04:00", "2026-03-04 05:20"))
	for _, tt := range []struct {
		name string
		log  []Entry
		want string
	}{
		{"cut", []Entry{noted}, "ann cleo"},
		{"cut, and seen going", []Entry{noted, did(Inspected, "2026-03-04 11:00")}, ""},
		{"no cut", nil, ""},
	} {
		got := owedAt(f, logOf(tt.log...), MailRoom{}, utc("2026-03-04 12:00"), Standing)
		if who(got) != tt.want || len(got) > 0 && !strings.HasSuffix(got[0], "|power cut c") {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// Of a clock that may have run down its keeper reads that winder and deputy know.
func TestStandingNamesWhoWasAsked(t *testing.T) {
	s := Survey(rota(days8), logOf(did(Wound, "2026-03-02 09:00", called("w"))), Model{}, utc("2026-03-10 12:00"))
	l := owedOf(s, MailRoom{}, Standing)[0]
	var others []string
	for _, p := range l.Others {
		others = append(others, p.Slug)
	}
	if got := l.Person.Slug + ": " + strings.Join(others, " "); got != "ann: cleo ben dan" {
		t.Errorf("told are %s", got)
	}
}

// A notice waits for the hours of its reader, in their zone or that of its clock.
func TestTakesMail(t *testing.T) {
	f := wish(rota(days8), "ben", func(p *Person) { p.Mail.QuietFrom, p.Mail.QuietTo = 20, 8 })
	s := Survey(f, nil, Model{}, utc("2026-11-25"))
	for _, tt := range []struct {
		person, clock, written, at, want string
		kind                             NoticeKind
	}{
		{"ben", "pump-room", "12:00", "2026-11-25 21:00", "2026-11-26 08:00", WindReminder},
		{"ben", "", "12:00", "2026-11-25 07:30", "2026-11-25 08:00", DueList},
		{"ben", "pump-room", "12:00", "2026-11-25 19:59", "2026-11-25 19:59", Standing},
		{"nobody", "pump-room", "12:00", "2026-11-25 03:00", "2026-11-25 03:00", Standing},
		{"ben", "pump-room", "21:00", "2026-11-25 21:00", "2026-11-25 21:00", WindReminder}, // written at once
		{"ben", "", "12:00", "2026-11-25 21:00", "2026-11-25 21:00", NewPassword},           // asked for
	} {
		n := Notice{Person: tt.person, Clock: tt.clock, Kind: tt.kind, Created: utc("2026-11-25 " + tt.written)}
		if got := s.TakesMail(n, utc(tt.at)); !got.Equal(utc(tt.want)) {
			t.Errorf("%+v: %v", tt, got)
		}
	}
}
