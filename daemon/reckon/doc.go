// Package reckon is the bench arithmetic of a clock room: sheets that turn a
// few figures into a few others, each with its unit, its formula and where that
// comes from. A [Sheet] is defined once, as data and a function; commands and
// pages only ask its questions and print its [Answer].
//
// It is pure: no I/O, no wall clock. Today's date is an argument. Every figure
// from outside is text ([Sheet.Reckon] reads it), and what cannot be right comes
// back as a [Fault] that names its input and says how to mend it.
//
// Sheets reckon; they do not promise that anything is safe. One whose work can
// hurt carries the usual caution.
package reckon
