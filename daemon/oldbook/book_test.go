package oldbook

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

// manyRows is a logbook of so many rows over so many clocks, weekly winds for the
// most part, with a fleet to it.
func manyRows(t testing.TB, n, clocks int) (data []byte, f schedule.Fleet) {
	f = fleet(t)
	base := f.Clocks[0]
	f.Clocks = nil
	for i := range clocks {
		c := base
		c.Slug, c.Name = fmt.Sprintf("clock-%d", i), fmt.Sprintf("Clock %d", i)
		c.InCare = schedule.Date{Year: 1900, Month: time.January, Day: 1}
		f.Clocks = append(f.Clocks, c)
	}
	var b bytes.Buffer
	b.WriteString("Date,Clock,What,Bearing,Reading (mm),By,Remarks\n")
	last := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		nth := i / clocks
		day := last.AddDate(0, 0, -7*(n/clocks-nth)/max(1, n/clocks/5000+1)).Format(time.DateOnly)
		switch {
		case nth%52 == 51 && day > "2018-01-02":
			fmt.Fprintf(&b, "%s,Clock %d,measured,centre-front,%.3f,ada,\n", day, i%clocks, .11+float64(nth%10)/1000)
		case nth%26 == 25:
			fmt.Fprintf(&b, "%s,Clock %d,oiled,,,ned,row %d\n", day, i%clocks, i)
		default:
			fmt.Fprintf(&b, "%s,Clock %d,wound,,,ned,row %d\n", day, i%clocks, i)
		}
	}
	return b.Bytes(), f
}

// B34: many rows are read whole, each once. (How fast: BenchmarkRows.)
func TestManyRows(t *testing.T) {
	n := 200_000
	if testing.Short() {
		n = 20_000
	}
	data, f := manyRows(t, n, 100)
	s, err := Open(t.Context(), "book", data, OfCommand, nil)
	if err != nil {
		t.Fatal(err)
	}
	b := Take(s, f, nil, today, "command")
	if len(b.Questions) > 0 || len(b.Refusals) > 0 || len(b.Taken) != n || b.Rows != n {
		t.Errorf("%s: %v %v", b.Lede(), b.Questions, b.Refusals[:min(3, len(b.Refusals))])
	}
	keys := map[string]bool{}
	for i := range b.Taken {
		keys[b.Taken[i].Key] = true
	}
	if len(keys) != n {
		t.Errorf("%d keys of %d entries", len(keys), n)
	}
	if _, err := Open(t.Context(), "book", bytes.Repeat([]byte("2025-01-13,moot-hall,wound\n"), mostRows+1), OfCommand, nil); err == nil || !strings.Contains(err.Error(), "more than 300000 rows") {
		t.Errorf("too many rows: %v", err)
	}
}

