package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// A reading that does not fit is marked, and nothing else is; once later
// readings speak against it there is nothing left to ask for.
func TestDoubtfulReadings(t *testing.T) {
	for _, tt := range []struct {
		name  string
		sizes []float64
		bad   int // index of the misread one; -1: none
		again bool
	}{
		{"all fit", []float64{0.12, 0.14, 0.16, 0.18, 0.20}, -1, false},
		{"the last is too large", []float64{0.12, 0.14, 0.16, 0.18, 0.60}, 4, true},
		{"the last is too small", []float64{0.22, 0.24, 0.26, 0.28, 0.10}, 4, true},
		{"one in between", []float64{0.12, 0.14, 0.50, 0.18, 0.20}, 2, false},
		{"the first", []float64{0.60, 0.14, 0.16, 0.18, 0.20}, 0, false},
		{"within what the gauge does", []float64{0.12, 0.14, 0.17, 0.175, 0.20}, -1, false},
	} {
		a := assess(alone(), book(read(2021, tt.sizes...)...), "2025-01-02")
		o := outlookOf(t, a, "centre-front")
		for i, r := range o.Parts[0].Readings {
			if (r.Doubt >= 0.5) != (i == tt.bad) {
				t.Errorf("%s: reading %d of %.2f mm is misread with probability %.2f", tt.name, i, r.Value, r.Doubt)
			}
		}
		if o.ReadAgain != tt.again {
			t.Errorf("%s: read again %v, want %v: %q", tt.name, o.ReadAgain, tt.again, o.Sentence)
		}
		if !tt.again {
			if strings.Contains(o.Sentence+o.Confidence+o.Why, "does not fit") {
				t.Errorf("%s: %q, %q, %q", tt.name, o.Sentence, o.Confidence, o.Why)
			}
			continue
		}
		value := wear.FromMM(tt.sizes[4]).String()
		if o.Condition == Sound || o.Condition == Act || o.Measure != d("2025-01-31") ||
			o.Why != "read again: the reading of 1 Jan 2025, "+value+", does not fit the others" ||
			!strings.HasPrefix(o.Sentence, "The reading of 1 Jan 2025, "+value+", does not fit the others: re-measure before acting, by 31 Jan 2025 (now about ") ||
			!strings.HasPrefix(o.Confidence, "weak: 5 readings over 4 years, and the last does not fit: re-measure before acting") {
			t.Errorf("%s: %s, measure by %v: %q, %q, %q", tt.name, o.Condition, o.Measure, o.Why, o.Sentence, o.Confidence)
		}
		if x := taskOf(t, a, Measuring, "centre-front"); x.Due != o.Measure || x.Reason != o.Why || !slicesEqual(x.People, "ann", "cleo") {
			t.Errorf("%s: %s, %q, %v", tt.name, windowOf(x), x.Reason, x.People)
		}
	}
}

// One misread in the last place moves no date by much, and is no ground to act
// on; where the bearing is over without it too, it stays so.
func TestNobodyActsOnOneReading(t *testing.T) {
	sizes := []float64{0.12, 0.14, 0.16, 0.18}
	base := outlookOf(t, assess(alone(), book(read(2021, sizes...)...), "2025-01-02"), "centre-front")
	bad := outlookOf(t, assess(alone(), book(read(2021, append(slices.Clone(sizes), 1.20)...)...), "2025-01-02"), "centre-front")
	likely := func(o Outlook) float64 {
		return o.Wear.Crossing(0.35, units("2025-01-02"), 0.5).H - units("2025-01-02")
	}
	if x, y := likely(bad), likely(base); !bad.ReadAgain || bad.Over || bad.Condition != Watch || x < 0.65*y {
		t.Errorf("read again %v, over %v, %s, %.0f thousand run-hours left; was %.0f", bad.ReadAgain, bad.Over, bad.Condition, x, y)
	}
	over := assess(alone(), book(read(2021, 0.20, 0.28, 0.36, 0.44, 0.05)...), "2025-01-02")
	o := outlookOf(t, over, "centre-front")
	if !o.ReadAgain || !o.Over || o.Condition != Act || !strings.HasSuffix(o.Sentence, "Without it too the limit of 0.35 mm (13.8 thou) is probably passed.") {
		t.Errorf("over without it: read again %v, over %v, %s, %q", o.ReadAgain, o.Over, o.Condition, o.Sentence)
	}
	taskOf(t, over, NearLimit, "centre-front")
}

