// Package wear holds the physical things of a clock that wear, and the
// mathematics that looks ahead from a handful of gauge readings.
//
// A [Train] (going, strike or chime) is a chain of [Arbor]s; each turns in
// [Bearing]s, which are thrust faces or bushes. A [Reading] is one gauge
// reading of a bearing's end-shake or side-shake. Lengths are whole
// micrometres ([Length]).
//
// Wear does not follow the calendar but the work done. [Running] turns starts,
// stops and windings into run-hours with a lower and an upper figure where the
// log leaves a doubt; strokes follow from run-hours. [Filter] learns the level
// and the rate of wear of one bearing from its readings, starting from a
// [Prior] that [RatePrior] takes from Archard's law; the resulting [Posterior]
// says how sure the level is now, and when it will cross a limit. [Learn] finds
// what a fleet's bearings have in common, which makes a better prior than
// physics alone; [Doubts] says which reading was misread; [TrackRecord] says how
// good the forecasts are. [Mesh] turns a sinking wheel into depth of engagement
// lost, and that into limits.
//
// Symbols: h is exposure in thousands of run-hours (kh) or ten-thousands of
// strokes since the part was fitted (see [Counter.PerUnit]); lengths inside
// the mathematics are float64 millimetres; rates are mm per unit of exposure.
//
// Nothing here reads a clock, a file or a network, and nothing logs: the same
// arguments always give the same numbers.
package wear
