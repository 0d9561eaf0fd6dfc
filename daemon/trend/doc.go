// Package trend reads a file of gauge readings and says what they lead to: how
// large, how fast, when a limit is likely to be reached, and when to measure
// again. It needs no database and knows no clock: a file of points of whatever
// fleet, each with its readings by hours of running.
//
// [Run] is the whole of it: it reads CSV, learns what the points have in common
// ([wear.Learn]), filters each point ([wear.Filter]) and gives a [Report], which
// can be printed as JSON ([Report.Document]), as words ([Report.WriteText]) and
// drawn ([Report.Picture]).
//
// # The file
//
// The first line names the columns, in any order and in any case: point, group,
// hours, value, and if wanted sd and event. Lines before it that begin with #
// are passed over. hours is the running of the point so far and never falls;
// value is a size in the file's unit, with or without that unit after it; sd is
// the standard uncertainty of the reading. event is empty, "fitted" or
// "repaired": from that row on another part is in place, and value, which may be
// empty there, is its size as known. Rows of different points may alternate.
//
// The whole file is held while it is answered, at about 30 bytes a reading: the
// points teach one another, so that none can be answered before all are read.
//
// # Units
//
// With physics, values are lengths: inside they are mm, and a unit of exposure
// is 1000 hours. Without, they are scaled so that the points' median change is 1
// and the median of their last hours is 50 units; every answer is scaled back.
// Answers are in the file's unit, rates per 1000 hours.
package trend
