package vision

/*
#cgo noescape pair_equations
#cgo nocallback pair_equations
#include "pair.h"
*/
import "C"

import (
	"math"
	"unsafe"
)

// pairShape is what both edges of a bar or strip look like in this photo: low is
// the edge at the smaller across coordinate.
type pairShape struct{ low, high *edgeShape }

// pairFit is one slice's pair of edges.
type pairFit struct {
	x     [2]float64 // across coordinate of the edges, px
	cov   [3]float64 // var x0, var x1, cov x0 x1, px^2
	metal [2]float64 // luma just outside each edge, 0..1
	film  float64    // luma midway between the edges
	slope [3]float64 // luma per px of the lines: metal low, metal high, film
	noise float64    // robust standard deviation of one pixel's luma about the model
	rms   float64    // root mean square of the bins' weighted residuals, luma
	bins  int
}

const (
	// shapeMisfit is the edge model's own misfit over the contrast: a bin of many
	// pixels is not trusted beyond it, nor thrown out for it.
	shapeMisfit = 0.01
	// maxWander is how far in px, or a quarter of the width, an edge may lie from
	// where the fit starts.
	maxWander = 8.0
	// dirtContrast is the least residual over the contrast that counts as dirt
	// rather than as an edge a little apart from the model.
	dirtContrast = 0.05
	fewestRows   = 18   // bins with a weight that a fit of eight unknowns needs
	settled      = 2e-3 // px of movement of both edges at which a fit has settled
)

// pairRooms are what fits work in.
var pairRooms pool[float64]

// fitPair fits both edges of a slice together: a straight-line luma on each
// side and between, joined by the photo's own edge shape. The unknowns are the
// two edges and the three lines; Gauss-Newton with Huber weights, so that a speck
// or a scratch does not pull an edge far, and a slightly wrong edge shape does
// not make the fit throw out its own edges. False when the fit does not settle, or the
// edges meet or leave the slice.
func fitPair(s slice, p pairShape, x0, x1 float64) (pairFit, bool) {
	if len(s.bins) < fewestRows || x1-x0 < 2 {
		return pairFit{}, false
	}
	lo, hi := s.bins[0].x, s.bins[len(s.bins)-1].x
	fit := pairFit{x: [2]float64{x0, x1}, bins: len(s.bins)}
	n := len(s.bins)
	room := pairRooms.get(4 * n)
	defer pairRooms.put(room)
	r, root, spare := room[:n:n], room[n:2*n:2*n], room[2*n:]
	for i, b := range s.bins {
		root[i] = math.Sqrt(b.n)
	}
	wander := math.Max(maxWander, (x1-x0)/4)
	scale, misfit, least, noise := math.Inf(1), 0.0, 0.0, 0.0
	var par [maxUnknowns]float64 // metal low, slope, metal high, slope, film, slope
	for iter := range 25 {
		q := normal{n: C.PAIR_UNKNOWNS}
		rows := p.equations(s.bins, &fit, &par, &q, weighing{scale, least, misfit}, r)
		if iter == 0 {
			q.n = C.PAIR_EDGES // the lines are still zero: the first step finds them alone
		}
		f, ok := q.factorise()
		if !ok || rows < fewestRows {
			return pairFit{}, false
		}
		step := f.solve(q.b)
		for k := range 6 {
			par[k] += step[k]
		}
		if iter == 0 {
			continue
		}
		if iter <= 5 { // then fixed, so that the weights cannot chase the steps
			noise = madOf(root, r, noise, spare)
			scale = 1.5 * noise
			contrast := math.Abs(par[4] - (par[0]+par[2])/2)
			misfit = math.Pow(shapeMisfit*contrast/noise, 2)
			least = dirtContrast * contrast
		}
		dx := [2]float64{clampStep(step[6]), clampStep(step[7])}
		fit.x[0] += dx[0]
		fit.x[1] += dx[1]
		if math.Abs(fit.x[0]-x0) > wander || math.Abs(fit.x[1]-x1) > wander ||
			fit.x[0] < lo || fit.x[1] > hi || fit.x[1]-fit.x[0] < 2 {
			return pairFit{}, false
		}
		if iter >= 3 && math.Abs(dx[0])+math.Abs(dx[1]) < settled {
			fit.noise = madOf(root, r, noise, spare)
			fit.finish(&par, r, &q, &f, step)
			return fit, true
		}
	}
	return pairFit{}, false
}

// weighing is how residuals are weighed: beyond least they pull no more than one of
// scale over the root of their weight, and no weight is over 1 / misfit
// (Huber, Annals of Mathematical Statistics 35 (1964) 73).
type weighing struct{ scale, least, misfit float64 }

