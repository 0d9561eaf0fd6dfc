package chart

import (
	"endshake/schedule"
	"endshake/wear"
)

// Way says between which sizes Outlook.Used is a share: "from 0.05 to 0.20 mm (2.0
// to 7.9 thou)", from its size when fitted to its limit. It is empty where the
// size when fitted is not known, so that the share is one of the whole limit, or
// where no limit is set.
func Way(o schedule.Outlook) string {
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
	return "from " + wear.Span(wear.Hundredths(base), "to", o.Limit.Size)
}
