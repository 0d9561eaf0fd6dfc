package schedule

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// Monthly letters: on the day and from the hour of the person, up to ten days
// late, the latest only, and none of before mail was switched on.
func TestMonthlyLetters(t *testing.T) {
	f := rota(days8)
	at := func(day, hour int) func(*Person) {
		return func(p *Person) { p.Mail.Day, p.Mail.Hour = day, hour }
	}
	for _, tt := range []struct {
		name  string
		fleet Fleet
		room  MailRoom
		now   string // in London
		want  string
	}{
		{"before seven", f, MailRoom{}, "2026-11-01 06:59", ""},
		{"at seven", f, MailRoom{}, "2026-11-01 07:00", "ann|due-list||2026-11 ben|due-list||2026-11 cleo|due-list||2026-11 dan|due-list||2026-11 dov|owner's month||2026-11"},
		{"before midnight", f, MailRoom{}, "2026-11-01 23:59", "ann|due-list||2026-11 ben|due-list||2026-11 cleo|due-list||2026-11 dan|due-list||2026-11 dov|owner's month||2026-11"},
		{"ten days late", f, MailRoom{Stopped: []string{"dan@example.org", "dov@example.org", "ann@example.org"}}, "2026-11-11 07:00", "ben|due-list||2026-11 cleo|due-list||2026-11"},
		{"later", f, MailRoom{}, "2026-11-11 07:01", ""},
		{"a month away: the latest alone", f, MailRoom{Since: utc("2026-01-01")}, "2027-01-02 09:00", "ann|due-list||2027-01 ben|due-list||2027-01 cleo|due-list||2027-01 dan|due-list||2027-01 dov|owner's month||2027-01"},
		{"mail switched on on the second", f, MailRoom{Since: utc("2026-11-02 10:00")}, "2026-11-03 09:00", ""},
		{"at once, for a demo", f, MailRoom{Since: utc("2026-11-25 03:00"), AtOnce: true}, "2026-11-25 03:00", "ann|due-list||2026-11 ben|due-list||2026-11 cleo|due-list||2026-11 dan|due-list||2026-11 dov|owner's month||2026-11"},
		{"each their own day", wish(wish(f, "ben", at(28, 0)), "ann", at(15, 0)), MailRoom{}, "2026-11-02 09:00", "ben|due-list||2026-10 cleo|due-list||2026-11 dan|due-list||2026-11 dov|owner's month||2026-11"},
		{"over the new year", wish(f, "ben", at(28, 0)), MailRoom{Stopped: []string{"ann@example.org", "cleo@example.org", "dan@example.org", "dov@example.org"}}, "2027-01-06 09:00", "ben|due-list||2026-12"},
		{"declined", wish(f, "ben", func(p *Person) { p.Mail.Not = []NoticeKind{DueList} }), MailRoom{Declined: []Decline{{"ann", DueList, utc("2026-05-01")}, {"dov", OwnersMonth, utc("2026-05-01")}}}, "2026-11-01 07:00", "cleo|due-list||2026-11 dan|due-list||2026-11"},
		{"the other side of the world", wish(f, "ben", func(p *Person) { p.Zone = "Pacific/Kiritimati" }), MailRoom{}, "2026-10-31 17:00", "ben|due-list||2026-11"},
	} {
		now := in("Europe/London", tt.now)
		got := owedAt(tt.fleet, nil, tt.room, now, DueList, OwnersMonth)
		if s := strings.Join(got, " "); s != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, s, tt.want)
		}
	}
	s := Survey(f, nil, Model{}, in("Europe/London", "2026-11-01 08:00"))
	if a, b := owedOf(s, MailRoom{}, DueList), owedOf(s, MailRoom{}, OwnersMonth); len(a) != 4 || len(b) != 1 || len(b[0].Clocks) != 1 || b[0].Today != d("2026-11-01") {
		t.Errorf("%d due-lists and %d owners' letters", len(a), len(b))
	}
}

