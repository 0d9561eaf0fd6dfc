package wear

import (
	"math/rand/v2"
	"strings"
	"testing"
)

// Hours alone are 156 blows a day, with half-hours 180, and in twelve hours of
// a day 78 (Beckett 1903, p. 196, and arithmetic); Westminster quarters are 40
// an hour, 960 a day (arithmetic).
func TestBlowsOfADay(t *testing.T) {
	for _, c := range []struct {
		name string
		s    Striking
		want int
	}{
		{"hours", Striking{Hours: true}, 156},
		{"hours and half-hours", Striking{Hours: true, Half: 1}, 180},
		{"hours, half of the day", Striking{Hours: true, Silent: [2]int{0, 12}}, 78},
		{"and the other half", Striking{Hours: true, Silent: [2]int{12, 0}}, 78},
		{"quarters", Striking{Quarters: [4]int{4, 8, 12, 16}}, 960},
		{"silent over midnight", Striking{Hours: true, Silent: [2]int{22, 7}}, 156 - (10 + 11 + 12 + 1 + 2 + 3 + 4 + 5 + 6)},
		{"the hammer held off", Striking{Hours: true, Silent: [2]int{22, 7}, Lifted: true}, 156},
		{"nothing", Striking{}, 0},
	} {
		if got := c.s.PerDay(); got != c.want {
			t.Errorf("%s: %d blows, want %d", c.name, got, c.want)
		}
	}
}

// Moved on by eleven hours from just after two it strikes 76: all twelve hours
// but two; so from 66, just after twelve, to 77, just after one (arithmetic).
func TestAdvance(t *testing.T) {
	s := Striking{Hours: true, Silent: [2]int{22, 7}} // by hand it strikes at night too
	for hour := range 24 {
		last := (hour+11)%12 + 1
		for _, minute := range []int{0, 1, 59} {
			if got := s.Advance(hour*60+minute, 11); got != 78-last {
				t.Errorf("from %d:%02d: %d blows, want %d", hour, minute, got, 78-last)
			}
		}
	}
	if got := s.Advance(2*60+5, 11); got != 76 {
		t.Errorf("from five past two: %d", got)
	}
}

// Blows between two minutes are those of all minutes between, one by one.
func TestBlowsBetween(t *testing.T) {
	const seed = 4
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 400 {
		s := Striking{Hours: rng.IntN(2) == 0, Half: rng.IntN(3), Quarters: [4]int{rng.IntN(5), rng.IntN(9), 0, rng.IntN(17)},
			Silent: [2]int{rng.IntN(24), rng.IntN(24)}, Lifted: rng.IntN(4) == 0}
		from := rng.IntN(6000) - 3000
		to := from + rng.IntN(4000) - 200
		want := 0
		for m := from + 1; m <= to; m++ {
			want += s.At(m)
		}
		if got := s.Between(from, to); got != want {
			t.Fatalf("%+v: from %d to %d %d blows, want %d", s, from, to, got, want)
		}
	}
}

func TestStrikingValidate(t *testing.T) {
	for want, s := range map[string]Striking{
		"":                       {Hours: true, Silent: [2]int{22, 7}},
		"use hours from 0 to 23": {Hours: true, Silent: [2]int{22, 24}},
		"silence from -1 to":     {Hours: true, Silent: [2]int{-1, 7}},
		"-1 blows at a quarter":  {Hours: true, Half: -1},
		"101 blows at a quarter": {Quarters: [4]int{101}},
		"a striking that never sounds: say whether it strikes hours": {},
	} {
		err := s.Validate()
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", s, err, want)
		}
	}
}

// FuzzStriking: any striking is refused, or its blows are as many a day as in
// any day, and never fewer than none.
func FuzzStriking(f *testing.F) {
	f.Add(true, 1, 4, 16, 22, 7, false, 100)
	f.Add(false, 0, 1, 0, 5, 5, true, -7)
	f.Fuzz(func(t *testing.T, hours bool, half, first, last, from, to int, lifted bool, minute int) {
		s := Striking{Hours: hours, Half: half, Quarters: [4]int{first, 0, 0, last}, Silent: [2]int{from, to}, Lifted: lifted}
		if s.Validate() != nil {
			return
		}
		minute %= 1 << 40
		if day := s.Between(minute, minute+24*60); day != s.PerDay() || day <= 0 {
			t.Fatalf("%+v: %d blows in a day from %d, %d a day", s, day, minute, s.PerDay())
		}
		if a, b := s.Between(minute, minute+500), s.Between(minute+500, minute+1000); a < 0 || a+b != s.Between(minute, minute+1000) {
			t.Fatalf("%+v: %d and %d blows from %d", s, a, b, minute)
		}
	})
}
