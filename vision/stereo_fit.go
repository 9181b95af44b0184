package vision

import (
	"cmp"
	"math"
	"slices"

	"stripgap/calib"
)

// placed is a station of one photo, put on the strip's plane and told along the
// base. Edge 0 is the low one, as in stereoState.
type placed struct {
	s     float64             // mm along the base, of the station's middle
	at    [2]float64          // mm along the base, of each edge
	off   [2]float64          // mm along the base's normal
	px    [2]calib.PixelPoint // in the photo
	u     [2]float64          // standard uncertainty of each edge alone, px
	uMM   [2]float64          // and in mm
	card  [2]calib.CardPoint  // of each edge
	width float64             // mm, over the surface
	wU    float64             // mm
}

// place puts the used stations of photo i on the state's plane, in order along
// the base.
func (s *stereo) place(i int) []placed {
	t, base, pl := s.trace[i], s.model.base, s.state.planeIn(s.model.base)
	var out []placed
	for n := range t.cuts {
		k := &t.cuts[n]
		if k.dropped != "" {
			continue
		}
		if p, ok := placeCut(k, s.state.view[i], pl, base, t.c.radius); ok {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b placed) int { return cmp.Compare(a.s, b.s) })
	return out
}

// placeCut puts one station on a plane; false where it meets none there.
func placeCut(k *cut, v *calib.View, pl calib.Plane, base Axis, radius float64) (placed, bool) {
	p := placed{u: [2]float64{math.Sqrt(k.fit.cov[0]), math.Sqrt(k.fit.cov[1])}}
	if !(p.u[0] > 0 && p.u[1] > 0) {
		return p, false
	}
	var e [2]calib.SpacePoint
	for j, x := range k.fit.x {
		p.px[j] = k.frame.at(x)
		q, ok := v.Card(p.px[j], pl)
		if !ok {
			return p, false
		}
		e[j] = q
		p.card[j] = calib.CardPoint{X: q.X, Y: q.Y}
		d := p.card[j].Sub(base.Middle)
		p.at[j], p.off[j] = d.Dot(base.Dir), d.Dot(base.Normal())
	}
	p.s = (p.at[0] + p.at[1]) / 2
	if p.width = arc(acrossWidth(e, base.tangent(p.s), pl), radius); p.width == 0 {
		return p, false
	}
	w, u := k.fit.width()
	p.wU = u / w * p.width
	for e := range 2 {
		p.uMM[e] = p.u[e] / w * p.width
	}
	if p.off[0] > p.off[1] {
		for _, two := range []*[2]float64{&p.at, &p.off, &p.u, &p.uMM} {
			two[0], two[1] = two[1], two[0]
		}
		p.px[0], p.px[1] = p.px[1], p.px[0]
		p.card[0], p.card[1] = p.card[1], p.card[0]
	}
	return p, true
}

// solve finds the plane. The first round starts from the photos alone; the
// second lays the base anew on the strip as solved. The edges have the noise that
// the two photos' difference shows.
func (s *stereo) solve() *Refusal {
	for round := range 2 {
		a, b := s.place(0), s.place(1)
		from, to, ok := s.shared(a, b, round)
		if !ok {
			return Refuse(CodePairMismatch, "they show different parts of the strip")
		}
		if round == 1 {
			s.rebase(from, to)
			a, b = s.place(0), s.place(1)
			half := s.model.base.Half
			from, to = -half, half
		}
		noise, ok := s.edgeNoise(a, b)
		if !ok {
			return Refuse(CodePairMismatch, "too few places are clear in both")
		}
		s.sight(a, b, from, to, noise)
		state, eq, err := s.model.solve(s.state)
		if err != nil {
			return Refuse(CodePairMismatch, "their edges have no common solution")
		}
		s.state, s.eq = state, eq
		if round == 0 && !s.trustMarks() {
			return Refuse(CodePairMismatch, "their marks have no common solution")
		}
	}
	return nil
}

