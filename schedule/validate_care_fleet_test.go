package schedule

import (
	"math"
	"strings"
	"testing"
	"time"

	"endshake/wear"
)

// cared spoils one thing of a clock that is cared for.
func cared(wrong func(f *Fleet, c *Clock)) func(*Fleet, *Clock) {
	return func(f *Fleet, c *Clock) {
		*c = caredFor(*c)
		f.Sites[0].Climate = climate()
		wrong(f, c)
	}
}

func TestClimateRefused(t *testing.T) {
	weather := func(f func(*Climate)) func(*Fleet, *Clock) {
		return cared(func(fl *Fleet, _ *Clock) { f(fl.Sites[0].Climate) })
	}
	for _, w := range []wrongFleet{
		{"Fahrenheit", weather(func(c *Climate) { c.Months[6] = 68 }), Invalid, "sites[0]", "a mean of 68 °C in July cannot be right"},
		{"colder than anywhere", weather(func(c *Climate) { c.Months[0] = -60.1 }), Invalid, "sites[0]", "in January cannot be right"},
		{"no number", weather(func(c *Climate) { c.Months[11] = math.NaN() }), Invalid, "sites[0]", "NaN °C in December"},
		{"endless", weather(func(c *Climate) { c.Months[11] = math.Inf(-1) }), Invalid, "sites[0]", "in December"},
		{"range below nothing", weather(func(c *Climate) { c.Daily = -1 }), Invalid, "sites[0]", "half a day's range of -1 °C"},
		{"range of a desert", weather(func(c *Climate) { c.Daily = 41 }), Invalid, "sites[0]", "use 0 to 40"},
		{"range that is no number", weather(func(c *Climate) { c.Daily = math.NaN() }), Invalid, "sites[0]", "use 0 to 40"},
		{"no source", weather(func(c *Climate) { c.Source = " " }), Invalid, "sites[0]", "climate has no source"},
		{"source on two lines", weather(func(c *Climate) { c.Source = "a\nb" }), Invalid, "sites[0]", "several lines"},
	} {
		w.check(t)
	}
}

func TestDrivenRefused(t *testing.T) {
	const going, strike = "clock pump-room: train going", "clock pump-room: train strike"
	train := func(i int, f func(*wear.Train)) func(*Fleet, *Clock) {
		return cared(func(_ *Fleet, c *Clock) { f(&c.Trains[i]) })
	}
	weight := func(i int, f func(*wear.Weight)) func(*Fleet, *Clock) {
		return train(i, func(t *wear.Train) { f(t.Weight) })
	}
	for _, w := range []wrongFleet{
		{"blows of a going train", weight(0, func(w *wear.Weight) { w.TurnBlows = 8 }), Invalid, going, "a going train makes no blows"},
		{"gears of a strike", weight(1, func(w *wear.Weight) { w.Gears, w.GearHours = []wear.Gear{{Wheel: 90, Pinion: 9}}, 1 }), Invalid, strike, "counted by blows"},
		{"hours of a strike", weight(1, func(w *wear.Weight) { w.TurnHours = 12 }), Invalid, strike, "give turnBlows"},
		{"wheel and pinion changed over", weight(0, func(w *wear.Weight) { w.Gears[0] = wear.Gear{Wheel: 10, Pinion: 120} }), Invalid, going, "write wheel first"},
		{"gears without hours", weight(0, func(w *wear.Weight) { w.GearHours = 0 }), Invalid, going, "needs both its wheels and the hours"},
		{"a fall alone", weight(1, func(w *wear.Weight) { *w = wear.Weight{Fall: mm(9000)} }), Invalid, strike, "a fall of 9.00 m (29 ft 6 in) gives no turns"},
		{"a fall of nothing much", weight(0, func(w *wear.Weight) { w.Fall = 5 }), Invalid, going, "turns of the barrel in a full wind cannot be right"},
		{"a barrel like a hair", weight(0, func(w *wear.Weight) { w.Barrel, w.Line = 1, 0 }), Invalid, going, "check fall, barrel and line"},
		{"a fall beyond any tower", weight(0, func(w *wear.Weight) { w.Fall = wear.MaxLength + 1 }), Invalid, going, "fall of the weight"},
		{"a barrel below nothing", weight(0, func(w *wear.Weight) { w.Barrel = -1 }), Invalid, going, "barrel of the weight"},
		{"too many parts of line", weight(0, func(w *wear.Weight) { w.Lines = 9 }), Invalid, going, "9 parts of line"},
		{"turns that are no number", weight(1, func(w *wear.Weight) { w.Turns = math.NaN() }), Invalid, strike, "NaN turns of a full wind"},
		{"endless blows", weight(1, func(w *wear.Weight) { w.TurnBlows = math.Inf(1) }), Invalid, strike, "blows to a turn"},
		{"a wind of years", weight(0, func(w *wear.Weight) { w.Turns, w.TurnHours = 9000, 9000 }), Invalid, going, "turns that runs"},
		{"a strike that lasts years", weight(1, func(w *wear.Weight) { w.Turns, w.TurnBlows = 9000, 900 }), Invalid, strike, "check the turns, and the gears or blows"},
		{"an electric weight", train(0, func(t *wear.Train) { t.Drive = wear.Electric }), Invalid, going, "an electric train has no weight"},
		{"a going train that strikes", train(0, func(t *wear.Train) { t.Striking = &wear.Striking{Hours: true} }), Invalid, going, "a going train does not strike"},
		{"a strike that never sounds", train(1, func(t *wear.Train) { t.Striking = &wear.Striking{} }), Invalid, strike, "never sounds"},
		{"silence at 24", train(1, func(t *wear.Train) { t.Striking.Silent[0] = 24 }), Invalid, strike, "use hours from 0 to 23"},
		{"neither strokes nor striking", train(1, func(t *wear.Train) { t.Striking = nil }), Invalid, "clock pump-room", "say how many strokes"},
		{"a meter of one figure", train(0, func(t *wear.Train) { t.MeterHours = 1 }), Invalid, going, "turns over at 1 h"},
		{"a meter below nothing", train(0, func(t *wear.Train) { t.MeterHours = -10000 }), Invalid, going, "turns over at -10000 h"},
		{"a meter that is no number", train(0, func(t *wear.Train) { t.MeterHours = math.NaN() }), Invalid, going, "turns over at NaN h"},
		{"an endless meter", train(0, func(t *wear.Train) { t.MeterHours = math.Inf(1) }), Invalid, going, "turns over at +Inf h"},
	} {
		w.check(t)
	}
}

