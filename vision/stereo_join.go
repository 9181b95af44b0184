package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"stripgap/calib"
)

// combine reduces both photos on the solved plane to one measurement.
func (s *stereo) combine() *Refusal {
	m := *s.alone[0]
	view := *s.state.view[0]
	m.View = &view
	strip := *m.Strip
	m.Strip = &strip
	t := s.joined()
	strip.Axis, strip.Plane, strip.Width = t.c.axis, t.c.plane, t.c.width
	pr, ok := t.profile()
	if !ok {
		return Refuse(CodeStationsLost, "too few stations are left")
	}
	pr.Ends[0].Name, pr.Ends[1].Name = t.endNames()
	for i := range pr.Ends {
		pr.Ends[i].Pixel, _ = view.Image(t.c.plane.At(pr.Ends[i].Card))
	}
	for i := range pr.Stations {
		k := &pr.Stations[i]
		if k.Width == 0 {
			continue // neither photo shows edges here
		}
		for e, c := range k.Edges {
			k.Pixels[e], _ = view.Image(t.c.plane.At(c))
		}
	}
	m.Profile = pr
	all, ok := s.eq.covariance(freeAll, &stereoDelta{})
	if !ok || !s.budget(&m, all, t.c.axis.Half+t.c.step/2) {
		return Refuse(CodePairMismatch, "their edges have no common solution")
	}
	m.Thickness = 0 // the height was solved
	m.Solved = s.solvedAt(t.c.axis.At(0), all)
	at := viewPlaces(0)
	view.Cov = mat.NewSymDense(len(at), nil)
	for i := range at {
		for k := i; k < len(at); k++ {
			view.Cov.SetSym(i, k, all.At(at[i], at[k]))
		}
	}
	s.join = &m
	return nil
}

// solvedAt tells the plane at a place of the card, with the covariance all of the
// solution.
func (s *stereo) solvedAt(at calib.CardPoint, all *mat.SymDense) *SolvedPlane {
	d := at.Sub(s.model.base.Middle)
	lever := [3]float64{1, d.Dot(s.model.base.Dir), d.Dot(s.model.base.Normal())}
	out := &SolvedPlane{Along: s.state.plane[1], Across: s.state.plane[2]}
	variance := 0.0
	for i, x := range lever {
		out.Height += x * s.state.plane[i]
		for k, y := range lever {
			variance += x * y * all.At(paramPlane+i, paramPlane+k)
		}
	}
	out.U = PlaneU{
		Height: math.Sqrt(variance),
		Along:  math.Sqrt(all.At(paramPlane+1, paramPlane+1)),
		Across: math.Sqrt(all.At(paramPlane+2, paramPlane+2)),
	}
	return out
}

// joined returns a strip traced as the weighted mean of both photos, at stations
// of one spacing along the middle line between the strip's ends.
func (s *stereo) joined() *traced {
	list := [2][]placed{s.place(0), s.place(1)}
	for i := range list {
		for n := range list[i] {
			list[i][n].narrow(s.state.bias[i])
		}
	}
	base := s.model.base
	first, last := s.reach(func(t *traced) [2]float64 { return [2]float64{} })
	mid := func(k int) float64 { return (s.state.edge[0][k] + s.state.edge[1][k]) / 2 }
	c := (first + last) / 2
	axis := Axis{Middle: base.Middle.Add(base.Dir.Scale(c)), Dir: base.Dir, Half: (last - first) / 2}
	axis.Bend = [3]float64{mid(0) + c*(mid(1)+c*mid(2)), mid(1) + 2*c*mid(2), mid(2)}
	t := &traced{c: cutter{
		v: s.state.view[0], plane: s.state.planeIn(base), radius: s.trace[0].c.radius, axis: axis,
		step: math.Max(s.trace[0].c.step, s.trace[1].c.step), width: s.state.width(base, 0),
	}}
	s.untraced(t, c, list)
	own := [2]float64{stationNoise(list[0]), stationNoise(list[1])}
	t.noise = sharedNoise(own)
	n := int(axis.Half / t.c.step)
	for i := -n; i <= n; i++ {
		x := float64(i) * t.c.step
		k := mean(list, own, x+c, s.gapAllowed())
		if k.s = x; k.width == 0 {
			k.dropped = s.whyDropped(x + c)
		}
		t.cuts = append(t.cuts, k)
	}
	return t
}

// narrow takes px off the width, half at each edge.
func (p *placed) narrow(px float64) {
	part := px / p.px[1].Sub(p.px[0]).Norm()
	p.width *= 1 - part
	p.wU *= 1 - part
	half := p.card[1].Sub(p.card[0]).Scale(part / 2)
	p.card = [2]calib.CardPoint{p.card[0].Add(half), p.card[1].Sub(half)}
}

