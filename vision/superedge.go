package vision

import "math"

// superEdge is the mean metal-to-film edge of many slices laid over one another
// at their fitted places: a profile far finer than the pixel grid. A bar's paper
// is the metal here, its ink the film.
type superEdge struct {
	u, y, w     []float64 // offset towards the film in px, normalised luma, pixels
	film, metal rgb       // display-referred, 0..1
}

const (
	superStep  = 0.2 // px between points of a super-edge
	superReach = 11  // px to both sides
	superCells = 2*superReach*5 + 1
)

// edgeSum gathers slices into a super-edge.
type edgeSum struct{ y, n [superCells]float64 }

// add lays one edge of a fitted slice over the others.
func (e *edgeSum) add(s slice, fit *pairFit, side int) {
	mid := (fit.x[0] + fit.x[1]) / 2
	for _, b := range s.bins {
		if (b.x > mid) != (side == 1) {
			continue
		}
		u, v := fit.normalised(b, side)
		if k := int(math.Round((u + superReach) / superStep)); k >= 0 && k < superCells {
			e.y[k] += b.n * v
			e.n[k] += b.n
		}
	}
}

// edge returns the mean; its points are none when nothing was added.
func (e *edgeSum) edge(film, metal rgb) superEdge {
	out := superEdge{film: film, metal: metal}
	for k, n := range e.n {
		if n > 0 {
			out.u = append(out.u, float64(k)*superStep-superReach)
			out.y = append(out.y, e.y[k]/n)
			out.w = append(out.w, n)
		}
	}
	return out
}

// fitCamera finds the edge model under which the slices' bars, their edges free
// to move, look most like printed bars. It alternates between placing the edges
// with the current model and fitting the model to the edges laid over one
// another.
func fitCamera(slices []barSlice) (*Witness, bool) {
	w := &Witness{BlurX: 1.2, BlurY: 1.2, Sharpening: 0.3, Radius: 1.2}
	for range 3 {
		var edges [2]superEdge // met along the card's x, and along its y
		if !layOver(slices, w, &edges) || !w.fit(&edges) {
			return nil, false
		}
	}
	return w, true
}

// layOver fits each slice with the current model and lays its two edges over
// those of its direction.
func layOver(slices []barSlice, w *Witness, out *[2]superEdge) bool {
	spread, used := 0.0, 0
	for d, vertical := range [2]bool{true, false} {
		ink, paper := levels(slices, vertical)
		cam := camera1D{S: w.BlurX, A: w.Sharpening, R: w.Radius, Tone: tone{w.Tone}}
		if !vertical {
			cam.S = w.BlurY
		}
		film, metal := rgb{ink, ink, ink}, rgb{paper, paper, paper}
		shape, ok := newEdgeShape(cam, film, metal)
		if !ok {
			continue
		}
		var sum edgeSum
		for _, s := range slices {
			if s.vertical != vertical || s.saturated > maxClipped {
				continue
			}
			fit, ok := fitPair(s.slice, pairShape{shape, shape}, s.x0, s.x1)
			if !ok {
				continue
			}
			used++
			sum.add(s.slice, &fit, 0)
			sum.add(s.slice, &fit, 1)
			wpx, _ := fit.width()
			spread += (wpx - (s.x1 - s.x0)) / 2 * s.perPx
		}
		out[d] = sum.edge(film, metal)
	}
	if used < 2 {
		return false
	}
	w.Spread = spread / float64(used)
	return true
}

// clearOfEdge is how far in px from an edge ink and paper show their own level.
const clearOfEdge = 10

// levels estimates ink and paper of the bars in one direction.
func levels(slices []barSlice, vertical bool) (ink, paper float64) {
	n, m := 0.0, 0.0
	for _, s := range slices {
		if s.vertical != vertical {
			continue
		}
		for _, b := range s.bins {
			in := math.Min(b.x-s.x0, s.x1-b.x) // px inside the bar; negative on the paper
			switch {
			case in > clearOfEdge:
				ink += b.n * b.y
				n += b.n
			case in < -clearOfEdge:
				paper += b.n * b.y
				m += b.n
			}
		}
	}
	if n == 0 || m == 0 {
		return 0, 0
	}
	return ink / n, paper / m
}

// edgeParam are the unknowns of the edge model's fit, in this order.
const (
	pBlurX = iota
	pBlurY
	pSharpening
	pRadius
	pTone
	pShiftX // of each direction's super-edge, px
	pShiftY
	edgeParams
)

type edgeVector [edgeParams]float64

// Priors of the edge model: what phone cameras do, so that a level of sharpening
// or tone that the bars do not show is not invented, and the bounds of the
// search: no sharpening is 0, and a tone curve stays monotone. Common practice,
// no source.
var cameraPrior = [edgeParams]struct{ mean, sd, lo, hi float64 }{
	pBlurX:      {1.2, 5, 0.3, 8},
	pBlurY:      {1.2, 5, 0.3, 8},
	pSharpening: {0.4, 1, 0, 5},
	pRadius:     {1.3, 0.7, 0.4, 5},
	pTone:       {0, 0.25, -maxTone, maxTone},
	pShiftX:     {0, 1, -3, 3},
	pShiftY:     {0, 1, -3, 3},
}

// modelMisfit is the floor of the edge model's own misfit, against which the
// priors are weighed; 1 is black to white.
const modelMisfit = 0.004

