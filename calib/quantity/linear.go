package quantity

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// LinearFit is a least-squares fit of y = sum of B[k] times the design's column k.
type LinearFit struct {
	B      []float64
	Cov    *mat.SymDense // of B
	S      float64       // residual standard deviation: in units of y, or of u(y) where those were given
	DoF    int           // points less coefficients
	Square float64       // sum of squared residuals, each over its u(y) where given
}

// U returns the standard uncertainty of coefficient k.
func (f LinearFit) U(k int) float64 { return math.Sqrt(f.Cov.At(k, k)) }

// ErrFit is wrapped by errors about points that do not determine a fit.
var ErrFit = errors.New("the points do not determine the fit")

// FitLinear fits y to a design of one row a point by Householder QR. With u the
// points are weighed by 1/u^2 and the covariance is that of the u alone; with a
// nil u all count alike and the covariance is scaled by the residuals (JCGM
// 100:2008 H.3.2), which needs more points than coefficients. Errors wrap ErrFit.
func FitLinear(design [][]float64, y, u []float64) (LinearFit, error) {
	n := len(y)
	if n == 0 || len(design) != n || u != nil && len(u) != n {
		return LinearFit{}, fmt.Errorf("%w: %d rows for %d points", ErrFit, len(design), n)
	}
	p := len(design[0])
	if n < p || u == nil && n == p {
		return LinearFit{}, fmt.Errorf("%w: %d points for %d coefficients", ErrFit, n, p)
	}
	a, b, scale := mat.NewDense(n, p, nil), mat.NewVecDense(n, nil), columnScales(design, p)
	for i, row := range design {
		w := 1.0
		if u != nil {
			w = 1 / u[i]
		}
		for k := range p {
			a.Set(i, k, w*row[k]/scale[k])
		}
		b.SetVec(i, w*y[i])
	}
	var qr mat.QR
	qr.Factorize(a)
	x := mat.NewVecDense(p, nil)
	if qr.Cond() > 1e14 || qr.SolveVecTo(x, false, b) != nil {
		return LinearFit{}, fmt.Errorf("%w: they lie too close together", ErrFit)
	}
	f := LinearFit{DoF: n - p}
	var model mat.VecDense
	model.MulVec(a, x)
	for i := range n {
		r := b.AtVec(i) - model.AtVec(i)
		f.Square += r * r
	}
	if f.DoF > 0 {
		f.S = math.Sqrt(f.Square / float64(f.DoF))
	}
	for k := range p {
		f.B = append(f.B, x.AtVec(k)/scale[k])
	}
	f.Cov = coefficientCov(&qr, scale)
	if u == nil {
		f.Cov.ScaleSym(f.S*f.S, f.Cov)
	}
	return f, nil
}

// columnScales are the columns' largest values, so that powers of a large x do
// not spoil the condition.
func columnScales(design [][]float64, p int) []float64 {
	scale := make([]float64, p)
	for k := range p {
		for _, row := range design {
			scale[k] = math.Max(scale[k], math.Abs(row[k]))
		}
		if scale[k] == 0 {
			scale[k] = 1
		}
	}
	return scale
}

// coefficientCov is the inverse of R'R, unscaled.
func coefficientCov(qr *mat.QR, scale []float64) *mat.SymDense {
	p := len(scale)
	var r mat.Dense
	qr.RTo(&r)
	t := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for k := i; k < p; k++ {
			t.SetTri(i, k, r.At(i, k))
		}
	}
	var inverse mat.TriDense
	cov := mat.NewSymDense(p, nil)
	if inverse.InverseTri(t) != nil {
		return cov // FitLinear has refused such a condition
	}
	for i := range p {
		for k := i; k < p; k++ {
			s := 0.0
			for j := k; j < p; j++ {
				s += inverse.At(i, j) * inverse.At(k, j)
			}
			cov.SetSym(i, k, s/(scale[i]*scale[k]))
		}
	}
	return cov
}

// ChiSquareChance returns the probability that chi-square with dof degrees of
// freedom comes out as large or larger by chance; 1 when dof is 0, where nothing
// is tested.
func ChiSquareChance(chiSquare float64, dof int) float64 {
	if dof == 0 {
		return 1
	}
	return distuv.ChiSquared{K: float64(dof)}.Survival(chiSquare)
}
