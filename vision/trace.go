package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// traced is a strip cut into stations, its axis and edge shape settled.
type traced struct {
	c     cutter
	cuts  []cut
	film  rgb
	metal [2]rgb
	cam   camera1D // as the bars show it
	// rise is how many px each edge takes from a fifth to four fifths of the step.
	rise [2]float64
	// found is what was traced, in the card's plane.
	found  candidate
	layout *calib.Layout
	// planeU is how well the strip's plane is known.
	planeU PlaneU
	// byHand says that a person set the ends.
	byHand bool
	// spread is the blur in px that each of the strip's edges shows.
	spread [2]float64
	shadow [2]filmShadow // beside each edge
	shadeU float64       // px of width: how well shadow and blur are told from the edges' place
	// beyond is how far in mm film is seen past the traced length, against the axis'
	// direction and along it.
	beyond [2]float64
	// missing are the places inside the strip where nothing was crushed.
	missing []gapFound
	// noise is the least noise of a station, mm, where neighbours do not show it
	// because they were interpolated between the same ones; 0 for one photo.
	noise float64
}

// trace measures a candidate: stations along its axis, twice, the second time
// along the middle line and with the edge shape found in the first. When too
// little of it has two clear edges to be a strip at all, why names the commonest
// reason, one of those for which stations are dropped. The candidate's places are
// those of the card's plane.
func trace(p *Photo, v *calib.View, l *calib.Layout, w *Witness, o Options, cand candidate) (t traced, why string) {
	t = traced{found: cand, layout: l, c: cutter{p: p, v: v, radius: o.Surface.Radius, width: cand.width}}
	seen := Axis{Middle: cand.a.Add(cand.b).Scale(0.5), Dir: cand.direction()}
	t.c.plane, t.planeU = o.plane(v, l, seen)
	cand.a, cand.b = onto(v, cand.a, t.c.plane), onto(v, cand.b, t.c.plane)
	mid := cand.a.Add(cand.b).Scale(0.5)
	t.c.axis = Axis{Middle: mid, Dir: cand.direction(), Half: cand.length() / 2}
	t.cam = w.along(t.c.axis.Normal())
	_, perPx, ok := cardFrame(v, mid, mid.Sub(cand.direction().Scale(0.25)), t.c.plane)
	_, flatPx, flat := cardFrame(v, seen.Middle, seen.Middle.Sub(seen.Dir.Scale(0.25)), calib.Plane{})
	if !ok || !flat {
		return t, dropOutside
	}
	t.c.width *= perPx / flatPx // the candidate was measured as if it lay in the card's plane
	t.c.step = math.Max(math.Max(stationLeast, 8*perPx), math.Min(stationMost, cand.length()/stations))
	sense := cand.sense()
	if o.byColour {
		t.cam.A, t.cam.R = -1, usualTintBlur
	}
	t.c.side = sidePixels(t.cam, perPx)
	if o.byColour {
		if why := t.seekTint(); why != "" {
			return t, why
		}
		sense = 1 // the tint grows from metal to film
	}
	t.locate(sense)
	for pass := range lastPass + 1 {
		spread := [lastPass + 1]float64{3, 2, 1}[pass] // the first looks only find the middle line and the edge shape
		if why := t.shapes(pass); why != "" {
			return t, why
		}
		reach := t.c.axis.Half + 1.5
		if pass == lastPass-1 {
			reach += maxGapAlong // the strip may go on behind a hole or groove
		}
		t.cuts = t.cuts[:0]
		if pass < lastPass {
			spread = math.Min(spread, reach/(5*t.c.step))
		}
		n := int(reach / (t.c.step * spread))
		for i := -n; i <= n; i++ {
			t.cuts = append(t.cuts, t.c.cutAt(l, float64(i)*t.c.step*spread))
		}
		if pass == lastPass { // the whole strip tells best where its middle line is
			t.cutTo(o.Ends)
		}
		if !t.settle(l) {
			return t, t.mostDropped(dropApart)
		}
	}
	return t, ""
}

// cutTo drops the stations that lie beyond the ends that were set.
func (t *traced) cutTo(ends *[2]calib.CardPoint) {
	if ends == nil {
		return
	}
	t.byHand = true
	at := func(c calib.CardPoint) float64 { return c.Sub(t.c.axis.Middle).Dot(t.c.axis.Dir) }
	lo, hi := at(ends[0]), at(ends[1])
	lo, hi = math.Min(lo, hi), math.Max(lo, hi)
	for i := range t.cuts {
		if s := t.cuts[i].s; s < lo || s > hi {
			t.cuts[i].dropped = dropBeyond
		}
	}
}

// lastPass is the look at a strip that counts; those before it find the middle
// line and the edges' shape.
const lastPass = 2

// Stations along a strip: about so many, of a length in mm within these bounds.
const (
	stations     = 40
	stationLeast = 0.5
	stationMost  = 1.0
)