func owedOf(s *Snapshot, m MailRoom, kind NoticeKind) []Letter {
	return slices.DeleteFunc(Letters(s, m, s.Now), func(l Letter) bool { return l.Kind != kind })
}

// Hours that a change of clocks leaves out or doubles, and a day that a zone
// left out (Apia went from 29 to 31 December 2011), by the tz database.
func TestHoursOfLetters(t *testing.T) {
	for _, tt := range []struct {
		zone       string
		day, hour  int
		month      string // that of the letter
		want       string // the first instant, on the wall there with its offset
		from, till string
	}{
		{"Europe/London", 28, 1, "2021-03", "2021-03-28 02:00 +0100", "2021-03-27", "2021-04-01"},      // 01:00 is left out
		{"Europe/London", 25, 1, "2026-10", "2026-10-25 01:00 +0100", "2026-10-24", "2026-10-27"},      // 01:00 comes twice
		{"Australia/Lord_Howe", 4, 2, "2026-10", "2026-10-04 02:30 +1100", "2026-10-03", "2026-10-06"}, // 02:00 is left out, for half an hour
		{"America/Havana", 1, 1, "2026-11", "2026-11-01 01:00 -0500", "2026-10-31", "2026-11-03"},
		{"Pacific/Apia", 28, 7, "2011-12", "2011-12-28 07:00 -1000", "2011-12-27", "2012-01-03"},
	} {
		f := rota(days8)
		f = wish(f, "ann", func(p *Person) { p.Zone, p.Mail.Day, p.Mail.Hour = tt.zone, tt.day, tt.hour })
		f.Clocks[0].Duties = []Duty{{"ann", Keeper}}
		f.Clocks[0].InCare = d("2011-01-01")
		first := firstOwed(f, nil, MailRoom{Since: utc(tt.from)}, utc(tt.from), utc(tt.till), 10*time.Minute, DueList)
		at, ok := first["ann|due-list||"+tt.month]
		if got := at.In(location(tt.zone)).Format("2006-01-02 15:04 -0700"); !ok || got != tt.want || len(first) != 1 {
			t.Errorf("%s: %d letters, at %s, want %s", tt.zone, len(first), got, tt.want)
		}
	}
	// A wind due on the day that Apia left out is asked for, and not twice.
	f := rota(days8)
	f.Sites[0].Zone = "Pacific/Apia"
	f.Clocks[0].InCare = d("2011-01-01")
	apia := func(s string) time.Time { return in("Pacific/Apia", s) }
	first := firstOwed(f, logOf(doneAt(Wound, apia("2011-12-22 18:00"), called("w"))), MailRoom{}, apia("2011-12-23 09:00"), apia("2012-01-02 09:00"), 15*time.Minute, WindReminder)
	if len(first) != 3 {
		t.Errorf("over a day that is left out %d were asked: %s", len(first), turnsAsked(first))
	}
	for key, at := range first {
		if !at.Before(apia("2011-12-22 18:00").Add(days8)) {
			t.Errorf("%s is asked at %v, after it stopped", key, at)
		}
	}
}

