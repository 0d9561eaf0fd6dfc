package trend

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"math"
	"strconv"
)

// Document is the answer to a file, for JSON, but for its points, which follow
// it under "points" as [Point] ([Report.WriteJSON]). Sizes are in Unit, rates in
// RateUnit, hours are of running. What does not exist is null.
type Document struct {
	Unit     string  `json:"unit"`
	RateUnit string  `json:"rate_unit"` // the unit per 1000 hours
	Limit    Num     `json:"limit"`
	Gauge    Num     `json:"gauge"` // taken where a reading has no sd
	Note     *string `json:"note"`  // what to know of the whole file; null: nothing
	Learned  Lesson  `json:"learned"`
	// TrackRecord is there when it was asked for.
	TrackRecord *Track `json:"track_record,omitempty"`
}

// Lesson is what the points have in common.
type Lesson struct {
	// Taught says that the file had points enough; otherwise all is as it is
	// believed before any reading.
	Taught      bool    `json:"taught"`
	Points      int     `json:"points"` // with two readings or more
	Readings    int     `json:"readings"`
	Sample      int     `json:"sample,omitempty"` // of so many points of the file; there when not of all
	Exponent    Num     `json:"exponent"`         // of hours; below 1: fast at first
	Quickening  Num     `json:"quickening"`       // by how much of itself the rate grows per unit of size
	GaugeFactor Num     `json:"gauge_factor"`     // on stated uncertainties
	Spread      Num     `json:"spread"`           // of ln rates inside a group
	Groups      []Group `json:"groups"`
}

// Group is what is known of a group's rate, at the age of its points now.
type Group struct {
	Group  string `json:"group"`
	Points int    `json:"points"`
	Rate   Num    `json:"rate"`
}

// Point is the answer for one point.
type Point struct {
	Point    string  `json:"point"`
	Group    string  `json:"group"`
	Readings int     `json:"readings"` // by a gauge, of all its parts
	Hours    float64 `json:"hours"`    // of its last row
	Level    Num     `json:"level"`    // then
	LevelSD  Num     `json:"level_sd"`
	Rate     Num     `json:"rate"` // median, for the hours to come
	RateLow  Num     `json:"rate_low"`
	RateHigh Num     `json:"rate_high"` // the 10 and 90 % points
	Exponent Num     `json:"exponent"`
	Crossing *Cross  `json:"crossing"` // null without a limit or a level
	At       []At    `json:"at"`
	Change   Change  `json:"change"`
	Doubtful []Doubt `json:"doubtful"`
	// NextMeasurement is when the chance of being over the limit first passes
	// 0.05, or halfway to the likely crossing if that is sooner.
	NextMeasurement Num `json:"next_measurement_hours"`
}

// Cross is when the limit is reached: the hours by which that has happened with
// a chance of 10, 50 and 90 %.
type Cross struct {
	P10 Num `json:"p10"`
	P50 Num `json:"p50"`
	P90 Num `json:"p90"`
	// Already: over by now as likely as not.
	Already bool `json:"already"`
	// BeyondHorizon: those that are null lie too far ahead to say.
	BeyondHorizon bool `json:"beyond_horizon"`
}

// At is the forecast of a reading by the usual gauge at some hours; null where
// those are before the point's last row, or where there is no level.
type At struct {
	Hours float64 `json:"hours"`
	Mean  Num     `json:"mean"`
	Q05   Num     `json:"q05"`
	Q10   Num     `json:"q10"`
	Q50   Num     `json:"q50"`
	Q90   Num     `json:"q90"`
	Q95   Num     `json:"q95"`
}

// Change is whether the rate has changed since the present part was fitted.
type Change struct {
	Probability Num `json:"probability"`
	AfterHours  Num `json:"after_hours"` // null when the probability is .5 or less
}

// Doubt is a reading that was likely misread, by its line in the file.
type Doubt struct {
	Row         int `json:"row"`
	Probability Num `json:"probability"`
}

// Track is how well the file's own readings would have been forecast, the next
// one and the last one.
type Track struct {
	Next Versus `json:"next"`
	Last Versus `json:"last"`
}

// Versus is a score beside that of a straight line on the same forecasts.
type Versus struct {
	Score
	StraightLine Score `json:"straight_line"`
}

// Score is the quality of forecasts: the continuous ranked probability score
// and the mean absolute error in the unit, and the share of readings inside the
// 80 and 90 % bands.
type Score struct {
	Forecasts int `json:"forecasts"`
	CRPS      Num `json:"crps"`
	MAE       Num `json:"mae"`
	Cover80   Num `json:"cover80"`
	Cover90   Num `json:"cover90"`
}

// WriteJSON writes the document with its points, each as soon as it and those
// before it are answered. The error is that of the context or of w, and what
// was written then is not the whole.
func (r *Report) WriteJSON(ctx context.Context, w io.Writer) error {
	head, err := indented(r.Document, "")
	if err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	b.Write(bytes.TrimSuffix(head, []byte("\n}")))
	b.WriteString(",\n  \"points\": [")
	between := "\n    "
	err = inOrder(ctx, len(r.log.points), func(i int) ([]byte, error) {
		p, err := r.answer(r.log.points[i])
		if err != nil {
			return nil, err
		}
		return indented(p, "    ")
	}, func(one []byte) error {
		b.WriteString(between)
		between = ",\n    "
		_, err := b.Write(one)
		return err
	})
	if err != nil {
		return err
	}
	b.WriteString("\n  ]\n}\n")
	return b.Flush()
}

// indented is JSON for a person to read, too, without a line break at its end.
func indented(v any, prefix string) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent(prefix, "  ")
	enc.SetEscapeHTML(false)
	err := enc.Encode(v)
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), err
}

// Num is a figure of seven digits in JSON, and null when it is no number.
type Num float64

// MarshalJSON never fails.
func (n Num) MarshalJSON() ([]byte, error) {
	if !n.Real() {
		return []byte("null"), nil
	}
	v, _ := strconv.ParseFloat(strconv.FormatFloat(float64(n), 'g', 7, 64), 64)
	format := byte('f')
	if a := math.Abs(v); v != 0 && (a < 1e-6 || a >= 1e15) {
		format = 'g'
	}
	return strconv.AppendFloat(nil, v+0, format, -1, 64), nil
}

// Real reports whether there is a figure.
func (n Num) Real() bool { return !math.IsNaN(float64(n)) && !math.IsInf(float64(n), 0) }

var none = Num(math.NaN())
