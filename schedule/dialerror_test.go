package schedule

import (
	"errors"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"endshake/wear"
)

// An error may be written as people read it off a dial and say it.
func TestParseDialError(t *testing.T) {
	for text, want := range map[string]struct {
		seconds float64
		way     string
	}{
		"90": {90, ""}, "0": {0, ""}, "1:30": {90, ""}, "0:05": {5, ""}, "1:02:03": {3723, ""}, "95s": {95, ""}, "4.5 s": {4.5, ""}, "4,5 s": {4.5, ""}, "4.5": {4.5, ""},
		"1 min 30 s": {90, ""}, "1min30s": {90, ""}, "1 min 30": {90, ""}, "1 m 30": {90, ""}, "1 h 30 s": {3630, ""}, "18 min 27 s": {1107, ""}, "2 min": {120, ""}, "1 h 2 min": {3720, ""},
		"1:35 fast": {95, Fast}, "95 s fast": {95, Fast}, "2 min fast": {120, Fast}, "+95": {95, Fast}, "1 min 35 s slow": {95, Slow}, "95 slow.": {95, Slow}, "95s slow": {95, Slow},
		"fast 95": {95, Fast}, "Slow by 1:35": {95, Slow}, "2 minutes too fast": {120, Fast}, "2 MIN SLOW": {120, Slow}, "1 minute 35 seconds, slow": {95, Slow}, "95fast": {95, Fast},
		"-1:30": {90, Slow}, "\u22121 min 30 s": {90, Slow}, "+ 12,5": {12.5, Fast}, "+95 fast": {95, Fast}, "-95 slow": {95, Slow}, "1' 35\" slow": {95, Slow}, "1\u203235\u2033": {95, ""},
		"1.5 min": {90, ""}, "0.5 min slow": {30, Slow}, "  90   s  ": {90, ""}, "1 hour 2 mins 3 secs": {3723, ""}, "90\u00a0s": {90, ""}, "1.35 s": {1.35, ""}, "100.25": {100.25, ""}, "1.75": {1.75, ""},
	} {
		got, way, err := ParseDialError(text)
		if err != nil || got != want.seconds || way != want.way {
			t.Errorf("%q is %v %q, %v; want %v", text, got, way, err, want)
		}
	}
}

// What can be seconds with their hundredths or minutes with their seconds is asked
// back, whatever stands around it.
func TestDialErrorInTwoReadings(t *testing.T) {
	for text, want := range map[string]string{
		"1.35":        `"1.35" can be read in two ways, 1.35 s or 1 min 35 s: write 1.35 s or 1:35`,
		"1,35 slow":   `"1,35 slow" can be read in two ways, 1.35 s or 1 min 35 s: write 1.35 s or 1:35`,
		"+12.05":      `"+12.05" can be read in two ways, 12.05 s or 12 min 5 s: write 12.05 s or 12:05`,
		"1.30 min":    `"1.30 min" can be read in two ways, 1.30 min or 1 min 30 s: write 78 s or 1:30`,
		"fast 0.45":   `"fast 0.45" can be read in two ways, 0.45 s or 0 min 45 s: write 0.45 s or 0:45`,
		"1.35m, slow": `"1.35m, slow" can be read in two ways, 1.35 min or 1 min 35 s: write 81 s or 1:35`,
	} {
		_, _, err := ParseDialError(text)
		var e *Error
		if !errors.As(err, &e) || e.Code != Doubtful || e.Message != want {
			t.Errorf("%q: %v\nwant %s", text, err, want)
		}
	}
}

func TestDialErrorsRefused(t *testing.T) {
	for text, want := range map[string]string{
		"": "", " ": "", "soon": "", "--90": "", "-": "", "1:75": "", "1:3": "", ":30": "", "1 h 30": "", "min": "", "1:30:": "", "99999999999999999999 s": "", "NaN s": "", "+Inf": "",
		"fast": "", "slow fast 90": "", "90 fast slow": "", "1e9": "", "0x10": "", "90 %": "", "90 s 3": "", "1:30 s": "", "90 km slow": "", "-90 +": "", "fast 90 slow": "",
		"+95 slow": "is fast by its sign and slow by its word", "fast -95": "is slow by its sign and fast by its word",
	} {
		_, way, err := ParseDialError(text)
		var e *Error
		if want == "" {
			want = "cannot be read as an error: write 90, 1:30 or 2 min, with fast or slow"
		}
		if !errors.As(err, &e) || e.Code != Invalid || !strings.Contains(e.Message, want) || way != "" {
			t.Errorf("%q: %q, %v", text, way, err)
		}
	}
}

