package export_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"endshake/daemon/export"
	"endshake/schedule"
)

// shelf keeps a fleet as it is given on.
type shelf struct {
	fleet    schedule.Fleet
	declined []schedule.Decline
	erased   []schedule.Erasure
	lessons  []schedule.Learned
	rounds   []schedule.RoundMark
	entries  []schedule.Entry
	pictures []schedule.Picture
}

func (s *shelf) Fleet(f schedule.Fleet) error      { s.fleet = f; return nil }
func (s *shelf) Declined(d schedule.Decline) error { s.declined = append(s.declined, d); return nil }
func (s *shelf) Erased(e schedule.Erasure) error   { s.erased = append(s.erased, e); return nil }
func (s *shelf) Lesson(l schedule.Learned) error   { s.lessons = append(s.lessons, l); return nil }
func (s *shelf) RoundMark(m schedule.RoundMark) error {
	s.rounds = append(s.rounds, m)
	return nil
}
func (s *shelf) Entry(e schedule.Entry) error     { s.entries = append(s.entries, e); return nil }
func (s *shelf) Picture(p schedule.Picture) error { s.pictures = append(s.pictures, p); return nil }

func (s *shelf) Entries(_ context.Context, clock string) (out []schedule.Entry, err error) {
	for _, e := range s.entries {
		if e.Clock == clock {
			out = append(out, e)
		}
	}
	return out, nil
}

func (s *shelf) Pictures(_ context.Context, clock string) (out []schedule.Picture, err error) {
	for _, p := range s.pictures {
		if p.Clock == clock {
			out = append(out, p)
		}
	}
	return out, nil
}

func (s *shelf) find(id string) (schedule.Picture, error) {
	for _, p := range s.pictures {
		if p.ID == id {
			return p, nil
		}
	}
	return schedule.Picture{}, fmt.Errorf("there is no picture %s", id)
}

// logs is a shelf that is read.
type logs struct{ *shelf }

func (l logs) Picture(_ context.Context, id string) (schedule.Picture, error) { return l.find(id) }

var at = time.Date(2026, 11, 26, 10, 0, 0, 0, time.UTC)

// sample is a whole fleet: the example file, a log with a correction of an earlier
// hour, texts with spaces, and a picture.
func sample(t testing.TB) *shelf {
	data, err := os.ReadFile("../../deploy/fleet.example.json")
	if err != nil {
		t.Fatal(err)
	}
	f, err := schedule.ParseFleet(data)
	if err != nil {
		t.Fatal(err)
	}
	first := schedule.Entry{ID: "e-1", Clock: "moot-hall", Kind: schedule.Noted, At: at.Add(-time.Hour + time.Microsecond), By: "ned", Note: " a <b> & \"c\"\r\n ü ",
		RecordedAt: at, Source: "page, by ada", Key: "form 1"}
	again := first
	again.ID, again.At, again.Replaces, again.Why, again.Key = "e-2", at.Add(-2*time.Hour), "e-1", "the hour was wrong", ""
	return &shelf{fleet: f, entries: []schedule.Entry{again, first}, declined: []schedule.Decline{{Person: "ned", Kind: schedule.ChangeWeek, At: at}},
		erased: []schedule.Erasure{{Number: 3, At: at}}, lessons: []schedule.Learned{{Version: 2, FittedAt: at}},
		rounds: []schedule.RoundMark{{Kind: schedule.SetVisit, Site: "moot-hall", Person: "ada", Day: schedule.Date{Year: 2026, Month: 12, Day: 9}, Tasks: []schedule.TaskRef{{Clock: "moot-hall", Kind: schedule.Oiling, Subject: "going"}}, Why: "they <asked>", By: "ned", At: at},
			{Kind: schedule.BarVisit, Person: "ada", Day: schedule.Date{Year: 2026, Month: 12, Day: 10}, At: at}},
		pictures: []schedule.Picture{{ID: "p-1", Clock: "moot-hall", Entry: "e-1", At: at, Words: "the <dial>", Width: 4, Height: 3, JPEG: []byte{0xff, 0xd8, 0}, Small: []byte{0xff, 0xd8}}}}
}