// equations adds up the normal equations of the bins' luma, leaves their residuals in
// r, and returns how many have a weight.
func (p *pairShape) equations(bins []bin, fit *pairFit, par *[maxUnknowns]float64, q *normal, w weighing, r []float64) int {
	at := [C.PAIR_UNKNOWNS]float64(par[:])
	at[C.PAIR_EDGES], at[C.PAIR_EDGES+1] = fit.x[0], fit.x[1]
	low, high := p.low, p.high
	return int(C.pair_equations((*C.double)(&bins[0].x), C.int(len(bins)), cdoubles(at[:]),
		cdoubles(low.e), cdoubles(low.d), C.int(len(low.e)), C.double(low.reach),
		cdoubles(high.e), cdoubles(high.d), C.int(len(high.e)), C.double(high.reach),
		C.double(w.scale), C.double(w.least), C.double(w.misfit),
		cdoubles(q.a[0][:]), maxUnknowns, cdoubles(q.b[:]), (*C.double)(&q.rr), cdoubles(r)))
}

// cdoubles is the address of a non-empty slice for the length of one C call.
func cdoubles(v []float64) *C.double { return (*C.double)(unsafe.SliceData(v)) }

// finish fills what the settled fit tells beside the edges.
func (fit *pairFit) finish(par *[maxUnknowns]float64, r []float64, q *normal, f *factor, step [maxUnknowns]float64) {
	fit.metal = [2]float64{par[0], par[2]}
	fit.film = par[4]
	fit.slope = [3]float64{par[1], par[3], par[5]}
	variance := q.fitted(step) / float64(len(r)-q.n)
	fit.rms = math.Sqrt(variance)
	c0, c1 := f.inverse(6), f.inverse(7)
	fit.cov = [3]float64{variance * c0[6], variance * c1[7], variance * c0[7]}
}

// normalised returns a bin's place and luma as seen from edge side (0 low, 1
// high): px towards the film, and 0 on the metal's line to 1 on the film's.
func (fit *pairFit) normalised(b bin, side int) (u, v float64) {
	d := b.x - fit.x[side]
	metal := fit.metal[side] + fit.slope[side]*d
	film := fit.film + fit.slope[2]*(b.x-(fit.x[0]+fit.x[1])/2)
	if side == 1 {
		d = -d
	}
	return d, (b.y - metal) / (film - metal)
}

// width returns the distance between the edges and its standard uncertainty.
func (fit *pairFit) width() (w, u float64) {
	return fit.x[1] - fit.x[0], math.Sqrt(math.Max(0, fit.cov[0]+fit.cov[1]-2*fit.cov[2]))
}

// clampStep bounds a step of the search, not a result: far from the edges the
// model is not linear.
func clampStep(d float64) float64 { return math.Max(-1.5, math.Min(1.5, d)) }

// tukey is the biweight of residual r at cut-off c (Beaton and Tukey,
// Technometrics 16 (1974) 147; 4.685 robust deviations keep 95 % efficiency).
func tukey(r, c float64) float64 {
	if math.IsInf(c, 1) {
		return 1
	}
	t := r / c
	if t <= -1 || t >= 1 {
		return 0
	}
	t = 1 - t*t
	return t * t
}

// madOf estimates the standard deviation of a single pixel from the bins'
// residuals by their median absolute value; root is the root of each bin's pixels,
// guess about what will come out, or 0, and spare room for twice as many.
func madOf(root, r []float64, guess float64, spare []float64) float64 {
	a := spare[:len(r)]
	for i := range r {
		a[i] = math.Abs(r[i]) * root[i]
	}
	const mad = 1.4826 // of a normal distribution
	return math.Max(mad*nthNear(a, len(a)/2, guess/mad, spare[len(r):]), 1e-5)
}

// nthNear is nth, quicker where guess, or for 0 the mean of some, is not far from what
// comes out: it counts how many lie in cells of a 64th of it, and looks only into one.
// spare has room for all of v, none of which is negative.
func nthNear(v []float64, k int, guess float64, spare []float64) float64 {
	if guess == 0 {
		const every = 4
		for i := 0; i < len(v); i += every {
			guess += v[i]
		}
		guess *= every / float64(len(v))
	}
	if !(guess > 0 && guess <= math.MaxFloat64) {
		return nth(v, k)
	}
	const last = 255 // holds all that is larger, too
	per := 64 / guess
	cell := func(x float64) uint8 { return uint8(min(x*per, last)) }
	var count [last + 1]int32
	for _, x := range v {
		count[cell(x)]++
	}
	below, at := 0, 0
	for ; below+int(count[at]) <= k; at++ {
		below += int(count[at])
	}
	if at == last {
		return nth(v, k)
	}
	near := 0
	for _, x := range v {
		if int(cell(x)) == at {
			spare[near] = x
			near++
		}
	}
	return nth(spare[:near], k-below)
}
