package wear

// ThreadForm is a form of screw thread.
type ThreadForm string

// The forms that parts of a clock are held with.
const (
	Metric    ThreadForm = "metric"
	American  ThreadForm = "american" // American National, 60°
	Unified   ThreadForm = "unified"
	Whitworth ThreadForm = "whitworth"
	BA        ThreadForm = "ba" // British Association
)

// ThreadForms lists them.
var ThreadForms = []ThreadForm{Metric, American, Unified, Whitworth, BA}

// Two measures of a full thread of 60°, in pitches across the diameter. Drill
// charts count 1.29904, American National's basic depth on both sides (the
// "0.01299 rule" of the tap makers). Unified and ISO metric threads have
// 1.08253 between the major and the minor diameter (ISO 68-1). So one hole is
// 75 % of the one and 90 % of the other.
const (
	ChartThread = 1.29904
	MinorThread = 1.08253
)

// FullThread is what a full thread takes off the diameter, in pitches, by the
// convention usual for its form: the drill charts' for metric and American
// National threads, the minor diameter's for Unified ones, 1.280654 for
// Whitworth's of 55°, and 1.2 for BA's of 47.5° (the last two from memory).
// Nothing for an unknown form.
func (f ThreadForm) FullThread() float64 {
	switch f {
	case Metric, American:
		return ChartThread
	case Unified:
		return MinorThread
	case Whitworth:
		return 1.280654
	case BA:
		return 1.2
	}
	return 0
}

// TappingHole is the hole in mm that leaves a share of a full thread: major
// diameter and pitch in mm, full the full thread in pitches.
func TappingHole(major, pitch, share, full float64) float64 { return major - share*full*pitch }

// ThreadShare is the share of a full thread that a hole leaves; arguments as
// for [TappingHole].
func ThreadShare(major, pitch, hole, full float64) float64 { return (major - hole) / (full * pitch) }
