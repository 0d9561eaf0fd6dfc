package web

import (
	"fmt"
	"math"
	"net/url"
	"strings"
	"time"

	"endshake/schedule"
	"endshake/wear"
)

func bearingPath(clock, bearing string) string {
	return "/clock/" + url.PathEscape(clock) + "/bearing/" + url.PathEscape(bearing)
}

// captionOf says what the marks on a bearing's chart are, those that are there.
func captionOf(o schedule.Outlook) []string {
	var readings, doubtful, fitted bool
	for _, p := range o.Parts {
		fitted = fitted || p.Start != nil
		for _, r := range p.Readings {
			readings, doubtful = true, doubtful || r.Doubt >= 0.5
		}
	}
	var out []string
	add := func(on bool, words string) {
		if on {
			out = append(out, words)
		}
	}
	add(readings, "Dots are readings, with bars of one standard uncertainty of the gauge.")
	add(doubtful, "A ring marks one that may be misread; it is hollow where that is nearly certain.")
	add(fitted, "A short bar across is a size as fitted.")
	fan := o.Known && (o.Taught || o.Dated)
	add(fan, "The line is our estimate; from today it opens into the sizes to be expected, half of the chances in the dark band and 8 in 10 in the light one.")
	add(fan && o.Dated && !o.Over, "The thick stretch on a limit is when it is likely to be reached, 8 chances in 10.")
	add(!fan, "No band leads on from today, because no rate of wear is known yet.")
	return out
}

// changeWords says how likely the rate of wear has changed; it takes three
// sizes of the present part to tell.
func changeWords(o schedule.Outlook) string {
	p := present(o)
	n := len(p.Readings)
	if p.Start != nil {
		n++
	}
	changed := o.Wear.PChange()
	if n < 3 || math.IsNaN(changed) {
		return ""
	}
	if !o.Changed.IsZero() {
		return fmt.Sprintf("it probably changed after %s (chance %s): find out why, and measure again before acting", o.Changed.Words(), chance(changed))
	}
	return fmt.Sprintf("%s chance that it has changed since the part was fitted", chance(changed))
}

// oilNote is what the oil did to the wear, in words.
type oilNote struct {
	Mix   string
	Cost  string // what late oiling cost; empty: cannot be told
	Force string // whether the forecast reckons with it
}

func newOilNote(o schedule.Outlook) oilNote {
	x := o.Oil
	if x == nil {
		return oilNote{Mix: "not followed: no oiling interval is set for it, or it has not run since it was fitted"}
	}
	n := oilNote{
		Mix: fmt.Sprintf("of its running %s with good oil, %s with aged, %s dry, since the part was fitted or came into care",
			percent(x.Good), percent(x.Aged), percent(x.Dry)),
		Force: "Shown only: the forecast does not weigh running by it.",
	}
	switch {
	case x.Late >= 0.005 && x.InForce: // where the readings speak against it, it saved nothing that they show
		n.Cost = fmt.Sprintf("By the textbook figures for its materials late oiling made %s of the wear: oil in time might have saved it.", percent(x.Late))
	case x.Aged+x.Dry < 0.005:
		n.Cost = "By the log no oiling came late."
	}
	if x.InForce {
		n.Force = "The forecast weighs running by it."
	}
	return n
}

// priorNote says where the rate came from before its own readings.
type priorNote struct {
	Words   string
	Learned bool // from the fleet
}

func newPriorNote(o schedule.Outlook) priorNote {
	if o.Prior.From == "" {
		return priorNote{}
	}
	n := priorNote{Learned: strings.HasPrefix(o.Prior.From, "learned")}
	how := "taken from "
	if n.Learned {
		how = ""
	}
	n.Words = fmt.Sprintf("Before any reading of its own the rate was %s%s. That gave about %s.",
		how, o.Prior.From, schedule.WearPer(math.Exp(o.Prior.Mu), o.Counter))
	return n
}

// movedWords says how the last lesson moved the middle date of a forecast; nothing
// where it plainly did not.
func (s *server) movedWords(a schedule.Assessment, o schedule.Outlook) string {
	l, ok := s.Desk.Lesson()
	former, was := s.Desk.Former()
	if !ok || !was || o.Over {
		return ""
	}
	f := schedule.Facts{Clock: a.Clock, Site: a.Site, Entries: a.Entries}
	before, ok := schedule.Under(f, a.Now, o.Bearing.Code, &former)
	if !ok || !o.MovedFrom(before) {
		return ""
	}
	// The log as its reader sees it must give what is shown, or it is not the lesson
	// that moved it.
	if is, ok := schedule.Under(f, a.Now, o.Bearing.Code, &l); !ok || is.Dated != o.Dated || is.Likely != o.Likely {
		return ""
	}
	middle := func(o schedule.Outlook) string {
		switch {
		case o.Dated:
			return o.Likely.MonthWords()
		case o.Beyond:
			return "over 40 years ahead"
		}
		return "not to be told"
	}
	return fmt.Sprintf("moved by the lesson of %s: was %s, is %s; a middle date is as likely too early as too late",
		schedule.DateOf(l.FittedAt, a.Zone).Words(), middle(before), middle(o))
}

// lineWords says what a plain straight line through the present part's readings
// gives, as a check that needs no belief at all.
func lineWords(a schedule.Assessment, o schedule.Outlook) string {
	var x, y []float64
	for _, r := range present(o).Readings {
		x = append(x, o.Units(r.At))
		y = append(y, r.Value)
	}
	l, err := wear.FitLine(x, y)
	if err != nil {
		return ""
	}
	const year = 8766 * time.Hour
	perYear := o.Units(a.Now.Add(11*year)) - o.Units(a.Now.Add(10*year)) // beyond any rest
	return fmt.Sprintf("A plain straight line through the %d readings of the present part gives %s a year, with a standard error of %s. "+
		"It knows nothing of gauges, of other bearings or of wear that cannot heal; where it disagrees widely with the estimate above, look at the readings.",
		l.N, wear.Fine(l.Slope*perYear), wear.Fine(l.SlopeSE*perYear))
}

// madeOf says how the estimate came about, each step a sentence.
func madeOf(o schedule.Outlook) []string {
	out := []string{
		fmt.Sprintf("Wear follows the work done, so it is counted in %s: %s so far, and about %s a day ahead.",
			o.Counter, hours(o.Exposure.Likely), hours(o.PerDay)),
	}
	if o.Exposure.Upper-o.Exposure.Lower >= 1 {
		out = append(out, fmt.Sprintf("The log leaves a doubt about that count: it lies between %s and %s.",
			hours(o.Exposure.Lower), hours(o.Exposure.Upper)))
	}
	n := o.Wear.Readings()
	return append(out,
		fmt.Sprintf("%s of the present part, each weighed by its gauge, moved that to the estimate above. About one reading in fifty is taken to be a misread, so none moves it by much alone.",
			schedule.Capital(schedule.Count(n, "reading", "readings"))),
		"A repair starts the size anew and keeps what is known of the rate; other materials start the rate anew too. A strip and clean carries both on.")
}
