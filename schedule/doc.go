// Package schedule holds the care of clocks: what there is ([Fleet]), what
// happened ([Entry]), what must be done ([Task]) and who must be told
// ([Notice]).
//
// The main path in one line: facts and now go into [Assess], and the whole
// answer for a clock comes out as a value ([Assessment]): run-hours, outlooks
// on its bearings, and tasks with their window of good days. [Survey] does it
// for the fleet and gives the immutable [Snapshot] that pages, mail and metrics
// read.
//
// Entries are only ever added. A correction is a new entry that names the one
// it replaces; [Effective] gives the log that counts.
//
// A task's window has a first good day (From), a due day and a last good day
// (Latest); its state says where today stands in it. Where the data cannot
// carry a date for a bearing, the answer is "measure by DATE", never an
// invented date.
//
// A [Model] carries what the fleet has taught ([Teach]) into every forecast. A
// reading that does not fit is asked back when it is logged ([Validate], code
// Doubtful), doubted afterwards ([Point].Doubt), and never changed. [WhatIf]
// gives the outlook as it would be after work that nobody has done.
//
// Nothing here reads a clock, a file or a network: time is an argument.
package schedule
