package schedule

import "testing"

func TestPastOf(t *testing.T) {
	c := pump()
	c.Care.Tolerance = &Tolerance{Seconds: 60, Source: "the owner"}
	off := func(seconds float64) change { return func(e *Entry) { e.ErrorFound = &seconds } }
	log := append(weekly("2026-08-01", 10), // until 3 Oct
		did(Stopped, "2026-10-05 12:00", by(ForWork), note("ice on the hands")),
		did(Started, "2026-10-07 12:00"),
		did(Inspected, "2026-10-08 10:00", found(Sound), off(-70)),
		did(Noted, "2026-10-09 10:00", off(20)))
	log = append(log, weekly("2026-10-10", 3)...)
	log = append(log, did(Stopped, "2026-10-30 12:00", by(RanDown), since("2026-10-30 06:00")), did(Started, "2026-11-02 12:00"))
	log = append(log, weekly("2026-11-03", 4)...)
	a := assess(c, book(log...), "2026-11-25 09:00")
	for _, tc := range []struct {
		what, from, to string
		want           Past
		stood          []StopCause
	}{
		{"the month", "2026-10-01", "2026-10-31", Past{Days: 31, Going: 31 - 3 - 2, Errors: 2, Within: 1, Worst: -70, Looks: 1}, []StopCause{ForWork, RanDown}},
		{"what began before is cut off, with its cause", "2026-11-01", "2026-11-30", Past{Days: 25, Going: 23}, []StopCause{RanDown}},
		{"a month without a stop", "2026-09-01", "2026-09-30", Past{Days: 30, Going: 30}, nil},
		{"what has not come yet", "2026-12-01", "2026-12-31", Past{}, nil},
		{"before it came into care", "1990-01-01", "1990-01-31", Past{}, nil},
	} {
		got := PastOf(a, d(tc.from), d(tc.to))
		if got.Days != tc.want.Days || got.Going != tc.want.Going || got.Errors != tc.want.Errors || got.Within != tc.want.Within || got.Worst != tc.want.Worst || got.Looks != tc.want.Looks {
			t.Errorf("%s: %+v, want %+v", tc.what, got, tc.want)
		}
		if got.Days > 0 && (!got.Known || got.Going < 0 || got.Going > got.Days) {
			t.Errorf("%s: %+v", tc.what, got)
		}
		if len(got.Stood) != len(tc.stood) {
			t.Errorf("%s: stood %+v, want %v", tc.what, got.Stood, tc.stood)
			continue
		}
		for i, s := range got.Stood {
			if s.Cause != tc.stood[i] || !s.From.Before(s.To) {
				t.Errorf("%s: stood %+v, want because of %s", tc.what, s, tc.stood[i])
			}
		}
	}
	if p := PastOf(a, d("2026-10-01"), d("2026-10-31")); len(p.RanDown) != 1 || p.RanDown[0] != d("2026-10-30") || p.Stood[0].Note != "ice on the hands" || !p.Hand || p.Windings != 4 {
		t.Errorf("%+v", p)
	}
	if p := PastOf(a, d("2026-08-01"), d("2026-08-31")); p.Windings != 5 {
		t.Errorf("wound on the 1st, 8th, 15th, 22nd and 29th: %+v", p)
	}
	if p := PastOf(Assessment{}, d("2026-10-01"), d("2026-10-31")); p.Known {
		t.Errorf("of nothing: %+v", p)
	}
}