// trustMarks gives a photo's marks the noise that the solution shows of them where that
// is significantly more than their own. False where one is not seen.
func (s *stereo) trustMarks() bool {
	for i := range s.model.side {
		side, sum := &s.model.side[i], 0.0
		for _, k := range side.marks {
			p, ok := s.state.mark(s.state.view[i], k.Mark.Centre)
			if !ok {
				return false
			}
			d := p.Sub(k.Pixel).Norm() / side.markU
			sum += d * d
		}
		// The pose takes six; what else there is to fit has priors.
		if off := sum / float64(2*len(side.marks)-6); off > maxMarksNoise {
			side.markU *= math.Sqrt(off)
		}
	}
	return true
}

// shared returns the length of the base, clear of ragged ends, that both photos
// show. Once the plane is known the two must largely be the same.
func (s *stereo) shared(a, b []placed, round int) (from, to float64, ok bool) {
	if len(a) < 6 || len(b) < 6 {
		return 0, 0, false
	}
	from, to = math.Max(a[0].s, b[0].s), math.Min(a[len(a)-1].s, b[len(b)-1].s)
	all := math.Max(a[len(a)-1].s, b[len(b)-1].s) - math.Min(a[0].s, b[0].s)
	part := (to - from) / all
	if round == 1 {
		s.own = append(s.own, Check{"length that both photos show", part >= minShared, 100 * part, 100 * minShared, "%"})
		ok = part >= minShared
	} else {
		ok = to > from
	}
	trim := math.Max(endTrimLeast, math.Min(endTrimMost, s.trace[0].c.width/2))
	return from + trim, to - trim, ok && to-from > 2*trim
}

// rebase lays the base along the middle of the strip as solved, between the two
// places given, and tells plane and edges in it.
func (s *stereo) rebase(from, to float64) {
	old, st := s.model.base, s.state
	mid := func(x float64) float64 {
		y := 0.0
		for _, c := range st.edge {
			y += (c[0] + x*(c[1]+x*c[2])) / 2
		}
		return y
	}
	point := func(x float64) calib.CardPoint {
		return old.Middle.Add(old.Dir.Scale(x)).Add(old.Normal().Scale(mid(x)))
	}
	pl := st.planeIn(old)
	c, d := (from+to)/2, point(to).Sub(point(from))
	base := Axis{Middle: point(c), Dir: d.Scale(1 / d.Norm()), Half: (to - from) / 2}.oriented()
	s.model.base = base
	s.state.plane = [3]float64{
		pl.At(base.Middle).Z,
		pl.SlopeX*base.Dir.X + pl.SlopeY*base.Dir.Y,
		pl.SlopeX*base.Normal().X + pl.SlopeY*base.Normal().Y,
	}
	w := st.width(old, c)
	s.state.edge = [2][3]float64{{-w / 2}, {w / 2}}
}

// sight hands the places of both edges that both photos show between two places of
// the base to the model. Neither photo is before the other: the places are the
// stations of each, with the other's edges interpolated, and each counts half.
func (s *stereo) sight(a, b []placed, from, to, noise float64) {
	s.model.edges = [2][]edgePair{}
	var at []float64
	var off [2][]float64
	for i, list := range [2][2][]placed{{a, b}, {b, a}} {
		for _, p := range list[0] {
			q, ok := between(list[1], p.s, s.gapAllowed())
			if !ok || p.s < from || p.s > to {
				continue
			}
			at = append(at, p.s)
			both := [2]placed{p, q}
			if i == 1 {
				both = [2]placed{q, p}
			}
			for e := range 2 {
				var pair edgePair
				for k := range pair {
					pair[k] = edgeSight{both[k].px[e], math.Sqrt2 * noise * both[k].u[e]}
				}
				s.model.edges[e] = append(s.model.edges[e], pair)
				off[e] = append(off[e], (p.off[e]+q.off[e])/2)
			}
		}
	}
	for e := range off {
		s.model.rough[e] = 0
		if line, ok := fitRobust(at, off[e], 2); ok {
			s.model.rough[e] = math.Sqrt2 * line.scale
		}
	}
}

// edgeNoise returns by how much the edges' scatter exceeds what each station
// alone tells. It compares the two photos with one another, not with a line, so
// that the strip's own roughness, which both show, drops out; neighbours' shared
// errors count as in a profile.
func (s *stereo) edgeNoise(a, b []placed) (float64, bool) {
	x, ok1 := s.excess(a, b)
	y, ok2 := s.excess(b, a)
	return math.Max(1, math.Sqrt((x+y)/2)), ok1 && ok2
}