// Wishes with hours of every kind take a letter when they should, held against
// the list of their hours.
func TestWishesTake(t *testing.T) {
	for _, tt := range []struct {
		w    Wishes
		want string // the hours
	}{
		{Wishes{}, "7-23"},
		{Wishes{Hour: 1}, "1-23"},
		{Wishes{Hour: 9, QuietFrom: 22, QuietTo: 6}, "9-21"},
		{Wishes{Hour: 5, QuietFrom: 22, QuietTo: 6}, "6-21"},
		{Wishes{QuietFrom: 12, QuietTo: 14}, "7-11 14-23"},
		{Wishes{QuietFrom: 5, QuietTo: 5}, "7-23"},
		{Wishes{Hour: 23}, "23-23"},
		{Wishes{QuietFrom: 8, QuietTo: 7}, "7-7"},
	} {
		var got []string
		for h := 0; h < 24; h++ {
			if !tt.w.Takes(utc("2026-06-01").Add(time.Duration(h)*time.Hour + 59*time.Minute)) {
				continue
			}
			to := h
			for to < 23 && tt.w.Takes(utc("2026-06-01").Add(time.Duration(to+1)*time.Hour)) {
				to++
			}
			got = append(got, fmt.Sprintf("%d-%d", h, to))
			h = to
		}
		if s := strings.Join(got, " "); s != tt.want || tt.w.validate("x") != nil {
			t.Errorf("%+v: takes mail at %s, want %s (%v)", tt.w, s, tt.want, tt.w.validate("x"))
		}
	}
	for _, w := range []Wishes{
		{Day: 29}, {Day: -1}, {Hour: 24}, {Hour: -1}, {QuietFrom: 24}, {QuietTo: -1}, {Hour: 22, QuietFrom: 21, QuietTo: 7}, {QuietFrom: 7, QuietTo: 0},
		{QuietFrom: 1, QuietTo: 0}, {Not: []NoticeKind{"gossip"}}, {Not: []NoticeKind{DueList, DueList}},
	} {
		if err := w.validate("people[0]"); CodeOf(err) != Invalid {
			t.Errorf("%+v: %v, want it refused", w, err)
		}
	}
}

