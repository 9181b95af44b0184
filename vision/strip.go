package vision

import (
	"math"

	"stripgap/calib"
)

// Strip is the found strip: a gently curved axis on its plane, and what it and
// the metal beside it look like.
type Strip struct {
	Axis    Axis
	Plane   calib.Plane
	Width   float64 // mm, rough
	Film    [3]float64
	Metal   [2][3]float64 // beside each edge, display-referred 0..1
	Camera  camera1D      // this photo's edge model across the strip, from the bars
	Spread  [2]float64    // blur that each of the strip's own edges shows, px
	PxPerMM float64       // across the strip at its middle
}

// Axis is the strip's middle line: from Middle along Dir (unit) and bent
// sideways by Bend[0] + Bend[1] s + Bend[2] s^2 mm at s mm from Middle; Half is
// half its length.
type Axis struct {
	Middle calib.CardPoint
	Dir    calib.CardPoint
	Bend   [3]float64
	Half   float64
}

// Normal is Dir turned by +90 degrees.
func (a Axis) Normal() calib.CardPoint { return calib.CardPoint{X: -a.Dir.Y, Y: a.Dir.X} }

// At returns the axis' point at s mm from the middle.
func (a Axis) At(s float64) calib.CardPoint {
	return a.Middle.Add(a.Dir.Scale(s)).Add(a.Normal().Scale(a.Bend[0] + s*(a.Bend[1]+s*a.Bend[2])))
}

// tangent returns the axis' direction at s, not normalised.
func (a Axis) tangent(s float64) calib.CardPoint {
	return a.Dir.Add(a.Normal().Scale(a.Bend[1] + 2*s*a.Bend[2]))
}

// cutter cuts a photo across a strip's axis.
type cutter struct {
	p     *Photo
	v     *calib.View
	plane calib.Plane
	// radius of the surface in mm, 0 is flat.
	radius float64
	axis   Axis
	shape  pairShape
	step   float64 // mm between stations
	width  float64 // mm, expected at the middle
	taper  float64 // mm of width per mm along the axis, expected
	// contrast is the luma, or tint, between film and metal that is expected, 0..1.
	contrast float64
	side     float64 // px of metal used beside each edge
	seen     channel // in which the edges are looked at
}

// cut is one station's slice and fit.
type cut struct {
	s       float64
	frame   frame
	perPx   float64
	slice   slice
	fit     pairFit
	edges   [2]calib.CardPoint
	width   float64 // mm, across the axis
	u       float64 // mm
	dropped string
}

// Reasons why a station is left out.
const (
	dropOutside   = "outside the picture"
	dropOnCard    = "on the card"
	dropSaturated = "burnt out"
	dropNoEdges   = "no clear edges"
	dropContrast  = "film and metal too alike"
	dropUneven    = "the edges do not match"
	dropApart     = "apart from its neighbours"
	dropBeyond    = "beyond the ends set by hand"
)

// mostDropped returns the commonest reason for which stations within the strip's
// length were dropped, or otherwise when none were.
func (t *traced) mostDropped(otherwise string) string {
	n := map[string]int{}
	best := otherwise
	for _, k := range t.cuts {
		if math.Abs(k.s) > t.c.axis.Half || k.dropped == "" {
			continue
		}
		n[k.dropped]++
		if n[k.dropped] > n[best] {
			best = k.dropped
		}
	}
	return best
}

// edgeSlack is how far in px an edge may lie from where it is expected and still
// have all of its metal and film in the slice.
const edgeSlack = 4.0

// leastStep is the share of the expected contrast that a station must show before
// its edges are worth fitting.
const leastStep = 0.25

// widthAt is the width expected at s, mm, never less than half the middle's.
func (c *cutter) widthAt(s float64) float64 { return math.Max(c.width+c.taper*s, c.width/2) }