// untraced tells the joint strip, whose middle lies c mm along the base, what the
// photos show of it beyond its stations, in the mean, and of gaps in it. list is what
// each of them traced.
func (s *stereo) untraced(joint *traced, c float64, list [2][]placed) {
	first, last := s.reach(func(t *traced) [2]float64 { return t.beyond })
	joint.beyond = [2]float64{c - first - joint.c.axis.Half, last - c - joint.c.axis.Half}
	joint.missing = commonGaps(s.gapsShown(0, list[1], c), s.gapsShown(1, list[0], c))
}

// reach returns between which places of the base the strip lies, in the mean of both
// photos, with what is beyond each one's stations.
func (s *stereo) reach(beyond func(*traced) [2]float64) (first, last float64) {
	for i, t := range s.trace {
		more := beyond(t)
		a, b := s.along(i, -t.c.axis.Half-more[0], t.c.axis.Half+more[1])
		first, last = first+a/2, last+b/2
	}
	return first, last
}

// along turns two places of photo i's axis, which lies where that photo alone took the
// strip to be, into mm along the base on the solved plane, in order.
func (s *stereo) along(i int, from, to float64) (a, b float64) {
	t, pl := s.trace[i], s.state.planeIn(s.model.base)
	at := func(x float64) float64 {
		c := t.c.axis.At(x)
		if px, ok := t.c.v.Image(t.c.plane.At(c)); ok {
			if q, ok := s.state.view[i].Card(px, pl); ok {
				c = calib.CardPoint{X: q.X, Y: q.Y}
			}
		}
		return c.Sub(s.model.base.Middle).Dot(s.model.base.Dir)
	}
	a, b = at(from), at(to)
	return math.Min(a, b), math.Max(a, b)
}

// gapsShown are the gaps that photo i shows and in which the other traced no film, mm
// from a place c mm along the base.
func (s *stereo) gapsShown(i int, other []placed, c float64) (out []gapFound) {
	for _, g := range s.trace[i].missing {
		a, b := s.along(i, g.from, g.to)
		traced := func(p placed) bool { return p.s > a && p.s < b }
		if !slices.ContainsFunc(other, traced) {
			out = append(out, gapFound{g.name, a - c, b - c})
		}
	}
	return out
}

// commonGaps joins what two photos show of the same gaps: each in the mean where both
// show it, as it is where one does.
func commonGaps(a, b []gapFound) []gapFound {
	out := slices.Clone(a)
	for _, g := range b {
		same := func(h gapFound) bool { return g.from < h.to && h.from < g.to }
		if k := slices.IndexFunc(out, same); k >= 0 {
			out[k].from, out[k].to = (out[k].from+g.from)/2, (out[k].to+g.to)/2
		} else {
			out = append(out, g)
		}
	}
	return out
}

// stationNoise is the noise of one station's width in a photo, mm: what its
// neighbours differ by, or what the stations tell themselves where that is more.
func stationNoise(list []placed) float64 {
	var s, y, u []float64
	for _, p := range list {
		s, y, u = append(s, p.s), append(y, p.width), append(u, p.wU)
	}
	noise := median(u)
	if curve, ok := fitRobust(s, y, 2); ok {
		noise = math.Max(noise, successive(y, curve))
	}
	return noise
}

// sharedNoise is the noise of a station's weighted mean. Both photos show the same
// lines of the metal beside the same film, so that their noise is one.
func sharedNoise(own [2]float64) float64 {
	return (1/own[0] + 1/own[1]) / (1/(own[0]*own[0]) + 1/(own[1]*own[1]))
}

// mean is the station at x as the mean of the photos that show it, by the inverse
// variances of their stations' noise; its width is 0 where neither does.
func mean(list [2][]placed, noise [2]float64, x, gap float64) cut {
	var k cut
	sum := 0.0
	for i, l := range list {
		p, ok := between(l, x, gap)
		if !ok {
			continue
		}
		w := 1 / (noise[i] * noise[i])
		sum += w
		k.width += w * p.width
		k.u = math.Hypot(k.u, w*p.wU)
		for e := range 2 {
			k.edges[e] = k.edges[e].Add(p.card[e].Scale(w))
		}
	}
	if sum == 0 {
		return k
	}
	k.width /= sum
	k.u /= sum
	for e := range 2 {
		k.edges[e] = k.edges[e].Scale(1 / sum)
	}
	return k
}