// A clock that stands is told of once, to those who must know, and not to whoever
// stopped it; of a lock the owner hears too. Nothing is said of a rest.
func TestStandingLetters(t *testing.T) {
	f := rota(days8)
	wound := did(Wound, "2026-03-02 09:00", called("w"))
	stopped := func(c StopCause, changes ...change) Entry {
		return did(Stopped, "2026-03-04 11:00", append([]change{by(c), called("s")}, changes...)...)
	}
	hand := func(e *Entry) { e.By = "ann" }
	edit := func(e Entry, id, old string) Entry {
		e.ID, e.Replaces, e.Why = id, old, "a word was wrong"
		return e
	}
	lock := did(Noted, "2026-03-04 10:00", called("k"), hand, func(e *Entry) { e.Lock = DoNotRun; e.Note = "a wire is broken" })
	enter := did(Noted, "2026-03-04 10:00", called("k"), func(e *Entry) { e.Lock = DoNotEnter; e.Note = "the stairs are wet" })
	for _, tt := range []struct {
		name string
		log  []Entry
		room MailRoom
		now  string
		want string
	}{
		{"going", []Entry{wound}, MailRoom{}, "2026-03-04 12:00", ""},
		{"found stopped", []Entry{wound, stopped(Weather)}, MailRoom{}, "2026-03-04 12:00", "ann stopped s, cleo stopped s"},
		{"by whoever keeps it", []Entry{wound, stopped(Fault, hand)}, MailRoom{}, "2026-03-04 12:00", "cleo stopped s"},
		{"a night's word waits", []Entry{wound, stopped(Weather)}, MailRoom{}, "2026-03-05 06:00", ""},
		{"two months on it still stands", []Entry{wound, stopped(Weather)}, MailRoom{}, "2026-05-04 12:00", "ann stopped s, cleo stopped s"},
		{"the entry is mended", []Entry{wound, stopped(Weather), did(Stopped, "2026-03-04 11:00", by(Birds), called("s2"), instead("s", "it was birds"))}, MailRoom{}, "2026-03-04 12:00", "ann stopped s, cleo stopped s"},
		{"and mended again", []Entry{wound, stopped(Weather), did(Stopped, "2026-03-04 11:00", by(Birds), called("s2"), instead("s", "it was birds")), did(Stopped, "2026-03-04 11:00", by(Fault), called("s3"), instead("s2", "a click"))}, MailRoom{}, "2026-03-04 12:00", "ann stopped s, cleo stopped s"},
		{"a lock mended twice", []Entry{wound, lock, edit(lock, "k2", "k"), edit(lock, "k3", "k2")}, MailRoom{}, "2026-03-04 12:00", "ann locked k, cleo locked k, dov locked k"},
		{"a wind mended twice", []Entry{wound, edit(wound, "w2", "w"), edit(wound, "w3", "w2")}, MailRoom{}, "2026-03-10 09:30", "ann ran out wind w, cleo ran out wind w"},
		{"started since", []Entry{wound, stopped(Weather), did(Started, "2026-03-04 11:30")}, MailRoom{}, "2026-03-04 12:00", ""},
		{"before mail was switched on", []Entry{wound, stopped(Weather)}, MailRoom{Since: utc("2026-03-04 11:30")}, "2026-03-04 12:00", ""},
		{"for the season", []Entry{wound, stopped(Rest, until("2026-04-01"))}, MailRoom{}, "2026-03-04 12:00", ""},
		{"its season has come", []Entry{wound, stopped(Rest, until("2026-04-01"))}, MailRoom{}, "2026-04-02 12:00", "ann stopped s, cleo stopped s"},
		{"for work, without a day", []Entry{wound, stopped(ForWork)}, MailRoom{}, "2026-06-04 12:00", ""},
		{"locked", []Entry{wound, lock}, MailRoom{}, "2026-03-04 12:00", "ann locked k, cleo locked k, dov locked k"},
		{"locked and stopped: the lock says it", []Entry{wound, lock, stopped(ByHand)}, MailRoom{}, "2026-03-04 12:00", "ann locked k, cleo locked k, dov locked k"},
		{"locked against going in, and stopped", []Entry{wound, enter, stopped(Birds, hand)}, MailRoom{}, "2026-03-04 12:00", "ann locked k, cleo locked k, cleo stopped s, dov locked k"},
		{"run out by the log", []Entry{wound}, MailRoom{}, "2026-03-10 09:30", "ann ran out wind w, cleo ran out wind w"},
		{"and seen going after it", []Entry{wound, did(Inspected, "2026-03-10 11:00")}, MailRoom{}, "2026-03-10 12:00", ""},
	} {
		now := in("Europe/London", tt.now)
		s := Survey(f, map[string][]Entry{"pump-room": book(slices.Clone(tt.log)...)}, Model{}, now)
		var got []string
		for _, l := range owedOf(s, tt.room, Standing) {
			got = append(got, l.Person.Slug+" "+l.Occurrence)
			if (l.Entry == nil) != strings.HasPrefix(l.Occurrence, "ran out") || len(l.Clocks) != 1 || l.Turn != 0 {
				t.Errorf("%s: entry %v, %d clocks", tt.name, l.Entry, len(l.Clocks))
			}
			if want := map[bool]TaskKind{true: Locked, false: Winding}[strings.HasPrefix(l.Occurrence, "locked")]; l.Task != nil && l.Task.Kind != want {
				t.Errorf("%s: the task is %s", tt.name, l.Task.Kind)
			}
		}
		slices.Sort(got)
		if s := strings.Join(got, ", "); s != tt.want {
			t.Errorf("%s: got %q, want %q", tt.name, s, tt.want)
		}
	}
}

// Winding is not asked for of a clock that is locked, stands or rests, nor when
// it was wound.
func TestNobodyIsAskedInVain(t *testing.T) {
	f, old := rota(days8), did(Wound, "2026-03-02 09:00", called("w"))
	lock := func(e *Entry) { e.Lock = DoNotRun; e.Note = "a wire is broken" }
	for name, more := range map[string][]Entry{
		"locked":   {did(Noted, "2026-03-03 10:00", lock)},
		"stopped":  {did(Stopped, "2026-03-03 10:00", by(Fault))},
		"resting":  {did(Stopped, "2026-03-03 10:00", by(Rest), until("2026-06-01"))},
		"wound":    {did(Wound, "2026-03-08 18:00")},
		"in part":  {did(Wound, "2026-03-08 18:00"), did(Wound, "2026-03-08 19:00", partly)},
		"not said": nil,
	} {
		log := map[string][]Entry{"pump-room": book(append([]Entry{old}, more...)...)}
		got := owedAt(f, log, MailRoom{}, utc("2026-03-09 21:00"), WindReminder)
		if want := map[bool]int{true: 3, false: 0}[name == "not said"]; len(got) != want {
			t.Errorf("%s: %q, want %d letters", name, got, want)
		}
	}
}

