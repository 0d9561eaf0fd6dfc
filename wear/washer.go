package wear

// FacedOff is how much of a facing comes off the surface that bears, in mm,
// where the shoulder runs at the bottom of a worn pocket: nothing until the
// facing has reached the pocket's bottom. To count the whole facing is the
// common slip.
func FacedOff(facing, pocket float64) float64 { return max(0, facing-pocket) }

// EndShakeAfter is the end-shake in mm once metal is taken off the surface that
// bears and washers are fitted; below nothing: it binds.
func EndShakeAfter(endShake, removed, washers float64) float64 { return endShake + removed - washers }

// WasherFor is the washers in mm, both ends together, that leave a wanted
// end-shake.
func WasherFor(endShake, removed, want float64) float64 { return endShake + removed - want }

// WheelShift is by how many mm the middle of a wheel's play stands off its first
// place, towards the other end (negative: towards this one). At this end the
// seat has gone down by so much from the first face, by facing or by wear, and
// then come up by a washer; at the other end, uncut, it has come in by another.
// Each end bounds the play, so each moves its middle by half.
func WheelShift(washer, gone, other float64) float64 { return (washer - gone - other) / 2 }