func TestPointsRefused(t *testing.T) {
	const where, one = "clock pump-room", "clock pump-room: oil point centre"
	point := func(f func(*OilPoint)) func(*Fleet, *Clock) {
		return cared(func(_ *Fleet, c *Clock) { f(&c.Care.Points[0]) })
	}
	for _, w := range []wrongFleet{
		{"no code", point(func(p *OilPoint) { p.Code = "" }), Invalid, where + ": oil point", "the short name"},
		{"code with a comma", point(func(p *OilPoint) { p.Code = "a,b" }), Invalid, where + ": oil point", "small letters"},
		{"two alike", point(func(p *OilPoint) { p.Code = "clutch" }), Invalid, where, `two oil points are called "clutch"`},
		{"unknown train", point(func(p *OilPoint) { p.Train = "chime" }), NotFound, one, `names a train "chime" that is not described: it has going, strike`},
		{"unknown bearing", point(func(p *OilPoint) { p.Bearing = "fly" }), NotFound, one, `names a bearing "fly" that is not described`},
		{"bearing of another train", point(func(p *OilPoint) { p.Train = "strike" }), Invalid, one, "centre-front, which is not on the train"},
		{"unknown kind", point(func(p *OilPoint) { p.Kind = "butter" }), Invalid, one, `oil of kind "butter" is not known: use one of mineral oil`},
		{"unknown room", point(func(p *OilPoint) { p.Room = "attic" }), Invalid, one, `room "attic" is not known`},
		{"drops below nothing", point(func(p *OilPoint) { p.Drops = -1 }), Invalid, one, "-1 drops cannot be right"},
		{"a flood", point(func(p *OilPoint) { p.Drops = 1001 }), Invalid, one, "1001 drops"},
		{"drops that are no number", point(func(p *OilPoint) { p.Drops = math.NaN() }), Invalid, one, "NaN drops"},
		{"oil on a dry place", point(func(p *OilPoint) { p.Dry = true }), Invalid, one, "must stay dry and yet names an oil"},
		{"name on two lines", point(func(p *OilPoint) { p.Name = "a\nb" }), Invalid, one, "several lines"},
		{"broken text", point(func(p *OilPoint) { p.Why = "\xff" }), Invalid, one, "not valid UTF-8"},
		{"unknown room of all", cared(func(_ *Fleet, c *Clock) { c.Care.Room = "attic" }), Invalid, where, `room "attic" is not known: use one of closed case`},
		{"points without end", cared(func(_ *Fleet, c *Clock) { c.Care.Points = make([]OilPoint, 501) }), Invalid, where, "more than 500 oil points"},
	} {
		w.check(t)
	}
}

