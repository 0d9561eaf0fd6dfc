package wear

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// NIST Statistical Reference Datasets, linear regression, Norris.
var (
	norrisX = []float64{.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, .4, .6, 775.5, 666.9, 338.0, 447.5, 11.6,
		556.0, 228.1, 995.8, 887.6, 120.2, .3, .3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, .5}
	norrisY = []float64{.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, .3, .1, 778.1, 668.8, 339.3, 448.9, 10.8,
		557.7, 228.3, 998.0, 888.8, 119.6, .3, .6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, .2}
)

// five readings used by several checks of this package.
var (
	fiveH = []float64{0, 9.2, 18.1, 30.5, 44.0}
	fiveY = []float64{.10, .22, .31, .52, .70}
)

// TestFitLine holds the fits against the certified values of NIST StRD
// (Norris, NoInt1, NoInt2; relative 1e-11) and, for the five readings, against
// statsmodels OLS (relative 1e-9).
func TestFitLine(t *testing.T) {
	sequence := func(from, n float64) (v []float64) {
		for i := 0.0; i < n; i++ {
			v = append(v, from+i)
		}
		return v
	}
	for _, c := range []struct {
		name                          string
		fit                           func(x, y []float64) (Line, error)
		x, y                          []float64
		intercept, interceptSE, slope float64
		slopeSE, residualSD, within   float64
	}{
		{"Norris", FitLine, norrisX, norrisY, -0.262323073774029, 0.232818234301152, 1.00211681802045, 0.429796848199937e-3, 0.884796396144373, 1e-11},
		{"NoInt1", FitLineThroughZero, sequence(60, 11), sequence(130, 11), 0, 0, 2.07438016528926, 0.165289256198347e-1, 3.56753034006338, 1e-11},
		{"NoInt2", FitLineThroughZero, []float64{4, 5, 6}, []float64{3, 4, 4}, 0, 0, 0.727272727272727, 0.420827318078432e-1, 0.369274472937998, 1e-11},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := c.fit(c.x, c.y)
			if err != nil {
				t.Fatal(err)
			}
			nearRel(t, "intercept", l.Intercept, c.intercept, c.within)
			nearRel(t, "its error", l.InterceptSE, c.interceptSE, c.within)
			nearRel(t, "slope", l.Slope, c.slope, c.within)
			nearRel(t, "its error", l.SlopeSE, c.slopeSE, c.within)
			nearRel(t, "residual", l.ResidualSD, c.residualSD, c.within)
			if l.N != len(c.x) {
				t.Errorf("N is %d of %d points", l.N, len(c.x))
			}
		})
	}
}

func TestPredictLine(t *testing.T) {
	l, err := FitLine(fiveH, fiveY)
	if err != nil {
		t.Fatal(err)
	}
	nearRel(t, "intercept", l.Intercept, .0892305191682, 1e-9)
	nearRel(t, "slope", l.Slope, .0137902495497, 1e-9)
	mean, sd := l.Predict(60)
	nearRel(t, "mean at 60", mean, .91664549215, 1e-9)
	q := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: 3}.Quantile(.9)
	nearRel(t, "80 % band, low", mean-q*sd, .8674386993, 1e-9)
	nearRel(t, "80 % band, high", mean+q*sd, .965852285, 1e-9)

	// A common offset of a thousand million must cost no more than its digits.
	far := make([]float64, len(fiveH))
	for i, x := range fiveH {
		far[i] = x + 1e9
	}
	shifted, err := FitLine(far, fiveY)
	if err != nil {
		t.Fatal(err)
	}
	nearRel(t, "slope after a shift", shifted.Slope, l.Slope, 1e-7)
	a, b := stat.LinearRegression(fiveH, fiveY, nil, false) // gonum
	nearRel(t, "gonum's intercept", a, l.Intercept, 1e-11)
	nearRel(t, "gonum's slope", b, l.Slope, 1e-11)

	zero, err := FitLineThroughZero([]float64{4, 5, 6}, []float64{3, 4, 4})
	if err != nil {
		t.Fatal(err)
	}
	if mean, sd := zero.Predict(0); mean != 0 || math.Abs(sd-zero.ResidualSD) > 1e-15 {
		t.Errorf("through zero, at zero: %v ± %v", mean, sd)
	}
}

// TestTheilSen: slope by scipy.stats.theilslopes; intercept the median of
// y - slope*x.
func TestTheilSen(t *testing.T) {
	slope, intercept := TheilSen(fiveH, fiveY)
	nearRel(t, "slope", slope, .0137034277198, 1e-9)
	nearRel(t, "intercept", intercept, .0970491803279, 1e-9)

	slope, intercept = TheilSen([]float64{0, 1, 2, 3, 4}, []float64{1, 3, 5, 70, 9})
	near(t, "slope past a wild point", slope, 2, 1e-12)
	near(t, "intercept past a wild point", intercept, 1, 1e-12)
}

func TestUnfitPoints(t *testing.T) {
	for _, c := range []struct {
		name string
		x, y []float64
	}{
		{"none", nil, nil},
		{"unlike numbers", []float64{1, 2, 3, 4}, []float64{1, 2, 3}},
		{"one", []float64{1}, []float64{1}},
		{"not finite", []float64{1, 2, math.NaN()}, []float64{1, 2, 3}},
		{"infinite", []float64{1, 2, 3}, []float64{1, math.Inf(1), 3}},
		{"all at nothing", []float64{0, 0, 0}, []float64{1, 2, 3}},
	} {
		if l, err := FitLine(c.x, c.y); err == nil {
			t.Errorf("%s: FitLine gave %+v", c.name, l)
		}
		if l, err := FitLineThroughZero(c.x, c.y); err == nil {
			t.Errorf("%s: FitLineThroughZero gave %+v", c.name, l)
		}
		if s, i := TheilSen(c.x, c.y); !math.IsNaN(s) || !math.IsNaN(i) {
			t.Errorf("%s: TheilSen gave %v and %v", c.name, s, i)
		}
	}
	if _, err := FitLine([]float64{1, 2}, []float64{1, 2}); err == nil {
		t.Error("two points leave nothing to judge a line by, but it was fitted")
	}
}
