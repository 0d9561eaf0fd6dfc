package schedule

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"endshake/wear"
)

// OilLesson is what the fleet's inspections taught of one kind of oil: by how
// much its ln life differs from what was believed beforehand, and how sure that
// is.
type OilLesson struct {
	Shift, SD float64
	Clocks    int // that taught it
	Sightings int // lives of oil that somebody looked at
	Ended     int // of which so many were found past their work
}

// learnOil learns the lives of oils from what inspections of the whole fleet
// found, by kind of oil: by how much the ln lives of a kind differ from what was
// believed of each. That shift, and by how much each place differs from its
// kind, are normal about nothing; the shift is weighed on a grid by all that was
// seen. Where no oil was ever seen to have failed it is not taken to last
// longer: oil renewed in good time only ever says "longer than that".
func learnOil(all []Assessment) map[OilKind]OilLesson {
	pupils := map[OilKind][]oilPupil{}
	for _, a := range all {
		for _, o := range a.Oils {
			if len(o.sightings) > 0 && o.told {
				pupils[o.Kind] = append(pupils[o.Kind], oilPupil{a.Clock.Slug, o.untaught, o.sightings})
			}
		}
	}
	if len(pupils) == 0 {
		return nil
	}
	out := map[OilKind]OilLesson{}
	for kind, of := range pupils {
		out[kind] = oilLesson(kind, of)
	}
	return out
}

// oilPupil is one place of which the oil was looked at.
type oilPupil struct {
	clock string
	mu    float64 // of its ln life, before anything was learned
	seen  []wear.Sighting
}

// oilLesson weighs the shift of one kind. The grid of shifts and that of how
// places differ have one step, so that only their sums need be looked at.
func oilLesson(kind OilKind, of []oilPupil) OilLesson {
	const steps, reach = 12, 5 // to a deviation, and deviations each way
	life, place, spread := spreads(math.Log(oilBases[kind].factor))
	n := steps * reach
	step := spread / steps
	ln := make([]float64, 2*n+1)
	for i := range ln {
		z := float64(i-n) * step / spread
		ln[i] = -z * z / 2
	}
	m := int(math.Ceil(reach * place / step))
	differ := make([]float64, 2*m+1)
	for j := range differ {
		z := float64(j-m) * step / place
		differ[j] = math.Exp(-z * z / 2)
	}
	sums := make([]float64, 2*(n+m)+1)
	out := OilLesson{}
	clocks := map[string]bool{}
	for _, p := range of {
		clocks[p.clock] = true
		out.Sightings += len(p.seen)
		for _, x := range p.seen {
			if x.Ended() {
				out.Ended++
			}
		}
		l := wear.Life{Sigma: life, Seen: p.seen}
		for k := range sums {
			sums[k] = l.LnLik(p.mu + float64(k-n-m)*step)
		}
		top := slices.Max(sums)
		for k := range sums {
			sums[k] = math.Exp(sums[k] - top)
		}
		for i := range ln {
			sum := 0.0
			for j, w := range differ {
				sum += w * sums[i+j]
			}
			ln[i] += math.Log(sum)
		}
	}
	out.Clocks = len(clocks)
	out.Shift, out.SD = moments(ln, -float64(n)*step, step)
	if out.Ended == 0 {
		out.Shift = math.Min(0, out.Shift)
	}
	return out
}

// moments is the mean and deviation of a grid of ln weights.
func moments(ln []float64, from, step float64) (mean, sd float64) {
	top := slices.Max(ln)
	sum, first, second := 0.0, 0.0, 0.0
	for i, l := range ln {
		w, x := math.Exp(l-top), from+float64(i)*step
		sum, first, second = sum+w, first+w*x, second+w*x*x
	}
	mean = first / sum
	return mean, math.Sqrt(math.Max(0, second/sum-mean*mean))
}

// oilsOf is how the oil of every clock of a fleet stood, as the lesson takes it.
func oilsOf(fleet Fleet, log map[string][]Entry, now time.Time) []Assessment {
	var out []Assessment
	for _, c := range fleet.Clocks {
		site, _ := fleet.Site(c.Site)
		out = append(out, open(Facts{Clock: c, Site: site, Entries: log[c.Slug]}, now))
	}
	return out
}

// words says what a lesson rests on: "12 lives of oil at 5 clocks".
func (l OilLesson) words() string {
	return fmt.Sprintf("%s of oil at %s", Count(l.Sightings, "life", "lives"), Count(l.Clocks, "clock", "clocks"))
}

// endedWords says how many looks found the oil past its work.
func (l OilLesson) endedWords() string {
	low, mean, high := wear.Share(l.Ended, l.Sightings-l.Ended)
	return fmt.Sprintf("%d found past their work: %.0f %%, likely %.0f to %.0f", l.Ended, 100*mean, 100*low, 100*high)
}

// lastsWords says a shift: "1.3 times as long as was believed".
func lastsWords(shift float64) string {
	switch x := math.Exp(shift); {
	case x >= 1.05:
		return fmt.Sprintf("%.1f times as long as was believed", x)
	case x <= 1/1.05:
		return fmt.Sprintf("only %.2f of the time that was believed", x)
	}
	return "about as long as was believed"
}

// oilSentences says what was learned of each kind of oil.
func (l Learned) oilSentences() []string {
	var out []string
	for _, kind := range slices.Sorted(maps.Keys(l.OilLives)) {
		o := l.OilLives[kind]
		out = append(out, fmt.Sprintf("%s lasts %s (%s, %s).", Capital(string(kind)), lastsWords(o.Shift), o.words(), o.endedWords()))
	}
	return out
}
