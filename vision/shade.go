package vision

import "math"

// shading is what both edges of a strip show together: one blur, in px, and the
// film's shadow beside each edge.
//
// A shadow looks much like an edge further out, but not quite. Three things tell
// them apart: both edges have one blur, near the card's; a shadow ends where the
// metal is lit again; and it leaves the metal its hue, which a coloured film does
// not.
type shading struct {
	blur   float64
	shadow [2]filmShadow
	// u is the standard uncertainty of the width, px, from not telling shadow and
	// blur from the edges' place.
	u float64
}

// Priors of a shading, and its bounds. A strip may lie a little out of the card's
// focus. Common practice and estimates, no source.
const (
	blurLikeness = 0.07 // of the card's blur, standard deviation
	shadeSpread  = 0.15 // of the light, standard deviation
	firstShade   = 0.05 // of the light, where a fit starts
	deepestShade = 0.6
	brightest    = 0.2 // that a film may lighten the metal beside it, too
)

// How far from its edge a film's shadow reaches, px: a film some hundredths to some
// tenths of a mm thick at some tens of px per mm. Estimates, no source.
var (
	usualReach   = math.Log(2.5) // logarithm
	reachSpread  = 0.8           // of the logarithm, standard deviation
	shadowBounds = [2]float64{math.Log(0.4), math.Log(8)}
)

// shadowStarts are the shadows that are tried, the last one none. One nearer than the
// blur looks like an edge further out and like little else, so that a fit would not
// find its reach: that is held.
var shadowStarts = [...]struct {
	filmShadow
	near, none bool
}{
	{filmShadow{castShadow, firstShade, 3}, false, false},
	{filmShadow{ambientShadow, firstShade, 2}, false, false},
	{filmShadow{castShadow, firstShade, 0.75}, true, false},
	{filmShadow{castShadow, 0, 2.5}, false, true},
}

// Unknowns of a shading's fit, in this order.
const (
	pBoth  = iota // blur of both edges
	pReach        // logarithm of the shadows' reach
	pShade
	_ // the second edge's
	pMove
	_ // the second edge's
	shadingParams
)

type shadingVector [shadingParams]float64

// shadingPriors are those of blur over the camera's, reach and shades.
var shadingPriors = [pMove]struct{ mean, sd float64 }{{1, blurLikeness}, {usualReach, reachSpread}, {0, shadeSpread}, {0, shadeSpread}}

// fitShading fits both super-edges of a strip, and its edges' tint, as seen by a
// camera whose sharpening and tone are known. The edges may well be softer px softer
// than the camera's. Each form of the shadow is fitted by itself and counts by how well
// it fits (Hoeting et al., Statistical Science 14 (1999) 382): the width is their mean,
// and what they differ by is part of its uncertainty. False where an edge shows too
// little, or no fit settles.
func fitShading(edges *[2]superEdge, tints *[2]tintEdge, c camera1D, softer float64) (shading, bool) {
	misfit := math.Max(1, wrongTogether(c.blur())/superStep)
	points := float64(len(edges[0].u) + len(edges[1].u))
	var fits []shadeFit
	for i, start := range shadowStarts {
		f := shadeFit{edges: edges, tints: tints, c: c, softer: softer, form: start.form, near: start.near, none: start.none, misfit: misfit}
		f.p = shadingVector{pBoth: c.S, pReach: math.Log(start.reach), pShade: start.depth, pShade + 1: start.depth}
		if len(fits) > 0 && !start.none { // what the first found is near
			reach := f.p[pReach]
			f.p = fits[0].p
			f.p[pReach] = reach
		}
		f.aim()
		if !f.settle() {
			continue
		}
		if i == 0 {
			misfit *= math.Max(1, f.luma/points)
			if f.misfit = misfit; !f.settle() {
				continue
			}
		}
		if f.conclude() {
			fits = append(fits, f)
		}
	}
	if len(fits) == 0 || fits[0].near {
		return shading{}, false
	}
	return blend(fits), true
}

// untoldShadowU is what shadows of which nothing but the priors is known leave to the
// width, px.
func (t *traced) untoldShadowU() float64 {
	sum := 0.0
	for _, metal := range t.metal {
		u := t.cam.asFilm(filmShadow{depth: shadeSpread, reach: math.Exp(usualReach)}, t.film, metal)
		sum += u * u
	}
	return math.Sqrt(sum)
}