// written is a shelf as a file.
func written(t testing.TB, s *shelf) []byte {
	t.Helper()
	var b bytes.Buffer
	k := export.Kept{Program: "endshake test", At: at, Whole: true, Fleet: s.fleet, Declined: s.declined, Erased: s.erased, Lessons: s.lessons, Rounds: s.rounds}
	if _, err := export.Write(t.Context(), &b, k, logs{s}, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// What is read and written again is the same to the byte, and the foot tells the
// SHA-256 of what stands between it and the head.
func TestRoundTrip(t *testing.T) {
	file := written(t, sample(t))
	var back shelf
	head, foot, err := export.Read(bytes.NewReader(file), &back)
	if err != nil {
		t.Fatal(err)
	}
	if again := written(t, &back); !bytes.Equal(again, file) {
		t.Errorf("written again:\n%s\nat first:\n%s", again, file)
	}
	lines := bytes.SplitAfter(file, []byte("\n"))
	lines = lines[:len(lines)-1]
	sum := sha256.Sum256(bytes.Join(lines[1:len(lines)-1], nil))
	if foot.SHA256 != hex.EncodeToString(sum[:]) || foot.Counts["entry"] != 2 || foot.Counts["clock"] != len(back.fleet.Clocks) || head.Counts["clock"] != len(back.fleet.Clocks) {
		t.Errorf("head %+v, foot %+v", head, foot)
	}
	if len(back.rounds) != 2 || !reflect.DeepEqual(back.rounds, sample(t).rounds) {
		t.Errorf("the rounds are read as %+v", back.rounds)
	}
	if e := back.entries[1]; e.Note != " a <b> & \"c\"\r\n ü " || e.Key != "form 1" || !e.At.Equal(at.Add(-time.Hour+time.Microsecond)) || e.Source != "page, by ada" {
		t.Errorf("the entry is read as %+v", e)
	}
	for _, line := range lines { // each is one object of one member
		var l map[string]json.RawMessage
		if err := json.Unmarshal(line, &l); err != nil || len(l) != 1 {
			t.Errorf("%v in %s", err, line)
		}
	}
}

// signed puts a right foot below lines, so that what is wrong with them is told by
// something else.
func signed(head string, lines ...string) string {
	counts := map[string]int{}
	for _, l := range lines {
		kind, _, _ := strings.Cut(strings.TrimPrefix(l, `{"`), `"`)
		counts[kind]++
	}
	text := strings.Join(append(lines, ""), "\n")
	sum := sha256.Sum256([]byte(text))
	foot, _ := json.Marshal(export.Line{Foot: &export.Foot{Counts: counts, SHA256: hex.EncodeToString(sum[:])}})
	return head + "\n" + text + string(foot) + "\n"
}

const (
	someHead = `{"head":{"format":1,"program":"endshake test","at":"2026-11-26T10:00:00Z","whole":true,"counts":{"site":1,"person":1,"clock":1}}}`
	someSite = `{"site":{"slug":"tower","name":"Tower","zone":"Europe/London"}}`
	someOne  = `{"person":{"slug":"ned","name":"Ned"}}`
	someHall = `{"clock":{"slug":"hall","name":"Hall","kind":"turret","site":"tower","inCare":"2026-01-01"}}`
	someNote = `{"entry":{"id":"e-1","clock":"hall","kind":"noted","at":"2026-11-25T10:00:00Z","note":"x","recordedAt":"2026-11-25T10:00:00Z"}}`
)

// Whatever is wrong with a file is refused with one sentence that names the line.
// B37: nested 100,000 deep, the same member twice, whole numbers beyond 2^53.
func TestRefused(t *testing.T) {
	good := signed(someHead, someSite, someOne, someHall, someNote)
	if _, _, err := export.Read(strings.NewReader(good), &shelf{}); err != nil {
		t.Fatal(err)
	}
	change := func(was, is string) string {
		lines := []string{someSite, someOne, someHall, someNote}
		for i := range lines {
			lines[i] = strings.Replace(lines[i], was, is, 1)
		}
		return signed(strings.Replace(someHead, was, is, 1), lines...)
	}
	huge := strings.Repeat("9", 400)
	for name, c := range map[string]struct{ file, want string }{
		"nothing":               {"", "the export file is empty"},
		"another format":        {change(`"format":1`, `"format":2`), "line 1 of the export file: it has format 2 and this endshake reads 1"},
		"a part":                {change(`"whole":true`, `"whole":false`), "only a whole one is copied in"},
		"no head":               {good[strings.Index(good, "\n")+1:], "line 1 of the export file: the head is the first line"},
		"two heads":             {signed(someHead, someHead, someSite), "line 2 of the export file: the head is the first line, and no other"},
		"cut after a line":      {good[:strings.Index(good, `{"foot"`)], "it was cut"},
		"cut in a line":         {good[:len(good)-20], "it was cut"},
		"a line taken out":      {strings.Replace(good, someNote+"\n", "", 1), "the file was changed or cut"},
		"a letter changed":      {strings.Replace(good, `"note":"x"`, `"note":"y"`, 1), "the file was changed or cut"},
		"more after the end":    {good + "\n", "something comes after it"},
		"fewer than counted":    {change(`"clock":1`, `"clock":2`), "the head counts 2 lines of the kind clock, and there are 1"},
		"a round to no day":     {signed(someHead, someSite, someOne, someHall, `{"round":{"kind":"set","site":"tower","person":"ned","day":"2026-13-01","at":"2026-11-25T10:00:00Z"}}`), "line 5"},
		"a round too late":      {signed(someHead, someSite, someOne, someHall, someNote, `{"round":{"kind":"not","site":"tower","day":"2026-12-01","at":"2026-11-25T10:00:00Z"}}`), "a round stands after a entry"},
		"out of order":          {signed(someHead, someSite, someHall, someOne, someNote), "line 4 of the export file: a person stands after a clock"},
		"two members":           {change(`{"site":{`, `{"foot":{},"site":{`), "it has 2 members"},
		"a list":                {signed(someHead, "[]"), "it is not one object in JSON"},
		"null":                  {signed(someHead, `{"site":null}`), "its site is null"},
		"an unknown kind":       {signed(someHead, `{"password":"x"}`), "is not a kind of line"},
		"an unknown member":     {change(`"note":"x"`, `"nota":"x"`), "unknown field"},
		"a member twice":        {change(`"note":"x"`, `"note":"x","note":"x"`), `it says "note" twice`},
		"twice by capitals":     {change(`"note":"x"`, `"note":"x","Note":"y"`), `it says "Note" twice`},
		"twice, far down":       {change(`"inCare":"2026-01-01"`, `"inCare":"2026-01-01","care":{"daily":1,"daily":2}`), `it says "daily" twice`},
		"nested 100,000 deep":   {change(`"note":"x"`, `"note":`+strings.Repeat("[", 100000)+strings.Repeat("]", 100000)), "nested more than"},
		"never closed":          {change(`"note":"x"`, `"note":`+strings.Repeat("[", 100000)), "line 5"},
		"a whole number beyond": {change(`"kind":"noted"`, `"kind":"measured","reading":{"shake":"end-shake","value":{"micrometres":9007199254740993}}`), "beyond 200 m"},
		"beyond 64 bits":        {change(`"kind":"noted"`, `"kind":"measured","reading":{"shake":"end-shake","value":{"micrometres":`+huge+`}}`), "line 5"},
		"beyond all numbers":    {change(`"kind":"noted"`, `"kind":"noted","errorFoundSeconds":1e999`), "line 5"},
		"not UTF-8":             {change(`"note":"x"`, "\"note\":\"\xff\""), "not UTF-8"},
		"an odd kind of entry":  {change(`"kind":"noted"`, `"kind":"painted"`), "kind cannot be"},
		"corrected, said":       {change(`"note":"x"`, `"note":"x","corrected":{"entry":"e-2","why":"y"}`), "leave out corrected"},
		"a year of five digits": {change(`"at":"2026-11-25T10:00:00Z","note"`, `"at":"12026-11-25T10:00:00Z","note"`), "line 5"},
		"a site that is not":    {change(`"site":"tower"`, `"site":"none"`), "the fleet before it cannot be taken"},
	} {
		_, _, err := export.Read(strings.NewReader(c.file), &shelf{})
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || len(err.Error()) > 600 {
			t.Errorf("%s: %.700v, want %q", name, err, c.want)
		}
	}
}

// A line that never ends is given up after the longest that can be, and not kept.
func TestEndlessLine(t *testing.T) {
	_, _, err := export.Read(endless{}, &shelf{})
	if err == nil || !strings.Contains(err.Error(), "line 1 of the export file is longer than 16 MB") {
		t.Error(err)
	}
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

// FuzzCopyIn: no file makes the reader panic or hang, and what it takes for whole
// is read alike after it was written again.
func FuzzCopyIn(f *testing.F) {
	f.Add(written(f, sample(f)))
	f.Add([]byte(signed(someHead, someSite, someOne, someHall, someNote)))
	f.Add([]byte(signed(someHead)))
	f.Add([]byte(`{"head":{"format":1`))
	f.Fuzz(func(t *testing.T, data []byte) {
		// A foot that fits is put below whatever stands before the last line, else
		// nothing would get past it.
		lines := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
		if n := len(lines); n > 2 {
			data = []byte(signed(lines[0], lines[1:n-1]...))
		}
		var s, again shelf
		if _, _, err := export.Read(bytes.NewReader(data), &s); err != nil {
			return
		}
		file := written(t, &s)
		if _, _, err := export.Read(bytes.NewReader(file), &again); err != nil && !strings.Contains(err.Error(), "of no clock") {
			t.Fatalf("what was read cannot be read again: %v\n%s", err, file)
		}
		if !bytes.Equal(written(t, &again), file) {
			t.Errorf("written twice:\n%s\n%s", file, written(t, &again))
		}
	})
}