func TestLinesRefused(t *testing.T) {
	const where, one = "clock pump-room", "clock pump-room: line going-line"
	line := func(f func(*Line)) func(*Fleet, *Clock) {
		return cared(func(_ *Fleet, c *Clock) { f(&c.Care.Lines[0]) })
	}
	for _, w := range []wrongFleet{
		{"no code", line(func(l *Line) { l.Code = "" }), Invalid, where + ": line", "the short name"},
		{"two alike", cared(func(_ *Fleet, c *Clock) { c.Care.Lines = append(c.Care.Lines, c.Care.Lines[0]) }), Invalid, where, "two lines are called"},
		{"no train", line(func(l *Line) { l.Train = "" }), NotFound, where, `line going-line names a train "" that is not described`},
		{"an electric train", cared(func(_ *Fleet, c *Clock) { c.Trains[0].Weight, c.Trains[0].Drive = nil, wear.Electric }), Invalid, where, "has no weight to hang on a line"},
		{"diameter below nothing", line(func(l *Line) { l.Diameter = -1 }), Invalid, one, "check the unit"},
		{"diameter of a drainpipe", line(func(l *Line) { l.Diameter = mm(101) }), Invalid, one, "a diameter of 101 mm (4.0 in)"},
		{"wires below nothing", line(func(l *Line) { l.OuterWires = -1 }), Invalid, one, "-1 outer wires"},
		{"a thousand and one wires", line(func(l *Line) { l.OuterWires = 1001 }), Invalid, one, "1001 outer wires"},
		{"age below nothing", line(func(l *Line) { l.MostYears = -1 }), Invalid, one, "an age of -1 years"},
		{"age of a moment", line(func(l *Line) { l.MostYears = 1e-9 }), Invalid, one, "use half a year to 200"},
		{"age of a cathedral", line(func(l *Line) { l.MostYears = 201 }), Invalid, one, "use half a year to 200"},
		{"age that is no number", line(func(l *Line) { l.MostYears = math.NaN() }), Invalid, one, "NaN years"},
		{"age without a source", line(func(l *Line) { l.Source = "" }), Invalid, one, "the age of 20 years has no source"},
		{"fitted in a year to come", line(func(l *Line) { l.FittedAt = d("9999-01-01") }), Invalid, one, "fitted in the year 9999"},
		{"fitted in the year 1", line(func(l *Line) { l.FittedAt = d("0001-01-02") }), Invalid, one, "fitted in the year 1 "},
		{"name on two lines", line(func(l *Line) { l.Name = "a\nb" }), Invalid, one, "several lines"},
	} {
		w.check(t)
	}
}