// cutAt measures the station at s.
func (c *cutter) cutAt(l *calib.Layout, s float64) cut {
	k := cut{s: s}
	mid := c.axis.At(s)
	back := mid.Sub(c.axis.tangent(s).Scale(0.25))
	f, perPx, ok := cardFrame(c.v, mid, back, c.plane)
	if !ok {
		k.dropped = dropOutside
		return k
	}
	k.frame, k.perPx = f, perPx
	width := c.widthAt(s)
	half := width / 2 / perPx
	n := c.axis.Normal()
	for _, e := range [2]float64{1, -1} {
		if l.Contains(mid.Add(n.Scale(e*(width/2+0.3*c.side*perPx))), 0) {
			k.dropped = dropOnCard
			return k
		}
	}
	sl, ok := c.p.gather(c.seen, f, c.step/2/perPx, around(-half, half, c.side+edgeSlack))
	if !ok {
		k.dropped = dropOutside
		return k
	}
	if sl.saturated > 0.05 {
		k.dropped = dropSaturated
		return k
	}
	if sl.step(-half, half) < leastStep*c.contrast {
		k.dropped = dropNoEdges // beyond the strip's end, most often
		return k
	}
	fit, ok := fitPair(sl, c.shape, -half, half)
	if !ok {
		k.dropped = dropNoEdges
		return k
	}
	k.slice, k.fit = sl, fit
	return c.toCard(k)
}

// toCard carries a fitted station's edges to the strip's plane.
func (c *cutter) toCard(k cut) cut {
	var e [2]calib.SpacePoint
	for i, x := range k.fit.x {
		q, ok := c.v.Card(k.frame.at(x), c.plane)
		if !ok {
			k.dropped = dropOutside
			return k
		}
		e[i] = q
		k.edges[i] = calib.CardPoint{X: q.X, Y: q.Y}
	}
	chord := acrossWidth(e, c.axis.tangent(k.s), c.plane)
	if k.width = arc(chord, c.radius); k.width == 0 {
		k.dropped = dropApart // wider than the cylinder it is said to lie on
		return k
	}
	w, u := k.fit.width()
	k.u = u / w * k.width
	low := math.Abs(k.fit.film - k.fit.metal[0])
	high := math.Abs(k.fit.film - k.fit.metal[1])
	if math.Min(low, high) < minContrast || (k.fit.film-k.fit.metal[0])*(k.fit.film-k.fit.metal[1]) < 0 {
		k.dropped = dropContrast
	}
	return k
}

// acrossWidth is the distance of two edge points in space, at right angles to
// the strip's direction t on its plane.
func acrossWidth(e [2]calib.SpacePoint, t calib.CardPoint, pl calib.Plane) float64 {
	d := [3]float64{e[1].X - e[0].X, e[1].Y - e[0].Y, e[1].Z - e[0].Z}
	u := [3]float64{t.X, t.Y, pl.SlopeX*t.X + pl.SlopeY*t.Y}
	uu := u[0]*u[0] + u[1]*u[1] + u[2]*u[2]
	s := (d[0]*u[0] + d[1]*u[1] + d[2]*u[2]) / uu
	for i := range 3 {
		d[i] -= s * u[i]
	}
	return math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
}

// arc returns the length on a cylinder of radius r over a chord, or the chord
// itself when r is 0; 0 when the chord does not fit.
func arc(chord, r float64) float64 {
	if r == 0 {
		return chord
	}
	if chord >= 2*r {
		return 0
	}
	return 2 * r * math.Asin(chord/(2*r))
}

// colours samples film and metal at the stations: the middle third of the film,
// and the metal between 0.3 and 1 side widths outside each edge; medians.
func (c *cutter) colours(cuts []cut) (film rgb, metal [2]rgb, ok bool) {
	var f, m0, m1 colourSamples
	for _, k := range cuts {
		if k.perPx == 0 {
			continue
		}
		half := c.widthAt(k.s) / 2 / k.perPx
		x0, x1 := -half, half
		if k.dropped == "" {
			x0, x1 = k.fit.x[0], k.fit.x[1]
		}
		for _, t := range [5]float64{0.3, 0.4, 0.5, 0.6, 0.7} {
			f.add(c.p, k.frame.at(x0+t*(x1-x0)))
		}
		for _, t := range [4]float64{0.4, 0.55, 0.7, 0.85} {
			m0.add(c.p, k.frame.at(x0-t*c.side))
			m1.add(c.p, k.frame.at(x1+t*c.side))
		}
	}
	if f.count() == 0 || m0.count() == 0 || m1.count() == 0 {
		return film, metal, false
	}
	return f.median(), [2]rgb{m0.median(), m1.median()}, true
}
