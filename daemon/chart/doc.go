// Package chart draws the pictures of endshake: the bearing chart, also with
// what some work done today would change, the year strip of a clock, and a small
// trend for lists. There is one drawing for each; it comes out as SVG for a page
// ([Picture.SVG]) and as PNG for mail ([Picture.PNG]).
//
// The drawing is done on the vg canvases of gonum.org/v1/plot. The package plot
// itself is left alone on purpose: its init parses twelve fonts, which would
// cost every start of the process; here one font is parsed at the first drawing.
//
// Lengths on a picture are in its own units: one unit is one CSS pixel of an
// SVG shown at its natural size, and 1/72 inch of a PNG. The origin is at the
// bottom left.
package chart