func TestTimeAndSeasonsRefused(t *testing.T) {
	const where, one = "clock pump-room", "clock pump-room: season lamps"
	care := func(f func(*Care)) func(*Fleet, *Clock) { return cared(func(_ *Fleet, c *Clock) { f(&c.Care) }) }
	season := func(f func(*Season)) func(*Fleet, *Clock) { return care(func(k *Care) { f(&k.Seasons[0]) }) }
	for _, w := range []wrongFleet{
		{"tolerance of nothing", care(func(k *Care) { k.Tolerance.Seconds = 0 }), Invalid, where, "a tolerance of 0 s"},
		{"tolerance below nothing", care(func(k *Care) { k.Tolerance.Seconds = -60 }), Invalid, where, "a tolerance of -60 s"},
		{"half a day and more", care(func(k *Care) { k.Tolerance.Seconds = 43201 }), Invalid, where, "43,200 at most"},
		{"no number", care(func(k *Care) { k.Tolerance.Seconds = math.NaN() }), Invalid, where, "a tolerance of NaN s"},
		{"tolerance without a source", care(func(k *Care) { k.Tolerance.Source = "" }), Invalid, where, "the tolerance has no source"},
		{"tolerance's source on two lines", care(func(k *Care) { k.Tolerance.Source = "a\nb" }), Invalid, where, "several lines"},
		{"beat of a watch", care(func(k *Care) { k.Pendulum.Beat = 0.09 }), Invalid, where, "0.09 s to the beat"},
		{"beat of a crane", care(func(k *Care) { k.Pendulum.Beat = 10.1 }), Invalid, where, "use 0.1 to 10"},
		{"beat that is no number", care(func(k *Care) { k.Pendulum.Beat = math.NaN() }), Invalid, where, "NaN s to the beat"},
		{"pitch below nothing", care(func(k *Care) { k.Pendulum.Pitch = -1 }), Invalid, where, "rating nut's pitch"},
		{"pitch of a jack", care(func(k *Care) { k.Pendulum.Pitch = mm(21) }), Invalid, where, "rating nut's pitch of 21 mm (0.827 in)"},
		{"bob below nothing", care(func(k *Care) { k.Pendulum.Bob = -1 }), Invalid, where, "a bob of -1 kg"},
		{"bob of a bell", care(func(k *Care) { k.Pendulum.Bob = 5001 }), Invalid, where, "a bob of 5001 kg"},
		{"bob that is no number", care(func(k *Care) { k.Pendulum.Bob = math.NaN() }), Invalid, where, "a bob of NaN kg"},
		{"unknown way", care(func(k *Care) { k.Change = "by magic" }), Invalid, where, `"by magic" is not known: use one of stop an hour`},
		{"note with a bell in it", care(func(k *Care) { k.ChangeNote = "\a" }), Invalid, where, "control character"},

		{"season without a code", season(func(s *Season) { s.Code = "" }), Invalid, where + ": season", "the short name"},
		{"two seasons alike", care(func(k *Care) { k.Seasons = append(k.Seasons, k.Seasons[0]) }), Invalid, where, "two seasons are called"},
		{"season without a name", season(func(s *Season) { s.Name = " " }), Invalid, one, "has no name"},
		{"season without a source", season(func(s *Season) { s.Source = "" }), Invalid, one, "has no source"},
		{"30 February", season(func(s *Season) { s.To.Day = 30 }), Invalid, one, "10-15 to 02-30 are not days"},
		{"no month", season(func(s *Season) { s.From = MonthDay{} }), Invalid, one, "from 00-00"},
		{"a thirteenth month", season(func(s *Season) { s.From.Month = 13 }), Invalid, one, "from 13-15"},
		{"day below nothing", season(func(s *Season) { s.From.Day = -1 }), Invalid, one, "not days of the year"},
		{"unknown caution", season(func(s *Season) { s.Hazard = []Hazard{"ghosts"} }), Invalid, one, `caution "ghosts"`},
		{"name on two lines", season(func(s *Season) { s.Name = "a\nb" }), Invalid, one, "several lines"},
		{"reason that is a book", season(func(s *Season) { s.Reason = strings.Repeat("x", 4001) }), Invalid, one, "too long"},
	} {
		w.check(t)
	}
	// A day is real where some year has it: the twelve months have 366.
	n := 0
	for m := time.Month(-1); m < 15; m++ {
		for day := -2; day < 40; day++ {
			if (MonthDay{m, day}).real() {
				n++
			}
		}
	}
	if n != 366 {
		t.Errorf("%d days of the year", n)
	}
}