// A doubtful last reading is asked for again even where no policy and no limit
// would have anybody measure.
func TestReadAgainWithoutALimit(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act = nil, nil
	a := assess(c, book(read(2021, 0.12, 0.14, 0.16, 0.18, 0.90)...), "2025-01-02")
	if x := taskOf(t, a, Measuring, "centre-front"); x.Due != d("2025-01-31") {
		t.Errorf("%s", windowOf(x))
	}
	if a := assess(c, book(read(2021, 0.12, 0.14, 0.16, 0.18, 0.20)...), "2025-01-02"); len(a.Tasks) != 1 { // winding
		t.Errorf("asks for %s", titles(a.Tasks))
	}
}

// A change of rate is named with its day, and looked at within a year.
func TestChangeOfRate(t *testing.T) {
	c := alone()
	c.Policies = []Policy{{Task: Measuring, Days: 5 * 365, Source: "x"}}
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act = nil, limitAt(3)
	steady := read(2021, 0.12, 0.14, 0.16, 0.18, 0.20, 0.22)
	worse := read(2021, 0.12, 0.14, 0.16, 0.18, 0.36, 0.54)
	o := outlookOf(t, assess(c, book(steady...), "2026-01-02"), "centre-front")
	if !o.Changed.IsZero() || o.Measure != d("2026-01-01").Add(5*365) {
		t.Errorf("steady: changed %v, measure by %v (%s)", o.Changed, o.Measure, o.Why)
	}
	o = outlookOf(t, assess(c, book(worse...), "2026-01-02"), "centre-front")
	if o.Changed != d("2024-01-01") || o.ReadAgain || o.Measure != d("2027-01-01") || o.Why != "the rate changed after 1 Jan 2024" {
		t.Errorf("changed %v, read again %v, measure by %v (%s)", o.Changed, o.ReadAgain, o.Measure, o.Why)
	}
	if !strings.HasSuffix(o.Sentence, " The rate changed after 1 Jan 2024; after a change the forecast is less sure than it looks.") ||
		!strings.Contains(o.Confidence, "the rate changed after 1 Jan 2024; after a change the forecast is less sure than it looks") {
		t.Errorf("%q, %q", o.Sentence, o.Confidence)
	}
	if o.Wear.PChange() <= 0.5 {
		t.Errorf("probability of a change %.2f", o.Wear.PChange())
	}
}

// A misread in the last place looks like a change before it: only the reading
// is named.
func TestLastReadingIsNoChange(t *testing.T) {
	for _, last := range []float64{0.45, 0.60, 0.90} {
		o := outlookOf(t, assess(alone(), book(read(2021, 0.12, 0.14, 0.16, 0.18, last)...), "2025-01-02"), "centre-front")
		if o.ReadAgain && !o.Changed.IsZero() {
			t.Errorf("%.2f mm: read again, and changed after %v", last, o.Changed)
		}
		if !o.ReadAgain && o.Changed.IsZero() {
			t.Errorf("%.2f mm: neither a misread nor a change (%q)", last, o.Sentence)
		}
	}
}

// Whoever can measure again is told, once for each reading; a watch that hangs
// on that reading alone is no news of the limit.
func TestReadAgainLetters(t *testing.T) {
	keysOf := func(log []Entry, now string) []string { return limitKeys(book(slices.Clone(log)...), now) }
	bad := append(read(2021, 0.12, 0.14, 0.16, 0.18), did(Measured, "2025-01-01", gave(0.90), called("wild")))
	want := []string{"ann|read again|pump-room/centre-front|reading wild", "cleo|read again|pump-room/centre-front|reading wild"}
	for _, now := range []string{"2025-01-02", "2025-03-01"} {
		if got := keysOf(bad, now); !slices.Equal(got, want) {
			t.Errorf("%s: got %q, want %q", now, got, want)
		}
	}
	confirmed := append(slices.Clone(bad), did(Measured, "2025-03-01", gave(0.91)), did(Measured, "2025-06-01", gave(0.92)), did(Measured, "2025-09-01", gave(0.93)))
	for _, k := range keysOf(confirmed, "2025-09-02") {
		if !strings.HasSuffix(k, "near its limit|pump-room/centre-front|act, part 1") {
			t.Errorf("confirmed: %s", k)
		}
	}
	if got := keysOf(append(slices.Clone(bad), did(Measured, "2025-02-01", gave(0.19))), "2025-02-02"); len(got) != 0 {
		t.Errorf("spoken against: %q", got)
	}
	over := append(read(2021, 0.20, 0.28, 0.36, 0.44), did(Measured, "2025-01-01", gave(0.05), called("wild")))
	if got := keysOf(over, "2025-01-02"); len(got) != 4 {
		t.Errorf("over, and read again: %q", got)
	}
	fleet, _ := town()
	for _, l := range LimitLetters(Survey(fleet, map[string][]Entry{"pump-room": book(slices.Clone(bad)...)}, Model{}, utc("2025-01-02"))) {
		if l.Kind != ReadAgain || l.Outlook == nil || !l.Outlook.ReadAgain || len(l.Others) != 1 || l.Others[0].Slug == l.Person.Slug || len(l.Unless) != 0 || l.Today != d("2025-01-02") {
			t.Errorf("%s: %s, %d others, unless %q, today %v", l.Key, l.Kind, len(l.Others), l.Unless, l.Today)
		}
	}
}

