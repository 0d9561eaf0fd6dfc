package schedule

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// wornBy is a clock whose bush is about 0.60 mm in 2025, and its log.
func wornBy() (Clock, []Entry) {
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act = nil, limitAt(0.80)
	return c, book(read(2021, 0.20, 0.30, 0.40, 0.50)...)
}

func logged(c Clock, log []Entry, when string, changes ...change) error {
	return Validate(did(Measured, when, changes...), fleetOf("UTC", c), log, Model{}, utc("2026-06-01"))
}

// A slip of the unit or the decimal point is named and asked back: an inch is
// 25.4 mm (international yard and pound agreement, 1959).
func TestSlipsAreAskedBack(t *testing.T) {
	c, log := wornBy()
	for _, tt := range []struct {
		size float64
		want string // empty: taken as it is
	}{
		{0.60, ""}, {0.55, ""}, {0.70, ""}, {0.50, ""},
		{15.24, "15.24 mm (0.600 in) does not fit: about 0.59 mm (23.2 thou) was expected. Was it 0.60 mm, 23.6 thou (0.6 mm written as inches)? If it is right as written, say that you are sure."},
		{0.024, "0.024 mm (0.9 thou) does not fit: about 0.59 mm (23.2 thou) was expected. Was it 0.61 mm, 24.0 thou (0.024 in written as millimetres)?"},
		{6.1, "6.10 mm (240.2 thou) does not fit: about 0.59 mm (23.2 thou) was expected. Was it 0.61 mm, 24.0 thou (the decimal point)?"},
		{0.06, "0.06 mm (2.4 thou) does not fit: about 0.59 mm (23.2 thou) was expected. Was it 0.60 mm, 23.6 thou (the decimal point)?"},
		{3.0, "3.00 mm (118.1 thou) does not fit: about 0.59 mm (23.2 thou) was expected. Check the unit and the point. If it is right"},
		{0.90, "0.90 mm (35.4 thou) does not fit what was read before: about 0.59 mm (23.2 thou) was expected. Read it again. If it is right as written"},
		{1.5, "Was it 0.591 mm, 23.3 thou (59.1 hundredths of a millimetre written as thou)?"},
		{0.30, "0.30 mm (11.8 thou) does not fit what was read before: about 0.59 mm (23.2 thou) was expected. If a part was renewed, log the repair first; else read it again."},
	} {
		err := logged(c, log, "2025-01-01", gave(tt.size))
		if tt.want == "" {
			if err != nil {
				t.Errorf("%v mm: %v", tt.size, err)
			}
			continue
		}
		refused(t, err, Doubtful, "value", tt.want)
		if err := logged(c, log, "2025-01-01", gave(tt.size), func(e *Entry) { e.Sure = true }); err != nil {
			t.Errorf("%v mm, and sure: %v", tt.size, err)
		}
	}
	// What cannot be is refused however sure.
	for _, size := range []float64{-0.1, 100.1} {
		refused(t, logged(c, log, "2025-01-01", gave(size), func(e *Entry) { e.Sure = true }), Invalid, "value", "reading: ")
	}
	refused(t, Validate(did(Oiled, "2025-01-01", func(e *Entry) { e.Sure = true }), fleetOf("UTC", c), log, Model{}, utc("2026-06-01")), Invalid, "sure", "noted, measured, stopped, not for oiled")
}