// The week of a change of clocks: from Tuesday, for those who have a duty there,
// while there is anything to do.
func TestChangeWeekLetters(t *testing.T) {
	f := rota(days8)
	tick := did(Set, "2026-03-29 07:00", func(e *Entry) { e.Change = d("2026-03-29") })
	wind := did(Wound, "2026-03-22 09:00")
	for _, tt := range []struct {
		name string
		log  []Entry
		room MailRoom
		now  string
		want string
	}{
		{"Monday before", []Entry{wind}, MailRoom{}, "2026-03-23 12:00", ""},
		{"Tuesday at six", []Entry{wind}, MailRoom{}, "2026-03-24 06:59", ""},
		{"Tuesday at seven", []Entry{wind}, MailRoom{}, "2026-03-24 07:00", "ann ben cleo dan"},
		{"Sunday, not logged", []Entry{wind}, MailRoom{}, "2026-03-29 12:00", "ann ben cleo dan"},
		{"Sunday, logged", []Entry{wind, tick}, MailRoom{}, "2026-03-29 12:00", ""},
		{"Tuesday after", []Entry{wind}, MailRoom{}, "2026-03-31 12:00", ""},
		{"switched on on Wednesday", []Entry{wind}, MailRoom{Since: utc("2026-03-25 10:00")}, "2026-03-25 12:00", ""},
		{"and on Thursday", []Entry{wind}, MailRoom{Since: utc("2026-03-25 10:00")}, "2026-03-26 12:00", "ann ben cleo dan"},
		{"a week without", []Entry{wind}, MailRoom{}, "2026-06-24 12:00", ""},
		{"out of season", []Entry{wind, did(Stopped, "2026-03-23 09:00", by(Rest), until("2026-05-01"))}, MailRoom{}, "2026-03-24 12:00", ""},
	} {
		got := owedAt(f, map[string][]Entry{"pump-room": book(slices.Clone(tt.log)...)}, tt.room, in("Europe/London", tt.now), ChangeWeek)
		if who(got) != tt.want || len(got) > 0 && !strings.HasSuffix(got[0], "|2026-03-24") {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// The weekly letter on what did not arrive: on Monday, to conservators, of what
// is theirs.
func TestMailTroubleLetters(t *testing.T) {
	f := rota(days8)
	other := f.Clocks[0]
	other.Slug, other.Duties = "gate-house", []Duty{{"ann", Conservator}, {"dov", Winder}}
	f.Clocks = append(f.Clocks, other)
	monday, before := in("Europe/London", "2026-11-23 07:00"), utc("2026-11-20")
	for _, tt := range []struct {
		name string
		room MailRoom
		now  time.Time
		want string
	}{
		{"nothing", MailRoom{}, monday, ""},
		{"refused", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "ben", State: Refused, Created: before}}}}, monday, "cleo|mail trouble||2026-11-23"},
		{"refused early last Monday, before the letter", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "ben", State: Refused, Created: before, Settled: monday.AddDate(0, 0, -7).Add(-time.Hour)}}}}, monday, ""},
		{"and after it", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "ben", State: Refused, Created: before.AddDate(0, 0, -20), Settled: monday.AddDate(0, 0, -7).Add(time.Hour)}}}}, monday, "cleo|mail trouble||2026-11-23"},
		{"early this Monday", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "ben", State: Refused, Created: before, Settled: monday.Add(-time.Hour)}}}}, monday, "cleo|mail trouble||2026-11-23"},
		{"of a clock", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "dov", Clock: "gate-house", State: Parked, Created: before}}}}, monday, "ann|mail trouble||2026-11-23"},
		{"it waits for an hour", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "ben", State: Owed, Created: monday.Add(-time.Hour)}}}}, monday, ""},
		{"it waits for two days", MailRoom{Trouble: Trouble{Notices: []Notice{{Person: "ben", State: Owed, Created: monday.Add(-48 * time.Hour)}}}}, monday, "cleo|mail trouble||2026-11-23"},
		{"before seven", MailRoom{Trouble: Trouble{Mailboxes: []Mailbox{{Address: "ben@example.org", Stopped: before}}}}, monday.Add(-time.Minute), ""},
		{"on Wednesday, made good", MailRoom{Trouble: Trouble{Mailboxes: []Mailbox{{Address: "BEN@example.org", Stopped: before}}}}, monday.Add(50 * time.Hour), "cleo|mail trouble||2026-11-23"},
		{"of Tuesday: next Monday", MailRoom{Trouble: Trouble{Mailboxes: []Mailbox{{Address: "ben@example.org", Stopped: monday.Add(30 * time.Hour)}}}}, monday.Add(50 * time.Hour), ""},
		{"nobody's address", MailRoom{Trouble: Trouble{Mailboxes: []Mailbox{{Address: "who@example.org", Stopped: before}}}}, monday, "ann|mail trouble||2026-11-23 cleo|mail trouble||2026-11-23"},
		{"held, of nobody knows what", MailRoom{Trouble: Trouble{Held: []Inward{{At: before}}}}, monday, "ann|mail trouble||2026-11-23 cleo|mail trouble||2026-11-23"},
		{"a duty declined", MailRoom{Declined: []Decline{{"ben", WindReminder, before}}}, monday, "cleo|mail trouble||2026-11-23"},
		{"and weeks ago", MailRoom{Declined: []Decline{{"ben", WindReminder, utc("2026-11-01")}}}, monday, ""},
		{"an owner's letter declined", MailRoom{Declined: []Decline{{"dov", OwnersMonth, before}}}, monday, ""},
		{"before mail was switched on", MailRoom{Since: monday.Add(time.Hour), Trouble: Trouble{Held: []Inward{{At: before}}}}, monday.Add(2 * time.Hour), ""},
	} {
		if got := owedAt(f, nil, tt.room, tt.now, MailTrouble); strings.Join(got, " ") != tt.want {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

// Reminders of bearings wait for the day after the reading.
func TestBearingLettersWait(t *testing.T) {
	fleet, _ := town()
	log := map[string][]Entry{"pump-room": book(read(2021, 0.20, 0.30, 0.40)...)}
	last := log["pump-room"][len(log["pump-room"])-1].At
	for _, tt := range []struct {
		now  time.Time
		room MailRoom
		want string
	}{
		{DateOf(last, time.UTC).At(20, 0, time.UTC), MailRoom{}, ""},
		{DateOf(last, time.UTC).Add(1).At(6, 59, time.UTC), MailRoom{}, ""},
		{DateOf(last, time.UTC).Add(1).At(7, 0, time.UTC), MailRoom{}, "ann cleo"},
		{DateOf(last, time.UTC).Add(9).At(7, 0, time.UTC), MailRoom{Since: DateOf(last, time.UTC).Add(9).At(6, 0, time.UTC)}, ""},
		{DateOf(last, time.UTC).Add(10).At(7, 0, time.UTC), MailRoom{Since: DateOf(last, time.UTC).Add(9).At(6, 0, time.UTC)}, "ann cleo"},
	} {
		if got := owedAt(fleet, log, tt.room, tt.now, LimitReminder); who(got) != tt.want {
			t.Errorf("%v: %q, want %q", tt.now, got, tt.want)
		}
	}
}
