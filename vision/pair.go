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
	n := len(s.bins)
	room := make([]float64, 4*n)
	r, root, spare := room[:n:n], room[n:2*n:2*n], room[2*n:]
	for i, b := range s.bins {
		root[i] = math.Sqrt(b.n)
	}
	wander := math.Max(maxWander, (x1-x0)/4)
	scale, misfit, least, noise := math.Inf(1), 0.0, 0.0, 0.0
	var par [maxUnknowns]float64 // metal low, slope, metal high, slope, film, slope
	for iter := range 25 {
		q := normal{n: 8}
		var j [maxUnknowns]float64
		rows := 0
		for i, b := range s.bins {
			line, lever, far := p.line(b.x, &fit)
			y := par[line] + par[line+1]*lever
			if !far {
				y = pairRow(b.x, p, &fit, &par, &j)
			}
			r[i] = b.y - y
			w := b.n / (1 + b.n*misfit)
			if math.Abs(r[i]) > least {
				w *= huber(r[i], math.Max(scale/math.Sqrt(w), least))
			}
			if w > 0 {
				rows++
			}
			if far {
				q.addLine(line, lever, r[i], w)
				continue
			}
			if iter == 0 {
				// The lines are still zero: the first step finds them alone.
				j[6], j[7] = 0, 0
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

// line returns which line's level alone the luma at x follows (its place among the
// unknowns) and the lever of its slope; false near an edge, where it follows more.
func (p *pairShape) line(x float64, fit *pairFit) (line int, lever float64, far bool) {
	in0, in1 := x-fit.x[0], fit.x[1]-x // towards the film
	switch {
	case in0 >= p.low.reach && in1 >= p.high.reach:
		return 4, x - (fit.x[0]+fit.x[1])/2, true
	case in0 <= -p.low.reach && in1 >= p.high.reach:
		return 0, in0, true
	case in1 <= -p.high.reach && in0 >= p.low.reach:
		return 2, -in1, true
	}
	return 0, 0, false
}

// pairRow fills the model's derivatives (metal low, its slope, metal high, its
// slope, film, its slope, x0, x1) and returns its value at across coordinate x.
func pairRow(x float64, p pairShape, fit *pairFit, par, j *[maxUnknowns]float64) (y float64) {
	a, da := p.low.at(x - fit.x[0])
	b, db := p.high.at(fit.x[1] - x)
	q := a + b - 1
	mid := (fit.x[0] + fit.x[1]) / 2
	j[0], j[1] = 1-a, (1-a)*(x-fit.x[0])
	j[2], j[3] = 1-b, (1-b)*(x-fit.x[1])
	j[4], j[5] = q, q*(x-mid)
	for k := range 6 {
		y += j[k] * par[k]
	}
	film := par[4] + par[5]*(x-mid)
	j[6] = -da * (film - par[0] - par[1]*(x-fit.x[0]))
	j[7] = db * (film - par[2] - par[3]*(x-fit.x[1]))
	return y
}

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

// nthNear is nth, quicker where guess is within a quarter of what comes out: it
// looks only among what lies so near. spare has room for all of v.
func nthNear(v []float64, k int, guess float64, spare []float64) float64 {
	lo, hi := 0.8*guess, 1.25*guess
	below, near := 0, 0
	for _, x := range v {
		spare[near] = x // what is not near is written over
		if x >= lo && x <= hi {
			near++
		}
		if x < lo {
			below++
		}
	}
	if k < below || k >= below+near {
		return nth(v, k)
	}
	return nth(spare[:near], k-below)
}
