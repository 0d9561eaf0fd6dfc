package chart

import (
	"time"

	"endshake/schedule"
)

// WhatIf draws the chart of a bearing with a second fan in lighter dashes: what
// would be expected of it after some work done today. Both outlooks are of now.
func WhatIf(before, after schedule.Outlook, now time.Time, zone *time.Location, size Size) Picture {
	p := Bearing(before, now, zone, size)
	if zone == nil {
		zone = time.UTC
	}
	d := newWhatIfChart(before, after, now, zone, p.Size)
	p.Title = short(before.Bearing.Name+": "+string(before.Bearing.Shake)+", as it is and if the work were done today", 120)
	p.Desc = "As it is: " + p.Desc + " If done today: " + after.Sentence
	p.draw, p.tips = d.draw, d.tips
	return p
}

func newWhatIfChart(before, after schedule.Outlook, now time.Time, zone *time.Location, size Size) *bearingChart {
	d := newBearingChart(before, now, zone, size)
	d.after = &after
	d.layOut()
	return d
}
