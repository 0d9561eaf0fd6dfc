package schedule

import "time"

// WindState is how much of a train's wind is left, as far as the log tells.
type WindState struct {
	Known bool // a full wind, or a height of the weight, is logged
	// Left is the run that is left now, Share of a full one, Turns of the barrel
	// (0 where the weight is not described).
	Left  time.Duration
	Share float64
	Turns float64
	// Stops is about when it stops, and Early and Late the band in which it
	// does nine times in ten. Zero: not known, or not hand-wound.
	Stops, Early, Late time.Time
	// Spare is how long before Stops the next wind falls due: the forgotten day.
	Spare time.Duration
	// Past: by what is logged it has stopped, unless somebody wound it and did
	// not write it down.
	Past bool
	// Windings are those logged, full or in part.
	Windings int
}
