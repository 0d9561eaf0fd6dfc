// Package trend reads a file of gauge readings and says what they lead to: how
// large, how fast, when a limit is likely to be reached, and when to measure
// again. It needs no database and knows no clock: a file of points of whatever
// fleet, each with its readings by hours of running.
//
// [Run] reads CSV and learns what the points have in common ([wear.Learn]). Its
// [Report] filters each point ([wear.Filter]) while it is written as JSON
// ([Report.WriteJSON]) or as words ([Report.WriteText]) or drawn
// ([Report.Picture]).
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
// # Memory
//
// Rows of different points may alternate, and no point can be answered before
// the others have taught their kind, so that the readings of the whole file are
// held: 28 bytes each, and some 130 a point, its names aside. Nothing else grows
// with the file. Of more than 4000 points a sample of so many teaches and is
// judged, drawn by a hash of their names from those found at two sizes or more;
// the answer says so. Points are answered a window at a time, on all processors,
// and written in the order of the file. More than 100 readings of one part are
// drawn together into 100.
//
// # Units
//
// With physics, values are lengths: inside they are mm, and a unit of exposure
// is 1000 hours. Without, they are scaled so that the points' median change is 1
// and the median of their last hours is 50 units; every answer is scaled back.
// Answers are in the file's unit, rates per 1000 hours.
package trend
