package schedule

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with a file in testdata, or writes it with -update.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v: write it with go test -update", err)
	}
	if string(got) != string(want) {
		t.Errorf("%s differs: look at it, and write it anew with -update if it is right\n--- got\n%s\n--- want\n%s", name, got, want)
	}
}

// d is a day, like d("2026-03-01").
func d(s string) Date {
	v, err := ParseDate(s)
	if err != nil {
		panic(err)
	}
	return v
}

// utc is an instant, like utc("2026-03-01 09:00"), or the start of a day.
func utc(s string) time.Time { return in("UTC", s) }

// in is an instant on the wall of a zone.
func in(zone, s string) time.Time {
	if len(s) == len(time.DateOnly) {
		s += " 00:00"
	}
	t, err := time.ParseInLocation("2006-01-02 15:04", s, location(zone))
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

func location(zone string) *time.Location {
	l, err := time.LoadLocation(zone)
	if err != nil {
		panic(err)
	}
	return l
}

func mm(v float64) wear.Length { return wear.FromMM(v) }

func limitAt(v float64) *wear.Limit {
	return &wear.Limit{Size: mm(v), Source: "conservator, first survey"}
}

// bush is a bush in a going train with all that is needed for a prior.
func bush() wear.Bearing {
	return wear.Bearing{
		Code: "centre-front", Name: "front bush", Form: wear.Bush, Shake: wear.SideShake,
		Pair: wear.SteelOnBrass, In: wear.Indoors, Load: 900, Bore: mm(10.1), Pivot: mm(10), Long: mm(12),
		FittedAt: utc("2020-01-01"), Fitted: mm(0.10), FittedSD: mm(0.02),
		Watch: limitAt(0.25), Act: limitAt(0.35),
	}
}

// collar is a thrust face in a strike train of which little is known.
func collar() wear.Bearing {
	return wear.Bearing{Code: "second-back", Name: "back collar", Form: wear.ThrustFace, Shake: wear.EndShake, Act: limitAt(0.80)}
}

const (
	days8  = 8 * 24 * time.Hour
	hour30 = 30 * time.Hour
)

// pump is a hand-wound clock of two trains with a bearing in each, in UTC so
// that dates can be reckoned by hand, and with no policy.
func pump() Clock {
	return Clock{
		Slug: "pump-room", Name: "Pump Room", Kind: Turret, Site: "pump-yard", InCare: d("2020-01-01"),
		Duties: []Duty{{"ann", Keeper}, {"ben", Winder}, {"ann", Deputy}, {"cleo", Conservator}, {"dov", Owner}},
		Trains: []wear.Train{
			{Code: "going", Name: "going train", Kind: wear.Going, Drive: wear.HandWound, Reserve: days8, Arbors: []wear.Arbor{
				{Code: "centre", Name: "centre arbor", Revs: 1, Bearings: []wear.Bearing{bush()}},
			}},
			{Code: "strike", Name: "strike train", Kind: wear.Strike, Drive: wear.HandWound, Reserve: days8, StrokesPerDay: 156, Arbors: []wear.Arbor{
				{Code: "second", Name: "second arbor", Bearings: []wear.Bearing{collar()}},
			}},
		},
	}
}

// alone is a clock of one going train with one bush.
func alone() Clock {
	c := pump()
	c.Trains = c.Trains[:1]
	return c
}

// fleetOf puts clocks on one site with all the people that they name.
func fleetOf(zone string, clocks ...Clock) Fleet {
	return Fleet{
		Sites: []Site{{Slug: "pump-yard", Name: "Pump Yard", Zone: zone, Place: "Behind the baths", Access: "Key at the lodge", Caution: "Loose boards on the second floor"}},
		People: []Person{
			{Slug: "ann", Name: "Ann Arkwell", Email: "ann@example.org", Units: wear.MM},
			{Slug: "ben", Name: "Ben Birchow", Email: "ben@example.org", Units: wear.Thou},
			{Slug: "cleo", Name: "Cleo Catterick", Email: "cleo@example.org", Units: wear.MM},
			{Slug: "dov", Name: "Dov Dunmore", Units: wear.MM},
		},
		Clocks: clocks,
	}
}

type change func(*Entry)

// did makes an entry of an instant in UTC.
func did(kind EntryKind, when string, changes ...change) Entry {
	return doneAt(kind, utc(when), changes...)
}

func doneAt(kind EntryKind, when time.Time, changes ...change) Entry {
	e := Entry{Clock: "pump-room", Kind: kind, At: when, Source: "page"}
	for _, c := range changes {
		c(&e)
	}
	return e
}

func of(train string) change          { return func(e *Entry) { e.Train = train } }
func onBearing(bearing string) change { return func(e *Entry) { e.Bearing = bearing } }
func by(c StopCause) change           { return func(e *Entry) { e.Cause = c } }
func since(s string) change           { return func(e *Entry) { e.Since = utc(s) } }
func until(s string) change           { return func(e *Entry) { e.Until = d(s) } }
func note(s string) change            { return func(e *Entry) { e.Note = s } }
func called(id string) change         { return func(e *Entry) { e.ID = id } }
func partly(e *Entry)                 { e.Part = true }
func found(c Condition) change        { return func(e *Entry) { e.Found = c } }
func pair(p wear.Pair) change         { return func(e *Entry) { e.NewPair = p } }
func instead(id, s string) change     { return func(e *Entry) { e.Replaces, e.Why = id, s } }

// gave is a reading of the bush, its size in mm, by a good gauge.
func gave(size float64) change {
	return func(e *Entry) {
		e.Bearing = "centre-front"
		e.Reading = &wear.Reading{Shake: wear.SideShake, Value: mm(size), Gauge: mm(0.01), Load: wear.LoadOff}
	}
}

// left is a new bush with what freedom it leaves in mm; zero: not measured.
func left(size float64) change {
	return func(e *Entry) { e.Bearing, e.Work, e.Fitted, e.FittedSD = "centre-front", NewBush, mm(size), mm(0.01) }
}

// book numbers entries as a log would, and records each a minute later.
func book(entries ...Entry) []Entry {
	for i := range entries {
		if entries[i].ID == "" {
			entries[i].ID = fmt.Sprintf("id-%03d", i+1)
		}
		if entries[i].RecordedAt.IsZero() {
			entries[i].RecordedAt = entries[i].At.Add(time.Minute)
		}
	}
	return entries
}

// weekly winds every seven days, at nine, from a day on for so many weeks.
func weekly(from string, weeks int, changes ...change) []Entry {
	var out []Entry
	for i := range weeks {
		out = append(out, doneAt(Wound, d(from).Add(7*i).At(9, 0, time.UTC), changes...))
	}
	return out
}

// assess assesses a clock in UTC.
func assess(c Clock, log []Entry, now string) Assessment {
	f := fleetOf("UTC", c)
	return Assess(Facts{Clock: c, Site: f.Sites[0], Entries: log}, utc(now))
}

// taskOf finds a task, and fails where there are none or several.
func taskOf(t *testing.T, a Assessment, kind TaskKind, subject string) Task {
	t.Helper()
	var got []Task
	for _, x := range a.Tasks {
		if x.Kind == kind && x.Subject == subject {
			got = append(got, x)
		}
	}
	if len(got) != 1 {
		t.Fatalf("%d tasks of %s on %q, wanted one; there are %s", len(got), kind, subject, titles(a.Tasks))
	}
	return got[0]
}

func titles(tasks []Task) string {
	var out []string
	for _, x := range tasks {
		out = append(out, fmt.Sprintf("%s %q", x.Kind, x.Subject))
	}
	return strings.Join(out, ", ")
}

func outlookOf(t *testing.T, a Assessment, bearing string) Outlook {
	t.Helper()
	o, ok := a.Outlook(bearing)
	if !ok {
		t.Fatalf("no outlook on %s", bearing)
	}
	return o
}

// window is a task's window as three dates.
func windowOf(t Task) string { return t.From.String() + " " + t.Due.String() + " " + t.Latest.String() }

// refused checks an error that a person can mend.
func refused(t *testing.T, err error, code Code, field, sentence string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v, wanted an error to mend with %q", err, sentence)
	}
	if e.Code != code || e.Field != field {
		t.Errorf("got code %q at %q, wanted %q at %q: %v", e.Code, e.Field, code, field, e)
	}
	if !strings.Contains(e.Message, sentence) {
		t.Errorf("got %q, wanted it to say %q", e.Message, sentence)
	}
	if strings.TrimSpace(e.Message) == "" || strings.Contains(e.Message, "%!") || strings.Contains(e.Message, "\n") {
		t.Errorf("%q is no sentence", e.Message)
	}
}

func asJSON(t *testing.T, v any) []byte {
	t.Helper()
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	return append(b, '\n')
}