// The same file again adds nothing, whatever the order of its rows and columns, and
// the entries of one row are known again whatever the others say.
func TestSameFileAgain(t *testing.T) {
	lines := []string{"2025-01-13,moot-hall,wound,,,,,ned,cold", "2025-02-13,moot-hall,,centre-front,0.21,mm,,ada,", "2025-02-14,moot-hall,oiled,,,,1250,ned,top plate",
		"2025-03-01,ferry-post,inspected,,,,,ada,", "2025-03-02 14:05,moot-hall,set,,,,,ned,"}
	a := Answers{"meter moot-hall": "going"}
	first, err := taken(t, rows(lines...), a)
	if err != nil {
		t.Fatal(err)
	}
	log, err := first.Keep()
	if err != nil || len(log) != 6 { // the hour meter has an entry of its own
		t.Fatalf("%d entries, %v", len(log), err)
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for range 50 {
		turned := slices.Clone(lines)
		r.Shuffle(len(turned), func(i, j int) { turned[i], turned[j] = turned[j], turned[i] })
		turned = turned[:1+r.IntN(len(turned))]
		again, err := taken(t, rows(turned...), a, log...)
		if err != nil {
			t.Fatal(err)
		}
		if es, err := again.Keep(); err != nil || len(es) != 0 || again.There != len(again.Taken) || again.There < len(turned) {
			t.Fatalf("%q: %d new of %d, %v: %v", turned, len(es), len(again.Taken), err, again.Refusals)
		}
	}
	// What was corrected since is not brought back.
	old := log[0]
	old.ID = "first"
	mended := old
	mended.ID, mended.Key, mended.Replaces, mended.Why, mended.Note = "second", "", "first", "another word", "warm"
	again, err := taken(t, rows(lines[0]), a, old, mended)
	if err != nil || again.There != 1 || len(again.Refusals) > 0 {
		t.Errorf("corrected since: %v, %v", again, err)
	}
}

// A row of which one entry is refused gives none at all.
func TestRowIsWhole(t *testing.T) {
	b, err := taken(t, []byte("date,clock,what,train,bearing,reading (mm),turns\n2025-01-13,moot-hall,wound,going,centre-front,4000,\n2025-01-20,moot-hall,wound,going,centre-front,0.25,15\n"), Answers{"leave out": "yes"})
	if err != nil {
		t.Fatal(err)
	}
	es, err := b.Keep()
	if err != nil || len(es) != 2 || b.RefusedRows() != 1 || b.Refusals[0].Row != 2 || b.Refusals[0].Column != "F" {
		t.Errorf("%d entries, %v, %v", len(es), b.Refusals, err)
	}
	for _, e := range es {
		if !e.Old || e.Source != "command" || !strings.HasPrefix(e.Key, "old book ") {
			t.Errorf("%+v", e)
		}
	}
}

// A table that is wide has a column of readings for each bearing.
func TestWideTable(t *testing.T) {
	b, err := taken(t, []byte("date,clock,centre-front side-shake (thou),dial shaft foot end-shake (mm),remarks\n2025-01-13,moot-hall,9.5,0.42,warm\n"), nil)
	if err != nil || len(b.Taken) != 2 || len(b.Refusals)+len(b.Questions)+len(b.Problems) > 0 {
		t.Fatalf("%+v %v", b, err)
	}
	if x := b.Taken[0]; x.Bearing != "centre-front" || x.Reading.Value != 241 || x.Reading.Shake != wear.SideShake || x.Note != "warm" { // 9.5 thou of 25.4 um
		t.Errorf("%+v", x)
	}
	if x := b.Taken[1]; x.Bearing != "dial-shaft-foot" || x.Reading.Value != 420 || x.Reading.Shake != wear.EndShake {
		t.Errorf("%+v", x)
	}
}

// What a row tells beside the work that it names has entries of its own.
func TestOneRowTellsMore(t *testing.T) {
	for _, tt := range []struct {
		name, head, row string
		answers         Answers
		want            []string
	}{
		{"a wind with its error", "date,clock,what,train,error,remarks", "2025-01-13 08:30,moot-hall,wound,going,1:30 slow,cold", nil, []string{"2 wound moot-hall 2025-01-13 08:30 going found=-90 \"cold\""}},
		{"bare seconds", "date,clock,what,error,remarks", "2025-01-13,moot-hall,wound,20,", Answers{"error D": "seconds slow"}, []string{"2 wound moot-hall 2025-01-13 00:00 found=-20"}},
		{"oil and a meter", "date,clock,what,oil used,hour meter", "2025-01-13,ferry-post,oiled,light oil,200.5", nil, []string{"2 noted ferry-post 2025-01-13 00:00 going meter=200.5", "2 oiled ferry-post 2025-01-13 00:00 light oil"}},
		{"a meter alone", "date,clock,hours", "2025-01-13,ferry-post,200.5 h", nil, []string{"2 noted ferry-post 2025-01-13 00:00 meter=200.5"}},
		{"set, and how", "date,clock,error found,error left", "2025-01-13,moot-hall,40 s fast,0", nil, []string{"2 set moot-hall 2025-01-13 00:00 found=40 left=0"}},
		{"a repair and what it left", "date,clock,what,bearing,reading (mm)", "2025-01-13,moot-hall,new bush,centre-front,0.10", Answers{"repair": "left"}, []string{"2 repaired moot-hall 2025-01-13 00:00 centre-front new bush"}},
		{"a repair and what it found", "date,clock,what,bearing,reading (mm)", "2025-01-13,moot-hall,new bush,centre-front,0.25", Answers{"repair": "found"}, []string{"2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=250um", "2 repaired moot-hall 2025-01-13 00:00 centre-front new bush"}},
		{"a new line", "date,clock,what,train", "2025-01-13,moot-hall,new rope,strike", nil, []string{"2 repaired moot-hall 2025-01-13 00:00 strike new line"}},
		{"stopped", "date,clock,what", "2025-01-13,moot-hall,ran down", nil, []string{"2 stopped moot-hall 2025-01-13 00:00 ran down"}},
		{"the other freedom", "date,clock,bearing,end-shake (mm),side-shake (mm)", "2025-01-13,moot-hall,centre-front,0.3,0.25", Answers{"other freedom": "as a note"},
			[]string{"2 noted moot-hall 2025-01-13 00:00 \"end-shake of the centre arbor, front bush: 0.30 mm (11.8 thou)\"", "2 measured moot-hall 2025-01-13 00:00 centre-front side-shake=250um"}},
		{"a time of its own", "date,time,clock,what", "2025-01-13,2.05 pm,moot-hall,wound", nil, []string{"2 wound moot-hall 2025-01-13 14:05"}},
		{"on a summer's day", "date,time,clock,what", "2025-07-13,00:30,moot-hall,wound", nil, []string{"2 wound moot-hall 2025-07-13 00:30"}},
	} {
		b, err := taken(t, []byte(tt.head+"\n"+tt.row+"\n"), tt.answers)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		var got []string
		for i := range b.Taken {
			got = append(got, brief(&b.Taken[i]))
		}
		if !slices.Equal(got, tt.want) || len(b.Refusals)+len(b.Questions)+len(b.Problems) > 0 {
			t.Errorf("%s: %q, %v, %v, %v; want %q", tt.name, got, b.Refusals, b.Questions, b.Problems, tt.want)
		}
	}
}

// Answers are read as they are written, and a file of anything else is refused; B37.
func TestAnswers(t *testing.T) {
	a := Answers{"dates": "day-first", "sure": "4, 17 x", "leave out": "yes"}
	back, err := ParseAnswers(a.JSON())
	if err != nil || back["dates"] != "day-first" || !back.LeaveOut() || !slices.Equal(back.Sure(), []int{4, 17}) {
		t.Errorf("%v, %v", back, err)
	}
	for name, text := range map[string]string{"nothing": "", "null": "null", "a list": `["x"]`, "figures": `{"a": 9007199254740993}`, "more": `{} {}`,
		"deep": strings.Repeat(`{"a":`, 100_000), "long": `{"a": "` + strings.Repeat("x", mostAnswers) + `"}`} {
		if a, err := ParseAnswers([]byte(text)); err == nil {
			t.Errorf("%s is read as %v", name, a)
		}
	}
}

// Many words of a kind are one question in the end, and one answer.
func TestManyWords(t *testing.T) {
	var lines []string
	for i := range 60 {
		lines = append(lines, fmt.Sprintf("2025-01-%02d %02d:00,moot-hall,word %d,,,,,,", 1+i%28, i/28, i))
	}
	b, err := taken(t, rows(lines...), nil)
	if err != nil || len(b.Questions) != mostWords+1 || b.Questions[mostWords].Key != "what *" || b.Questions[mostWords].Rows != 20 {
		t.Fatalf("%d questions, %v", len(b.Questions), err)
	}
	a := Answers{"what *": "as a note"}
	for _, q := range b.Questions[:mostWords] {
		a[q.Key] = "as a note"
	}
	if b, err = taken(t, rows(lines...), a); err != nil || len(b.Taken) != 60 || b.Taken[59].Note != "word 59" {
		t.Errorf("%v: %d entries, %d questions, %v", err, len(b.Taken), len(b.Questions), b.Refusals)
	}
}

// Whoever is meant by less than their name is named; and an answer goes before
// what was found.
func TestWhoIsSaid(t *testing.T) {
	lines := rows("2025-01-13,moot-hall,wound,,,,,NS,", "2025-01-14,moot-hall,wound,,,,,n.s.,", "2025-01-15,moot-hall,wound,,,,,A. Wintergarth,", "2025-01-16,moot-hall,wound,,,,,ned,", "2025-01-17,moot-hall,wound,,,,,Ned Sallowby,")
	b, err := taken(t, lines, nil)
	if err != nil {
		t.Fatal(err)
	}
	const want = "By initials, or part of a name: “A. Wintergarth” is Ada Wintergarth, “NS” is Ned Sallowby and “n.s.” is Ned Sallowby."
	if said := strings.Join(b.Notes, "\n"); strings.Count(said, want) != 1 || len(b.Taken) != 5 || b.Taken[0].By != "ned" || b.Taken[2].By != "ada" {
		t.Errorf("it is said %q of %+v", said, b.Taken)
	}
	b, err = taken(t, lines, Answers{"who n s": "as a note", "who ns": "as a note"})
	if err != nil || len(b.Questions) > 0 || b.Taken[0].By != "" || b.Taken[0].Note != "by NS" || strings.Contains(strings.Join(b.Notes, "\n"), "Sallowby") {
		t.Errorf("answered otherwise: %+v, %v, %v", b.Taken[0], b.Notes, err)
	}
}

// Answers that several questions have are printed once.
func TestSameAnswersOnce(t *testing.T) {
	b, err := taken(t, rows("2025-01-13,moot-hall,serviced,,,,,,", "2025-01-14,moot-hall,seen to,,,,,,"), nil)
	var out strings.Builder
	if err = errors.Join(err, b.Write(&out)); err != nil || len(b.Questions) != 2 {
		t.Fatal(len(b.Questions), err)
	}
	if text := out.String(); strings.Count(text, "repaired: new bush") != 1 || strings.Count(text, `one of the answers above, to "what serviced"`) != 1 {
		t.Error(text)
	}
}

// What is printed says all that a person needs to go on, and moves no cursor.
func TestWrite(t *testing.T) {
	b, err := taken(t, rows("03/04/2025,moot-hall,serviced\u202e,,,,,J\tB,x", "2025-01-13,moot-hall,measured,centre-front,15 mm,,,,", "2025-01-14,moot-hall,wound,,,,,,"), nil)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := b.Write(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"3 rows give 1 entry to log; 3 questions are open; 1 row is refused", `A “date”: date (its header says so)`, "--dates ORDER", "day-first: the day comes first",
		`--answer "who j b=ANSWER"`, "Moot hall clock: 1 wound, 14 Jan 2025", "Row 3, column E: 15 mm", "(--sure 3)"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("there is no %q in\n%s", want, out.String())
		}
	}
	if strings.ContainsAny(out.String(), "\u202e\t\x1b") {
		t.Error("it holds what moves a cursor")
	}
}

func BenchmarkRows(b *testing.B) {
	data, f := manyRows(b, 20_000, 20)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		s, err := Open(b.Context(), "book", data, OfCommand, nil)
		if err != nil {
			b.Fatal(err)
		}
		if book := Take(s, f, nil, today, "command"); len(book.Taken) != 20_000 {
			b.Fatal(book.Lede())
		}
	}
}
