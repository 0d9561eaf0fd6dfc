package web

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"endshake/schedule"
	"endshake/wear"
)

// The page says what the lesson says, figure by figure, with the line beside.
func TestReckoner(t *testing.T) {
	d := wearingDesk()
	d.teach(taught(true))
	s := siteOf(t, d)
	res, body := get(t, s, "/reckoner")
	checkPage(t, "/reckoner", body)
	text := flat(t, body)
	if res.StatusCode != http.StatusOK || !strings.Contains(body, `<a href="/reckoner" aria-current="true">Reckoner</a>`) {
		t.Errorf("answers %d, or the top line does not say where it is", res.StatusCode)
	}
	for _, want := range []string{
		"How good the forecasts have been The next reading of a bearing was 0.0306 mm (1.20 thou) from its forecast on average, and 80 of 100 such readings fell within the range meant to hold 80. " +
			"A plain straight line was 0.0489 mm (1.93 thou) off, and its range held 71; by the score the forecast was better by 46 %.", // 1 - .0201/.0371
		"The next reading endshake 84 0.0306 mm (1.20 thou) 80 % 90 % 0.0201 mm (0.791 thou) 46 % better",
		"The next reading a straight line 84 0.0489 mm (1.93 thou) 71 % 83 % 0.0371 mm (1.46 thou)",
		"The last reading endshake 84 0.0612 mm (2.41 thou) 74 % 86 % 0.0456 mm (1.80 thou) 50 % better",
		"The next reading weighed by the state of the oil 84 0.0306 mm (1.20 thou) 80 % 90 % 0.0201 mm (0.791 thou) 6 % better",
		"from 71 to 89 % instead of 80 %, and from 83 to 97 % instead of 90 %", // two of sqrt(.16/84) = .087, of sqrt(.09/84) = .065
		"Student's t",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q: %s", want, text)
		}
	}
	for _, want := range d.lesson.Sentences(now.Location()) {
		if !strings.Contains(text, schedule.Capital(want)) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

// Before anything was learned, and before anything can be judged, the page
// teaches what to do, and shows no figure.
func TestReckonerBegins(t *testing.T) {
	d := wearingDesk()
	s := siteOf(t, d)
	_, body := get(t, s, "/reckoner")
	checkPage(t, "/reckoner", body)
	for _, want := range []string{"The fleet has not been learned from yet", "six such bearings", "endshake learn", "Each night"} {
		if !strings.Contains(flat(t, body), want) {
			t.Errorf("nothing learned: the page does not say %q", want)
		}
	}
	if strings.Contains(body, "<table") {
		t.Error("there are figures of nothing")
	}
	d.teach(schedule.Learned{Version: 1, FittedAt: now, Model: wear.Learned{Params: wear.DefaultParams(), Bearings: 2, Readings: 4}})
	_, body = get(t, s, "/reckoner")
	checkPage(t, "/reckoner", body)
	for _, want := range []string{"No forecast can be judged yet", "The lesson of 25 Nov 2026 (lesson 1 of this fleet), from 2 bearings with 4 readings.", "Too few bearings", "That could not be judged"} {
		if !strings.Contains(flat(t, body), want) {
			t.Errorf("nothing judged: the page does not say %q: %s", want, flat(t, body))
		}
	}
	if strings.Contains(body, "<table") {
		t.Error("there are figures of nothing")
	}
}

// The opening sentence never makes more of a record than it is.
func TestTrackLede(t *testing.T) {
	ours := wear.Score{Forecasts: 84, CRPS: .02, MAE: .03, Cover80: .8, Cover90: .9}
	track := func(n int, line float64) wear.Track {
		o, l := ours, ours
		o.Forecasts, l.Forecasts, l.CRPS = n, n, line
		return wear.Track{Next: wear.Versus{Ours: o, StraightLine: l}}
	}
	for _, tc := range []struct {
		t         wear.Track
		says, not string
	}{
		{track(0, 0), "No forecast can be judged yet", "average"},
		{track(5, .04), "That is from 5 forecasts only, too few to lean on.", "better"},
		{track(1, .04), "That is from 1 forecast only", "better"},
		{track(84, .04), "the forecast was better by 50 %.", "equal"},
		{track(84, .0201), "the two are equal", "better"},
		{track(84, .01), "by the score it did better by 50 %, so trust the readings before the forecast.", "equal"},
		{track(84, 0), "0.0300 mm (1.18 thou) from its forecast", "NaN"},
	} {
		got := trackLede(tc.t)
		if !strings.Contains(got, tc.says) || strings.Contains(got, tc.not) || strings.Contains(got, "Inf") {
			t.Errorf("%q, want %q and not %q", got, tc.says, tc.not)
		}
	}
}

// The page stands while the database is away, as every page that reads does.
func TestReckonerWithoutADatabase(t *testing.T) {
	d := wearingDesk()
	d.teach(schedule.Learned{Version: 7, FittedAt: now, Model: wear.Learned{Params: wear.DefaultParams(), Bearings: 2, Readings: 4}})
	d.err = fmt.Errorf("the secret shelf is locked")
	res, body := get(t, siteOf(t, d), "/reckoner")
	if res.StatusCode != 200 || strings.Contains(body, "secret") || !strings.Contains(body, "(lesson 7 of this fleet)") {
		t.Errorf("answers %d", res.StatusCode)
	}
}
