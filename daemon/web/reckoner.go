package web

import (
	"fmt"
	"math"
	"net/http"
	"time"

	"endshake/daemon/reckon"
	"endshake/schedule"
	"endshake/wear"
)

// reckonerPage is bench arithmetic, then what the fleet has taught and how good
// its forecasts were.
type reckonerPage struct {
	Lede      string
	Taught    bool // there is a lesson at all
	Sentences []string
	Scores    []scoreLine
	Fair      string // what a share of so many forecasts may be by chance
	Oil       []scoreLine
	Sheets    []reckon.Sheet // of bench arithmetic
}

// scoreLine is how one way of forecasting did.
type scoreLine struct {
	What, Way                      string
	Judged, Score, Off, In80, In90 string
	Better                         string // beside what it is held against; empty: nothing
}

// enoughJudged is from how many forecasts a verdict is given (judgement).
const enoughJudged = 30

func (s *server) reckoner(w http.ResponseWriter, r *http.Request) {
	page := reckonerPage{Lede: "The fleet has not been learned from yet, so no forecast has been judged."}
	if l, ok := s.Desk.Lesson(); ok {
		page = newReckonerPage(l)
	}
	page.Sheets = reckon.Sheets
	s.show(w, r, http.StatusOK, "reckoner", view{Title: "Reckoner", Here: "/reckoner", Body: page})
}

func newReckonerPage(l schedule.Learned) reckonerPage {
	track := l.InForce()
	page := reckonerPage{Lede: trackLede(track), Taught: true, Sentences: l.Sentences(time.UTC)}
	for _, v := range []struct {
		what string
		of   wear.Versus
	}{{"The next reading", track.Next}, {"The last reading", track.Last}} {
		if v.of.Ours.Forecasts > 0 {
			page.Scores = append(page.Scores, newScoreLine(v.what, "endshake", v.of.Ours, v.of.StraightLine.CRPS),
				newScoreLine(v.what, "a straight line", v.of.StraightLine, math.NaN()))
		}
	}
	if n := track.Next.Ours.Forecasts; n > 0 {
		page.Fair = fairWords(n)
	}
	if l.WithOil.Next.Ours.Forecasts > 0 {
		page.Oil = []scoreLine{newScoreLine("The next reading", "each hour of running alike", l.Track.Next.Ours, math.NaN()),
			newScoreLine("The next reading", "weighed by the state of the oil", l.WithOil.Next.Ours, l.Track.Next.Ours.CRPS)}
	}
	return page
}

func newScoreLine(what, way string, s wear.Score, against float64) scoreLine {
	l := scoreLine{What: what, Way: way, Judged: schedule.Thousands(float64(s.Forecasts)),
		Score: wear.Mean(s.CRPS), Off: wear.Mean(s.MAE), In80: percent(s.Cover80), In90: percent(s.Cover90)}
	if gain := 1 - s.CRPS/against; finite(gain) && against > 0 {
		l.Better = fmt.Sprintf("%.0f %% better", 100*gain)
		if gain < 0 {
			l.Better = fmt.Sprintf("%.0f %% worse", -100*gain)
		}
	}
	return l
}

// trackLede says how good the forecasts have been, in two sentences.
func trackLede(t wear.Track) string {
	x, y := t.Next.Ours, t.Next.StraightLine
	if x.Forecasts == 0 {
		return "No forecast can be judged yet: that takes bearings found at two sizes, and read once more."
	}
	out := fmt.Sprintf("The next reading of a bearing was %s from its forecast on average, and %.0f of 100 such readings fell within the range meant to hold 80.",
		wear.Mean(x.MAE), 100*x.Cover80)
	if x.Forecasts < enoughJudged {
		return out + fmt.Sprintf(" That is from %s only, too few to lean on.", schedule.Count(x.Forecasts, "forecast", "forecasts"))
	}
	line := fmt.Sprintf(" A plain straight line was %s off, and its range held %.0f", wear.Mean(y.MAE), 100*y.Cover80)
	switch gain := 1 - x.CRPS/y.CRPS; {
	case !finite(gain):
		return out
	case gain < -0.02:
		return out + line + fmt.Sprintf("; by the score it did better by %.0f %%, so trust the readings before the forecast.", -100*gain/(1-gain))
	case gain < 0.02:
		return out + line + "; by the score the two are equal."
	default:
		return out + line + fmt.Sprintf("; by the score the forecast was better by %.0f %%.", 100*gain)
	}
}

// fairWords says between what shares a band that is right would hold, by
// chance alone: two standard deviations of a binomial share. Forecasts of one
// bearing are not independent, so the truth is a little wider.
func fairWords(n int) string {
	bounds := func(p float64) (low, high string) {
		two := 2 * math.Sqrt(p*(1-p)/float64(n))
		return fmt.Sprintf("%.0f", 100*math.Max(0, p-two)), percent(math.Min(1, p+two))
	}
	a, b := bounds(.8)
	c, d := bounds(.9)
	return fmt.Sprintf("With %s judged, chance alone puts a band that is right anywhere from %s to %s instead of 80 %%, and from %s to %s instead of 90 %%.",
		schedule.Count(n, "forecast", "forecasts"), a, b, c, d)
}