// A long shaft's reading is brought to one temperature before anything is made
// of it: 2438.4 mm of steel in brass move 0.731520 mm in 40 °C (computed from
// 11.5e-6 and 19e-6 a degree).
func TestReadingsAreBroughtToOneTemperature(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Shaft, b.Frame, b.Stand, b.Act, b.Watch = wear.Steel, wear.Brass, mm(2438.4), limitAt(3), nil
	at := func(celsius float64, size float64) change {
		return func(e *Entry) { gave(size)(e); e.Reading.Celsius = &celsius }
	}
	log := book(did(Measured, "2021-07-01", at(35, 1.00)), did(Measured, "2022-01-01", at(-5, 1.00-0.731520)))
	o := outlookOf(t, assess(c, log, "2022-01-02"), "centre-front")
	r := o.Parts[0].Readings
	if off := r[0].Value - r[1].Value; off < -0.0005 || off > 0.0005 {
		t.Errorf("summer %.4f mm and winter %.4f mm differ by %.4f", r[0].Value, r[1].Value, off)
	}
	if r[0].SD <= r[0].Reading.SD() {
		t.Errorf("uncertainty %.4f mm is no more than the gauge's", r[0].SD)
	}
	if o.Parts[0].Readings[0].Reading.Value != mm(1) {
		t.Error("the reading itself was changed")
	}
	plain := outlookOf(t, assess(alone(), log, "2022-01-02"), "centre-front")
	if p := plain.Parts[0].Readings[1]; p.Value != p.Reading.Value.MM() || p.SD != 0.01 {
		t.Errorf("with no long shaft: %v ± %v", p.Value, p.SD)
	}
}

// One clock assessed later than the fleet keeps its own instant.
func TestWithKeepsEachClocksInstant(t *testing.T) {
	fleet, log := town()
	first := Survey(fleet, log, Model{}, utc("2023-02-01 05:00"))
	next := first.With("pump-room", log["pump-room"], Model{}, utc("2023-02-02 09:00"))
	if !next.Now.Equal(first.Now) {
		t.Errorf("the whole was assessed at %v, not at %v", first.Now, next.Now)
	}
	for i, a := range next.Clocks {
		want := first.Now
		if a.Clock.Slug == "pump-room" {
			want = utc("2023-02-02 09:00")
		}
		if !a.Now.Equal(want) || !first.Clocks[i].Now.Equal(utc("2023-02-01 05:00")) {
			t.Errorf("%s: assessed at %v, want %v", a.Clock.Slug, a.Now, want)
		}
	}
	if got := next.DueList().Today; got != DateOf(next.Clocks[0].Now, time.UTC) {
		t.Errorf("due-list of %v", got)
	}
}

