package wear

import (
	"fmt"
	"math"
)

// LifeForm is the form of a distribution of lives.
type LifeForm string

// The forms.
const (
	LogNormal LifeForm = "lognormal"
	Weibull   LifeForm = "Weibull"
)

// LifeFit is a distribution of lives fitted to sightings by maximum likelihood.
// Ln years are at a distance from Middle that goes by Spread: of a lognormal
// life the mean and deviation of ln years; of a Weibull life the logarithm of
// its scale, and the reciprocal of its shape.
type LifeFit struct {
	Form           LifeForm
	Middle, Spread float64
	LnLik          float64 // of the sightings, exact ones by their density in years
}

// form is a distribution of z, the distance from the middle in spreads.
type form interface {
	// lik is the ln probability of a z between two, or the ln density where
	// they are alike.
	lik(a, b float64) float64
	survives(z float64) float64
	at(survive float64) float64 // its inverse
}

type (
	logNormal struct{}
	weibull   struct{}
)

var lnLogNormal logNormal

func (logNormal) lik(a, b float64) float64 {
	switch {
	case a == b:
		return -a*a/2 - halfLn2Pi
	case math.IsInf(b, 1):
		return LnPhi(-a)
	case math.IsInf(a, -1):
		return LnPhi(b)
	}
	if a > 0 { // the smaller tail keeps its digits
		a, b = -b, -a
	}
	if b-a < 1e-6 { // nearly exact: the density by the width
		return -(a+b)*(a+b)/8 - halfLn2Pi + math.Log(b-a)
	}
	return LnPhi(b) + math.Log1p(-math.Exp(LnPhi(a)-LnPhi(b)))
}

func (logNormal) survives(z float64) float64 { return Phi(-z) }
func (logNormal) at(s float64) float64       { return math.Sqrt2 * math.Erfcinv(2*s) }

// Of a Weibull life ln years have the smallest extreme value distribution:
// survival to z is exp(-exp(z)).
func (weibull) lik(a, b float64) float64 {
	from, to := math.Exp(a), math.Exp(b)
	switch {
	case a == b:
		return a - from
	case math.IsInf(from, 1):
		return math.Inf(-1)
	}
	return -from + math.Log(-math.Expm1(from-to))
}

func (weibull) survives(z float64) float64 { return math.Exp(-math.Exp(z)) }
func (weibull) at(s float64) float64       { return math.Log(-math.Log(s)) }

func (f LifeForm) form() (form, bool) {
	switch f {
	case LogNormal:
		return lnLogNormal, true
	case Weibull:
		return weibull{}, true
	}
	return nil, false
}

// FitLife fits a form to sightings by maximum likelihood. It is an error where
// they cannot carry one: where no life was seen to end, or all ends fit one age.
func FitLife(f LifeForm, seen []Sighting) (LifeFit, error) {
	form, ok := f.form()
	if !ok {
		return LifeFit{}, fmt.Errorf("fit lives: the form %q is not known: use %s or %s", f, LogNormal, Weibull)
	}
	var spans [][2]float64
	lnYears, ended, exact := 0.0, false, false
	for _, s := range seen {
		if from, to, ok := s.span(); ok {
			spans = append(spans, [2]float64{from, to})
			ended = ended || s.Ended()
			if from == to {
				lnYears, exact = lnYears+from, true
			}
		}
	}
	if !ended {
		return LifeFit{}, fmt.Errorf("fit lives: none of %d sightings saw an end, so how long they last cannot be told: go on looking", len(seen))
	}
	at, best, ok := climbLife(form, spans, startLife(spans))
	sure := !exact && best > -1e-6 // a narrow enough spread foretells them all
	if spread := math.Exp(at[1]); !ok || sure || spread < 1e-3 || spread > 30 || math.Abs(at[0]) > 60 {
		return LifeFit{}, fmt.Errorf("fit lives: %d sightings do not settle how much lives differ: look at more, at other ages", len(spans))
	}
	return LifeFit{Form: f, Middle: at[0], Spread: math.Exp(at[1]), LnLik: best - lnYears}, nil
}

