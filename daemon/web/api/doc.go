// Package api holds what programs read and write under /api/: the shapes of its
// JSON, how a posted entry is read, and the description of it all (OpenAPI 3.0.3,
// https://spec.openapis.org/oas/v3.0.3).
//
// Sizes as they are stored stand both in millimetres and in micrometres
// ([Size]). What is reckoned is in the unit that its name ends in, with its low
// and high: one in ten is lower, one in ten higher. Days are 2026-11-25, and ""
// where there is none; instants are RFC 3339. What does not exist is null.
package api

import (
	_ "embed"
	"math"
	"strconv"

	"endshake/wear"
)

// Description is the description of every address under /api/, as JSON.
//
//go:embed openapi.json
var Description []byte

// Num is a figure of seven digits in JSON, and null when it is no number.
type Num float64

// MarshalJSON never fails.
func (n Num) MarshalJSON() ([]byte, error) {
	v := float64(n)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return []byte("null"), nil
	}
	v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 7, 64), 64)
	format := byte('f')
	if a := math.Abs(v); v != 0 && (a < 1e-6 || a >= 1e15) {
		format = 'g'
	}
	return strconv.AppendFloat(nil, v+0, format, -1, 64), nil
}

var none = Num(math.NaN())

// Size is a length as it is stored, in two units that say the same. Read, one of
// the two is enough.
type Size struct {
	MM          *float64 `json:"mm,omitempty"`
	Micrometres *int64   `json:"micrometres,omitempty"`
}

func sizeOf(l wear.Length) *Size {
	mm, um := l.MM(), int64(l)
	return &Size{&mm, &um}
}

// sized is nil for nothing.
func sized(l wear.Length) *Size {
	if l == 0 {
		return nil
	}
	return sizeOf(l)
}

// Problem is why something cannot be done, in one sentence (RFC 9457).
type Problem struct {
	Type   string `json:"type"` // always about:blank: the status tells the kind
	Title  string `json:"title"`
	Status int    `json:"status"`
	Detail string `json:"detail"`
	// Field is what to mend, as the entry or the address names it; Code sorts
	// what a person can mend (schedule.Code). Empty: there is none.
	Field string `json:"field,omitempty"`
	Code  string `json:"code,omitempty"`
}
