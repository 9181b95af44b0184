package vision

import (
	"math"

	"stripgap/calib"
)

// sightline is an edge sight with the place on the edge that it is compared
// with, and the photo's direction in which it is: away from the strip, square to
// the edge. Sliding along the edge does not change the distance, so both stay
// fixed while derivatives are taken.
type sightline struct {
	edge  int
	x     float64 // mm along the base
	sight edgeSight
	out   calib.PixelPoint // unit vector
	perMM float64          // px across the edge for 1 mm along the base's normal
}

// sightlines prepares the sights of an edge in photo i, or false where one meets no
// place of the plane.
func (m *stereoModel) sightlines(s *stereoState, i, e int) ([]sightline, bool) {
	pl, n := s.planeIn(m.base), m.base.Normal()
	var out []sightline
	for _, pair := range m.edges[e] {
		k := pair[i]
		q, ok := s.view[i].Card(k.at, pl)
		if !ok {
			return nil, false
		}
		x := (calib.CardPoint{X: q.X, Y: q.Y}).Sub(m.base.Middle).Dot(m.base.Dir)
		p := s.point(m.base, e, x)
		j, ok := s.view[i].Jacobian(calib.CardPoint{X: p.X, Y: p.Y}, pl)
		if !ok {
			return nil, false
		}
		t := m.base.Dir.Add(n.Scale(s.edge[e][1] + 2*x*s.edge[e][2]))
		side := float64(2*e - 1)
		a, o := through(j, t), through(j, n.Scale(side))
		l := sightline{edge: e, x: x, sight: k, out: calib.PixelPoint{X: -a.Y, Y: a.X}.Scale(1 / a.Norm())}
		l.perMM = l.out.X*o.X + l.out.Y*o.Y
		if l.perMM < 0 {
			l.out, l.perMM = l.out.Scale(-1), -l.perMM
		}
		out = append(out, l)
	}
	return out, true
}

// through maps a card vector through a Jacobian.
func through(j [2][2]float64, v calib.CardPoint) calib.PixelPoint {
	return calib.PixelPoint{X: j[0][0]*v.X + j[0][1]*v.Y, Y: j[1][0]*v.X + j[1][1]*v.Y}
}

// outward returns how far outside the sight the state expects the edge in photo
// i, in px.
func (m *stereoModel) outward(s *stereoState, i int, l *sightline) (float64, bool) {
	q, ok := s.view[i].Image(s.point(m.base, l.edge, l.x))
	if !ok {
		return 0, false
	}
	d := q.Sub(l.sight.at)
	wider := (s.gap[0] + s.gap[1]*l.x/m.base.Half) * float64(2*i-1) / 2
	return d.X*l.out.X + d.Y*l.out.Y + s.bias[i]/2 + wider*l.perMM/2, true
}

// Standard deviations that tie two photos: how far the focal length (relative)
// and k1 of one camera move between two photos that are focused anew, and how far
// its principal point does where the lens is stabilised (share of the longer side).
// Common practice, no source.
const (
	tieFRel      = 0.003
	tieK1        = 0.003
	tiePrincipal = 0.002
)

// biasAlike is the correlation of what edge processing leaves in two photos: they
// show one strip in one light, from different sides. Estimate, no source.
const biasAlike = 0.5

// Groups of observations, by what disturbs them.
const (
	groupEdges = iota // noise of the edges
	groupBias         // what edge processing leaves
	groupView         // marks and what is known of the cameras
	groups
)

// equations forms the normal equations at s, or false outside the model's
// domain.
func (m *stereoModel) equations(s stereoState) (*stereoEquations, bool) {
	q := newStereoEquations()
	for i := range m.side {
		if !m.addMarks(q, &s, i) || !m.addPrior(q, &s, i) {
			return nil, false
		}
	}
	for e := range m.edges {
		if !m.addEdge(q, &s, e) {
			return nil, false
		}
	}
	if m.tied {
		m.addTies(q, &s)
	}
	sd := m.side[0].prior.PrintAspectSD()
	q.add(groupView, []int{paramAspect}, []float64{1 / sd}, float64(s.view[0].Aspect)/sd)
	q.add(groupView, []int{paramCurl}, []float64{1 / m.curlU}, s.curl/m.curlU)
	q.add(groupView, []int{paramCurve}, []float64{1 / m.curveU}, (s.curve-m.curve)/m.curveU)
	u0, u1, rest := m.side[0].biasU, m.side[1].biasU, math.Sqrt(1-biasAlike*biasAlike)
	q.add(groupBias, []int{paramBias}, []float64{1 / u0}, s.bias[0]/u0)
	q.add(groupBias, []int{paramBias, paramBias + 1}, []float64{-biasAlike / (rest * u0), 1 / (rest * u1)},
		(s.bias[1]/u1-biasAlike*s.bias[0]/u0)/rest)
	return q, true
}

