package vision

import "math"

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
	settled      = 2e-3 // px of movement of both edges at which a fit has settled
)

// fitPair fits both edges of a slice together: a straight-line luma on each
// side and between, joined by the photo's own edge shape. The unknowns are the
// two edges and the three lines; Gauss-Newton with Huber weights, so that a speck
// or a scratch does not pull an edge far, and a slightly wrong edge shape does
// not make the fit throw out its own edges. False when the fit does not settle, or the
// edges meet or leave the slice.
func fitPair(s slice, p pairShape, x0, x1 float64) (pairFit, bool) {
	if len(s.bins) < 3*maxUnknowns || x1-x0 < 2 {
		return pairFit{}, false
	}
	lo, hi := s.bins[0].x, s.bins[len(s.bins)-1].x
	fit := pairFit{x: [2]float64{x0, x1}, bins: len(s.bins)}
	r, root := make([]float64, len(s.bins)), make([]float64, len(s.bins))
	for i, b := range s.bins {
		root[i] = math.Sqrt(b.n)
	}
	wander := math.Max(maxWander, (x1-x0)/4)
	scale, misfit, least := math.Inf(1), 0.0, 0.0
	var par [maxUnknowns]float64 // metal low, slope, metal high, slope, film, slope
	for iter := range 25 {
		q := normal{n: 8}
		rows := 0
		for i, b := range s.bins {
			j, y := pairRow(b.x, p, &fit, &par)
			r[i] = b.y - y
			w := b.n / (1 + b.n*misfit)
			if math.Abs(r[i]) > least {
				w *= huber(r[i], math.Max(scale/math.Sqrt(w), least))
			}
			if iter == 0 {
				// The lines are still zero: the first step finds them alone.
				j[6], j[7] = 0, 0
			}
			if w > 0 {
				rows++
			}
			q.add(&j, r[i], w)
		}
		if iter == 0 {
			q.n = 6
		}
		f, ok := q.factorise()
		if !ok || rows < 2*maxUnknowns {
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
			noise := madOf(root, r)
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
			fit.finish(root, &par, r, &q, f, step)
			return fit, true
		}
	}
	return pairFit{}, false
}

// pairRow returns the model's derivatives (metal low, its slope, metal high, its
// slope, film, its slope, x0, x1) and its value at across coordinate x.
func pairRow(x float64, p pairShape, fit *pairFit, par *[maxUnknowns]float64) (j [maxUnknowns]float64, y float64) {
	a, da := p.low.at(x - fit.x[0])
	b, db := p.high.at(fit.x[1] - x)
	q := a + b - 1
	mid := (fit.x[0] + fit.x[1]) / 2
	j = [maxUnknowns]float64{1 - a, (1 - a) * (x - fit.x[0]), 1 - b, (1 - b) * (x - fit.x[1]), q, q * (x - mid)}
	for k := range 6 {
		y += j[k] * par[k]
	}
	film := par[4] + par[5]*(x-mid)
	j[6] = -da * (film - par[0] - par[1]*(x-fit.x[0]))
	j[7] = db * (film - par[2] - par[3]*(x-fit.x[1]))
	return j, y
}

// finish fills what the settled fit tells beside the edges.
func (fit *pairFit) finish(root []float64, par *[maxUnknowns]float64, r []float64, q *normal, f *factor, step [maxUnknowns]float64) {
	fit.metal = [2]float64{par[0], par[2]}
	fit.film = par[4]
	fit.slope = [3]float64{par[1], par[3], par[5]}
	fit.noise = madOf(root, r)
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

// huber is the weight of residual r beyond which, at c, its pull stays constant
// (Huber, Annals of Mathematical Statistics 35 (1964) 73).
func huber(r, c float64) float64 {
	if a := math.Abs(r); a > c {
		return c / a
	}
	return 1
}

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
// residuals by their median absolute value; root is the root of each bin's pixels.
func madOf(root, r []float64) float64 {
	a := make([]float64, len(r))
	for i := range r {
		a[i] = math.Abs(r[i]) * root[i]
	}
	return math.Max(1.4826*nth(a, len(a)/2), 1e-5)
}
