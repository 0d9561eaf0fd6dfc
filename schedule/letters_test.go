package schedule

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"
)

// town is three clocks: one with a bearing past its limit, one with nothing to
// measure in another zone's hands, one that nobody has a duty for.
func town() (Fleet, map[string][]Entry) {
	worn, plain, orphan := alone(), alone(), alone()
	plain.Slug, plain.Name, plain.Trains[0].Arbors = "gate-house", "Gate House", nil
	plain.Duties = []Duty{{"ben", Keeper}, {"dov", Owner}}
	orphan.Slug, orphan.Name, orphan.Duties, orphan.Trains[0].Arbors = "old-mill", "Old Mill", nil, nil
	return fleetOf("UTC", worn, plain, orphan), map[string][]Entry{"pump-room": book(read(2021, 0.20, 0.30, 0.40)...)}
}

// dueLetters are the due-lists that are owed on a day, whatever the hour.
func dueLetters(s *Snapshot, day Date) []Letter {
	return slices.DeleteFunc(Letters(s, MailRoom{AtOnce: true}, day.At(8, 0, time.UTC)), func(l Letter) bool { return l.Kind != DueList })
}

func TestDueLetters(t *testing.T) {
	fleet, log := town()
	s := Survey(fleet, log, Model{}, utc("2023-02-01 05:00"))
	letters := dueLetters(s, d("2023-02-01"))
	got := map[string]string{}
	for _, l := range letters {
		var clocks []string
		for _, a := range l.Clocks {
			clocks = append(clocks, a.Clock.Slug)
		}
		if l.Kind != DueList || l.Outlook != nil || l.Occurrence != "2023-02" || l.Today != d("2023-02-01") {
			t.Errorf("%s: %s, %q, %v", l.Key, l.Kind, l.Occurrence, l.Today)
		}
		got[l.Key] = l.Person.Slug + ": " + strings.Join(clocks, " ")
	}
	want := map[string]string{
		"ann|due-list||2023-02":  "ann: pump-room",
		"ben|due-list||2023-02":  "ben: pump-room gate-house",
		"cleo|due-list||2023-02": "cleo: pump-room",
		// dov is owner of both, and has no mail address
	}
	if !maps.Equal(got, want) || len(letters) != len(want) {
		t.Errorf("got %v, want %v", got, want)
	}
	next := dueLetters(s, d("2023-03-31"))
	for i, l := range next {
		if l.Key == letters[i].Key {
			t.Errorf("March has the key of February: %s", l.Key)
		}
	}
	same := dueLetters(s, d("2023-02-28"))
	for i, l := range same {
		if l.Key != letters[i].Key {
			t.Errorf("the same month has another key: %s, %s", l.Key, letters[i].Key)
		}
	}
	if got := dueLetters(&Snapshot{}, d("2023-02-01")); len(got) != 0 {
		t.Errorf("an empty fleet has %d letters", len(got))
	}
}

// limitKeys are the keys of the reminders that a log calls for on a day.
func limitKeys(log []Entry, now string) []string {
	fleet, _ := town()
	var keys []string
	for _, l := range LimitLetters(Survey(fleet, map[string][]Entry{"pump-room": log}, Model{}, utc(now))) {
		keys = append(keys, l.Key)
	}
	slices.Sort(keys)
	return keys
}