// viewSteps are the steps of central differences by a view's parameters: rad,
// mm, ln F, k1, px and the aspect.
var viewSteps = [calib.ViewUnknowns]float64{1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-3, 1e-5, 1e-4, 1e-2, 1e-2, 1e-5}

// viewNeighbours returns the view moved by a step either way in each parameter.
func viewNeighbours(v *calib.View) (out [calib.ViewUnknowns][2]*calib.View) {
	for k, h := range viewSteps {
		var d [calib.ViewUnknowns]float64
		d[k] = h
		out[k][1] = v.With(d)
		d[k] = -h
		out[k][0] = v.With(d)
	}
	return out
}

func (m *stereoModel) addMarks(q *stereoEquations, s *stereoState, i int) bool {
	near := viewNeighbours(s.view[i])
	u := m.side[i].markU
	at := append(viewPlaces(i), paramCurl)
	const curlStep = 1e-4 // 1/mm
	flatter, rounder := *s, *s
	flatter.curl -= curlStep
	rounder.curl += curlStep
	for _, k := range m.side[i].marks {
		p := k.Mark.Centre
		seen, ok := s.mark(s.view[i], p)
		if !ok {
			return false
		}
		var jx, jy [calib.ViewUnknowns + 1]float64
		by := func(c int, a, b *stereoState, va, vb *calib.View, h float64) bool {
			pa, ok1 := a.mark(va, p)
			pb, ok2 := b.mark(vb, p)
			d := pb.Sub(pa).Scale(1 / (2 * h * u))
			jx[c], jy[c] = d.X, d.Y
			return ok1 && ok2
		}
		for c, h := range viewSteps {
			if !by(c, s, s, near[c][0], near[c][1], h) {
				return false
			}
		}
		if !by(calib.ViewUnknowns, &flatter, &rounder, s.view[i], s.view[i], curlStep) {
			return false
		}
		q.add(groupView, at, jx[:], (seen.X-k.Pixel.X)/u)
		q.add(groupView, at, jy[:], (seen.Y-k.Pixel.Y)/u)
	}
	return true
}

// viewPlaces are the places of photo i's view in a parameter vector.
func viewPlaces(i int) []int {
	at := make([]int, 0, calib.ViewUnknowns)
	for k := range viewParams {
		at = append(at, i*viewParams+k)
	}
	return append(at, paramAspect)
}

// addTies adds that one camera took both photos.
func (m *stereoModel) addTies(q *stereoEquations, s *stereoState) {
	a, b := s.view[0].Camera, s.view[1].Camera
	q.add(groupView, []int{6, viewParams + 6}, []float64{-1 / tieFRel, 1 / tieFRel}, math.Log(b.F/a.F)/tieFRel)
	q.add(groupView, []int{7, viewParams + 7}, []float64{-1 / tieK1, 1 / tieK1}, (b.K1-a.K1)/tieK1)
	tie := tiePrincipal * float64(max(m.side[0].w, m.side[0].h))
	off := [2]calib.PixelPoint{m.side[0].offCentre(a), m.side[1].offCentre(b)}
	apart := off[1].Sub(off[0]).Scale(1 / tie)
	var x, y []float64 // their derivatives
	for i := range m.side {
		for _, d := range [2]calib.PixelPoint{{X: 1}, {Y: 1}} {
			by := m.side[i].turn.vector(d).Scale(float64(2*i-1) / tie)
			x, y = append(x, by.X), append(y, by.Y)
		}
	}
	at := []int{8, 9, viewParams + 8, viewParams + 9}
	q.add(groupView, at, x, apart.X)
	q.add(groupView, at, y, apart.Y)
}

// offCentre returns how far the principal point lies from the photo's middle, px
// in the sensor's own frame.
func (s *stereoSide) offCentre(c calib.Camera) calib.PixelPoint {
	return s.turn.vector(calib.PixelPoint{X: c.CX - float64(s.w-1)/2, Y: c.CY - float64(s.h-1)/2})
}

// addPrior adds what is known of photo i's camera. Where one camera took both
// photos, each carries half of it, so that it is not counted twice.
func (m *stereoModel) addPrior(q *stereoEquations, s *stereoState, i int) bool {
	side := &m.side[i]
	share := 1.0
	if m.tied {
		share = math.Sqrt2
	}
	residuals := func(c calib.Camera) ([4]float64, bool) {
		r, err := side.prior.Residuals(c, side.w, side.h)
		for k := range r {
			r[k] /= share
		}
		return r, err == nil
	}
	c := s.view[i].Camera
	r, ok := residuals(c)
	if !ok {
		return false
	}
	var rows [4][4]float64
	for k := range 4 { // the residuals are linear: any step will do
		moved := c
		switch k {
		case 0:
			moved.F *= math.E
		case 1:
			moved.K1++
		case 2:
			moved.CX++
		case 3:
			moved.CY++
		}
		next, ok := residuals(moved)
		if !ok {
			return false
		}
		for n := range 4 {
			rows[n][k] = next[n] - r[n]
		}
	}
	for n := range 4 {
		q.add(groupView, viewPlaces(i)[6:viewParams], rows[n][:], r[n])
	}
	return true
}

