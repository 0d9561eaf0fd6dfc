package wear

import (
	"math"
	"strconv"
	"strings"
)

// Nothing here foretells how long a line lasts. The figures are those of other
// trades, to lay beside what a look at a clock's line found: no published ones
// for clocks were found.

// wireRow is one row of the discard table of cranes.
type wireRow struct{ wires, in6, in30 int }

// discard is the number of visible broken outer wires, in lengths of 6 and 30
// diameters, at which a crane's rope is discarded: ISO 4309 (2010 and 2017),
// single-layer drum or steel sheaves, ordinary lay, class M1 to M4 or not
// known, as two rope makers' tables print it. Of a Lang-lay rope it is about
// half.
var discard = []wireRow{
	{50, 2, 4}, {75, 3, 6}, {100, 4, 8}, {120, 5, 10}, {140, 6, 11}, {160, 6, 13}, {180, 7, 14}, {200, 8, 16},
	{220, 9, 18}, {240, 10, 19}, {260, 10, 21}, {280, 11, 22}, {300, 12, 24},
}

// CraneDiscard is how many visible broken outer wires in 6 and in 30 diameters
// have a crane's rope discarded, by the number of its load-bearing outer wires
// (ISO 4309). Where that is not known (0) it is the first row, the strictest;
// beyond 300 it is the last (both judgement, no source).
func CraneDiscard(outerWires int) (in6, in30 int) {
	for _, r := range discard {
		if outerWires <= r.wires {
			return r.in6, r.in30
		}
	}
	last := discard[len(discard)-1]
	return last.in6, last.in30
}

// HoistDiscard is how many broken wires in one lay have a rope of a US mine
// hoist retired: more than 5 % of all its wires, or more than 15 % of the wires
// of one strand (30 CFR 56.19024).
func HoistDiscard(strands, wires int) (inAll, inStrand int) {
	return strands*wires*5/100 + 1, wires*15/100 + 1
}

// Diameter lost, as a share, at which ropes of other trades are discarded.
const (
	HoistThinned = 0.06 // more than this: a US mine hoist (30 CFR 56.19024)
	CraneThinned = 0.10 // a crane's of fibre core; 0.075 of steel core (ISO 4309, from memory)
)

// RopeOf reads how a rope is made: "7x19" is 7 strands of 19 wires each. ok is
// false where the text begins otherwise.
func RopeOf(construction string) (strands, wires int, ok bool) {
	s := strings.ReplaceAll(strings.ToLower(construction), "×", "x")
	first, rest, found := strings.Cut(s, "x")
	if !found {
		return 0, 0, false
	}
	rest = strings.TrimSpace(rest)
	if end := strings.IndexFunc(rest, func(r rune) bool { return r < '0' || r > '9' }); end >= 0 {
		rest = rest[:end]
	}
	strands, err := strconv.Atoi(strings.TrimSpace(first))
	wires, err2 := strconv.Atoi(rest)
	if err != nil || err2 != nil || strands < 1 || strands > 100 || wires < 1 || wires > 500 {
		return 0, 0, false
	}
	return strands, wires, true
}

// ZincDensity is that of zinc in g/cm³, so that a coating of so many g/m² is a
// layer of ZincThickness.
const ZincDensity = 7.14

// ZincThickness is the thickness in µm of a coating of so many g/m².
func ZincThickness(grams float64) float64 { return grams / ZincDensity }

// Air is a class of how corrosive air is (ISO 9223).
type Air string

// The classes of air.
const (
	C1 Air = "C1" // dry indoors
	C2 Air = "C2" // unheated indoors, country
	C3 Air = "C3" // town, mild coast
	C4 Air = "C4" // industry, coast
	C5 Air = "C5" // very harsh
)

// zincLoss is how much zinc is lost, in µm a year, from and to (ISO 9223, ISO
// 14713).
var zincLoss = map[Air][2]float64{C1: {0, 0.1}, C2: {0.1, 0.7}, C3: {0.7, 2}, C4: {2, 4}, C5: {4, 8}}

// ZincYears is how long, in years, a layer of zinc of so many µm lasts in air
// of a class, at the most and the least loss of it: to the first rust of a
// plain surface that nothing rubs or greases. It is NOT the life of a rope. Of
// C1 the longer is +Inf; an unknown class, or no layer, gives nothing.
func ZincYears(thickness float64, air Air) (least, most float64) {
	loss, ok := zincLoss[air]
	if !ok || !(thickness > 0) {
		return 0, 0
	}
	if most = math.Inf(1); loss[0] > 0 {
		most = thickness / loss[0]
	}
	return thickness / loss[1], most
}