// A reminder goes to those who can have the work done, once for each change for
// the worse of each part.
func TestLimitLetters(t *testing.T) {
	keys := func(occurrence string) []string {
		if occurrence == "" {
			return nil
		}
		var out []string
		for _, p := range []string{"ann", "cleo"} { // keeper and conservator; ben winds, dov has no mail
			out = append(out, fmt.Sprintf("%s|near its limit|pump-room/centre-front|%s", p, occurrence))
		}
		return out
	}
	sound := read(2021, 0.11, 0.12, 0.13)
	watch := read(2021, 0.16, 0.21, 0.26, 0.30)
	act := append(slices.Clone(watch), read(2025, 0.38)...)
	mended := append(slices.Clone(act), did(Repaired, "2025-06-01", left(0.10)))
	again := append(slices.Clone(mended), read(2026, 0.18, 0.26, 0.34, 0.42)...)
	slip := append(slices.Clone(act), did(Repaired, "2025-06-01", left(0.10), called("slip")), did(Noted, "2025-06-01", note("not this bearing"), instead("slip", "wrong bearing")))
	for _, tt := range []struct {
		name string
		log  []Entry
		now  string
		want string
	}{
		{"never measured", nil, "2024-06-01", ""},
		{"sound", sound, "2023-06-01", ""},
		{"to watch", watch, "2024-01-02", "watch, part 1"},
		{"a month later, nothing new", watch, "2024-02-02", "watch, part 1"},
		{"wound and oiled meanwhile", append(slices.Clone(watch), did(Wound, "2024-01-05"), did(Oiled, "2024-01-05")), "2024-02-02", "watch, part 1"},
		{"worse", act, "2025-01-02", "act, part 1"},
		{"still worse, still the same", append(slices.Clone(act), did(Measured, "2025-03-01", gave(0.41))), "2025-03-02", "act, part 1"},
		{"mended", mended, "2025-06-02", ""},
		{"worn again: another part", again, "2029-02-01", "act, part 2"},
		{"the repair was of another bearing", slip, "2025-06-02", "act, part 1"},
	} {
		if got := limitKeys(book(slices.Clone(tt.log)...), tt.now); !slices.Equal(got, keys(tt.want)) {
			t.Errorf("%s: got %q, want %q", tt.name, got, keys(tt.want))
		}
	}
	fleet, log := town()
	s := Survey(fleet, log, Model{}, utc("2023-02-01"))
	for _, l := range LimitLetters(s) {
		if l.Outlook == nil || l.Outlook.Bearing.Code != "centre-front" || len(l.Clocks) != 1 || l.Clocks[0].Clock.Slug != "pump-room" || l.Person.Email == "" {
			t.Errorf("%s: %+v", l.Key, l.Outlook)
		}
		if !l.Clocks[0].Clock.Has(l.Person.Slug, Conservator, Clockmaker, Keeper) {
			t.Errorf("%s is told and can do nothing", l.Person.Slug)
		}
	}
}

// Keys never meet: of two letters of one snapshot no two are alike.
func TestLetterKeys(t *testing.T) {
	a, logA := made(3)
	b, logB := made(4)
	b.Slug = "gate-house"
	fleet := fleetOf("UTC", a, b)
	for day := d("2021-01-01"); day.Year < 2027; day = day.Add(101) {
		s := Survey(fleet, map[string][]Entry{"pump-room": logA, "gate-house": logB}, Model{}, day.Start(a.Trains[0].Arbors[0].Bearings[0].FittedAt.Location()))
		seen := map[string]bool{}
		for _, l := range Letters(s, MailRoom{AtOnce: true}, s.Now) {
			if seen[l.Key] {
				t.Fatalf("%v: two letters of key %s", day, l.Key)
			}
			seen[l.Key] = true
		}
	}
	if got := NoticeKey("ann", DueList, "", "2026-11"); got != "ann|due-list||2026-11" {
		t.Errorf("key %q", got)
	}
}

// A watch is no news once the worse has been told; and each reader sees who
// else is told.
func TestLettersAmongEachOther(t *testing.T) {
	fleet, _ := town()
	for _, tt := range []struct {
		name   string
		log    []Entry
		now    string
		unless string
	}{
		{"watch", read(2021, 0.16, 0.21, 0.26, 0.30), "2024-01-02", "act, part 1"},
		{"act", read(2021, 0.20, 0.30, 0.40), "2023-02-01", ""},
	} {
		letters := LimitLetters(Survey(fleet, map[string][]Entry{"pump-room": book(tt.log...)}, Model{}, utc(tt.now)))
		if len(letters) != 2 {
			t.Fatalf("%s: %d letters, want those of keeper and conservator", tt.name, len(letters))
		}
		for i, l := range letters {
			var want []string
			if tt.unless != "" {
				want = []string{NoticeKey(l.Person.Slug, LimitReminder, "pump-room/centre-front", tt.unless)}
			}
			if !slices.Equal(l.Unless, want) {
				t.Errorf("%s: needless after %q, want %q", tt.name, l.Unless, want)
			}
			if len(l.Others) != 1 || l.Others[0].Slug != letters[1-i].Person.Slug {
				t.Errorf("%s: %s sees %v told as well", tt.name, l.Person.Slug, l.Others)
			}
		}
	}
}
