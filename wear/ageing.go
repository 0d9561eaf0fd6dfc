package wear

import "math"

// GasConstant in J/(mol K), CODATA 2018.
const gasConstant = 8.314462618

const kelvin = 273.15

// OilActivation is the activation energy in J/mol by which the temperature
// moves the life of oil in a clock. Judgement, no source: between the 51 kJ/mol
// of the rule of two for each 10 °C about room temperature and the 90.9 kJ/mol
// that turbine oils show between 100 and 150 °C (Khonsari and Booser, Predicting
// lube life, Machine Design, 9 Jan 2003).
const OilActivation = 60000

// OilReference is the temperature in °C at which a life is stated as it is.
const OilReference = 15

// Heat moves a life by no more than these factors: what ends oil in a clock is
// creep, dust, damp and wear more than its chemistry (judgement, no source).
const leastHeat, mostHeat = .5, 2

// EquivalentTemperature is the steady temperature in °C at which oil would age
// as in a year of the given monthly means, by the law of Arrhenius with an
// activation energy ea in J/mol. Daily is half of the day's range, taken as a
// sine. It is never below the mean; NaN where a figure is none, or colder than
// anything can be.
func EquivalentTemperature(months [12]float64, daily, ea float64) float64 {
	phases := 1
	if daily != 0 {
		phases = 24
	}
	sum := 0.0
	for _, m := range months {
		for i := range phases {
			t := m + daily*math.Sin(2*math.Pi*(float64(i)+.5)/float64(phases)) + kelvin
			if !(t > 0) {
				return math.NaN()
			}
			sum += math.Exp(-ea / gasConstant * (1/t - 1/(OilReference+kelvin)))
		}
	}
	mean := math.Log(sum / float64(12*phases))
	return 1/(1/(OilReference+kelvin)-gasConstant/ea*mean) - kelvin
}

// TemperatureFactor is by how much an oil lives longer at a temperature in °C
// than at [OilReference], held to between a half and two; 1 where the
// temperature is not known (NaN).
func TemperatureFactor(teq float64) float64 {
	switch t := teq + kelvin; {
	case math.IsNaN(teq):
		return 1
	case t <= 0:
		return mostHeat
	default:
		return min(mostHeat, max(leastHeat, math.Exp(OilActivation/gasConstant*(1/t-1/(OilReference+kelvin)))))
	}
}

// Viscosity of an oil in mm²/s at 40 and at 100 °C, as its data sheet says.
type Viscosity struct{ At40, At100 float64 }

// At is the viscosity in mm²/s at a temperature in °C by ASTM D341 (Walther's
// law), which is good from 2 mm²/s up and for an oil that flows: below its pour
// point it is far stiffer than this says. NaN where the two do not make an oil.
func (v Viscosity) At(celsius float64) float64 {
	t := celsius + kelvin
	if !(v.At40 > v.At100 && v.At100 >= .5) || !(t > 0) {
		return math.NaN()
	}
	z := func(nu float64) float64 { return math.Log10(math.Log10(nu + .7)) }
	b := (z(v.At40) - z(v.At100)) / (math.Log10(100+kelvin) - math.Log10(40+kelvin))
	a := z(v.At40) + b*math.Log10(40+kelvin)
	return math.Pow(10, math.Pow(10, a-b*math.Log10(t))) - .7
}

// Cold says of an oil whether the cold is a danger to the clock: stiffer in
// mm²/s than these at its coldest, or within coldMargin °C of its pour point
// (judgement, no source). Light is for escapement, pallets and fly, which have
// little force to spare.
const (
	stiffLight = 2000
	stiffHeavy = 20000
	coldMargin = 5
)

// TooCold reports whether an oil is too stiff at a temperature in °C for a light
// arbor (escapement, pallets, fly) or for any other. Pour is its pour point in
// °C; NaN: not known. Of an oil whose viscosity is not known either it is false.
func (v Viscosity) TooCold(celsius, pour float64, light bool) bool {
	most := float64(stiffHeavy)
	if light {
		most = stiffLight
	}
	return v.At(celsius) > most || celsius < pour+coldMargin
}
