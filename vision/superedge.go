package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// superEdge is the mean dark-to-light edge of many slices laid over one another
// at their fitted places: a profile far finer than the pixel grid.
type superEdge struct {
	u, y, w []float64 // offset from dark to light in px, normalised luma, pixels
	dark    float64   // display-referred levels, 0..1
	light   float64
}

const (
	superStep  = 0.2 // px between points of a super-edge
	superReach = 11  // px to both sides
)

// fitCamera finds the edge model under which the slices' bars, their edges free
// to move, look most like printed bars. It alternates between placing the edges
// with the current model and fitting the model to the edges laid over one
// another.
func fitCamera(slices []barSlice) (*Witness, bool) {
	w := &Witness{BlurX: 1.2, BlurY: 1.2, Sharpening: 0.3, Radius: 1.2}
	for range 3 {
		var edges [2]superEdge // edges met along the card's x, and along its y
		if !layOver(slices, w, &edges) || !w.fit(&edges) {
			return nil, false
		}
	}
	return w, true
}

// layOver fits each slice with the current model and adds its two edges to the
// super-edge of its direction.
func layOver(slices []barSlice, w *Witness, out *[2]superEdge) bool {
	const n = int(2*superReach/superStep) + 1
	var sum, cnt [2][]float64
	for d := range 2 {
		sum[d], cnt[d] = make([]float64, n), make([]float64, n)
	}
	var dark, light, used [2]float64
	spread, spreadN := 0.0, 0
	for d, vertical := range [2]bool{true, false} {
		ink, paper := levels(slices, vertical)
		cam := camera1D{S: w.BlurX, A: w.Sharpening, R: w.Radius, Tone: tone{w.Tone}}
		if !vertical {
			cam.S = w.BlurY
		}
		shape, ok := newEdgeShape(cam, rgb{ink, ink, ink}, rgb{paper, paper, paper})
		if !ok {
			continue
		}
		for _, s := range slices {
			if s.vertical != vertical || s.saturated > 0.02 {
				continue
			}
			fit, ok := fitPair(s.slice, pairShape{shape, shape}, s.x0, s.x1)
			if !ok {
				continue
			}
			used[d]++
			dark[d] += fit.film
			light[d] += (fit.metal[0] + fit.metal[1]) / 2
			wpx, _ := fit.width()
			spread += (wpx - (s.x1 - s.x0)) / 2 * s.perPx
			spreadN++
			mid := (fit.x[0] + fit.x[1]) / 2
			for _, b := range s.bins {
				e, u, level := 0, fit.x[0]-b.x, fit.metal[0]
				if b.x > mid {
					e, u, level = 1, b.x-fit.x[1], fit.metal[1]
				}
				_ = e
				k := int(math.Round((u + superReach) / superStep))
				if k < 0 || k >= n {
					continue
				}
				sum[d][k] += b.n * (b.y - fit.film) / (level - fit.film)
				cnt[d][k] += b.n
			}
		}
	}
	if used[0]+used[1] < 2 {
		return false
	}
	for d := range 2 {
		e := &out[d]
		if used[d] == 0 {
			continue
		}
		e.dark, e.light = dark[d]/used[d], light[d]/used[d]
		for k := range sum[d] {
			if cnt[d][k] > 0 {
				e.u = append(e.u, float64(k)*superStep-superReach)
				e.y = append(e.y, sum[d][k]/cnt[d][k])
				e.w = append(e.w, cnt[d][k])
			}
		}
	}
	w.Spread = spread / float64(spreadN)
	return true
}

