package schedule

import (
	"encoding/json"
	"testing"
	"testing/quick"
	"time"
)

func TestParseDate(t *testing.T) {
	for _, tt := range []struct {
		in   string
		want Date // zero: refused
	}{
		{"2026-11-25", Date{2026, 11, 25}},
		{"2024-02-29", Date{2024, 2, 29}},
		{"1850-01-01", Date{1850, 1, 1}},
		{"2023-02-29", Date{}}, // no leap year
		{"1900-02-29", Date{}}, // nor a century that 400 does not divide (Gregorian reform of 1582)
		{"2026-13-01", Date{}},
		{"2026-00-10", Date{}},
		{"2026-04-31", Date{}},
		{"2026-4-3", Date{}},
		{"26-04-03", Date{}},
		{"03/04/2025", Date{}}, // could be two days
		{"3 Apr 2025", Date{}},
		{"2026-11-25T10:00:00Z", Date{}},
		{" 2026-11-25", Date{}},
		{"-2026-11-25", Date{}},
		{"tomorrow", Date{}},
		{"", Date{}},
	} {
		got, err := ParseDate(tt.in)
		if (err == nil) != (tt.want != Date{}) || got != tt.want {
			t.Errorf("%q: got %v, %v", tt.in, got, err)
		}
	}
}

func TestDateArithmetic(t *testing.T) {
	for _, tt := range []struct {
		from string
		n    int
		want string
	}{
		{"2024-02-28", 1, "2024-02-29"},
		{"2024-02-28", 2, "2024-03-01"},
		{"2023-02-28", 1, "2023-03-01"},
		{"2000-02-28", 1, "2000-02-29"}, // 400 divides it
		{"2024-03-01", -1, "2024-02-29"},
		{"2023-12-31", 1, "2024-01-01"},
		{"2024-01-01", 366, "2025-01-01"},
		{"2023-01-01", 365, "2024-01-01"},
		{"2026-03-28", 7, "2026-04-04"}, // over the change to summer time in Europe
		{"2026-10-24", 7, "2026-10-31"}, // and back
		{"2011-12-29", 2, "2011-12-31"}, // a Date counts also the day that Apia left out
		{"2026-11-25", 0, "2026-11-25"},
		{"2000-01-01", 146097, "2400-01-01"}, // the days of 400 Gregorian years
	} {
		got := d(tt.from).Add(tt.n)
		if got.String() != tt.want {
			t.Errorf("%s and %d days: got %v, want %s", tt.from, tt.n, got, tt.want)
		}
		if back := got.Sub(d(tt.from)); back != tt.n {
			t.Errorf("%v less %s: got %d, want %d", got, tt.from, back, tt.n)
		}
	}
	if got := (Date{}).Add(5); !got.IsZero() {
		t.Errorf("no date and 5 days: got %v", got)
	}
}

// What must hold of any days: adding goes back, order agrees with difference,
// and a sum of steps is one step.
func TestDateProperties(t *testing.T) {
	base := d("2000-01-01")
	holds := func(a, b int16, n int32) bool {
		x, y := base.Add(int(a)), base.Add(int(b))
		k := int(n % 100000)
		return x.Add(k).Add(-k) == x &&
			x.Add(k).Sub(x) == k &&
			y.Sub(x) == int(b)-int(a) &&
			x.Sub(y) == -y.Sub(x) &&
			x.Before(y) == (x.Sub(y) < 0) &&
			x.After(y) == y.Before(x) &&
			x.Add(k).Add(7) == x.Add(k+7) &&
			DateOf(x.At(12, 0, time.UTC), time.UTC) == x
	}
	if err := quick.Check(holds, &quick.Config{MaxCount: 2000}); err != nil {
		t.Error(err)
	}
}