// excess is the mean over both edges of the variance of their difference between
// two photos, over what each station alone tells, at the stations of the first.
func (s *stereo) excess(a, b []placed) (variance float64, ok bool) {
	for e := range 2 {
		var at, diff []float64
		for _, p := range a {
			q, ok := between(b, p.s, s.gapAllowed())
			if !ok {
				continue
			}
			at = append(at, p.s)
			diff = append(diff, (p.off[e]-q.off[e])/math.Hypot(p.uMM[e], q.uMM[e]))
		}
		line, ok := fitRobust(at, diff, 2)
		if !ok {
			return 0, false
		}
		variance += line.scale * line.scale * correlation(at, diff, line) / 2
	}
	return variance, true
}

// gapAllowed is the widest gap in mm between two stations that is bridged.
func (s *stereo) gapAllowed() float64 {
	return 1.6 * math.Max(s.trace[0].c.step, s.trace[1].c.step)
}

// between returns a photo's station at x by linear interpolation, or false where
// its neighbours are further apart than gap.
func between(list []placed, x, gap float64) (placed, bool) {
	n, _ := slices.BinarySearchFunc(list, x, func(p placed, x float64) int { return cmp.Compare(p.s, x) })
	if n == 0 || n == len(list) || list[n].s-list[n-1].s > gap {
		return placed{}, false
	}
	a, b := list[n-1], list[n]
	f := (x - a.s) / (b.s - a.s)
	mix := func(p, q float64) float64 { return p + f*(q-p) }
	noise := func(p, q float64) float64 { return math.Hypot((1-f)*p, f*q) }
	out := placed{s: x, width: mix(a.width, b.width), wU: noise(a.wU, b.wU)}
	for e := range 2 {
		out.off[e] = mix(a.off[e], b.off[e])
		out.u[e], out.uMM[e] = noise(a.u[e], b.u[e]), noise(a.uMM[e], b.uMM[e])
		out.px[e] = a.px[e].Add(b.px[e].Sub(a.px[e]).Scale(f))
		out.card[e] = a.card[e].Add(b.card[e].Sub(a.card[e]).Scale(f))
	}
	return out, true
}

// plausible is how far a strip usually lies off the card, as standard
// deviations: mm, and slopes of fifteen degrees. It only serves to test whether
// two photos agree, where it stands for what they cannot tell apart: a strip
// tilted across and two strips of different width. Common practice, no source.
var plausible = [3]float64{5, math.Tan(15 * degree), math.Tan(15 * degree)}

// disagreement returns how much wider the second photo shows the strip than the
// first, at the middle and in taper, in standard deviations of that difference:
// one Gauss-Newton step with the difference set free.
func (s *stereo) disagreement() (z [2]float64, ok bool) {
	var extra stereoDelta
	grad := s.eq.grad
	for k, sd := range plausible {
		extra[paramPlane+k] = 1 / (sd * sd)
		grad[paramPlane+k] += s.state.plane[k] / (sd * sd)
	}
	cov, ok := s.eq.covariance(freeGap, &extra)
	if !ok {
		return z, false
	}
	for i := range z {
		k, step := paramGap+i, 0.0
		for n, g := range grad {
			step -= cov.At(k, n) * g
		}
		z[i] = step / math.Sqrt(cov.At(k, k))
	}
	return z, true
}

// correlation returns by how much neighbouring stations' shared errors multiply
// the variance of their mean: 1 + 2 r/(1-r) for a first-order process whose
// lag-one correlation is r.
func correlation(s, y []float64, l robustLine) float64 {
	var c0, c1, n0, n1 float64
	for i := range s {
		if l.weight[i] == 0 {
			continue
		}
		d := y[i] - l.at(s[i])
		c0 += d * d
		n0++
		if i > 0 && l.weight[i-1] > 0 {
			c1 += d * (y[i-1] - l.at(s[i-1]))
			n1++
		}
	}
	if n1 < 4 || c0 == 0 {
		return 1
	}
	r := math.Max(0, math.Min(0.8, (c1/n1)/(c0/n0)))
	return 1 + 2*r/(1-r)
}