// What is expected comes from the log as it stood when the reading was taken,
// without the one that it corrects.
func TestWhatIsExpected(t *testing.T) {
	c, log := wornBy()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	later := book(append(read(2021, 0.20, 0.30, 0.40, 0.50), did(Repaired, "2025-06-01", left(0.10)))...)
	for _, tt := range []struct {
		name string
		log  []Entry
		when string
		size float64
		want string
	}{
		{"the new bush", later, "2025-06-02", 0.11, ""},
		{"before the new bush", later, "2025-05-30", 0.64, ""},
		{"the size of the old bush", later, "2025-06-02", 6.1, "6.10 mm (240.2 thou) does not fit: about 0.10 mm (3.9 thou) was expected. Was it 0.061 mm, 2.4 thou (the decimal point)?"},
		{"a tenth of a tenth is too little to ask about", later, "2025-06-02", 0.01, ""},
		{"years ago", log, "2021-06-01", 2.4, "about 0.23 mm (9.1 thou) was expected. Was it 0.24 mm, 9.4 thou (the decimal point)?"},
		{"before any reading", nil, "2020-06-01", 1.1, "about 0.11 mm (4.3 thou) was expected. Was it 0.11 mm, 4.3 thou (the decimal point)?"},
	} {
		err := logged(c, tt.log, tt.when, gave(tt.size))
		if tt.want == "" && err != nil {
			t.Errorf("%s: %v", tt.name, err)
		} else if tt.want != "" {
			refused(t, err, Doubtful, "value", tt.want)
		}
	}
	// A slip that is in the log already does not speak for itself.
	slip := book(append(read(2021, 0.20, 0.30, 0.40, 0.50), did(Measured, "2025-01-01", gave(0.06), called("slip")))...)
	if err := logged(c, slip, "2025-01-01", gave(0.60), instead("slip", "the decimal point")); err != nil {
		t.Errorf("the right figure: %v", err)
	}
	refused(t, logged(c, slip, "2025-01-01", gave(6.0), instead("slip", "the unit")), Doubtful, "value", "Was it 0.60 mm, 23.6 thou (the decimal")
	// A renewed part that nobody logged.
	b.Act = limitAt(4)
	refused(t, logged(c, book(read(2021, 1.5, 1.8, 2.1, 2.4)...), "2025-01-01", gave(0.9)), Doubtful, "value",
		"thou) was expected. If a part was renewed, log the repair first; else check the unit and the point.")
	// With nothing to expect, the limit still tells what no bearing ever is.
	b.FittedAt, b.Fitted, b.Act = utc("0001-01-01"), 0, limitAt(0.35)
	refused(t, logged(c, nil, "2025-01-01", gave(90)), Doubtful, "value", "90 mm (3.543 in) is more than 8 times the limit of 0.35 mm (13.8 thou): check the unit and the point. If it is right")
	for _, size := range []float64{0.70, 0.02} {
		if err := logged(c, nil, "2025-01-01", gave(size)); err != nil {
			t.Errorf("%v mm on a bearing never measured: %v", size, err)
		}
	}
	b.Act = nil
	if err := logged(c, nil, "2025-01-01", gave(50)); err != nil {
		t.Errorf("no limit, nothing to expect: %v", err)
	}
}

// A log that does not fit together asks back by what of it does; where nothing
// is known of the running it asks nothing.
func TestUnfitLogAsksBack(t *testing.T) {
	c, log := wornBy()
	unfit := append(log, did(Stopped, "2024-06-01", by(Fault), since("2024-06-01"), called("a")), did(Stopped, "2024-07-01", by(Fault), called("b")))
	refused(t, logged(c, unfit, "2025-01-01", gave(6.1)), Doubtful, "value", "Was it 0.61 mm, 24.0 thou (the decimal point)?")
	c.Trains[0].Reserve = -1
	if err := logged(c, log, "2025-01-01", gave(6.1)); err != nil {
		t.Error(err)
	}
}

// What the fleet has taught is what readings are held against.
func TestAskedBackByTheModel(t *testing.T) {
	c, log := wornBy()
	params := wear.DefaultParams()
	params.C = 40 // gauges that are no good
	refused(t, logged(c, log, "2025-01-01", gave(2)), Doubtful, "value", "2.00 mm (78.7 thou) does not fit")
	e := did(Measured, "2025-01-01", gave(2))
	if err := Validate(e, fleetOf("UTC", c), log, Model{Params: &params}, utc("2026-06-01")); err != nil {
		t.Errorf("by a gauge that is good to 0.4 mm: %v", err)
	}
}

