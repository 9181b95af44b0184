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
type edgeSum struct{ u, y, n [superCells]float64 }

// add lays one edge of a fitted slice over the others.
func (e *edgeSum) add(s slice, fit *pairFit, side int) {
	mid := (fit.x[0] + fit.x[1]) / 2
	for _, b := range s.bins {
		if (b.x > mid) != (side == 1) {
			continue
		}
		u, v := fit.normalised(b, side)
		if k := int(math.Round((u + superReach) / superStep)); k >= 0 && k < superCells {
			e.u[k] += b.n * u
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
			out.u = append(out.u, e.u[k]/n)
			out.y = append(out.y, e.y[k]/n)
			out.w = append(out.w, n)
		}
	}
	return out
}

// fitCamera finds the edge model under which the slices' bars, their edges free
// to move, look most like printed bars. It alternates between placing the edges
// with the current model and fitting the model to the edges laid over one
// another, until the model stays as it is.
func fitCamera(slices []barSlice) (*Witness, bool) {
	w := &Witness{BlurX: 1.2, BlurY: 1.2, Sharpening: 0.3, Radius: 1.2}
	for range mostLayings {
		var edges [2]superEdge // met along the card's x, and along its y
		if !layOver(slices, w, &edges) {
			return nil, false
		}
		before := *w
		if !w.fit(&edges) {
			return nil, false
		}
		if w.stays(&before) {
			break
		}
	}
	return w, true
}

// mostLayings bounds the alternation. Most photos need 4 to 6.
const mostLayings = 8

