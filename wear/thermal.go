package wear

import "math"

// ReferenceCelsius is the temperature in °C that readings are brought to: of a
// tower room over the year. Judgement; only differences matter.
const ReferenceCelsius = 15

// How far in °C a shaft may be from the temperature beside a reading (standard
// deviation), and from ReferenceCelsius where there is none. Judgement, no source.
const (
	shaftCelsius = 2
	anyCelsius   = 8
)

// expansions per °C. Steel: Grimthorpe, A Rudimentary Treatise on Clocks,
// Watches and Bells, 8th ed., p. 53 (6.4e-6 per °F, tempered). Brass and cast
// iron from memory of handbook tables: alloys differ, and Grimthorpe has 18.0e-6
// and 11.9e-6. So steel against cast iron is nearly nothing, of either sign.
var expansions = map[Metal]float64{Steel: 11.5e-6, Brass: 19e-6, CastIron: 10.4e-6}

// Expansion returns the coefficient of linear expansion of a metal, per °C; ok
// is false where it is not known.
func Expansion(m Metal) (perCelsius float64, ok bool) {
	perCelsius, ok = expansions[m]
	return perCelsius, ok
}

// sensitivity is the growth of the shake in mm per °C; nothing where the shaft
// or a metal is not recorded.
func (b Bearing) sensitivity() float64 {
	shaft, ok := expansions[b.Shaft]
	frame, too := expansions[b.Frame]
	if !ok || !too {
		return 0
	}
	return ThermalGrowth(b.Stand.MM(), frame-shaft, 1)
}

// Growth returns the mm by which the shake is larger at a temperature in °C
// than at [ReferenceCelsius]: the frame grows away from its shaft. Negative
// where it is smaller; nothing where the shaft or a metal is not recorded.
func (b Bearing) Growth(celsius float64) float64 {
	return b.sensitivity() * (celsius - ReferenceCelsius)
}

// Corrected returns a reading in mm brought to [ReferenceCelsius], and its
// standard uncertainty in mm: that of the gauge, with 2 °C for a shaft that is
// not as warm as the air beside it, or 8 °C where no temperature was noted and
// the value stays as read. With no long shaft both are as read.
func (b Bearing) Corrected(r Reading) (value, sd float64) {
	value, unsure := r.Value.MM(), float64(anyCelsius)
	if r.Celsius != nil {
		value -= b.Growth(*r.Celsius)
		unsure = shaftCelsius
	}
	return value, math.Hypot(r.SD(), unsure*b.sensitivity())
}
