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
	w, ok := fitCameraFrom(slices, 0, 1)
	if ok && w.Bend < farBend {
		if far, ok := fitCameraFrom(slices, -1, 1); ok && far.Residual < w.Residual {
			w = far
		}
	}
	if ok && math.Abs(w.Bend) > clearBend && math.Min(w.BlurX, w.BlurY) < mosaicBlur {
		if straight, ok := fitCameraFrom(slices, 0, unbending); ok && !w.clearly(straight) {
			w = straight
		}
	}
	return w, ok
}

const (
	// farBend is the bend below which a curve that is linear in the light, the other end
	// of the bends, may fit better though a fit from none does not get there.
	farBend = -0.25
	// Edges sharper than mosaicBlur px, demosaicing shapes, too: there a bend of over
	// clearBend must explain them far better than none does.
	mosaicBlur = 1.0
	clearBend  = 0.1
	unbending  = 1e3 // doubt with which there is no bend
	leastGain  = 12.0
	bestFit    = 0.001 // misfit below which a model is no better
)

// clearly reports whether the bend explains the edges far better than none does: by how
// much of its own misfit, over as many points as are independent.
func (w *Witness) clearly(straight *Witness) bool {
	own := math.Max(w.Residual, bestFit)
	points := 2 * superCells * superStep / wrongTogether(math.Sqrt(w.BlurX*w.BlurY))
	gain := points * (straight.Residual*straight.Residual - w.Residual*w.Residual) / (own * own)
	return gain > leastGain
}

// fitCameraFrom is fitCamera that starts from a bend, which is doubted at least so much.
func fitCameraFrom(slices []barSlice, bend, doubted float64) (*Witness, bool) {
	w := &Witness{BlurX: 1.2, BlurY: 1.2, Sharpening: 0.3, Radius: 1.2, Bend: bend}
	for laying := range mostLayings {
		var edges [2]superEdge // met along the card's x, and along its y
		if !layOver(slices, w, &edges) {
			return nil, false
		}
		before := *w
		doubt := doubted
		if laying >= freeLayings {
			doubt = math.Max(doubted, w.doubt())
		}
		if !w.fit(&edges, doubt) {
			return nil, false
		}
		if laying >= freeLayings && w.stays(&before) {
			break
		}
	}
	return w, true
}

// mostLayings bounds the alternation. Most photos need 4 to 6. In the first ones the bend
// is as free as if there were no doubt, which they find out.
const (
	mostLayings = 8
	freeLayings = 3
)

// stays reports whether the edge model is still about that of o: blur to 0.003 px, and
// tone, its bend and the mask's effect, amount times radius squared, to what moves an
// edge as little. Another laying would move it by a fifth to a third of that.
func (w *Witness) stays(o *Witness) bool {
	blur := math.Max(math.Abs(w.BlurX-o.BlurX), math.Abs(w.BlurY-o.BlurY))
	effect := w.Sharpening*w.Radius*w.Radius - o.Sharpening*o.Radius*o.Radius
	return blur < 3e-3 && math.Abs(w.Tone-o.Tone) < 6e-3 && math.Abs(w.Bend-o.Bend) < 2e-2 && math.Abs(effect) < 12e-3
}

// layOver fits each slice with the current model and lays its two edges over
// those of its direction.
func layOver(slices []barSlice, w *Witness, out *[2]superEdge) bool {
	spread, used := 0.0, 0
	for d, vertical := range [2]bool{true, false} {
		ink, paper := levels(slices, vertical)
		cam := camera1D{S: w.BlurX, A: w.Sharpening, R: w.Radius, Tone: w.tone()}
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
		shape.close()
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

// join adds the points beside the shape moved by shift px, their level and gain
// eliminated, in units of modelMisfit with misfit times its variance. rates fills the
// derivatives of the shape, 0 to 1, by the unknowns of q, between table entries cell and
// the next.
func (e *superEdge) join(q *normal, s *edgeShape, shift, misfit float64, rates func(j *[maxUnknowns]float64, cell int, share, slope float64)) bool {
	level, gain, ok := e.levels(s, shift)
	if !ok {
		return false
	}
	mean := e.meanWeight() * misfit
	own := normal{n: q.n + 2}
	var j [maxUnknowns]float64
	for i, u := range e.u {
		v, slope := s.at(u - shift)
		j = [maxUnknowns]float64{}
		if cell, share, ok := s.inside(u - shift); ok {
			rates(&j, cell, share, slope)
			for k := range q.n {
				j[k] = gain * j[k] / modelMisfit
			}
		}
		j[q.n], j[q.n+1] = 1, v
		own.add(&j, (e.y[i]-level-gain*v)/modelMisfit, e.w[i]/mean)
	}
	own.eliminate()
	own.eliminate()
	q.join(&own)
	return true
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
		s.close()
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
