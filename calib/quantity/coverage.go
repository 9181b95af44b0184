package quantity

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// DefaultK is the coverage factor used unless another is asked for: about 95 %
// for a nearly normal result with many degrees of freedom (JCGM 100:2008 6.3.3).
const DefaultK = 2.0

// Coverage says how an expanded uncertainty is formed: by a fixed factor or for a
// level of confidence. The zero Coverage is the fixed factor DefaultK.
type Coverage struct{ k, level float64 }

// FixedK is the coverage with the factor k > 0 whatever the degrees of freedom.
func FixedK(k float64) (Coverage, error) {
	if !(k > 0) || math.IsInf(k, 0) {
		return Coverage{}, fmt.Errorf("coverage factor %v: must be a positive number, usually 2", k)
	}
	return Coverage{k: k}, nil
}

// AtLevel is the coverage for a two-sided level of confidence, 0 < p < 1.
func AtLevel(p float64) (Coverage, error) {
	if !(p > 0 && p < 1) {
		return Coverage{}, fmt.Errorf("level of confidence %v: must lie between 0 and 1, usually 0.95", p)
	}
	return Coverage{level: p}, nil
}

// Factor returns the coverage factor for a result with the given effective
// degrees of freedom (>= 1, +Inf allowed). For a level it is Student's t at the
// next lower whole number of degrees (JCGM 100:2008 G.4.1 and G.6.4).
func (c Coverage) Factor(dof float64) (float64, error) {
	switch {
	case c.level != 0:
		return studentFactor(c.level, dof)
	case c.k != 0:
		return c.k, nil
	}
	return DefaultK, nil
}

func studentFactor(p, dof float64) (float64, error) {
	// A sum of one term may come back a rounding error below its own degrees.
	nu := math.Floor(dof * (1 + 1e-12))
	upper := (1 + p) / 2
	switch {
	case !(nu >= 1):
		return 0, fmt.Errorf("coverage factor: %v degrees of freedom; need at least 1", dof)
	case math.IsInf(nu, 1):
		return distuv.UnitNormal.Quantile(upper), nil
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(upper), nil
}

// Rectangular returns the standard uncertainty of a quantity equally likely
// anywhere within +-halfWidth (JCGM 100:2008 4.3.7).
func Rectangular(halfWidth float64) float64 { return math.Abs(halfWidth) / math.Sqrt(3) }

// Arcsine returns the standard uncertainty of a quantity that swings sinusoidally
// within +-halfWidth (JCGM 100:2008 H.1.3.4).
func Arcsine(halfWidth float64) float64 { return math.Abs(halfWidth) / math.Sqrt2 }

// DoFFromReliability returns the degrees of freedom of a standard uncertainty
// that is itself reliable to the fraction r > 0, such as 0.25 (JCGM 100:2008
// equation G.3).
func DoFFromReliability(r float64) (float64, error) {
	if !(r > 0) || math.IsInf(r, 0) {
		return 0, fmt.Errorf("reliability %v: must be a positive fraction", r)
	}
	return 1 / (2 * r * r), nil
}
