package vision

import "math"

// edgeParam are the unknowns of the edge model's fit, in this order.
const (
	pBlurX = iota
	pBlurY
	pSharpening
	pRadius
	pTone
	pBend
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
	pBend:       {0, 0.25, -1, 1}, // see bendUsual
	pShiftX:     {0, 1, -3, 3},
	pShiftY:     {0, 1, -3, 3},
}

// bendUsual is the scale of Cauchy's distribution, which is the prior of the bend: most
// tone curves hardly have one, and those that do may have any, so that a bend that is
// hardly seen is taken for none and one that is clearly seen as it is. How well it is
// known is reckoned with the spread in cameraPrior. Common practice, no source.
const bendUsual = 0.05

// modelMisfit is the floor of the edge model's own misfit, against which the
// priors are weighed; 1 is black to white.
const modelMisfit = 0.004

// fit is Levenberg-Marquardt over the edge model's unknowns; each super-edge's
// two levels are solved within; doubt is by how much less the edges are believed as to the
// bend. False when an edge has no contrast.
func (w *Witness) fit(edges *[2]superEdge, doubt float64) bool {
	p := edgeVector{w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone, w.Bend}
	q, ok := edgeEquations(edges, p, doubt)
	if !ok {
		return false
	}
	lambda := 1e-3
	for range edgeSteps {
		next, promise := p.step(q, lambda)
		if math.Abs(promise) < edgeSettled*q.rr {
			break
		}
		if n, ok := edgeEquations(edges, next, doubt); ok && n.rr < q.rr {
			p, q = next, n
			lambda /= 5
		} else {
			lambda *= 6
		}
	}
	w.BlurX, w.BlurY, w.Sharpening, w.Radius = p[pBlurX], p[pBlurY], p[pSharpening], p[pRadius]
	w.Tone, w.Bend = p[pTone], p[pBend]
	if len(edges[0].u) == 0 {
		w.BlurX = w.BlurY
	}
	if len(edges[1].u) == 0 {
		w.BlurY = w.BlurX
	}
	w.learn(edges, p)
	return true
}

// learn fills how well the fit's p is known.
func (w *Witness) learn(edges *[2]superEdge, p edgeVector) {
	q, _ := edgesSeen(edges, p)
	w.Residual = modelMisfit * math.Sqrt(q.rr/float64(len(edges[0].u)+len(edges[1].u)))
	if w.least == 0 || w.Residual < w.least {
		w.least = w.Residual
	}
	q.weaken(w.scatter())
	for k, c := range cameraPrior {
		q.a[k][k] += 1 / (c.sd * c.sd)
	}
	w.toneCov = [3]float64{cameraPrior[pTone].sd * cameraPrior[pTone].sd, cameraPrior[pBend].sd * cameraPrior[pBend].sd}
	if f, ok := q.factorise(); ok {
		tone, bend := f.inverse(pTone), f.inverse(pBend)
		w.toneCov = [3]float64{tone[pTone], bend[pBend], tone[pBend]}
	}
	flat, form := math.Min(0, w.Tone), formShare*w.Bend
	w.toneCov[0] += leastToneU*leastToneU + flat*flat + form*form
	w.toneCov[1] += leastBendU*leastBendU + form*form
	w.ToneU, w.BendU = math.Sqrt(w.toneCov[0]), math.Sqrt(w.toneCov[1])
}

// doubt is by how much the variance of the super-edges' points exceeds modelMisfit's.
// What they differ from the model by beyond that, in the laying where they do least, is
// not noise, see wrongTogether.
func (w *Witness) doubt() float64 {
	beyond := math.Max(0, w.least*w.least/(modelMisfit*modelMisfit)-1)
	return 1 + beyond*wrongTogether(math.Sqrt(w.BlurX*w.BlurY))/superStep
}

// How well a tone curve's strength and bend are known at best: a phone's curve is not quite
// the model's, and not the same all over the photo. Where their bars fit, the strengths of
// rendered photos are off by 0.04 (root mean square). A bend that is seen stands for a curve
// of another form, which is neither the bend nor the strength by this share of it: what a
// logarithm's widths need (TestForeignTones). A strength below 0, which flattens the middle,
// is none that phones apply but what noise reduction looks like; it does not do the same to
// a film's fainter edges, so that there may as well be none.
const (
	leastToneU = 0.05
	leastBendU = 0.05
	formShare  = 0.2
)

// scatter is the variance of the super-edges' points over modelMisfit's, by what they
// differ from the model (Birge's ratio, Physical Review 40 (1932) 207).
func (w *Witness) scatter() float64 {
	if fit := math.Max(w.least, bestFit) / modelMisfit; fit < 1 {
		return fit * fit
	}
	return w.doubt()
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
// units of modelMisfit, and the priors, the bend's by far the stronger where there is
// doubt: what misses the model, as noise reduction does, would be taken for a bend. False
// when an edge has no contrast.
func edgeEquations(edges *[2]superEdge, p edgeVector, doubt float64) (normal, bool) {
	q, ok := edgesSeen(edges, p)
	for k, c := range cameraPrior {
		var j [maxUnknowns]float64
		j[k] = 1
		weight := 1 / (c.sd * c.sd)
		if k == pBend { // the least squares that go down as Cauchy's distribution does
			square := p[k] * p[k]
			times := 2 * doubt * doubt
			weight = times / (bendUsual*bendUsual + square)
			q.rr += times*math.Log1p(square/(bendUsual*bendUsual)) - weight*square
		}
		q.add(&j, c.mean-p[k], weight)
	}
	return q, ok
}

// edgesSeen is edgeEquations without the priors.
func edgesSeen(edges *[2]superEdge, p edgeVector) (normal, bool) {
	q := normal{n: edgeParams}
	for d := range edges {
		if len(edges[d].u) > 0 && !edges[d].equations(d, p, &q) {
			return q, false
		}
	}
	return q, true
}

// model is the edge model at p along direction d.
func (p *edgeVector) model(d int) camera1D {
	return camera1D{S: p[pBlurX+d], A: p[pSharpening], R: p[pRadius], Tone: tone{p[pTone], p[pBend]}}
}

// equations adds one super-edge's points, its level and gain eliminated.
func (e *superEdge) equations(d int, p edgeVector, q *normal) bool {
	s, ok := newEdgeShape(p.model(d), e.film, e.metal)
	if !ok {
		return false
	}
	defer s.close()
	rates := s.rates()
	return e.join(q, s, p[pShiftX+d], 1, func(j *[maxUnknowns]float64, c int, f, slope float64) {
		j[pBlurX+d] = lerp(rates.blur, c, f)
		j[pRadius] = lerp(rates.radius, c, f)
		j[pTone] = lerp(rates.tone, c, f)
		j[pBend] = lerp(rates.bend, c, f)
		j[pSharpening] = lerp(s.halo, c, f)
		j[pShiftX+d] = -slope
	})
}