// Nothing within three deviations, or a tenth of a millimetre, of what is
// expected is ever asked back; and every question is a sentence that names what
// was written.
func TestAskedBackOnlyFarOff(t *testing.T) {
	c, log := wornBy()
	b, arbor, tr, _ := c.Bearing("centre-front")
	r := rand.New(rand.NewPCG(4, 2))
	asked := 0
	for range 300 {
		size := math.Exp(r.NormFloat64()*1.5) * 0.6
		size = math.Round(min(size, 90)*1000) / 1000
		e := did(Measured, "2025-01-01", gave(size))
		f := foresee(e, c, fleetOf("UTC", c).Sites[0], log, Model{}, b, arbor, tr)
		if !f.known {
			t.Fatal("nothing is expected")
		}
		want := f.post.Forecast(f.at, 0.01)
		err := logged(c, log, "2025-01-01", gave(size))
		off := math.Abs(size - want.Mean)
		if err != nil && (off < 0.1 || off < 3*want.SD) && size < 8*0.8 {
			t.Errorf("%v mm, expected %.3f ± %.3f: %v", size, want.Mean, want.SD, err)
		}
		if err != nil {
			asked++
			refused(t, err, Doubtful, "value", mm(size).String())
		}
		if err == nil && off > 1 && off > 10*want.SD {
			t.Errorf("%v mm was taken, expected %.3f ± %.3f", size, want.Mean, want.SD)
		}
	}
	if asked < 30 {
		t.Errorf("%d of 300 asked back", asked)
	}
}

// The right figure is found by the nearest slip, and none is named that leaves
// it as far off as three deviations.
func TestSlipOf(t *testing.T) {
	for _, tt := range []struct {
		written, mean, sd float64
		want              string
	}{
		{12.7, 0.50, 0.02, "0.50 mm, 19.7 thou (0.5 mm written as inches)"},
		{0.02, 0.50, 0.02, "0.508 mm, 20.0 thou (0.02 in written as millimetres)"},
		{5, 0.50, 0.02, "0.50 mm, 19.7 thou (the decimal point)"},
		{0.05, 0.50, 0.02, "0.50 mm, 19.7 thou (the decimal point)"},
		{5.5, 0.50, 0.02, "0.55 mm, 21.7 thou (the decimal point)"}, // 2.5 deviations
		{5.7, 0.50, 0.02, ""}, // 3.5 deviations
		{50, 0.50, 0.02, "0.50 mm, 19.7 thou (the decimal point)"}, {70, 0.50, 0.02, ""},
		{2, 0.14, 0.06, "0.20 mm, 7.9 thou (the decimal point)"}, // 0.079 mm by the inch is as near: 1.02 and 1 deviations
		{0, 0.50, 0.02, ""},
	} {
		words, ok := slipOf(mm(tt.written), tt.written, wear.Level{Mean: tt.mean, SD: tt.sd})
		if ok != (tt.want != "") || words != tt.want {
			t.Errorf("%v mm for %v ± %v: %q, want %q", tt.written, tt.mean, tt.sd, words, tt.want)
		}
	}
}

// A renewed part that nobody logged may look like a slip: the question names
// both. Above what was expected no part was renewed.
func TestRenewedOrSlip(t *testing.T) {
	c, _ := wornBy()
	log := book(read(2021, 0.40, 0.50, 0.60, 0.70)...)
	err := logged(c, log, "2024-02-01", gave(0.07))
	refused(t, err, Doubtful, "value", "Was it 0.70 mm, 27.6 thou (the decimal point)? If a part was renewed, log the repair first. If it is right as written, say that you are sure.")
	err = logged(c, log, "2024-02-01", gave(7))
	refused(t, err, Doubtful, "value", "Was it 0.70 mm, 27.6 thou (the decimal point)? If it is right as written")
	if strings.Contains(err.Error(), "renewed") {
		t.Errorf("larger than expected, and yet %q", err)
	}
	mended := book(append(read(2021, 0.40, 0.50, 0.60, 0.70), did(Repaired, "2024-01-15", left(0.07)))...)
	if err := logged(c, mended, "2024-02-01", gave(0.07)); err != nil {
		t.Errorf("with the repair logged first: %v", err)
	}
}

