package chart

import (
	"math"
	"strings"

	"endshake/schedule"
	"endshake/wear"
)

// Way says in one unit between which sizes Outlook.Used is a share: "from 0.05
// to 0.20 mm", from its size when fitted to its limit. It is empty where the
// size when fitted is not known, so that the share is one of the whole limit, or
// where no limit is set.
func Way(o schedule.Outlook, u wear.Unit) string {
	if o.Limit == nil {
		return ""
	}
	base := o.Bearing.Fitted.MM()
	if n := len(o.Parts); n > 0 && o.Parts[n-1].Start != nil {
		base = o.Parts[n-1].Start.Mean
	}
	if !(base > 0) || base >= o.Limit.Size.MM() {
		return ""
	}
	unit := " " + string(wear.MM)
	if u == wear.Thou {
		unit = " " + string(wear.Thou)
	}
	from := wear.FromMM(math.Round(base*100) / 100).In(u)
	return "from " + strings.TrimSuffix(from, unit) + " to " + o.Limit.Size.In(u)
}