// A last reading far off is misread or the rate changed before it. Neither may
// be the likelier, and then the two together ask for another reading.
func TestMisreadOrChanged(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Fitted, b.Watch, b.Act = time.Time{}, 0, nil, limitAt(3)
	for _, tt := range []struct {
		name  string
		sizes []float64
		again bool
	}{
		{"far off", []float64{0.30, 0.32, 0.34, 0.36, 1.10}, true},
		{"not so far", []float64{0.30, 0.32, 0.34, 0.36, 0.70}, true},
		{"far below", []float64{0.80, 0.82, 0.84, 0.86, 0.30}, true},
		{"as the others", []float64{0.30, 0.32, 0.34, 0.36, 0.38}, false},
		{"within what the gauge does", []float64{0.30, 0.32, 0.34, 0.36, 0.395}, false},
		{"a change that others bear out", []float64{0.30, 0.32, 0.34, 0.36, 0.60, 0.84, 1.08}, false},
		{"two", []float64{0.30, 0.34}, false},
	} {
		a := assess(c, book(read(2021, tt.sizes...)...), fmt.Sprintf("%d-01-02", 2020+len(tt.sizes)))
		o := outlookOf(t, a, "centre-front")
		n := len(tt.sizes)
		last := o.Parts[0].Readings[n-1]
		if o.ReadAgain != tt.again {
			t.Errorf("%s: read again %v, want %v; misread %.3f, changed %.3f: %q", tt.name, o.ReadAgain, tt.again, last.Doubt, o.Wear.PChange(), o.Sentence)
		}
		if !tt.again {
			continue
		}
		value := wear.FromMM(tt.sizes[n-1]).String()
		if !strings.HasPrefix(o.Sentence, "The reading of 1 Jan 2025, "+value+", does not fit the others: re-measure before acting") || !o.Changed.IsZero() || o.Condition != Watch {
			t.Errorf("%s: %s, changed %v, %q", tt.name, o.Condition, o.Changed, o.Sentence)
		}
		if x := taskOf(t, a, Measuring, "centre-front"); x.Due != d("2025-01-31") || !strings.HasPrefix(x.Reason, "read again: the reading of 1 Jan 2025, "+value) {
			t.Errorf("%s: due %v, %q", tt.name, x.Due, x.Reason)
		}
	}
}

// The same holds where the rate is hardly known, and where it changed already
// long before: then that change is no account of the last reading.
func TestOddAfterFewReadingsOrAChange(t *testing.T) {
	for _, tt := range []struct {
		name   string
		fitted bool
		load   float64
		sizes  []float64
		again  bool
	}{
		{"the third of three", false, 0, []float64{0.12, 0.14, 0.50}, true},
		{"the third of three, as the others", false, 0, []float64{0.12, 0.14, 0.17}, false},
		{"the fourth of four", true, 0, []float64{0.20, 0.22, 0.24, 0.43}, true},
		{"worn in within a year, then steady, then far off", true, 900, []float64{0.30, 0.32, 0.34, 0.36, 1.10}, true},
		{"worn in within a year, then steady, of unknown load", true, 0, []float64{0.30, 0.32, 0.34, 0.36, 1.10}, true},
		{"a change that two before it bear out", false, 200, []float64{0.10, 0.12, 0.14, 0.16, 0.34, 0.52, 0.70}, false},
		{"worn in within a year, then steady", true, 900, []float64{0.30, 0.32, 0.34, 0.36, 0.38}, false},
	} {
		c := alone()
		b := &c.Trains[0].Arbors[0].Bearings[0]
		b.Load, b.Watch, b.Act = tt.load, nil, limitAt(3)
		if !tt.fitted {
			b.FittedAt, b.Fitted = time.Time{}, 0
		}
		o := outlookOf(t, assess(c, book(read(2021, tt.sizes...)...), "2027-01-02"), "centre-front")
		n := len(tt.sizes)
		if o.ReadAgain != tt.again {
			t.Errorf("%s: read again %v; misread %.3f, changed %.3f: %q", tt.name, o.ReadAgain, o.Parts[0].Readings[n-1].Doubt, o.Wear.PChange(), o.Sentence)
		}
		if tt.again && o.Over {
			t.Errorf("%s: over on the strength of one reading", tt.name)
		}
	}
}

// Of every size that a last reading might have, none that is far off goes by
// without a word, and none near by is asked for again.
func TestNoOddReadingGoesByInSilence(t *testing.T) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.FittedAt, b.Fitted, b.Watch, b.Act = time.Time{}, 0, nil, limitAt(3)
	for size := 0.36; size < 2.5; size *= 1.06 {
		size := math.Round(1000*size) / 1000
		o := outlookOf(t, assess(c, book(read(2021, 0.30, 0.32, 0.34, 0.36, size)...), "2025-01-02"), "centre-front")
		told := o.ReadAgain || !o.Changed.IsZero()
		if size > 0.55 && !told {
			t.Errorf("%v mm goes by: misread %.3f, changed %.3f", size, o.Parts[0].Readings[4].Doubt, o.Wear.PChange())
		}
		if size < 0.40 && told {
			t.Errorf("%v mm: %q", size, o.Sentence)
		}
	}
}