// The first reading of a part that nothing foretells is held against its limit:
// beyond twice that it is asked back, where a slip would explain it. 5.08 mm is
// 0.20 in (an inch is 25.4 mm: international yard and pound agreement, 1959).
func TestSlipInTheFirstReading(t *testing.T) {
	for _, tt := range []struct {
		name       string
		watch, act *wear.Limit
		size       float64
		want       string // empty: taken as it is
	}{
		{"an inch taken for a millimetre", nil, limitAt(0.80), 5.08, "5.08 mm (200.0 thou) is more than 2 times the limit of 0.80 mm (31.5 thou), and this part was never measured before. Was it 0.20 mm, 7.9 thou (0.2 mm written as inches), or 0.508 mm, 20.0 thou (the decimal point)? If it is right as written, say that you are sure."},
		{"the decimal point alone would put it below", nil, limitAt(0.30), 2, "Was it 0.079 mm, 3.1 thou (0.079 mm written as inches), or 0.20 mm, 7.9 thou (the decimal point)?"},
		{"the inch alone would", nil, limitAt(0.80), 9, "Was it 0.354 mm, 13.9 thou (0.354 mm written as inches)? If"},
		{"a limit to watch is all there is", limitAt(0.40), nil, 2.5, "more than 2 times the limit of 0.40 mm (15.7 thou)"},
		{"no slip would put it below", nil, limitAt(0.80), 30, "30 mm (1.181 in) is more than 8 times the limit of 0.80 mm (31.5 thou): check the unit and the point."},
		{"worn to its limit", nil, limitAt(0.80), 0.80, ""},
		{"worn past its limit", nil, limitAt(0.80), 1.20, ""},
		{"worn to twice its limit", nil, limitAt(0.80), 1.60, ""},
		{"sound", limitAt(0.40), limitAt(0.80), 0.20, ""},
		{"no limit", nil, nil, 5.08, ""},
	} {
		c := alone()
		b := &c.Trains[0].Arbors[0].Bearings[0]
		b.FittedAt, b.Fitted, b.Watch, b.Act = time.Time{}, 0, tt.watch, tt.act
		err := logged(c, nil, "2025-01-01", gave(tt.size))
		if tt.want == "" {
			if err != nil {
				t.Errorf("%s: %v", tt.name, err)
			}
			continue
		}
		refused(t, err, Doubtful, "value", tt.want)
		if err := logged(c, nil, "2025-01-01", gave(tt.size), func(e *Entry) { e.Sure = true }); err != nil {
			t.Errorf("%s, and sure: %v", tt.name, err)
		}
		// Once one reading is in, it is what the next is held against.
		if err := logged(c, book(did(Measured, "2024-12-01", gave(tt.size))), "2025-01-01", gave(tt.size)); err != nil && tt.size <= absurd*0.80 {
			t.Errorf("%s, and read so before: %v", tt.name, err)
		}
	}
	// Of a part known when fitted it is asked only if that does not foretell it.
	c := alone()
	b := &c.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act, b.Load = nil, limitAt(0.30), 3000
	refused(t, logged(c, nil, "2021-01-01", gave(0.8)), Doubtful, "value", "0.80 mm (31.5 thou) is more than 2 times the limit of 0.30 mm (11.8 thou)")
	f := foresee(did(Measured, "2026-01-01", gave(0.7)), c, fleetOf("UTC", c).Sites[0], nil, Model{}, *b, c.Trains[0].Arbors[0], c.Trains[0])
	if want := f.post.Forecast(f.at, 0.01); math.Abs(0.7-want.Mean) > slipNear*want.SD || !f.known {
		t.Fatalf("0.70 mm is not foretold by %+v", want)
	}
	if err := logged(c, nil, "2026-01-01", gave(0.7)); err != nil {
		t.Errorf("as fast wear foretells: %v", err)
	}
}

// The slips that would bring a size below a limit are named, and no others.
func TestSlipsBelow(t *testing.T) {
	for _, tt := range []struct {
		written, limit float64
		want           string
	}{
		{5.08, 0.80, "0.20 mm, 7.9 thou (0.2 mm written as inches), or 0.508 mm, 20.0 thou (the decimal point)"},
		{9, 0.80, "0.354 mm, 13.9 thou (0.354 mm written as inches)"},
		{8, 0.80, "0.315 mm, 12.4 thou (0.315 mm written as inches)"}, // a tenth of it is at the limit, not below
		{30, 0.80, ""},
		{0, 0.80, ""},
	} {
		if got := slipsBelow(mm(tt.written), mm(tt.limit)); got != tt.want {
			t.Errorf("%v mm, limit %v: %q, want %q", tt.written, tt.limit, got, tt.want)
		}
	}
}