// fit is Levenberg-Marquardt over the edge model's unknowns; each super-edge's
// two levels are solved within.
func (w *Witness) fit(edges *[2]superEdge) bool {
	p := edgeVector{w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone}
	q, ok := edgeEquations(edges, p)
	lambda := 1e-3
	for iter := 0; ok && iter < 15; iter++ {
		next, n, found := dampedStep(edges, p, q, &lambda)
		if !found {
			break
		}
		gain := (q.rr - n.rr) / q.rr
		p, q = next, n
		if gain < 1e-4 {
			break
		}
	}
	if !ok {
		return false
	}
	w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone = p[pBlurX], p[pBlurY], p[pSharpening], p[pRadius], p[pTone]
	if len(edges[0].u) == 0 {
		w.BlurX = w.BlurY
	}
	if len(edges[1].u) == 0 {
		w.BlurY = w.BlurX
	}
	w.Residual = modelMisfit * math.Sqrt(q.rr/float64(len(edges[0].u)+len(edges[1].u)))
	return true
}

// dampedStep tries damped steps until one lowers the sum of squares.
func dampedStep(edges *[2]superEdge, p edgeVector, q normal, lambda *float64) (next edgeVector, n normal, found bool) {
	for range 8 {
		damped := q
		for k := range edgeParams {
			damped.a[k][k] *= 1 + *lambda
		}
		if f, ok := damped.factorise(); ok {
			step := f.solve(damped.b)
			next = p
			for k := range next {
				c := cameraPrior[k]
				next[k] = math.Max(c.lo, math.Min(c.hi, p[k]+step[k]))
			}
			if n, ok = edgeEquations(edges, next); ok && n.rr < q.rr {
				*lambda /= 5
				return next, n, true
			}
		}
		*lambda *= 6
	}
	return p, q, false
}

// edgeEquations returns the normal equations at p: both super-edges' misfit in
// units of modelMisfit, and the priors. False when an edge has no contrast.
func edgeEquations(edges *[2]superEdge, p edgeVector) (normal, bool) {
	q := normal{n: edgeParams}
	for d := range edges {
		if len(edges[d].u) > 0 && !edges[d].equations(d, p, &q) {
			return q, false
		}
	}
	for k, c := range cameraPrior {
		var j [maxUnknowns]float64
		j[k] = 1
		q.add(&j, c.mean-p[k], 1/(c.sd*c.sd))
	}
	return q, true
}

// model is the edge model at p along direction d.
func (p *edgeVector) model(d int) camera1D {
	return camera1D{S: p[pBlurX+d], A: p[pSharpening], R: p[pRadius], Tone: tone{p[pTone]}}
}

// equations adds one super-edge's points. Blur, radius and tone have numeric
// derivatives; shift and sharpening come from the table.
func (e *superEdge) equations(d int, p edgeVector, q *normal) bool {
	const h = 2e-3
	numeric := [3]int{pBlurX + d, pRadius, pTone}
	s, ok := newEdgeShape(p.model(d), e.film, e.metal)
	if !ok {
		return false
	}
	var moved [3]*edgeShape
	for i, k := range numeric {
		pk := p
		pk[k] += h
		if moved[i], ok = newEdgeShape(pk.model(d), e.film, e.metal); !ok {
			return false
		}
	}
	shift := p[pShiftX+d]
	level, gain, ok := e.levels(s, shift)
	if !ok {
		return false
	}
	mean := 0.0
	for _, w := range e.w {
		mean += w / float64(len(e.w))
	}
	for i, u := range e.u {
		v, slope := s.at(u - shift)
		var j [maxUnknowns]float64
		for k, at := range numeric {
			vk, _ := moved[k].at(u - shift)
			j[at] = gain * (vk - v) / h / modelMisfit
		}
		j[pSharpening] = gain * s.haloAt(u-shift) / modelMisfit
		j[pShiftX+d] = -gain * slope / modelMisfit
		q.add(&j, (e.y[i]-level-gain*v)/modelMisfit, e.w[i]/mean)
	}
	return true
}

// levels solves y = level + gain E in closed form.
func (e *superEdge) levels(s *edgeShape, shift float64) (level, gain float64, ok bool) {
	var sw, se, sy, see, sey float64
	for i, u := range e.u {
		v, _ := s.at(u - shift)
		w := e.w[i]
		sw += w
		se += w * v
		sy += w * e.y[i]
		see += w * v * v
		sey += w * v * e.y[i]
	}
	det := sw*see - se*se
	if !(det > 0) {
		return 0, 0, false
	}
	gain = (sw*sey - se*sy) / det
	return (sy - gain*se) / sw, gain, true
}

// spread returns the blur in px of a super-edge whose sharpening and tone are
// known to be c's: the least misfit over blur and shift. False when the edge does
// not show one.
func (e *superEdge) spread(c camera1D) (float64, bool) {
	if len(e.u) < 20 {
		return 0, false
	}
	shift := 0.0
	for range 12 {
		s, ok := newEdgeShape(c, e.film, e.metal)
		if !ok {
			return 0, false
		}
		const h = 0.01
		wider := c
		wider.S += h
		t, ok := newEdgeShape(wider, e.film, e.metal)
		if !ok {
			return 0, false
		}
		q := normal{n: 4} // blur, shift, level, gain
		level, gain, ok := e.levels(s, shift)
		if !ok {
			return 0, false
		}
		for i, u := range e.u {
			v, slope := s.at(u - shift)
			vt, _ := t.at(u - shift)
			j := [maxUnknowns]float64{gain * (vt - v) / h, -gain * slope, 1, v}
			q.add(&j, e.y[i]-level-gain*v, e.w[i])
		}
		f, ok := q.factorise()
		if !ok {
			return 0, false
		}
		step := f.solve(q.b)
		ds := math.Max(-0.4*c.S, math.Min(0.5*c.S, step[0]))
		c.S = math.Max(0.25, math.Min(superReach/2.0, c.S+ds))
		shift += clampStep(step[1])
		if math.Abs(ds) < 5e-3 {
			return c.S, math.Abs(shift) < 2
		}
	}
	return 0, false
}
