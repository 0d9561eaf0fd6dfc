package schedule

import (
	"math"
	"strings"
	"testing"
	"time"
)

// looked are inspections a fortnight apart, each changed in its own way.
func looked(n int, each func(i int, e *Entry)) []Entry {
	var out []Entry
	for i := range n {
		out = append(out, doneAt(Inspected, d("2026-01-01").Add(14*i).At(12, 0, time.UTC), func(e *Entry) { each(i, e) }))
	}
	return out
}

// tired is a clock whose arc falls from 2.5 to 2° in 20 weeks while its rate
// rises from 0 to 6 s a day.
func tired(i int, e *Entry) {
	swings(2.5 - .05*float64(i))(e)
	day := float64(14 * i)
	sees(6. / 140 * day * day / 2)(e)
}

func signWords(t Timekeeping) string {
	var out []string
	for _, s := range t.Signs {
		out = append(out, s.Since.String()+" "+s.Words)
	}
	return strings.Join(out, "\n")
}

// From 2.5 to 2° the circular error alone is 3.70 s a day (Beckett 1903, p. 35:
// "rather less than 4").
func TestFallingArc(t *testing.T) {
	got := timeOf(held(), "2026-06-01", looked(11, tired)...)
	words := signWords(got)
	for _, want := range []string{"2026-01-01 The arc fell from 2.50° on 1 Jan 2026 to 2.00° on 21 May 2026", "the smaller arc by itself makes it gain 3.7 s a day"} {
		if !strings.Contains(words, want) || len(got.Signs) != 1 {
			t.Errorf("got %q, want %q", words, want)
		}
	}
}