// locate moves width and axis to where the luma steps most steeply at stations
// along the candidate: the rough search may be out by half a width on a plane that
// leans away from the card's.
func (t *traced) locate(sense float64) {
	var rise [2][]float64
	var s, mid, width []float64
	for i := -4; i <= 4; i++ {
		at := t.c.axis.Half * 0.8 * float64(i) / 4
		p := t.c.axis.At(at)
		f, perPx, ok := cardFrame(t.c.v, p, p.Sub(t.c.axis.Dir.Scale(0.25)), t.c.plane)
		if !ok {
			continue
		}
		half := t.c.width / 2 / perPx
		slack := t.clearOfCard(f, half, math.Max(2*edgeSlack, 0.6*half), (3*t.cam.blur()+3)*perPx)
		sl, ok := t.c.p.gather(t.c.seen, f, t.c.step/2/perPx, cuts{lo: -half - t.c.side - slack, hi: half + t.c.side + slack})
		if !ok {
			continue
		}
		x0, x1 := sl.seek(-half, half, slack, sense)
		q, ok := t.c.v.Card(f.at((x0+x1)/2), t.c.plane)
		if !ok {
			continue
		}
		if low, high, ok := sl.rise(x0, x1); ok {
			rise[0], rise[1] = append(rise[0], low), append(rise[1], high)
		}
		s = append(s, at)
		mid = append(mid, calib.CardPoint{X: q.X, Y: q.Y}.Sub(p).Dot(t.c.axis.Normal()))
		width = append(width, (x1-x0)*perPx)
	}
	if len(rise[0]) >= 3 {
		t.rise = [2]float64{median(rise[0]), median(rise[1])}
	}
	line, ok := fitRobust(s, mid, 1)
	if !ok {
		return
	}
	t.c.width = median(width)
	n := t.c.axis.Normal()
	t.c.axis.Middle = t.c.axis.Middle.Add(n.Scale(line.p[0]))
	t.c.axis.Dir = t.c.axis.Dir.Add(n.Scale(line.p[1])).Scale(1 / math.Hypot(1, line.p[1]))
}

// clearOfCard returns how far outside either edge of a strip half px wide to each
// side, up to slack px, there is no card, nor its border's blur within margin mm:
// it would pass for the strip's.
func (t *traced) clearOfCard(f frame, half, slack, margin float64) float64 {
	const step = 2
	for d := 0.0; d < slack; d += step {
		for _, x := range [2]float64{-half - d - step, half + d + step} {
			q, ok := t.c.v.Card(f.at(x), calib.Plane{})
			if ok && t.layout.Contains(calib.CardPoint{X: q.X, Y: q.Y}, margin) {
				return d
			}
		}
	}
	return slack
}

// sidePixels is how much metal beside an edge is used: enough for its level
// beyond blur and halo, little enough to stay clear of other things.
func sidePixels(c camera1D, perPx float64) float64 {
	return math.Max(4.5*c.S+3.5*c.R+4, math.Min(0.6/perPx, 16))
}

// shapes tabulates the two edges' shapes from the colours seen so far, or tells
// why there are none.
func (t *traced) shapes(pass int) (why string) {
	cuts := t.cuts
	if pass == 0 {
		cuts = t.roughly()
	} else {
		cuts = slices.DeleteFunc(slices.Clone(cuts), func(k cut) bool { return k.dropped != "" })
	}
	var ok bool
	if t.film, t.metal, ok = t.c.colours(cuts); !ok {
		return dropOutside
	}
	cam := [2]camera1D{t.cam, t.cam}
	t.shadow = [2]filmShadow{}
	if pass > 0 {
		edges := t.superEdges(cuts)
		t.spreads(&edges)
		for side := range cam {
			cam[side] = t.camera(side)
		}
		if pass == lastPass && t.unevenEdges() <= maxUneven { // else it is more than a film's shadow
			tints := t.tintEdges(cuts)
			t.shadeU = t.untoldShadowU()
			if sh, ok := fitShading(&edges, &tints, t.cam, t.faintBlur()); ok {
				cam[0].S, cam[1].S, t.shadow, t.shadeU = sh.blur, sh.blur, sh.shadow, sh.u
			}
		}
	}
	t.c.contrast = math.Abs(t.seenOfFilm() - t.seenOfMetal())
	low, ok1 := newShadedEdge(cam[0], t.film, t.metal[0], t.shadow[0])
	high, ok2 := newShadedEdge(cam[1], t.film, t.metal[1], t.shadow[1])
	t.c.shape = pairShape{low, high}
	switch {
	case ok1 && ok2:
		return ""
	case math.Max(t.metal[0].luma(), t.metal[1].luma()) > burntOut:
		return dropSaturated
	}
	return dropContrast
}