// blend is the fit that is nearest to the weighted mean of those whose reach was
// fitted, with the uncertainty of that mean. One held near adds to that, and moves
// nothing: it takes edges in without a sign of a shadow.
func blend(fits []shadeFit) shading {
	best := math.Inf(1)
	for i := range fits {
		best = math.Min(best, fits[i].q.rr)
	}
	sum, mean := 0.0, 0.0
	weight := make([]float64, len(fits))
	for i := range fits {
		weight[i] = math.Exp((best - fits[i].q.rr) / 2)
		if !fits[i].near {
			sum += weight[i]
			mean += weight[i] * fits[i].moved
		}
	}
	mean /= sum
	nearest := &fits[0]
	all, square := 0.0, 0.0
	for i := range fits {
		f := &fits[i]
		d := f.moved - mean
		all += weight[i]
		square += weight[i] * (f.u*f.u + d*d)
		if !f.near && math.Abs(d) < math.Abs(nearest.moved-mean) {
			nearest = f
		}
	}
	s := shading{blur: nearest.p[pBoth], u: math.Sqrt(square / all)}
	for side := range s.shadow {
		s.shadow[side] = nearest.shadow(&nearest.p, side)
	}
	return s
}

// shadeFit is the fit of a shading whose shadows have one form.
type shadeFit struct {
	edges  *[2]superEdge
	tints  *[2]tintEdge
	c      camera1D
	softer float64 // px by which the strip's edges may well be softer than the card's
	form   shadowForm
	near   bool    // the reach stays as it is
	none   bool    // there is no shadow
	misfit float64 // variance of a super-edge's point, in modelMisfit squared
	// tintBias is how far outside its place each edge's tint is seen, px: without a
	// shadow, and per unit of it.
	tintBias [2][2]float64
	p        shadingVector
	q        normal  // at p
	luma     float64 // sum of the super-edges' squares at p, over modelMisfit squared
	// By how many px the fit moves the edges apart, and the standard uncertainty of that.
	moved, u float64
}

// shadow is the shadow beside an edge.
func (f *shadeFit) shadow(p *shadingVector, side int) filmShadow {
	return filmShadow{f.form, p[pShade+side], math.Exp(p[pReach])}
}

// hold holds what is not to be fitted.
func (f *shadeFit) hold(q *normal) (held [shadingParams]bool) {
	held[pReach] = f.near || f.none
	held[pShade], held[pShade+1] = f.none, f.none
	for k, h := range held {
		if h {
			q.hold(k, 0)
		}
	}
	return held
}

// conclude fills what the fit tells of the width. False when it tells nothing.
func (f *shadeFit) conclude() bool {
	q := f.q
	f.hold(&q)
	k, ok := q.factorise()
	if !ok {
		return false
	}
	a, b := k.inverse(pMove), k.inverse(pMove+1)
	f.moved = -f.p[pMove] - f.p[pMove+1]
	variance := a[pMove] + b[pMove+1] + 2*a[pMove+1]
	for side := range f.edges {
		vague := vagueForm * f.shadowWidth(side)
		variance += vague * vague
	}
	f.u = math.Sqrt(variance)
	return true
}

// vagueForm is the standard uncertainty of what a shadow does to an edge as a share of
// it, no shadow having quite the form of one of the two. Estimate, no source.
const vagueForm = 0.1

// shadowWidth is how wide a rim of film would dim the metal as much as the shadow
// does, px.
func (f *shadeFit) shadowWidth(side int) float64 {
	e, s := &f.edges[side], f.shadow(&f.p, side)
	return f.c.asFilm(s, e.film, e.metal)
}

const (
	shadeSteps   = 20   // tried at most
	shadeSettled = 0.03 // fall of the sum of squares that is not worth a step
	shadeMoved   = 2.0  // px beyond the shadow's reach that no edge moves
)

// settle moves the unknowns to where the sum of squares is least, by Levenberg's and
// Marquardt's steps. False where an edge has no contrast or goes astray.
func (f *shadeFit) settle() bool {
	ok := false
	if f.q, f.luma, ok = f.equations(&f.p); !ok {
		return false
	}
	lambda := 1e-3
	for range shadeSteps {
		next, promise := f.step(lambda)
		if math.Abs(promise) < shadeSettled {
			break
		}
		if q, luma, ok := f.equations(&next); ok && q.rr < f.q.rr {
			f.p, f.q, f.luma = next, q, luma
			lambda /= 5
		} else {
			lambda *= 6
		}
	}
	return math.Max(math.Abs(f.p[pMove]), math.Abs(f.p[pMove+1])) < shadeMoved+math.Exp(f.p[pReach])
}

