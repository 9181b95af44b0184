package vision

import "math"

// shading is what both edges of a strip show together: one blur, in px, and the
// share of light that the film's shadow takes beside each edge. A shadow looks
// much like an edge further out, but not quite; that the other edge has the same
// blur, near the card's, tells them apart.
type shading struct {
	blur  float64
	shade [2]float64
	// u is the standard uncertainty of the width, px, from not telling shadow and
	// blur from the edges' place.
	u float64
}

// Priors of a shading, and its bounds. A strip may lie a little out of the card's
// focus. Common practice, no source.
const (
	blurLikeness = 0.1  // of the card's blur, standard deviation
	usualShade   = 0.15 // of the light, standard deviation
	deepestShade = 0.6
)

// Unknowns of a shading's fit, in this order.
const (
	pBoth = iota // blur of both edges
	pShade
	_ // the second edge's
	pMove
	_ // the second edge's
	shadingParams
)

// fitShading fits both super-edges of a strip as seen by a camera whose
// sharpening and tone are known, by Gauss-Newton steps. False where an edge shows
// too little, or the fit does not settle.
func fitShading(edges *[2]superEdge, c camera1D) (shading, bool) {
	p := [shadingParams]float64{pBoth: c.S}
	for range 10 {
		q := normal{n: shadingParams}
		for side := range edges {
			if len(edges[side].u) < 20 || !edges[side].shaded(side, c, &p, &q) {
				return shading{}, false
			}
		}
		for k, prior := range [pMove]struct{ mean, sd float64 }{{c.S, blurLikeness * c.S}, {0, usualShade}, {0, usualShade}} {
			var j [maxUnknowns]float64
			j[k] = 1
			q.add(&j, prior.mean-p[k], 1/(prior.sd*prior.sd))
		}
		f, ok := q.factorise()
		if !ok {
			return shading{}, false
		}
		step := f.solve(q.b)
		most := 0.0
		for k := range p {
			d := math.Max(-0.5, math.Min(0.5, step[k]))
			next := p[k] + d
			switch k {
			case pBoth:
				next = math.Max(spreadRange[0]*c.S, math.Min(spreadRange[1]*c.S, next))
			case pShade, pShade + 1:
				next = math.Max(0, math.Min(deepestShade, next))
			}
			most = math.Max(most, math.Abs(next-p[k]))
			p[k] = next
		}
		if most < 5e-3 {
			moved := math.Max(math.Abs(p[pMove]), math.Abs(p[pMove+1]))
			a, b := f.inverse(pMove), f.inverse(pMove+1)
			misfit := math.Max(1, q.rr/float64(len(edges[0].u)+len(edges[1].u)))
			u := math.Sqrt(misfit * (a[pMove] + b[pMove+1] + 2*a[pMove+1]))
			return shading{p[pBoth], [2]float64{p[pShade], p[pShade+1]}, u}, moved < 2
		}
	}
	return shading{}, false
}

// shaded adds one super-edge's points, its two levels eliminated.
func (e *superEdge) shaded(side int, c camera1D, p *[shadingParams]float64, q *normal) bool {
	c.S = p[pBoth]
	shade, shift := p[pShade+side], p[pMove+side]
	s, ok := newShadedEdge(c, e.film, e.metal, shade)
	if !ok {
		return false
	}
	level, gain, ok := e.levels(s, shift)
	if !ok {
		return false
	}
	mean := e.meanWeight()
	blur, dimmed := s.blurRate(), s.shadeRate()
	own := normal{n: shadingParams + 2}
	for i, u := range e.u {
		v, slope := s.at(u - shift)
		j := [maxUnknowns]float64{shadingParams: 1, shadingParams + 1: v}
		if k, f, ok := s.inside(u - shift); ok {
			j[pBoth] = gain * lerp(blur, k, f) / modelMisfit
			j[pShade+side] = gain * lerp(dimmed, k, f) / modelMisfit
			j[pMove+side] = -gain * slope / modelMisfit
		}
		own.add(&j, (e.y[i]-level-gain*v)/modelMisfit, e.w[i]/mean)
	}
	own.eliminate()
	own.eliminate()
	q.join(&own)
	return true
}