func TestNewPoliciesRefused(t *testing.T) {
	const where = "clock pump-room"
	policy := func(i int, f func(*Policy)) func(*Fleet, *Clock) {
		return cared(func(_ *Fleet, c *Clock) { f(&c.Policies[i]) })
	}
	for _, w := range []wrongFleet{
		{"a look at lines by hours", policy(1, func(p *Policy) { p.Days, p.RunHours = 0, 900 }), Invalid, where, "a policy for line inspection gives days"},
		{"a look at lines that never comes", policy(2, func(p *Policy) { p.Days = 0 }), Invalid, where, "no interval"},
		{"a look at lines of a bearing", policy(2, func(p *Policy) { p.Bearing = "centre-front" }), Invalid, where, "no run-hours or bearing"},
		{"a line that is not there", policy(1, func(p *Policy) { p.Line = "chain" }), Invalid, where, `names a line "chain" that is not described`},
		{"a line of another train", policy(1, func(p *Policy) { p.Train = "strike" }), Invalid, where, `a line "going-line", which is not on the train "strike"`},
		{"oiling of a line", policy(0, func(p *Policy) { p.Line = "going-line" }), Invalid, where, "only a line inspection is of a line"},
		{"a visit by hours", policy(3, func(p *Policy) { p.RunHours = 9000 }), Invalid, where, "a policy for yearly visit gives days"},
		{"a visit to a train", policy(3, func(p *Policy) { p.Train = "going" }), Invalid, where, "is of the whole clock"},
		{"a visit before the last", policy(3, func(p *Policy) { p.Days = -365 }), Invalid, where, "days must be between"},
		{"a visit in 200 years", policy(3, func(p *Policy) { p.Days = 73051 }), Invalid, where, "days must be between"},
		{"a job of days", policy(3, func(p *Policy) { p.Minutes = 1441 }), Invalid, where, "a job of 1441 minutes"},
		{"a job below nothing", policy(3, func(p *Policy) { p.Minutes = -1 }), Invalid, where, "a job of -1 minutes"},
		{"an interval for a lock", policy(3, func(p *Policy) { p.Task = Locked }), Invalid, where, `a policy for "lock" is not known`},
		{"an interval for the time change", policy(3, func(p *Policy) { p.Task = TimeChange }), Invalid, where, "is not known: use one of winding, oiling"},
		{"two for all lines", cared(func(_ *Fleet, c *Clock) { c.Policies = append(c.Policies, c.Policies[2]) }), Invalid, where, "two policies for line inspection"},
	} {
		w.check(t)
	}
	if err := spoilt(cared(func(*Fleet, *Clock) {})).Validate(); err != nil {
		t.Errorf("unspoilt: %v", err)
	}
}

// Two figures for the same that differ by more than a quarter are refused, both
// named; by less they are not.
func TestContradictingWeights(t *testing.T) {
	going := func(reserve time.Duration, w wear.Weight) error {
		return validateDriven("x", wear.Train{Code: "going", Kind: wear.Going, Drive: wear.HandWound, Reserve: reserve, Weight: &w})
	}
	gears := []wear.Gear{{Wheel: 120, Pinion: 40}} // three hours a turn
	for _, tt := range []struct {
		reserve time.Duration
		w       wear.Weight
		says    string
	}{
		{240 * time.Hour, wear.Weight{Turns: 64, TurnHours: 3}, ""},
		{241 * time.Hour, wear.Weight{Turns: 64, TurnHours: 3}, "a stated reserve of 241 h does not fit the 192 h"},
		{0, wear.Weight{Turns: 64, TurnHours: 3.75, Gears: gears, GearHours: 1}, ""},
		{0, wear.Weight{Turns: 64, TurnHours: 3.8, Gears: gears, GearHours: 1}, "3.8 h does not fit the 3 h that its gears give"},
		{0, wear.Weight{Turns: 10, TurnHours: 3, Fall: mm(9144), Barrel: mm(280)}, ""},
		{0, wear.Weight{Turns: 20, TurnHours: 3, Fall: mm(9144), Barrel: mm(280)}, "a full wind of 20 turns does not fit the 10.4"},
		{0, wear.Weight{Turns: 64, TurnHours: 0.01}, "use a minute at least"},
		{0, wear.Weight{Turns: 10, TurnHours: 0.05}, "that runs 30m0s cannot be right"},
		{time.Minute, wear.Weight{Turns: 10}, "use an hour at least"},
	} {
		err := going(tt.reserve, tt.w)
		if tt.says != "" {
			if err == nil || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("%v, %+v: %v, want %q", tt.reserve, tt.w, err, tt.says)
			}
		} else if err != nil {
			t.Errorf("%v, %+v: %v", tt.reserve, tt.w, err)
		}
	}
	for strokes, ok := range map[float64]bool{0: true, 156: true, 157: true, 158: false, 100: false} {
		tr := wear.Train{Code: "strike", Kind: wear.Strike, Drive: wear.HandWound, StrokesPerDay: strokes, Striking: &wear.Striking{Hours: true}}
		if err := validateDriven("x", tr); (err == nil) != ok || err != nil && !strings.Contains(err.Error(), "leave out strokesPerDay") {
			t.Errorf("%v strokes a day beside 156: %v", strokes, err)
		}
		if tr.Blows() != 156 {
			t.Errorf("%v strokes a day beside a striking of 156: %v blows", strokes, tr.Blows())
		}
	}
}
