package vision

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// stereoEquations are the normal equations of a two-photo solution, kept apart
// by group of observations, so that each group's share of the result's
// covariance can be told.
type stereoEquations struct {
	info [groups]*mat.SymDense // JᵀJ of residuals in standard deviations
	grad [stereoCount]float64  // Jᵀr
	sum  float64               // of squared residuals
}

func newStereoEquations() *stereoEquations {
	q := &stereoEquations{}
	for g := range q.info {
		q.info[g] = mat.NewSymDense(stereoCount, nil)
	}
	return q
}

// add adds a residual r, in standard deviations, with its derivatives j by the
// parameters at.
func (q *stereoEquations) add(group int, at []int, j []float64, r float64) {
	for i, a := range at {
		q.grad[a] += j[i] * r
		for k, b := range at {
			if a <= b {
				q.info[group].SetSym(a, b, q.info[group].At(a, b)+j[i]*j[k])
			}
		}
	}
	q.sum += r * r
}

// addDense is add for derivatives by all parameters, in their order.
func (q *stereoEquations) addDense(group int, j *stereoDelta, r float64) {
	info := q.info[group].RawSymmetric() // its upper half counts
	for a, d := range j {
		if d == 0 {
			continue
		}
		q.grad[a] += d * r
		row := info.Data[a*info.Stride : (a+1)*info.Stride]
		for b := a; b < stereoCount; b++ {
			row[b] += d * j[b]
		}
	}
	q.sum += r * r
}

// The sets of unknowns that are solved for; the others are held.
var (
	freeAll    = freeParams(0, paramGap)
	freeHeight = append(freeParams(0, paramPlane+1), freeParams(paramEdge, paramGap)...)
	freeFlat   = append(freeParams(0, paramPlane), freeParams(paramEdge, paramGap)...)
	freeGap    = freeParams(0, stereoCount)
)

func freeParams(from, to int) []int {
	var out []int
	for k := from; k < to; k++ {
		out = append(out, k)
	}
	return out
}

// factorise scales the free unknowns' information to a unit diagonal, so that
// radians, millimetres and pure numbers compare, and factorises it. extra is
// added to the information's diagonal. False when an unknown stays undetermined.
func (q *stereoEquations) factorise(free []int, extra *stereoDelta) (*mat.Cholesky, []float64, bool) {
	n := len(free)
	a, scale := mat.NewSymDense(n, nil), make([]float64, n)
	for i := range n {
		for k := i; k < n; k++ {
			sum := 0.0
			for _, g := range q.info {
				sum += g.At(free[i], free[k])
			}
			if i == k {
				sum += extra[free[i]]
				if scale[i] = math.Sqrt(sum); !(scale[i] > 0) {
					return nil, nil, false
				}
			}
			a.SetSym(i, k, sum)
		}
	}
	for i := range n {
		for k := i; k < n; k++ {
			a.SetSym(i, k, a.At(i, k)/(scale[i]*scale[k]))
		}
	}
	var chol mat.Cholesky
	return &chol, scale, chol.Factorize(a)
}

// step returns the Gauss-Newton step of the free unknowns and the fall of the
// sum of squares that it promises.
func (q *stereoEquations) step(free []int) (d stereoDelta, promise float64, ok bool) {
	chol, scale, ok := q.factorise(free, &stereoDelta{})
	if !ok {
		return d, 0, false
	}
	b := mat.NewVecDense(len(free), nil)
	for i, k := range free {
		b.SetVec(i, -q.grad[k]/scale[i])
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, b) != nil {
		return d, 0, false
	}
	for i, k := range free {
		d[k] = x.AtVec(i) / scale[i]
		promise -= d[k] * q.grad[k]
	}
	return d, promise, true
}

// covariance returns the covariance of the free unknowns, with zeros for those
// that are held.
func (q *stereoEquations) covariance(free []int, extra *stereoDelta) (*mat.SymDense, bool) {
	chol, scale, ok := q.factorise(free, extra)
	if !ok {
		return nil, false
	}
	var c mat.SymDense
	if chol.InverseTo(&c) != nil {
		return nil, false
	}
	out := mat.NewSymDense(stereoCount, nil)
	for i := range free {
		for k := i; k < len(free); k++ {
			out.SetSym(free[i], free[k], c.At(i, k)/(scale[i]*scale[k]))
		}
	}
	return out, true
}

// share returns what a group's errors add to the covariance of a solution: the
// group's part of the information, carried through the whole covariance.
func (q *stereoEquations) share(cov *mat.SymDense, group int) *mat.SymDense {
	var left, out mat.Dense
	left.Mul(cov, q.info[group])
	out.Mul(&left, cov)
	sym := mat.NewSymDense(stereoCount, nil)
	for i := range stereoCount {
		for k := i; k < stereoCount; k++ {
			sym.SetSym(i, k, (out.At(i, k)+out.At(k, i))/2)
		}
	}
	return sym
}

// errStereo reports that the two photos' edges and marks have no common
// solution near where the search began.
var errStereo = errors.New("two photos: no common solution")

// solve finds the least sum of squares from start by Gauss-Newton steps, halved
// where a whole one would not lower the sum.
func (m *stereoModel) solve(start stereoState) (stereoState, *stereoEquations, error) {
	const (
		enough    = 1e-6 // a promised fall in variances not worth a step
		mostSteps = 30
		halvings  = 6
	)
	s := start
	if !m.wanders(&s) {
		return s, nil, errStereo
	}
	here, ok := m.equations(s)
	if !ok {
		return s, nil, errStereo
	}
	for range mostSteps {
		d, promise, ok := here.step(freeAll)
		if !ok {
			return s, nil, errStereo
		}
		if promise < enough {
			return s, here, nil
		}
		lower := false
		for range halvings {
			next := s.move(&d)
			if there, ok := m.equations(next); ok && there.sum < here.sum {
				s, here, lower = next, there, true
				break
			}
			for k := range d {
				d[k] /= 2
			}
		}
		if !lower {
			if promise < 1e-3 { // only rounding is left
				return s, here, nil
			}
			return s, nil, errStereo
		}
	}
	return s, nil, errStereo
}