// Differences over centuries are whole days, though a time.Duration ends at
// 292 years.
func TestDateSubFar(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"2400-01-01", "2000-01-01", 146097},
		{"2026-01-01", "1626-01-01", 146097},
		{"0001-01-01", "9999-12-31", -3652058},
	} {
		if got := d(tt.a).Sub(d(tt.b)); got != tt.want {
			t.Errorf("%s less %s: got %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
}

// The same instant is another day east and west (IANA time zone database).
func TestDateOf(t *testing.T) {
	for _, tt := range []struct{ at, zone, want string }{
		{"2026-01-01 00:30", "UTC", "2026-01-01"},
		{"2026-01-01 00:30", "America/New_York", "2025-12-31"},
		{"2026-12-31 12:00", "Pacific/Auckland", "2027-01-01"}, // UTC+13 in summer
		{"2026-12-31 12:00", "Pacific/Pago_Pago", "2026-12-31"},
		{"2026-06-30 23:30", "Europe/London", "2026-07-01"}, // summer time
		{"2026-01-30 23:30", "Europe/London", "2026-01-30"},
		{"2026-03-29 18:20", "Asia/Kathmandu", "2026-03-30"}, // UTC+5:45
	} {
		if got := DateOf(utc(tt.at), location(tt.zone)); got.String() != tt.want {
			t.Errorf("%s UTC in %s: got %v, want %s", tt.at, tt.zone, got, tt.want)
		}
	}
}

// Hours of some wall days, from the IANA time zone database: those on which
// clocks change, midnight left out or twice, and a day left out.
func TestDateStart(t *testing.T) {
	for _, tt := range []struct {
		zone, day string
		start     string // UTC
		hours     float64
	}{
		{"Europe/London", "2026-03-29", "2026-03-29 00:00", 23},
		{"Europe/London", "2026-10-25", "2026-10-24 23:00", 25},
		{"America/New_York", "2026-03-08", "2026-03-08 05:00", 23},
		{"America/Sao_Paulo", "2018-11-04", "2018-11-04 03:00", 23}, // midnight left out, west
		{"America/Sao_Paulo", "2018-02-17", "2018-02-17 02:00", 25}, // its last hour twice
		{"America/Santiago", "2024-09-08", "2024-09-08 04:00", 23},  // midnight left out, west
		{"America/Havana", "2025-11-02", "2025-11-02 04:00", 25},    // midnight twice
		{"Asia/Beirut", "2024-03-31", "2024-03-30 22:00", 23},       // midnight left out, east
		{"Africa/Cairo", "2024-04-26", "2024-04-25 22:00", 23},
		{"Australia/Lord_Howe", "2026-10-04", "2026-10-03 13:30", 23.5}, // half an hour
		{"Pacific/Apia", "2011-12-30", "2011-12-30 10:00", 0},           // never was
		{"Pacific/Apia", "2011-12-31", "2011-12-30 10:00", 24},
		{"Asia/Kolkata", "2026-01-01", "2025-12-31 18:30", 24},
	} {
		zone := location(tt.zone)
		start := d(tt.day).Start(zone)
		if !start.Equal(utc(tt.start)) {
			t.Errorf("%s in %s: starts %v, want %s", tt.day, tt.zone, start.UTC(), tt.start)
		}
		if got := d(tt.day).Add(1).Start(zone).Sub(start).Hours(); got != tt.hours {
			t.Errorf("%s in %s: %v hours, want %v", tt.day, tt.zone, got, tt.hours)
		}
	}
}

// The first instant of a day is on that day, and the instant before is not,
// in every zone and year; only days that a zone left out begin on the next.
func TestDateStartProperty(t *testing.T) {
	leftOut := map[string]string{
		"Pacific/Apia": "2011-12-30", "Pacific/Kiritimati": "1994-12-31", "Pacific/Kwajalein": "1993-08-21",
	}
	for _, name := range []string{
		"UTC", "Europe/London", "America/New_York", "America/Sao_Paulo", "America/Havana", "America/Santiago", "Atlantic/Azores",
		"Asia/Beirut", "Africa/Cairo", "Asia/Amman", "Asia/Gaza", "Australia/Lord_Howe", "Antarctica/Troll", "Africa/Casablanca",
		"Pacific/Apia", "Pacific/Kiritimati", "Pacific/Kwajalein", "America/Toronto", "Asia/Kathmandu",
	} {
		zone := location(name)
		for x := d("1985-01-01"); x.Year < 2028; x = x.Add(1) {
			start := x.Start(zone)
			want := x
			if leftOut[name] == x.String() {
				want = x.Add(1)
			}
			if got := DateOf(start, zone); got != want {
				t.Fatalf("%s: %v starts on %v", name, x, got)
			}
			if before := DateOf(start.Add(-1), zone); !before.Before(x) {
				t.Fatalf("%s: %v starts late: %v is on it too", name, x, start.Add(-1))
			}
		}
	}
}

func TestDateAt(t *testing.T) {
	for _, tt := range []struct {
		zone, day    string
		hour, minute int
		want         string
	}{
		{"Europe/London", "2026-03-29", 1, 30, "2026-03-29 01:30"}, // left out: moved on to 02:30 summer time
		{"Europe/London", "2026-10-25", 1, 30, "2026-10-25 00:30"}, // twice: the first
		{"America/New_York", "2026-03-08", 2, 15, "2026-03-08 07:15"},
		{"America/New_York", "2026-11-01", 1, 15, "2026-11-01 05:15"},
		{"Pacific/Apia", "2011-12-30", 12, 0, "2011-12-30 22:00"},
		{"Pacific/Auckland", "2026-01-01", 9, 0, "2025-12-31 20:00"},
	} {
		if got := d(tt.day).At(tt.hour, tt.minute, location(tt.zone)); !got.Equal(utc(tt.want)) {
			t.Errorf("%s %02d:%02d in %s: got %v, want %s", tt.day, tt.hour, tt.minute, tt.zone, got.UTC(), tt.want)
		}
	}
}

func TestDateText(t *testing.T) {
	for _, tt := range []struct {
		in                  Date
		text, words, months string
	}{
		{Date{2026, 11, 5}, "2026-11-05", "5 Nov 2026", "November 2026"},
		{Date{1850, 1, 1}, "1850-01-01", "1 Jan 1850", "January 1850"},
		{Date{}, "", "no date", "no date"},
	} {
		if tt.in.String() != tt.text || tt.in.Words() != tt.words || tt.in.MonthWords() != tt.months {
			t.Errorf("got %q, %q, %q; want %q, %q, %q", tt.in.String(), tt.in.Words(), tt.in.MonthWords(), tt.text, tt.words, tt.months)
		}
		b, err := json.Marshal(tt.in)
		if err != nil || string(b) != `"`+tt.text+`"` {
			t.Errorf("%v in JSON: %s, %v", tt.in, b, err)
		}
		back := Date{1, 1, 1}
		if err := json.Unmarshal(b, &back); err != nil || back != tt.in {
			t.Errorf("%s read again: %v, %v", b, back, err)
		}
	}
	kept := d("2026-01-02")
	if err := kept.UnmarshalText([]byte("2026-02-30")); err == nil || kept != d("2026-01-02") {
		t.Errorf("30 February: %v, %v; wanted it refused and nothing changed", err, kept)
	}
	for n := range 4000 {
		x := d("1996-01-01").Add(n * 13)
		if back, err := ParseDate(x.String()); err != nil || back != x {
			t.Fatalf("%v read again: %v, %v", x, back, err)
		}
	}
}

func TestEarliest(t *testing.T) {
	a, b := d("2026-01-01"), d("2026-01-02")
	for _, tt := range []struct{ x, y, want Date }{{a, b, a}, {b, a, a}, {a, a, a}, {Date{}, a, a}, {a, Date{}, a}, {Date{}, Date{}, Date{}}} {
		if got := earliest(tt.x, tt.y); got != tt.want {
			t.Errorf("earliest of %v and %v: %v", tt.x, tt.y, got)
		}
	}
}
