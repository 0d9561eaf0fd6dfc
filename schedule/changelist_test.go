package schedule

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"endshake/wear"
)

// abroad is a fleet over four zones: two clocks in one English yard with one
// beside them elsewhere, one in New York, one in Tokyo.
func abroad() (Fleet, map[string][]Entry) {
	yard := striker(AdvanceEleven, wear.Striking{Hours: true})
	yard.Care.Bell, yard.Care.ChangeNote = true, "key at the lodge"
	gate, mill, pier, bank := alone(), alone(), alone(), alone()
	gate.Slug, gate.Name, gate.Care.Change = "gate", "Gate", StopAnHour
	mill.Slug, mill.Name, mill.Site, mill.Care.Change = "mill", "Mill", "mill-lane", ByMotor
	pier.Slug, pier.Name, pier.Site = "pier", "Pier", "pier"
	bank.Slug, bank.Name, bank.Site = "bank", "Bank", "bank"
	f := fleetOf("Europe/London", yard, mill, gate, pier, bank)
	f.Sites = append(f.Sites, Site{Slug: "mill-lane", Name: "Mill Lane", Zone: "Europe/London"}, Site{Slug: "pier", Name: "Pier", Zone: "America/New_York"},
		Site{Slug: "bank", Name: "Bank", Zone: "Asia/Tokyo"})
	return f, map[string][]Entry{
		"gate": book(did(Set, "2026-10-25 08:00", changed("2026-10-25"))),
		"mill": book(did(Stopped, "2026-10-01", by(Rest), until("2027-04-01"))),
	}
}

func TestChangeList(t *testing.T) {
	f, log := abroad()
	s := Survey(f, log, Model{}, utc("2026-10-25 12:00"))
	l := s.ChangeList(d("2026-10-24"))
	if l.From != d("2026-10-20") || l.To != d("2026-10-26") || len(l.Sites) != 2 || l.Sites[0].Name != "Pump Yard" || l.Sites[1].Name != "Mill Lane" {
		t.Fatalf("%+v", l)
	}
	yard := l.Sites[0]
	if len(yard.Clocks) != 2 || yard.Clocks[0].Name != "Pump Room" || yard.Clocks[1].Name != "Gate" || yard.Access != "Key at the lodge" {
		t.Fatalf("%+v", yard)
	}
	room, gate, mill := yard.Clocks[0], yard.Clocks[1], l.Sites[1].Clocks[0]
	if room.Blows != 76 || room.Minutes != -60 || !room.Bell || room.Done || room.Rests || !reflect.DeepEqual(room.People, []string{"Ann Arkwell", "Ben Birchow"}) {
		t.Errorf("%+v", room)
	}
	if !gate.Done || gate.Rests || mill.Done || !mill.Rests || l.Open() != 1 {
		t.Errorf("gate %+v, mill %+v, %d open", gate, mill, l.Open())
	}
	for _, c := range []ChangeClock{room, gate, mill} {
		if !strings.HasSuffix(c.Caution, deferral) || !strings.Contains(c.Caution, "never force the hands back") {
			t.Errorf("%s: caution %q", c.Name, c.Caution)
		}
	}
	// A week later New York; on other weekends nobody.
	if l := s.ChangeList(d("2026-11-01")); len(l.Sites) != 1 || l.Sites[0].Zone != "America/New_York" {
		t.Errorf("1 November: %+v", l)
	}
	for _, day := range []string{"2026-10-13", "2026-10-18", "2026-11-07", "2026-07-01"} {
		if l := s.ChangeList(d(day)); len(l.Sites) != 0 || l.Open() != 0 || !strings.Contains(l.Text(), "No clock of this fleet changes") {
			t.Errorf("%s: %+v", day, l)
		}
	}
}

// Every day from Tuesday on belongs to the Sunday ahead, and Monday to the one
// before.
func TestWhichWeekend(t *testing.T) {
	s := Survey(Fleet{}, nil, Model{}, utc("2026-10-25"))
	for day, from := range map[string]string{
		"2026-10-19": "2026-10-13", "2026-10-20": "2026-10-20", "2026-10-23": "2026-10-20", "2026-10-24": "2026-10-20",
		"2026-10-25": "2026-10-20", "2026-10-26": "2026-10-20", "2026-10-27": "2026-10-27", "2028-02-29": "2028-02-29",
	} {
		if l := s.ChangeList(d(day)); l.From != d(from) || l.To != d(from).Add(6) {
			t.Errorf("%s: from %v to %v, want from %s", day, l.From, l.To, from)
		}
	}
}

func TestChangeListText(t *testing.T) {
	f, log := abroad()
	l := Survey(f, log, Model{}, utc("2026-10-25 12:00")).ChangeList(d("2026-10-25"))
	text := l.Text()
	golden(t, "change.txt", []byte(text))
	golden(t, "change.json", asJSON(t, l))
	for _, want := range []string{
		"Time change, 20 Oct 2026 to 26 Oct 2026\n1 clock to do.\n", "[ ] Pump Room", "[done] Gate", "[rests] Mill", "where:  Behind the baths",
		"access: Key at the lodge", "It makes 76 blows", "Silence the bell first. Key at the lodge.", "who: Ann Arkwell, Ben Birchow",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("does not say %q:\n%s", want, text)
		}
	}
	if n := strings.Count(text, deferral); n != 3 {
		t.Errorf("%d cautions for 3 clocks:\n%s", n, text)
	}
	var back ChangeList
	if err := json.Unmarshal(asJSON(t, l), &back); err != nil || !reflect.DeepEqual(back, l) {
		t.Errorf("read back as %+v, %v", back, err)
	}
	l.Sites[0].Clocks[0].People = nil
	if !strings.Contains(l.Text(), "who: nobody is named") {
		t.Error("a clock of nobody does not say so")
	}
}

// A locked clock has nothing to be changed, and its lock leads the caution. A
// change from before its care is none of its own.
func TestChangeListLocked(t *testing.T) {
	f, log := abroad()
	log["pump-room"] = book(did(Noted, "2026-10-01", note("weight box split"), locking(DoNotRun)))
	f.Clocks[3].InCare, f.Clocks[2].InCare = d("2026-11-02"), d("2026-10-26")
	s := Survey(f, log, Model{}, utc("2026-11-05"))
	l := s.ChangeList(d("2026-10-25"))
	room := l.Sites[0].Clocks[0]
	if !room.Rests || !strings.HasPrefix(room.Caution, "Do not run: weight box split (1 Oct 2026). Cleared only by") || len(l.Sites[0].Clocks) != 1 {
		t.Errorf("%+v", l.Sites[0])
	}
	if l := s.ChangeList(d("2026-11-01")); len(l.Sites) != 0 {
		t.Errorf("a change before its care: %+v", l)
	}
	s.Clocks = append(s.Clocks, Assessment{}) // one that could not be assessed
	if l := s.ChangeList(d("2026-10-25")); len(l.Sites) != 2 {
		t.Errorf("with a clock that could not be assessed: %+v", l)
	}
}