// levels estimates ink and paper of the bars in one direction.
func levels(slices []barSlice, vertical bool) (ink, paper float64) {
	n, m := 0.0, 0.0
	for _, s := range slices {
		if s.vertical != vertical {
			continue
		}
		third := (s.x1 - s.x0) / 3
		for _, b := range s.bins {
			switch {
			case b.x > s.x0+third && b.x < s.x1-third:
				ink += b.n * b.y
				n += b.n
			case b.x < s.x0-third || b.x > s.x1+third:
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

// Priors of the edge model: what phone cameras do, so that a level of sharpening
// or tone that the bars do not show is not invented. Common practice, no source.
var cameraPrior = [5]struct{ mean, sd float64 }{
	{1.2, 5}, {1.2, 5}, // blur, px
	{0.4, 1.0},  // sharpening
	{1.3, 0.7},  // its radius, px
	{0.0, 0.25}, // tone
}

// modelMisfit is the floor of the edge model's own misfit, against which the
// priors are weighed; 1 is black to white.
const modelMisfit = 0.004

// fit is Levenberg-Marquardt over blur x, blur y, amount, radius, tone and the
// two super-edges' shifts; each edge's two levels are solved within.
func (w *Witness) fit(edges *[2]superEdge) bool {
	p := []float64{w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone, 0, 0}
	r, ok := superResiduals(edges, p)
	if !ok {
		return false
	}
	lambda := 1e-3
	for range 20 {
		j := mat.NewDense(len(r), len(p), nil)
		for k := range p {
			q := append([]float64(nil), p...)
			q[k] += 1e-3
			rk, ok := superResiduals(edges, q)
			if !ok {
				return false
			}
			for i := range r {
				j.Set(i, k, (rk[i]-r[i])/1e-3)
			}
		}
		next, rNext, gain := lmStep(edges, p, r, j, &lambda)
		if next == nil {
			break
		}
		p, r = next, rNext
		if gain < 1e-4 {
			break
		}
	}
	w.BlurX, w.BlurY, w.Sharpening, w.Radius, w.Tone = p[0], p[1], p[2], p[3], p[4]
	if len(edges[0].u) == 0 {
		w.BlurX = w.BlurY
	}
	if len(edges[1].u) == 0 {
		w.BlurY = w.BlurX
	}
	n := float64(len(r) - len(cameraPrior))
	w.Residual = modelMisfit * math.Sqrt(sumSquares(r[:len(r)-len(cameraPrior)])/n)
	return true
}

// lmStep tries damped steps until one lowers the sum of squares; nil when none
// does. gain is the relative fall.
func lmStep(edges *[2]superEdge, p, r []float64, j *mat.Dense, lambda *float64) (next, rNext []float64, gain float64) {
	var n mat.Dense
	n.Mul(j.T(), j)
	var g mat.VecDense
	g.MulVec(j.T(), mat.NewVecDense(len(r), r))
	before := sumSquares(r)
	for range 8 {
		damped := mat.DenseCopyOf(&n)
		for k := range p {
			damped.Set(k, k, n.At(k, k)*(1+*lambda)+1e-12)
		}
		var step mat.VecDense
		if err := step.SolveVec(damped, &g); err == nil {
			q := append([]float64(nil), p...)
			for k := range q {
				q[k] -= step.AtVec(k)
			}
			if rq, ok := superResiduals(edges, q); ok && sumSquares(rq) < before {
				*lambda /= 5
				return q, rq, (before - sumSquares(rq)) / before
			}
		}
		*lambda *= 6
	}
	return nil, nil, 0
}

func sumSquares(r []float64) float64 {
	s := 0.0
	for _, v := range r {
		s += v * v
	}
	return s
}

// superResiduals returns the misfit of both super-edges in units of modelMisfit,
// followed by the priors'. False outside the model's range.
func superResiduals(edges *[2]superEdge, p []float64) ([]float64, bool) {
	if p[0] < 0.3 || p[1] < 0.3 || p[0] > 8 || p[1] > 8 || p[2] < -0.5 || p[2] > 6 || p[3] < 0.3 || p[3] > 5 || math.Abs(p[4]) > maxTone {
		return nil, false
	}
	var r []float64
	for d, e := range edges {
		if len(e.u) == 0 {
			continue
		}
		c := camera1D{S: p[d], A: p[2], R: p[3], Tone: tone{p[4]}}
		shape, ok := newEdgeShape(c, rgb{e.light, e.light, e.light}, rgb{e.dark, e.dark, e.dark})
		if !ok {
			return nil, false
		}
		// Levels: y = a + b E, solved in closed form.
		var sw, se, sy, see, sey float64
		shapeAt := make([]float64, len(e.u))
		for i, u := range e.u {
			v, _ := shape.at(u - p[5+d])
			shapeAt[i] = v
			wt := e.w[i]
			sw += wt
			se += wt * v
			sy += wt * e.y[i]
			see += wt * v * v
			sey += wt * v * e.y[i]
		}
		det := sw*see - se*se
		if det <= 0 {
			return nil, false
		}
		b := (sw*sey - se*sy) / det
		a := (sy - b*se) / sw
		mean := sw / float64(len(e.u))
		for i := range e.u {
			r = append(r, (e.y[i]-a-b*shapeAt[i])*math.Sqrt(e.w[i]/mean)/modelMisfit)
		}
	}
	if len(r) < 40 {
		return nil, false
	}
	for k, q := range cameraPrior {
		r = append(r, (p[k]-q.mean)/q.sd)
	}
	return r, true
}