// wanders fills how far, in px of each photo, the edges wander from their parabolas.
// It stays fixed while a solution is sought: the steps are reckoned for fixed weights.
func (m *stereoModel) wanders(s *stereoState) bool {
	for e := range m.edges {
		m.wander[e] = make([][2]float64, len(m.edges[e]))
		for i := range m.side {
			lines, ok := m.sightlines(s, i, e)
			if !ok {
				return false
			}
			for n := range lines {
				m.wander[e][n][i] = m.rough[e] * lines[n].perMM
			}
		}
	}
	return true
}

// addEdge adds what both photos show of an edge. That the edge wanders from its
// parabola at a place is an error of the model that the two sights there share.
func (m *stereoModel) addEdge(q *stereoEquations, s *stereoState, e int) bool {
	var lines [2][]sightline
	var near [2][calib.ViewUnknowns][2]*calib.View
	for i := range m.side {
		var ok bool
		if lines[i], ok = m.sightlines(s, i, e); !ok {
			return false
		}
		near[i] = viewNeighbours(s.view[i])
	}
	for n := range m.edges[e] {
		a, ok1 := m.edgeRow(s, 0, &lines[0][n], &near[0])
		b, ok2 := m.edgeRow(s, 1, &lines[1][n], &near[1])
		if !ok1 || !ok2 {
			return false
		}
		// The Cholesky factor of both sights' covariance: the first over its own
		// deviation, the second less what the first foretells of it.
		pair, wander := &m.edges[e][n], m.wander[e][n]
		sa := math.Hypot(pair[0].u, wander[0])
		by := wander[0] * wander[1] / sa
		sb := math.Sqrt(pair[1].u*pair[1].u + wander[1]*wander[1] - by*by)
		for k := range a.j {
			a.j[k] /= sa
			b.j[k] = (b.j[k] - by*a.j[k]) / sb
		}
		a.r /= sa
		b.r = (b.r - by*a.r) / sb
		q.addDense(groupEdges, &a.j, a.r)
		q.addDense(groupEdges, &b.j, b.r)
	}
	return true
}

// edgeRow is a sight's distance inside the expected edge, px, with its derivatives.
type edgeRow struct {
	r float64
	j stereoDelta
}

// edgeRow differentiates a sightline of photo i; near are its view's neighbours.
func (m *stereoModel) edgeRow(s *stereoState, i int, l *sightline, near *[calib.ViewUnknowns][2]*calib.View) (w edgeRow, ok bool) {
	if w.r, ok = m.outward(s, i, l); !ok {
		return w, false
	}
	p := s.point(m.base, l.edge, l.x)
	for c, h := range viewSteps[:viewParams] { // the aspect moves marks alone
		a, ok1 := near[c][0].Image(p)
		b, ok2 := near[c][1].Image(p)
		if !ok1 || !ok2 {
			return w, false
		}
		d := b.Sub(a)
		w.j[i*viewParams+c] = (d.X*l.out.X + d.Y*l.out.Y) / (2 * h)
	}
	for n := range 3 { // plane, then this edge
		if w.j[paramPlane+n], w.j[paramEdge+3*l.edge+n], ok = m.byStrip(s, i, l, n); !ok {
			return w, false
		}
	}
	if w.j[paramCurve], ok = m.byCurve(s, i, l); !ok {
		return w, false
	}
	wider := l.perMM * float64(2*i-1) / 4
	w.j[paramBias+i], w.j[paramGap], w.j[paramGap+1] = 0.5, wider, wider*l.x/m.base.Half
	return w, true
}

// byCurve returns the derivative of a sightline's distance by the metal's curvature.
func (m *stereoModel) byCurve(s *stereoState, i int, l *sightline) (float64, bool) {
	const step = 1e-3 // 1/mm
	var d [2]float64
	for n := range d {
		moved := *s
		moved.curve += step * float64(2*n-1)
		var ok bool
		if d[n], ok = m.outward(&moved, i, l); !ok {
			return 0, false
		}
	}
	return (d[1] - d[0]) / (2 * step), true
}

// byStrip returns the derivatives of a sightline's distance by parameter k of
// the plane and of its edge.
func (m *stereoModel) byStrip(s *stereoState, i int, l *sightline, k int) (plane, edge float64, ok bool) {
	const h = 1e-4 // mm, or mm at base.Half
	step := h / math.Pow(m.base.Half, float64(k))
	if k == 2 {
		step = h / m.base.Half // of the plane: a slope
	}
	var d [4]float64
	for n := range d {
		moved := *s
		by := step * float64(2*(n%2)-1)
		if n < 2 {
			moved.plane[k] += by
		} else {
			moved.edge[l.edge][k] += by
		}
		if d[n], ok = m.outward(&moved, i, l); !ok {
			return 0, 0, false
		}
	}
	return (d[1] - d[0]) / (2 * step), (d[3] - d[2]) / (2 * step), true
}