// TestAskedLikeThePage: a reading that the page would mark "read again" is asked
// back when it is logged, also where it is off by less than a slip of ten, and
// the slip is named where one fits; hundredths of a millimetre written as thou
// are 2.54 times too large, thou written as millimetres 39.37 times.
func TestAskedLikeThePage(t *testing.T) {
	log := book(read(2021, 0.24, 0.25, 0.26, 0.27, 0.28, 0.29, 0.30, 0.31)...)
	try := func(value float64, sure bool) error {
		e := did(Measured, "2029-01-01", gave(value))
		e.Sure = sure
		return validateFit(e, alone(), Site{}, log, Model{})
	}
	for _, tt := range []struct {
		value float64
		want  string
	}{
		{0.838, "Was it 0.33 mm, 13.0 thou (33 hundredths of a millimetre written as thou)?"}, {12.6, "Was it 0.32 mm, 12.6 thou (12.6 thou written as millimetres)?"},
		{3.2, "Was it 0.32 mm, 12.6 thou (the decimal point)?"}, {32, "Was it 0.32 mm, 12.6 thou (the decimal point)?"}, {0.6, "Read it again."},
	} {
		err := try(tt.value, false)
		if CodeOf(err) != Doubtful || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "about 0.32 mm (12.6 thou) was expected") {
			t.Errorf("%v mm: %v, want %q", tt.value, err, tt.want)
		}
		if err := try(tt.value, true); err != nil {
			t.Errorf("%v mm, sure: %v", tt.value, err)
		}
	}
	for _, honest := range []float64{0.28, 0.30, 0.32, 0.35, 0.38} {
		if err := try(honest, false); err != nil {
			t.Errorf("%v mm: %v", honest, err)
		}
	}
}

// TestLateStaysLate: to measure a worn-out bearing again does not make the work
// any less late.
func TestLateStaysLate(t *testing.T) {
	sizes := []float64{0.12, 0.20, 0.28, 0.37}
	once := assess(alone(), book(read(2020, sizes...)...), "2024-01-02")
	again := assess(alone(), book(read(2020, append(sizes, 0.46, 0.54)...)...), "2025-02-02")
	first, later := taskOf(t, once, NearLimit, "centre-front"), taskOf(t, again, NearLimit, "centre-front")
	if later.State != Late || later.Latest.After(d("2023-01-01")) || later.Latest.Before(d("2022-01-01")) {
		t.Errorf("found over in 2023: %s, %s at first; %s, %s two readings later", first.State, windowOf(first), later.State, windowOf(later))
	}
}

// Nothing wears in a day: two readings of a part differ by what their gauges
// make of it, or one of them is asked back, however few there are.
func TestReadTwice(t *testing.T) {
	bare := alone()
	b := &bare.Trains[0].Arbors[0].Bearings[0]
	b.Watch, b.Act, b.FittedAt, b.Fitted = nil, limitAt(0.80), utc("0001-01-01"), 0
	log := func(more ...Entry) []Entry {
		return book(append([]Entry{did(Measured, "2025-01-01 10:00", gave(0.30), called("first"))}, more...)...)
	}
	far := againFar * math.Hypot(.01, .01) // the gauge of these readings
	for _, tt := range []struct {
		name string
		log  []Entry
		when string
		size float64
		more []change
		want bool
	}{
		{"much less within the hour", log(), "2025-01-01 10:40", 0.16, nil, true},
		{"much more the same day", log(), "2025-01-01 18:00", 0.44, nil, true},
		{"much less, copied in before it", log(), "2025-01-01 09:20", 0.16, nil, true},
		{"within what the gauges explain", log(), "2025-01-01 10:40", 0.30 + far - .002, nil, false},
		{"just beyond it", log(), "2025-01-01 10:40", 0.30 + far + .002, nil, true},
		{"two days on", log(), "2025-01-03 10:40", 0.16, nil, false},
		{"repaired between", log(did(Repaired, "2025-01-01 10:20", left(0.15))), "2025-01-01 10:40", 0.16, nil, false},
		{"and sure", log(), "2025-01-01 10:40", 0.16, []change{func(e *Entry) { e.Sure = true }}, false},
		{"the one that it corrects", log(), "2025-01-01 10:00", 0.16, []change{instead("first", "misread")}, false},
	} {
		err := logged(bare, tt.log, tt.when, append([]change{gave(tt.size)}, tt.more...)...)
		if !tt.want {
			if err != nil {
				t.Errorf("%s: %v", tt.name, err)
			}
			continue
		}
		refused(t, err, Doubtful, "value", "differs from the 0.30 mm (11.8 thou) read at 10:00 on 1 Jan 2025 by more than the two gauges can explain. ")
	}
}
