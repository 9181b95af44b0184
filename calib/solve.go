package calib

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// ErrNotConverged reports that a fit found no minimum from its start.
var ErrNotConverged = errors.New("fit did not converge: check that each point has its own card place")

// mostSteps bounds a fit. Most starts need about 10 steps, and one with a point
// some hundred standard deviations out of place 50; one that needs more than these
// is on its way to a camera nobody has.
const mostSteps = 100

// settled is the promised fall of the sum of squares, as a share of it, that is
// not worth a step: some 3e-5 of the standard deviation the residuals show.
const settled = 1e-9

// model is a small dense least-squares problem whose unknown is a state S that
// is moved by params local parameters, so that a rotation needs no angles.
type model[S any] struct {
	rows, params int
	enough       float64 // a promised fall of the sum of squares not worth a step
	// linearise fills r (rows) and its derivatives j (rows x params, row by
	// row) at s. It returns false where s lies outside the model's domain.
	linearise func(s S, r, j []float64) bool
	// move returns s moved by the local parameters d.
	move func(s S, d []float64) S
}

// normal holds the normal equations at a state: information JᵀJ, gradient Jᵀr
// and the sum of squares.
type normal struct {
	info *mat.SymDense
	grad []float64
	sum  float64
}

// at forms the normal equations at s, or returns false and an infinite sum
// outside the domain.
func (m model[S]) at(s S) (normal, bool) {
	r := make([]float64, m.rows)
	j := make([]float64, m.rows*m.params)
	if !m.linearise(s, r, j) {
		return normal{sum: math.Inf(1)}, false
	}
	e := normal{mat.NewSymDense(m.params, nil), make([]float64, m.params), 0}
	for a := range m.params {
		for i := range r {
			e.grad[a] += j[i*m.params+a] * r[i]
		}
		for b := a; b < m.params; b++ {
			t := 0.0
			for i := range r {
				t += j[i*m.params+a] * j[i*m.params+b]
			}
			e.info.SetSym(a, b, t)
		}
	}
	for _, v := range r {
		e.sum += v * v
	}
	return e, !math.IsNaN(e.sum) && !math.IsInf(e.sum, 0)
}

// solve minimises the sum of squares from start by Levenberg-Marquardt with
// Marquardt's scaling, and returns the state and its normal equations, with
// ErrNotConverged where it had to stop short of the minimum. Damping starts low
// and soon dies out, since the valley in which focal length and distance trade
// places is some 1e7 times longer than wide. A step that falls well short of its
// promise is also tried at half its length: where residuals are large, the
// undamped step swings from one side of the minimum to the other.
func (m model[S]) solve(start S) (S, normal, error) {
	const least = 1e-11
	s := start
	here, ok := m.at(s)
	if !ok {
		return s, here, ErrNotConverged
	}
	damping := 1e-9
	for range mostSteps {
		d, gain, ok := here.step(damping)
		if !ok {
			damping = math.Max(5*damping, least)
			continue
		}
		next, there, fall := m.advance(s, here, d)
		if fall < gain/4 {
			for i := range d {
				d[i] /= 2
			}
			if n, t, f := m.advance(s, here, d); f > fall {
				next, there, fall = n, t, f
			}
		}
		if fall >= 0 {
			s, here = next, there
		}
		switch {
		case damping == 0 && gain <= settled*here.sum+m.enough:
			return s, here, nil
		case fall >= gain/4:
			if damping *= 0.1; damping < least {
				damping = 0
			}
		case damping <= 1e-6 && gain <= settled*here.sum+m.enough:
			damping = 0 // damping makes any step promise little: ask without it
		default:
			damping = math.Max(5*damping, least)
		}
	}
	return s, here, ErrNotConverged
}

// advance moves s by d and returns the state, its normal equations and the fall
// of the sum of squares, which is -Inf outside the domain.
func (m model[S]) advance(s S, here normal, d []float64) (S, normal, float64) {
	next := m.move(s, d)
	there, ok := m.at(next)
	if !ok {
		return s, here, math.Inf(-1)
	}
	return next, there, here.sum - there.sum
}

// step solves the damped normal equations and returns the step and the fall of
// the sum of squares it promises, or false when they are singular.
func (e normal) step(damping float64) ([]float64, float64, bool) {
	chol, scale, ok := e.factorise(damping)
	if !ok {
		return nil, 0, false
	}
	n := len(scale)
	b := mat.NewVecDense(n, nil)
	for i := range n {
		b.SetVec(i, -e.grad[i]/scale[i])
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, b) != nil {
		return nil, 0, false
	}
	d, gain := make([]float64, n), 0.0
	for i := range n {
		d[i] = x.AtVec(i) / scale[i]
		gain -= d[i] * e.grad[i]
	}
	return d, gain, true
}

// covariance returns the inverse of the information, or false when the data
// leave a parameter free.
func (e normal) covariance() (*mat.SymDense, bool) {
	chol, scale, ok := e.factorise(0)
	if !ok {
		return nil, false
	}
	var c mat.SymDense
	if chol.InverseTo(&c) != nil {
		return nil, false
	}
	for i := range scale {
		for k := i; k < len(scale); k++ {
			c.SetSym(i, k, c.At(i, k)/(scale[i]*scale[k]))
		}
	}
	return &c, true
}

// factorise scales the information to a unit diagonal, so that radians,
// millimetres and pure numbers compare, adds the damping and factorises it.
func (e normal) factorise(damping float64) (*mat.Cholesky, []float64, bool) {
	n := len(e.grad)
	scale := make([]float64, n)
	for i := range n {
		scale[i] = math.Sqrt(e.info.At(i, i))
		if !(scale[i] > 0) {
			return nil, nil, false
		}
	}
	a := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			a.SetSym(i, k, e.info.At(i, k)/(scale[i]*scale[k]))
		}
		a.SetSym(i, i, 1+damping)
	}
	var chol mat.Cholesky
	return &chol, scale, chol.Factorize(a)
}