// However whole seconds are written, they are read as they were.
func TestDialErrorsAnyWay(t *testing.T) {
	const seed = 20261126
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 0))
	for range 3000 {
		n := rng.IntN(12 * 3600)
		h, m, s := n/3600, n/60, n%60
		two := func(v int) string { return strconv.Itoa(v/10) + strconv.Itoa(v%10) }
		written := []string{strconv.Itoa(n), strconv.Itoa(n) + " s", strconv.Itoa(m) + " min " + strconv.Itoa(s) + " s", strconv.Itoa(m) + "'" + strconv.Itoa(s) + `"`,
			strconv.Itoa(h) + " h " + strconv.Itoa(m%60) + " min " + strconv.Itoa(s) + " s", strconv.Itoa(h) + ":" + two(m%60) + ":" + two(s), strconv.Itoa(m) + ":" + two(s)}
		for way, signs := range map[string][2]string{Fast: {"+", " fast"}, Slow: {"-", " slow"}, "": {"", ""}} {
			text := written[rng.IntN(len(written))]
			for _, x := range []string{signs[0] + text, text + signs[1], strings.TrimSpace(signs[1] + " " + text)} {
				if got, said, err := ParseDialError(x); err != nil || got != float64(n) || said != way {
					t.Fatalf("%d s written %q is %v %q, %v", n, x, got, said, err)
				}
			}
		}
	}
}

// A reply tells an error by the same words, beside that it was done; one that could
// be read in two ways, or stands alone, waits for a person.
func TestRepliesWithAnError(t *testing.T) {
	for text, want := range map[string]float64{"Wound, 1:35 fast": 95, "Wound. 95 s fast.": 95, "Wound. It was 2 min fast": 120, "wound, 1 min 35 s slow": -95,
		"Wound it today.\nThe clock was about 40 seconds slow.\n\nAnn": -40, "Done. Fast by 1:35": 95, "All well, 12 s slow": -12} {
		a, err := ReadAnswer(text, wear.MM)
		if err != nil || a.Error == nil || *a.Error != want || a.Because != "" || a.Reading != nil {
			t.Errorf("%q is taken as %+v, %v", text, a, err)
		}
	}
	for text, want := range map[string]string{
		"Wound, 1.35 slow": "can be read in two ways", "1:35 fast": "does not say", "Wound, 5 s fast, 6 s slow": "two errors", "Could not wind it, 95 s slow": "beside something else",
		"Wound 95 s fast": "", "0.42 mm, 95 s slow": "beside something else", "Wound, +95": "", "Stopped, 95 s slow": "beside something else",
	} {
		a, err := ReadAnswer(text, wear.MM)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q is taken as %+v, %v", text, a, err)
		}
	}
}

func FuzzParseDialError(f *testing.F) {
	for _, s := range []string{"1.35", "1:35 fast", "95s", "+95", "1 min 35 s slow", "fast by 2 min", "1 h 2 min", "1'35\"", "-\u2212", "slow", "9:99"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, way, err := ParseDialError(s)
		var e *Error
		switch {
		case err == nil && (math.IsNaN(v) || math.IsInf(v, 0) || v < 0 || way != "" && way != Fast && way != Slow):
			t.Errorf("%q is %v %q", s, v, way)
		case err != nil && (!errors.As(err, &e) || e.Message == "" || v != 0 || way != ""):
			t.Errorf("%q: %v", s, err)
		}
		if err == nil { // with its unit it says the same
			again, _, err := ParseDialError(strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64) + " s")
			if err != nil && v < 1e9 || err == nil && math.Abs(again-v) > 1e-6 {
				t.Errorf("%q is %v, and that is read as %v, %v", s, v, again, err)
			}
		}
	})
}