// startLife is a first guess at middle and ln spread.
func startLife(spans [][2]float64) [2]float64 {
	var n, sum, squares float64
	for _, s := range spans {
		from, to := s[0], s[1]
		switch {
		case math.IsInf(from, -1):
			from = to - 1
		case math.IsInf(to, 1):
			to = from + 1
		}
		x := (from + to) / 2
		n, sum, squares = n+1, sum+x, squares+x*x
	}
	mean := sum / n
	return [2]float64{mean, math.Log(max(.2, math.Sqrt(max(0, squares/n-mean*mean))))}
}

// climbLife climbs by damped Newton steps, the slopes taken by differences; ok
// says that it came to the top.
func climbLife(f form, spans [][2]float64, at [2]float64) (top [2]float64, best float64, ok bool) {
	value := func(mu, lnSpread float64) float64 {
		by, sum := math.Exp(-lnSpread), 0.0
		for _, s := range spans {
			sum += f.lik((s[0]-mu)*by, (s[1]-mu)*by)
			if s[0] == s[1] {
				sum -= lnSpread
			}
		}
		return sum
	}
	const h = 1e-4
	best = value(at[0], at[1])
	damp := 1e-3
	for range 200 {
		m, s := at[0], at[1]
		mUp, mDown, sUp, sDown := value(m+h, s), value(m-h, s), value(m, s+h), value(m, s-h)
		gm, gs := (mUp-mDown)/(2*h), (sUp-sDown)/(2*h)
		mm, ss := -(mUp-2*best+mDown)/(h*h), -(sUp-2*best+sDown)/(h*h)
		ms := -(value(m+h, s+h) - value(m+h, s-h) - value(m-h, s+h) + value(m-h, s-h)) / (4 * h * h)
		stepped := false
		for !stepped && damp < 1e12 {
			a, d := mm+damp*(1+math.Abs(mm)), ss+damp*(1+math.Abs(ss))
			det := a*d - ms*ms
			dm, ds := (d*gm-ms*gs)/det, (a*gs-ms*gm)/det
			next := value(m+dm, s+ds)
			if a > 0 && det > 0 && math.Abs(dm)+math.Abs(ds) < 1e-9 {
				return at, best, true
			}
			if stepped = a > 0 && det > 0 && next >= best; stepped {
				at, best, damp = [2]float64{m + dm, s + ds}, next, damp/10
			} else {
				damp *= 10
			}
		}
		if !stepped || math.IsNaN(best) {
			// So steep a wall that no step helps is a top to within rounding.
			return at, best, math.Abs(gm)+math.Abs(gs) < 1e-3*float64(len(spans))
		}
	}
	return at, best, false
}

// CDF is the share of lives that have ended by so many years.
func (f LifeFit) CDF(years float64) float64 {
	form, ok := f.Form.form()
	switch {
	case !ok || math.IsNaN(years):
		return math.NaN()
	case years <= 0:
		return 0
	}
	return 1 - form.survives((math.Log(years)-f.Middle)/f.Spread)
}

// DueAt is the age in years at which the chance that a life has ended comes to
// risk, given that it was good at an age: of a Weibull life
// eta ((t0/eta)^beta - ln(1-risk))^(1/beta).
func (f LifeFit) DueAt(risk, good float64) float64 {
	form, ok := f.Form.form()
	switch {
	case !ok || !(risk > 0 && risk < 1):
		return math.NaN()
	case !(good > 0):
		return math.Exp(f.Middle + f.Spread*form.at(1-risk))
	}
	alive := form.survives((math.Log(good) - f.Middle) / f.Spread)
	if !(alive > 0) {
		return good
	}
	return max(good, math.Exp(f.Middle+f.Spread*form.at((1-risk)*alive)))
}

// Quantile is the age in years by which a share of lives has ended.
func (f LifeFit) Quantile(share float64) float64 { return f.DueAt(share, 0) }