// stays reports whether the edge model is still about that of o: blur to 0.003 px, and
// tone and the mask's effect, amount times radius squared, to what moves an edge as
// little. Another laying would move it by a fifth to a third of that.
func (w *Witness) stays(o *Witness) bool {
	blur := math.Max(math.Abs(w.BlurX-o.BlurX), math.Abs(w.BlurY-o.BlurY))
	effect := w.Sharpening*w.Radius*w.Radius - o.Sharpening*o.Radius*o.Radius
	return blur < 3e-3 && math.Abs(w.Tone-o.Tone) < 6e-3 && math.Abs(effect) < 12e-3
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
// In a bar of fewer pixels its middle third must do.
const clearOfEdge = 10

// levels estimates ink and paper of the bars in one direction.
func levels(slices []barSlice, vertical bool) (ink, paper float64) {
	n, m := 0.0, 0.0
	for _, s := range slices {
		if s.vertical != vertical {
			continue
		}
		clear := math.Min(clearOfEdge, (s.x1-s.x0)/3)
		for _, b := range s.bins {
			in := math.Min(b.x-s.x0, s.x1-b.x) // px inside the bar; negative on the paper
			switch {
			case in > clear:
				ink += b.n * b.y
				n += b.n
			case in < -clear:
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
// two levels are solved within. False when an edge has no contrast.
func (w *Witness) fit(edges *[2]superEdge) bool {
	p := edgeVector{w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone}
	q, ok := edgeEquations(edges, p)
	if !ok {
		return false
	}
	lambda := 1e-3
	for range edgeSteps {
		next, promise := p.step(q, lambda)
		if math.Abs(promise) < edgeSettled*q.rr {
			break
		}
		if n, ok := edgeEquations(edges, next); ok && n.rr < q.rr {
			p, q = next, n
			lambda /= 5
		} else {
			lambda *= 6
		}
	}
	w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone = p[pBlurX], p[pBlurY], p[pSharpening], p[pRadius], p[pTone]
	if len(edges[0].u) == 0 {
		w.BlurX = w.BlurY
	}
	if len(edges[1].u) == 0 {
		w.BlurY = w.BlurX
	}
	w.Residual = modelMisfit * math.Sqrt(q.rr/float64(len(edges[0].u)+len(edges[1].u)))
	w.ToneU = cameraPrior[pTone].sd
	if f, ok := q.factorise(); ok {
		w.ToneU = math.Sqrt(f.inverse(pTone)[pTone])
	}
	return true
}

const (
	edgeSteps   = 12   // tried at most, before the edges are laid anew
	edgeSettled = 1e-3 // share of the sum of squares whose promised fall is not worth a step
)

// step returns p moved by a damped step, and by how much the linear model says
// that lowers the sum of squares. An unknown that would leave its bounds stops
// there, and the others take their step knowing it.
func (p *edgeVector) step(q normal, lambda float64) (next edgeVector, promise float64) {
	damped := q
	for k := range edgeParams {
		damped.a[k][k] *= 1 + lambda
	}
	var held [edgeParams]bool
	for {
		f, ok := damped.factorise()
		if !ok {
			return *p, 0
		}
		d := f.solve(damped.b)
		next, promise = p.moved(&d), q.promised(&d)
		out := -1
		for k, c := range cameraPrior {
			if v := math.Max(c.lo, math.Min(c.hi, next[k])); v != next[k] && !held[k] {
				held[k], out = true, k
				damped.hold(k, v-p[k])
			}
		}
		if out < 0 {
			for k, c := range cameraPrior {
				next[k] = math.Max(c.lo, math.Min(c.hi, next[k]))
			}
			return next, promise
		}
	}
}

// moved returns p moved by d. To first order a mask's effect goes with amount
// times radius squared, so that it is this which moves by what d says.
func (p *edgeVector) moved(d *[maxUnknowns]float64) edgeVector {
	next := *p
	for k := range next {
		next[k] += d[k]
	}
	r := p[pRadius]
	effect := r*r*next[pSharpening] + 2*r*p[pSharpening]*d[pRadius]
	if next[pRadius] > 0 {
		next[pSharpening] = effect / (next[pRadius] * next[pRadius])
	}
	return next
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

// equations adds one super-edge's points, its level and gain eliminated.
func (e *superEdge) equations(d int, p edgeVector, q *normal) bool {
	s, ok := newEdgeShape(p.model(d), e.film, e.metal)
	if !ok {
		return false
	}
	shift := p[pShiftX+d]
	level, gain, ok := e.levels(s, shift)
	if !ok {
		return false
	}
	mean := e.meanWeight()
	rates := s.rates()
	own := normal{n: edgeParams + 2}
	for i, u := range e.u {
		v, slope := s.at(u - shift)
		j := [maxUnknowns]float64{edgeParams: 1, edgeParams + 1: v}
		if c, f, ok := s.inside(u - shift); ok {
			j[pBlurX+d] = gain * lerp(rates.blur, c, f) / modelMisfit
			j[pRadius] = gain * lerp(rates.radius, c, f) / modelMisfit
			j[pTone] = gain * lerp(rates.tone, c, f) / modelMisfit
			j[pSharpening] = gain * lerp(s.halo, c, f) / modelMisfit
			j[pShiftX+d] = -gain * slope / modelMisfit
		}
		own.add(&j, (e.y[i]-level-gain*v)/modelMisfit, e.w[i]/mean)
	}
	own.eliminate()
	own.eliminate()
	q.join(&own)
	return true
}

// meanWeight is the mean of the points' pixels, which makes their weights 1 on the
// whole beside a prior.
func (e *superEdge) meanWeight() float64 {
	mean := 0.0
	for _, w := range e.w {
		mean += w / float64(len(e.w))
	}
	return mean
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
// known to be c's: the least misfit over blur and shift. Of a tint it is chroma's own
// blur that is sought, and the other one known, too. False when the edge does not show
// one.
func (e *superEdge) spread(c camera1D) (float64, bool) {
	if len(e.u) < 20 {
		return 0, false
	}
	shift := 0.0
	own := &c.S
	if c.isTint() {
		own = &c.R
	}
	for range 12 {
		s, ok := newEdgeShape(c, e.film, e.metal)
		if !ok {
			return 0, false
		}
		q := normal{n: 4} // blur, shift, level, gain
		level, gain, ok := e.levels(s, shift)
		if !ok {
			return 0, false
		}
		blur := s.blurRate
		if c.isTint() {
			blur = s.radiusRate
		}
		rate := blur()
		for i, u := range e.u {
			v, slope := s.at(u - shift)
			j := [maxUnknowns]float64{0, -gain * slope, 1, v}
			if c, f, ok := s.inside(u - shift); ok {
				j[0] = gain * lerp(rate, c, f)
			}
			q.add(&j, e.y[i]-level-gain*v, e.w[i])
		}
		f, ok := q.factorise()
		if !ok {
			return 0, false
		}
		step := f.solve(q.b)
		ds := math.Max(-0.4**own, math.Min(0.5**own, step[0]))
		*own = math.Max(0.25, math.Min(superReach/2.0, *own+ds))
		shift += clampStep(step[1])
		if math.Abs(ds) < 5e-3 {
			return *own, math.Abs(shift) < 2
		}
	}
	return 0, false
}
