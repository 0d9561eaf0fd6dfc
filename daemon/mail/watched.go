package mail

import (
	"cmp"
	"fmt"
	htmltemplate "html/template"
	"slices"

	"endshake/daemon/chart"
	"endshake/schedule"
)

// eye is a bearing to keep an eye on.
type eye struct {
	Where, Condition, Sentence, Level string
	Oil                               string           // empty: oiled in time
	Trend                             htmltemplate.URL // where its picture is; empty: none
	Says                              string           // what the picture says
}

const (
	// mostTrends is how many bearings of a letter are drawn: the worst few.
	mostTrends = 4
	// trendSharp is the pixels for each unit of a trend: it is shown at twice its
	// size.
	trendSharp = 4
)

// watched lists the bearings of a reader's clocks that want watching or work, or
// whose rate of wear has changed, and draws the worst of them.
func (w writing) watched() ([]eye, []picture) {
	var out []eye
	var pictures []picture
	drawn := worst(w.l.Clocks)
	for _, a := range w.l.Clocks {
		for _, o := range a.Outlooks {
			if !wantsEye(o) {
				continue
			}
			e := w.eye(a, o)
			if i := slices.Index(drawn, a.Clock.Slug+"/"+o.Bearing.Code); i >= 0 {
				if p, ok := w.trend(a, o, i); ok {
					pictures = append(pictures, p)
					e.Trend, e.Says = htmltemplate.URL("cid:"+p.cid), clean(chart.Spark(o, a.Now).Desc)
				}
			}
			out = append(out, e)
		}
	}
	return out, pictures
}

func wantsEye(o schedule.Outlook) bool {
	return o.Condition == schedule.Watch || o.Condition == schedule.Act || !o.Changed.IsZero()
}

// worst are the bearings that have used most of the way to their limit, of those
// that are told of and were ever read.
func worst(clocks []schedule.Assessment) []string {
	type used struct {
		what  string
		share float64
	}
	var all []used
	for _, a := range clocks {
		for _, o := range a.Outlooks {
			if n := len(o.Parts); wantsEye(o) && o.Known && o.Limit != nil && n > 0 && len(o.Parts[n-1].Readings) > 0 {
				all = append(all, used{a.Clock.Slug + "/" + o.Bearing.Code, o.Used})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y used) int { return cmp.Compare(y.share, x.share) })
	var out []string
	for _, u := range all[:min(len(all), mostTrends)] {
		out = append(out, u.what)
	}
	return out
}

// trend draws one bearing small.
func (w writing) trend(a schedule.Assessment, o schedule.Outlook, nth int) (picture, bool) {
	png, err := chart.Spark(o, a.Now).PNG(trendSharp)
	if err != nil {
		return picture{}, false
	}
	return picture{cid: fmt.Sprintf("trend%d@%s", nth+1, w.n.ID), name: fmt.Sprintf("trend%d.png", nth+1), png: png}, true
}

// eye says where one bearing stands.
func (w writing) eye(a schedule.Assessment, o schedule.Outlook) eye {
	stands := fmt.Sprintf("Level now: %s. Limit: %s.", level(o), limit(o))
	if used := usedUp(o); used != "" {
		stands += " Used up: " + used + "."
	}
	return eye{Where: clockName(w.l, a) + ", " + bearingName(o), Condition: string(o.Condition), Sentence: clean(o.Sentence), Oil: oil(o), Level: stands}
}
