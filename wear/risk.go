package wear

// The chance that may be run of a limit being passed unseen before the next
// measurement (judgement, no source).
const (
	UnseenAct   = .05 // of one to act or to stop at
	UnseenWatch = .20 // of one to look closer at
)

// LookAgain returns within how long a thing is to be measured again: by the
// time unseen at which the chance that it is over its limit grows too large
// ([Posterior.Crossing] at [UnseenAct] or [UnseenWatch]), by half of what is
// left of its life at the likeliest rate, and by the most that the conservator
// allows. Half the life left is the rule of API 510, 10th ed., 6.5.1.1 for
// pressure vessels (from a published worksheet), taken over by judgement. All in
// one unit; +Inf: no such bound; NaN if any is.
func LookAgain(unseen, left, most float64) float64 { return max(0, min(unseen, left/2, most)) }