// step returns the unknowns moved by a damped step, and by how much the linear model
// says that lowers the sum of squares. An unknown that would leave its bounds stops
// there, and the others take their step knowing it.
func (f *shadeFit) step(lambda float64) (next shadingVector, promise float64) {
	q := f.q
	for k := range shadingParams {
		q.a[k][k] *= 1 + lambda
	}
	far := superReach / 2.0
	lo := shadingVector{spreadRange[0] * f.c.S, shadowBounds[0], -brightest, -brightest, -far, -far}
	hi := shadingVector{spreadRange[1]*f.c.S + f.softer, shadowBounds[1], deepestShade, deepestShade, far, far}
	held := f.hold(&q)
	for {
		k, ok := q.factorise()
		if !ok {
			return f.p, 0
		}
		d := k.solve(q.b)
		out := -1
		for i := range next {
			free := f.p[i] + d[i]
			next[i] = math.Max(lo[i], math.Min(hi[i], free))
			if next[i] != free && !held[i] {
				held[i], out = true, i
				q.hold(i, next[i]-f.p[i])
			}
		}
		if out < 0 {
			return next, q.promised(&d)
		}
	}
}

// equations returns the normal equations at p, and the luma's part of the squares.
// False when an edge shows too little.
func (f *shadeFit) equations(p *shadingVector) (q normal, luma float64, ok bool) {
	q = normal{n: shadingParams}
	for side := range f.edges {
		if len(f.edges[side].u) < 20 || !f.shaded(side, p, &q) {
			return q, 0, false
		}
	}
	luma = q.rr * f.misfit
	for k, prior := range shadingPriors {
		mean, sd := prior.mean, prior.sd
		switch {
		case k == pBoth:
			mean, sd = mean*f.c.S, math.Hypot(sd*f.c.S, f.softer)
		case k == pReach && f.near:
			continue
		}
		var j [maxUnknowns]float64
		j[k] = 1
		q.add(&j, mean-p[k], 1/(sd*sd))
	}
	f.tinted(p, &q)
	return q, luma, true
}

// tinted adds the tint edges. What the tone curve does to them is the same at both,
// and an unknown of its own, eliminated: that one edge's tint lies further in than the
// other's tells more.
func (f *shadeFit) tinted(p *shadingVector, q *normal) {
	own := normal{n: shadingParams + 1}
	common := tintFloor
	for side, t := range f.tints {
		if !t.seen {
			continue
		}
		plain, perShade := f.tintBias[side][0], f.tintBias[side][1]
		common = math.Max(common, tintDoubt*math.Abs(plain))
		j := [maxUnknowns]float64{shadingParams: 1}
		j[pMove+side], j[pShade+side] = -1, perShade
		u := math.Hypot(t.u, tintFloor)
		own.add(&j, t.out-plain+p[pMove+side]-perShade*p[pShade+side], 1/(u*u))
	}
	own.add(&[maxUnknowns]float64{shadingParams: 1}, 0, 1/(common*common))
	own.eliminate()
	q.join(&own)
}

// aim works out where the edges' tints are seen of edges in their place.
func (f *shadeFit) aim() {
	const trial = 0.2
	reach := math.Exp(f.p[pReach])
	for side := range f.tints {
		e, t := &f.edges[side], &f.tints[side]
		if !t.seen {
			continue
		}
		plain, ok1 := t.bias(f.c, e.film, e.metal, filmShadow{f.form, 0, reach})
		shaded, ok2 := t.bias(f.c, e.film, e.metal, filmShadow{f.form, trial, reach})
		if ok1 && ok2 {
			f.tintBias[side] = [2]float64{plain, (shaded - plain) / trial}
		}
	}
}

// shaded adds one super-edge's points, its two levels eliminated.
func (f *shadeFit) shaded(side int, p *shadingVector, q *normal) bool {
	e, c := &f.edges[side], f.c
	c.S = p[pBoth]
	s, ok := newShadedEdge(c, e.film, e.metal, f.shadow(p, side))
	if !ok {
		return false
	}
	defer s.close()
	blur := s.blurRate()
	dimmed, further := s.shadowRates()
	return e.join(q, s, p[pMove+side], f.misfit, func(j *[maxUnknowns]float64, k int, w, slope float64) {
		j[pBoth] = lerp(blur, k, w)
		j[pShade+side] = lerp(dimmed, k, w)
		j[pReach] = lerp(further, k, w) * math.Exp(p[pReach])
		j[pMove+side] = -slope
	})
}
