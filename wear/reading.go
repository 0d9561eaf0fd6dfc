package wear

import "fmt"

// LoadState says how the arbor was held when a reading was taken. A change of
// it is a break in the series.
type LoadState string

// The load states; empty is not recorded.
const (
	LoadOff LoadState = "off" // weight held, train blocked
	LoadOn  LoadState = "on"
)

// DefaultGauge is the standard uncertainty taken where a reading names none:
// 0.03 mm, for a dial indicator used in a tower (0.02 to 0.05 mm; common
// practice, no source).
const DefaultGauge = 30 * Micrometre

// Reading is one gauge reading of a bearing. When it was taken and by whom
// stands on the log entry that carries it.
type Reading struct {
	Shake      Shake
	Value      Length
	Gauge      Length // standard uncertainty; zero is taken as DefaultGauge
	Instrument string
	// Celsius is the temperature at the reading; nil: not recorded.
	Celsius *float64
	Load    LoadState
}

// Validate reports the first thing that cannot be right about a reading.
// A value smaller than the one before is right: dirt and the gauge do that.
func (r Reading) Validate() error {
	switch {
	case r.Shake != EndShake && r.Shake != SideShake:
		return fmt.Errorf("reading: shake %q is not known: use %q or %q", r.Shake, EndShake, SideShake)
	case r.Value < 0:
		return fmt.Errorf("reading: %v is negative: a freedom cannot be less than nothing", r.Value)
	case r.Value > 100*Millimetre:
		return fmt.Errorf("reading: %v is beyond 100 mm: check the unit", r.Value)
	case r.Gauge < 0:
		return fmt.Errorf("reading: gauge uncertainty %v is negative: leave it out or give a plain size", r.Gauge)
	case r.Gauge > 5*Millimetre:
		return fmt.Errorf("reading: gauge uncertainty %v is beyond 5 mm: check the unit", r.Gauge)
	case r.Load != "" && r.Load != LoadOff && r.Load != LoadOn:
		return fmt.Errorf("reading: load state %q is not known: use %q or %q", r.Load, LoadOff, LoadOn)
	case r.Celsius != nil && !(*r.Celsius > -60 && *r.Celsius < 80):
		return fmt.Errorf("reading: %v °C is not a temperature a clock room has", *r.Celsius)
	}
	return nil
}

// SD is the standard uncertainty in millimetres, with the default where none
// was given.
func (r Reading) SD() float64 {
	if r.Gauge == 0 {
		return DefaultGauge.MM()
	}
	return r.Gauge.MM()
}