// whyDropped returns why a photo left out its station nearest to x mm along the base.
func (s *stereo) whyDropped(x float64) string {
	why, nearest := dropNoEdges, math.Inf(1)
	for i, t := range s.trace {
		for n := range t.cuts {
			k := &t.cuts[n]
			at, _ := s.along(i, k.s, k.s)
			if d := math.Abs(at - x); k.dropped != "" && d < nearest {
				why, nearest = k.dropped, d
			}
		}
	}
	return why
}

// budget fills the uncertainty of mean width and taper, term by term. The
// solution's covariance with the plane held gives the terms of edges and marks;
// what not knowing the height adds to it, and then the slopes, are the terms
// "height" and "plane tilt". So their squares add up to the whole. half is half
// the length in mm over which the taper is told.
func (s *stereo) budget(m *Measurement, all *mat.SymDense, half float64) bool {
	none := &stereoDelta{}
	flat, ok1 := s.eq.covariance(freeFlat, none)
	height, ok2 := s.eq.covariance(freeHeight, none)
	if !ok1 || !ok2 {
		return false
	}
	scale := printUnchecked
	if m.Print.Checked() {
		scale = m.Print.U
	}
	pr := m.Profile
	grad := s.widthGradient(half)
	var terms [2][]Term
	for k, value := range [2]float64{pr.Mean, pr.Taper} {
		v := func(c *mat.SymDense) float64 {
			g := mat.NewVecDense(stereoCount, grad[k][:])
			return mat.Inner(g, c, g)
		}
		edge := [2]float64{pr.U, pr.TaperU}[k]
		// Differences of variances that are equal but for rounding can fall below 0.
		more := func(a, b *mat.SymDense) float64 { return math.Sqrt(math.Max(0, v(a)-v(b))) }
		terms[k] = []Term{{"edge noise", edge, false}, {termTexture, s.textureU()[k], false},
			{termEnds, [2]float64{pr.EndsU, pr.EndsTaperU}[k], false}}
		bias := math.Sqrt(v(s.eq.share(flat, groupBias)))
		for n, part := range s.biasParts() {
			terms[k] = append(terms[k], Term{termsOfEdges[n], part * bias, true})
		}
		terms[k] = append(terms[k], []Term{
			{"marks and camera", math.Sqrt(v(s.eq.share(flat, groupView))), true},
			{"print scale", scale * math.Abs(value), true},
			{"height", more(height, flat), true},
			{"plane tilt", more(all, height), true},
		}...)
	}
	pr.Budget, pr.TaperBudget = terms[0], terms[1]
	pr.U, pr.TaperU = combined(pr.Budget), combined(pr.TaperBudget)
	return true
}

// textureU is what the metal's texture leaves of mean width and taper unknown, mm: both
// photos show the same metal, so that their mean is no surer than either.
func (s *stereo) textureU() (u [2]float64) {
	for _, m := range s.alone {
		for k, budget := range [2][]Term{m.Profile.Budget, m.Profile.TaperBudget} {
			for _, t := range budget {
				if t.Name == termTexture {
					u[k] += t.U / 2
				}
			}
		}
	}
	return u
}

// termsOfEdges are the terms of a single photo's budget that move its edges alike all
// along the strip.
var termsOfEdges = [...]string{"edge processing", termDefinition, termShadow, termTone}

// edgeBias is the standard uncertainty in mm of a photo's mean width from them.
func (m *Measurement) edgeBias() float64 {
	sum := 0.0
	for _, t := range m.Profile.Budget {
		if slices.Contains(termsOfEdges[:], t.Name) {
			sum += t.U * t.U
		}
	}
	return math.Sqrt(sum)
}

// biasParts returns how much each of termsOfEdges has of what both photos' edges are
// biased by, as shares whose squares add up to 1.
func (s *stereo) biasParts() (parts [len(termsOfEdges)]float64) {
	whole := 0.0
	for _, m := range s.alone {
		for _, t := range m.Profile.Budget {
			if k := slices.Index(termsOfEdges[:], t.Name); k >= 0 {
				px := t.U * m.PxPerMM
				parts[k] += px * px
				whole += px * px
			}
		}
	}
	for k := range parts {
		parts[k] = math.Sqrt(parts[k] / whole)
	}
	return parts
}

// widthGradient returns the derivatives of mean width and taper over half mm to
// either side by all unknowns.
func (s *stereo) widthGradient(half float64) (grad [2][stereoCount]float64) {
	base := s.model.base
	base.Half = half
	for k := paramPlane; k < paramBias; k++ {
		const h = 1e-5
		var d stereoDelta
		d[k] = h
		a := s.state.move(&d)
		d[k] = -h
		b := s.state.move(&d)
		wa, wb := a.widths(base), b.widths(base)
		for n := range grad {
			grad[n][k] = (wa[n] - wb[n]) / (2 * h)
		}
	}
	return grad
}