// roughly are stations along the axis that are not fitted.
func (t *traced) roughly() (cuts []cut) {
	for s := -0.8 * t.c.axis.Half; s <= 0.8*t.c.axis.Half; s += t.c.step {
		mid := t.c.axis.At(s)
		f, perPx, ok := cardFrame(t.c.v, mid, mid.Sub(t.c.axis.tangent(s).Scale(0.25)), t.c.plane)
		if ok {
			cuts = append(cuts, cut{s: s, frame: f, perPx: perPx, dropped: dropNoEdges})
		}
	}
	return cuts
}

// burntOut is the luma, 0..1, from which metal shows nothing any more.
const burntOut = 0.985

// settle finds the run of stations that is the strip, drops what stands apart,
// and moves the axis onto the middle line.
func (t *traced) settle(l *calib.Layout) bool {
	var s, mid, width []float64
	var idx []int
	n := t.c.axis.Normal()
	for i, k := range t.cuts {
		if k.dropped != "" {
			continue
		}
		c := k.edges[0].Add(k.edges[1]).Scale(0.5).Sub(t.c.axis.Middle)
		s = append(s, c.Dot(t.c.axis.Dir))
		mid = append(mid, c.Dot(n))
		width = append(width, k.width)
		idx = append(idx, i)
	}
	if len(s) < 6 {
		return false
	}
	t.flipped(idx)
	film, contrast, ok := t.usual(idx, s)
	if !ok {
		return false
	}
	m, ok1 := fitRobust(s, mid, 2)
	w, ok2 := fitRobust(s, width, 2)
	if ok2 && 4.685*w.scale > otherWidth*w.p[0] {
		w, ok2 = fitDespiteRun(s, width, 2)
	}
	if !ok1 || !ok2 || !(w.p[0] > 0.1) {
		return false
	}
	tol := math.Max(4.685*w.scale, 0.03*w.p[0])
	tolMid := math.Max(4.685*m.scale, 0.03*w.p[0])
	first, last := math.Inf(1), math.Inf(-1)
	for j, i := range idx {
		other := math.Abs(t.cuts[i].fit.film-film.at(s[j])) > otherFilm*contrast
		if other || t.cuts[i].dropped != "" || math.Abs(width[j]-w.at(s[j])) > tol || math.Abs(mid[j]-m.at(s[j])) > tolMid {
			t.cuts[i].dropped = dropApart
			continue
		}
		first, last = math.Min(first, s[j]), math.Max(last, s[j])
	}
	if last-first < minStripLength/2 {
		return false
	}
	centre := (first + last) / 2
	t.c.width, t.c.taper = w.at(centre), w.p[1]+2*w.p[2]*centre
	a := Axis{Middle: t.c.axis.At(0), Dir: t.c.axis.Dir, Half: (last - first) / 2}
	// Re-centre the parabola on the new middle.
	a.Middle = t.c.axis.Middle.Add(t.c.axis.Dir.Scale(centre)).Add(n.Scale(m.at(centre)))
	slope := m.p[1] + 2*m.p[2]*centre
	norm := math.Hypot(1, slope)
	a.Dir = t.c.axis.Dir.Add(n.Scale(slope)).Scale(1 / norm)
	a.Bend = [3]float64{0, 0, m.p[2]}
	t.c.axis = a
	for i := range t.cuts {
		t.cuts[i].s -= centre
	}
	return true
}

// flipped drops the stations beside which the ground is lighter than the film where
// it is darker elsewhere, or the other way round: they lie over a hole or groove, or
// in glare.
func (t *traced) flipped(idx []int) {
	step := func(i int) float64 {
		k := &t.cuts[i].fit
		return k.film - (k.metal[0]+k.metal[1])/2
	}
	var all []float64
	for _, i := range idx {
		all = append(all, step(i))
	}
	usual := median(all)
	for _, i := range idx {
		if step(i)*usual < 0 {
			t.cuts[i].dropped = dropApart
		}
	}
}

// otherFilm is how far, in contrasts, a station's film may be from the others'
// luma and still be the same strip.
const otherFilm = 0.5

// otherWidth is the share of the width by which stations cannot differ from the strip's
// curve and be film that was crushed with the rest: waviness is some hundredths.
const otherWidth = 0.2

// usual returns the film's luma along the stations named, which lie at s, and the
// median of its contrast to the metal. The light falls off along a strip, on film and
// metal alike.
func (t *traced) usual(idx []int, s []float64) (film robustLine, contrast float64, ok bool) {
	var f, c []float64
	for _, i := range idx {
		k := &t.cuts[i].fit
		f = append(f, k.film)
		c = append(c, math.Abs(k.film-(k.metal[0]+k.metal[1])/2))
	}
	if film, ok = fitRobust(s, f, 1); !ok {
		return film, 0, false
	}
	return film, median(c), true
}
