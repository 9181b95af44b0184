package vision

import (
	"math"

	"stripgap/calib"
)

// stereoSide is what one photo brings to a two-photo solution.
type stereoSide struct {
	prior calib.Prior
	w, h  int  // of the photo, px
	turn  turn // to the picture as stored
	marks []MarkFound
	markU float64 // standard uncertainty of a mark's centre per axis, px
	biasU float64 // px by which processing widens the strip, standard deviation
}

// edgeSight is a place in the photo where an edge was seen.
type edgeSight struct {
	at calib.PixelPoint
	u  float64 // standard uncertainty across the edge, px
}

// edgePair is one place of an edge, as each photo shows it.
type edgePair [2]edgeSight

// stereoModel is two photos of one strip beside one card. Its unknowns are both
// views, the print's aspect and the card's curl, which they share because they show
// the same card, the strip's plane and the two edges as parabolas on it, solved
// together from the marks and edges of both photos and what is known of the cameras.
// How an edge wanders from its parabola is not solved for: both photos show it alike.
type stereoModel struct {
	side  [2]stereoSide
	edges [2][]edgePair // of the strip's low and high edge, see stereoState.edge
	rough [2]float64    // mm by which each edge wanders, standard deviation
	// wander is the same in px of each photo, for each pair of sights.
	wander [2][][2]float64
	curve  float64 // what is known of stereoState.curve, with its standard deviation
	curveU float64
	curlU  float64 // 1/mm, standard deviation of stereoState.curl about 0
	base   Axis    // Middle, Dir and Half; the frame in which plane and edges are told
	// tied says that one camera took both photos, so that focal length and
	// distortion differ by no more than refocusing changes them.
	tied bool
}

// stereoState is a value of all unknowns.
type stereoState struct {
	view  [2]*calib.View
	plane [3]float64 // height at base.Middle in mm, slope along Dir, slope along its normal
	// edge holds each edge's offset from the base along its normal, in mm at s mm
	// along it: edge[0] + edge[1] s + edge[2] s^2. Edge 0 is the low one.
	edge [2][3]float64
	// curve is one over the metal's radius across the strip, 1/mm: positive in a
	// shell, negative on a journal, 0 where it is flat.
	curve float64
	// curl is one over the radius to which the card is curled along its long side,
	// 1/mm: positive where its ends stand up.
	curl float64
	bias [2]float64 // px by which a photo's processing widens the strip
	// gap is how much wider photo 1 shows the strip than photo 0, in mm at the
	// middle and at base.Half. It is 0 in a solution and only set free to test it.
	gap [2]float64
}

// Places of the unknowns in a parameter vector.
const (
	viewParams  = calib.ViewUnknowns - 1 // each view's own: those of calib.View.With but its last, the aspect
	paramAspect = 2 * viewParams
	paramPlane  = paramAspect + 1
	paramEdge   = paramPlane + 3
	paramCurve  = paramEdge + 6
	paramCurl   = paramCurve + 1
	paramBias   = paramCurl + 1
	paramGap    = paramBias + 2
	stereoCount = paramGap + 2
)

type stereoDelta [stereoCount]float64

// move returns s changed by d.
func (s stereoState) move(d *stereoDelta) stereoState {
	for i := range s.view {
		var by [calib.ViewUnknowns]float64
		for k, at := range viewPlaces(i) {
			by[k] = d[at]
		}
		s.view[i] = s.view[i].With(by)
	}
	for k := range 3 {
		s.plane[k] += d[paramPlane+k]
		s.edge[0][k] += d[paramEdge+k]
		s.edge[1][k] += d[paramEdge+3+k]
	}
	for k := range 2 {
		s.bias[k] += d[paramBias+k]
		s.gap[k] += d[paramGap+k]
	}
	s.curve += d[paramCurve]
	s.curl += d[paramCurl]
	return s
}

// mark returns the pixel in view v of a place of the card's layout, or false where it
// is not seen.
func (s *stereoState) mark(v *calib.View, place calib.CardPoint) (calib.PixelPoint, bool) {
	p := v.Aspect.Place(place)
	return v.Image(p.At(s.curl * p.X * p.X / 2))
}

// planeIn returns the state's plane in the card frame.
func (s *stereoState) planeIn(base Axis) calib.Plane {
	d, n, m := base.Dir, base.Normal(), base.Middle
	x := s.plane[1]*d.X + s.plane[2]*n.X
	y := s.plane[1]*d.Y + s.plane[2]*n.Y
	return calib.Plane{Height: s.plane[0] - x*m.X - y*m.Y, SlopeX: x, SlopeY: y}
}

// point returns the place of edge i at x mm along the base.
func (s *stereoState) point(base Axis, i int, x float64) calib.SpacePoint {
	c := s.edge[i]
	y := c[0] + x*(c[1]+x*c[2])
	p := base.Middle.Add(base.Dir.Scale(x)).Add(base.Normal().Scale(y))
	q := 1 + s.plane[2]*s.plane[2] // heights are upright, and y is level
	sag := s.curve * q * math.Sqrt(q) * (y*y - c[0]*c[0]) / 2
	return p.At(s.plane[0] + s.plane[1]*x + s.plane[2]*y + sag)
}

// width returns the strip's width in mm at x mm along the base, at right angles
// to the base and on the plane.
func (s *stereoState) width(base Axis, x float64) float64 {
	e := [2]calib.SpacePoint{s.point(base, 0, x), s.point(base, 1, x)}
	return acrossWidth(e, base.Dir, s.planeIn(base))
}

// widths returns the mean width over the base's length and the taper, the width
// at its +Half end less that at the other, in mm. Both are exact for the
// parabolas' widths (Gauss-Legendre with two points).
func (s *stereoState) widths(base Axis) [2]float64 {
	g := base.Half / math.Sqrt(3)
	return [2]float64{
		(s.width(base, g) + s.width(base, -g)) / 2,
		s.width(base, base.Half) - s.width(base, -base.Half),
	}
}
