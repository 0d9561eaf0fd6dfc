package schedule

import (
	"time"

	"endshake/wear"
)

// Learned is what the fleet has taught, at one time: a figure on a page can be
// traced to it by its version.
type Learned struct {
	Version  int // counts from 1; given when it is stored
	FittedAt time.Time
	Model    wear.Learned
	// Track is how well forecasts of the fleet did, WithOil the same with
	// running weighted by the state of the oil; OilInForce: that did better.
	Track, WithOil wear.Track
	OilInForce     bool
	// OilLives is what inspections taught of each kind of oil.
	OilLives map[OilKind]OilLesson `json:",omitempty"`
}