func TestSigns(t *testing.T) {
	noisy := []float64{.9, 1.1, .95, 1.05, 1, .9, 1.1}
	cleanedAt := func(log []Entry, when string) []Entry { return append(log, did(Cleaned, when)) }
	for _, c := range []struct {
		name string
		log  []Entry
		want string // empty: no sign
	}{
		{"nothing seen", looked(9, func(int, *Entry) {}), ""},
		{"arc falls, rate steady", looked(11, func(i int, e *Entry) { tired(i, e); sees(1)(e) }), ""},
		{"arc steady, rate gains", looked(11, func(i int, e *Entry) { tired(i, e); swings(2.5)(e) }), ""},
		{"arc grows, rate gains", looked(11, func(i int, e *Entry) { tired(i, e); swings(2 + .05*float64(i))(e) }), ""},
		{"arc and no error", looked(11, func(i int, e *Entry) { swings(2.5 - .05*float64(i))(e) }), ""},
		{"three arcs", looked(3, tired), ""},
		{"cleaned since", cleanedAt(looked(11, tired), "2026-05-25 10:00"), ""},
		{"more weight", looked(4, func(i int, e *Entry) { driven([]float64{60, 60, 64, 64}[i])(e) }),
			"2026-01-29 The driving weight was 60 kg (132.3 lb) on 15 Jan 2026 and is 64 kg (141.1 lb) since 29 Jan 2026"},
		{"weighed anew", looked(4, func(i int, e *Entry) { driven([]float64{60, 60.5, 60, 60.9}[i])(e) }), ""},
		{"less weight", looked(2, func(i int, e *Entry) { driven([]float64{64, 60}[i])(e) }), ""},
		{"two trains", looked(4, func(i int, e *Entry) { driven([]float64{60, 150}[i%2])(e); of([]string{"going", "strike"}[i%2])(e) }), ""},
		{"more on one train", looked(4, func(i int, e *Entry) {
			driven([]float64{60, 150, 66, 150}[i])(e)
			of([]string{"going", "strike"}[i%2])(e)
		}), "The driving weight of the going train was 60 kg"},
		{"corrector works harder", looked(6, func(i int, e *Entry) { corrected(.5 + .2*float64(i) + .02*float64(i%2))(e) }),
			"2026-01-01 The corrector had to make up 0.5 s a day on 1 Jan 2026 and 1.5 s a day on 12 Mar 2026"},
		{"and harder the other way", looked(6, func(i int, e *Entry) { corrected(-.5 - .2*float64(i))(e) }), "The corrector had to make up 0.5 s a day"},
		{"corrector steady", looked(7, func(i int, e *Entry) { corrected(noisy[i])(e) }), ""},
		{"corrector eased", looked(6, func(i int, e *Entry) { corrected(2 - .2*float64(i))(e) }), ""},
		{"three efforts", looked(3, func(i int, e *Entry) { corrected(float64(i))(e) }), ""},
		{"a hair more", looked(6, func(i int, e *Entry) { corrected(.5 + .001*float64(i))(e) }), ""},
	} {
		got := signWords(timeOf(pump(), "2026-06-01", c.log...))
		if c.want == "" && got != "" || !strings.Contains(got, c.want) {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// What the nut was turned does not count as a gain, where the pendulum tells
// what it brings: raising the bob by a tenth of a turn is 6 s a day.
func TestRegulatedGainIsNoSign(t *testing.T) {
	log := looked(11, func(i int, e *Entry) {
		swings(2.5 - .05*float64(i))(e)
		sees(math.Max(0, 6*14*float64(i-5)))(e)
	})
	if got := timeOf(held(), "2026-06-01", log...); len(got.Signs) != 1 {
		t.Fatalf("a gain of its own: %q", signWords(got))
	}
	raised := append(log, did(Regulated, "2026-03-12 12:05", nut(.1, 0)))
	if got := timeOf(held(), "2026-06-01", raised...); len(got.Signs) != 0 {
		t.Errorf("a gain by the nut: %q", signWords(got))
	}
	bare := held()
	bare.Care.Pendulum = nil
	if got := timeOf(bare, "2026-06-01", raised...); len(got.Signs) != 0 {
		t.Errorf("nobody knows what the nut brought: %q", signWords(got))
	}
}

// A sign is shown with the oiling of what keeps the time, and moves no date.
func TestSignsAtOiling(t *testing.T) {
	c := pump()
	c.Policies = []Policy{{Task: Oiling, Days: 365, Source: "x"}, {Task: Oiling, Train: "going", Days: 90, Source: "x"},
		{Task: Oiling, Train: "strike", Days: 90, Source: "x"}, {Task: Oiling, Bearing: "centre-front", Days: 90, Source: "x"}}
	with, without := assess(c, book(looked(11, tired)...), "2026-06-01"), assess(c, nil, "2026-06-01")
	for subject, shown := range map[string]bool{"": true, "going": true, "centre-front": true, "strike": false} {
		task, plain := taskOf(t, with, Oiling, subject), taskOf(t, without, Oiling, subject)
		if strings.Contains(task.Reason, "; early sign: The arc fell") != shown {
			t.Errorf("%q: %q", subject, task.Reason)
		}
		if windowOf(task) != windowOf(plain) {
			t.Errorf("%q: %s with a sign, %s without", subject, windowOf(task), windowOf(plain))
		}
	}
}

// A steel rod of 14 ppm loses 0.605 s a day a degree (Trinity College,
// Cambridge): the log of a year and a half shows it, and one of equal warmth
// shows nothing.
func TestPerDegree(t *testing.T) {
	year := func(swing float64) []Entry {
		wrong, out := 0.0, []Entry{}
		for i := range 80 {
			celsius := 12 + swing*math.Sin(2*math.Pi*float64(i)/52)
			out = append(out, doneAt(Wound, d("2025-01-01").Add(7*i).At(12, 0, time.UTC), warm(celsius), sees(math.Round(wrong))))
			wrong -= 7 * .605 * (12 + swing*math.Sin(2*math.Pi*(float64(i)+.5)/52) - 12)
		}
		return out
	}
	got := timeOf(held(), "2026-08-01", year(10)...)
	if c := got.PerDegree; c == nil || math.Abs(c.Value+.605) > .03 || c.SD <= 0 || c.SD > .05 || c.Stretches < 8 {
		t.Errorf("a year between 2 and 22 °C: %+v", c)
	}
	if got.PerHectopascal != nil {
		t.Errorf("no pressure was logged: %+v", got.PerHectopascal)
	}
	if c := timeOf(held(), "2026-08-01", year(5)...).PerDegree; c != nil {
		t.Errorf("10 °C are too little: %+v", c)
	}
	if c := timeOf(held(), "2025-05-01", year(10)[:16]...).PerDegree; c != nil {
		t.Errorf("four months are too little: %+v", c)
	}
}
