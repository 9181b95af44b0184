package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// ViewUnknowns is how many unknowns a view has, see View.Cov.
const ViewUnknowns = 11

// View is a camera and its pose over a card, as fitted to one photo. The card
// frame is in true millimetres: a place of the layout is at Aspect.Place.
type View struct {
	Camera Camera
	Pose   Pose
	Aspect Aspect // of the card's print
	// Cov is the 11 x 11 covariance of the fit: rotation vector in camera axes,
	// applied from the left about the card's centre (rad), T (mm), ln F, K1, CX
	// and CY (px), and Aspect. It counts the marks' noise and the priors.
	Cov       *mat.SymDense
	RMS       float64      // root mean square of the residuals' lengths, px
	Residuals []PixelPoint // measured minus fitted, in the order of the points
	ChiSquare float64      // weighted squares of residuals and priors
	// Freedom is what ChiSquare is expected to be: two rows a point and the five
	// terms of the prior, less the unknowns.
	Freedom int
	// RivalExcess is how much larger ChiSquare is for the other pose in which
	// the flat card looks nearly alike, tilted the opposite way. Below about 9
	// the photo does not say which of the two is true. +Inf: there is no other.
	RivalExcess float64
}

// Plane is z = Height + SlopeX x + SlopeY y in the card frame, in millimetres;
// the zero Plane is the card's face.
type Plane struct{ Height, SlopeX, SlopeY float64 }

// At returns the plane's point above p.
func (l Plane) At(p CardPoint) SpacePoint {
	return p.At(l.Height + l.SlopeX*p.X + l.SlopeY*p.Y)
}

// Image returns the pixel of a point of space, or false when it lies behind the
// camera or so far out that the distortion model folds over.
func (v *View) Image(p SpacePoint) (PixelPoint, bool) {
	q := v.Pose.point(p)
	if !(q[2] > 0) {
		return PixelPoint{}, false
	}
	return v.Camera.Image(q[0]/q[2], q[1]/q[2])
}

// ImageOf returns the pixel of a card point, or false where it has none.
type ImageOf func(CardPoint) (PixelPoint, bool)

// On is the image of what lies on a plane, each point above its card point.
func (v *View) On(l Plane) ImageOf {
	return func(p CardPoint) (PixelPoint, bool) { return v.Image(l.At(p)) }
}

// Line returns the pixels of points in their order, nil where one has none.
func (image ImageOf) Line(points ...CardPoint) []PixelPoint {
	var out []PixelPoint
	for _, p := range points {
		px, ok := image(p)
		if !ok {
			return nil
		}
		out = append(out, px)
	}
	return out
}

// Mark returns the pixel of a place of the card's layout, as the print has it, or
// false where Image does.
func (v *View) Mark(place CardPoint) (PixelPoint, bool) {
	return v.Image(v.Aspect.Place(place).At(0))
}

// Ray returns the pinhole and the unit direction, away from the camera, of the
// ray seen at pixel p, both in the card frame. It returns false where the
// distortion model puts no ray.
func (v *View) Ray(p PixelPoint) (origin, dir SpacePoint, ok bool) {
	x, y, ok := v.Camera.Ideal(p)
	if !ok {
		return SpacePoint{}, SpacePoint{}, false
	}
	d := v.Pose.back(unit([3]float64{x, y, 1}))
	return v.Pose.Centre(), SpacePoint{d[0], d[1], d[2]}, true
}

// Card returns the point of plane seen at pixel p, or false when the ray does
// not meet the plane in front of the camera.
func (v *View) Card(p PixelPoint, plane Plane) (SpacePoint, bool) {
	o, d, ok := v.Ray(p)
	if !ok {
		return SpacePoint{}, false
	}
	above := o.Z - plane.Height - plane.SlopeX*o.X - plane.SlopeY*o.Y
	closing := plane.SlopeX*d.X + plane.SlopeY*d.Y - d.Z
	t := above / closing
	if !(t > 0) || math.IsInf(t, 0) {
		return SpacePoint{}, false
	}
	return SpacePoint{o.X + t*d.X, o.Y + t*d.Y, o.Z + t*d.Z}, true
}

// Tilt returns the angle in radians between the card's normal and the line from
// the card's centre to the camera; 0 is a level photo.
func (v *View) Tilt() float64 {
	c := v.Pose.Centre()
	return math.Atan2(math.Hypot(c.X, c.Y), c.Z)
}

// TiltAlong returns the tilt's component in a direction on the card, in radians:
// positive when the camera leans over towards dir, whose length does not matter
// but must not be 0.
func (v *View) TiltAlong(dir CardPoint) float64 {
	n := dir.Norm()
	if n == 0 {
		panic("calib: TiltAlong needs a direction")
	}
	c := v.Pose.Centre()
	return math.Atan2((c.X*dir.X+c.Y*dir.Y)/n, c.Z)
}

// Jacobian returns d(pixel)/d(card) at the plane's point above p, as the point
// moves on the plane: pixels per millimetre, row 0 for the pixel's x. It returns
// false where Image does.
func (v *View) Jacobian(p CardPoint, plane Plane) ([2][2]float64, bool) {
	q := v.Pose.point(plane.At(p))
	if !(q[2] > 0) {
		return [2][2]float64{}, false
	}
	x, y := q[0]/q[2], q[1]/q[2]
	if _, ok := v.Camera.Image(x, y); !ok {
		return [2][2]float64{}, false
	}
	lens := v.Camera.jacobian(x, y)
	var j [2][2]float64
	for k, step := range []SpacePoint{{1, 0, plane.SlopeX}, {0, 1, plane.SlopeY}} {
		d := v.Pose.turn(step)
		dx, dy := (d[0]-x*d[2])/q[2], (d[1]-y*d[2])/q[2]
		j[0][k] = lens[0][0]*dx + lens[0][1]*dy
		j[1][k] = lens[1][0]*dx + lens[1][1]*dy
	}
	return j, true
}

// PixelsPerMM returns the photo's scale on the card's face at p, along the
// card's x and along its y, or false where Image does.
func (v *View) PixelsPerMM(p CardPoint) (x, y float64, ok bool) {
	j, ok := v.Jacobian(p, Plane{})
	return math.Hypot(j[0][0], j[1][0]), math.Hypot(j[0][1], j[1][1]), ok
}

// With returns a view moved by delta, in the order and units of Cov. Cov and
// the figures of the fit still speak of v.
//
// A large change of the camera carries the pose along as far as delta's own
// first-order terms do not (see Pose.seenBy), and one of focal length the
// distortion, as its square: draws from Cov then stay in the curved valley of
// cameras that see the card alike, instead of leaving it on the tangent.
func (v *View) With(delta [ViewUnknowns]float64) *View {
	w := *v
	lnF, dx, dy := delta[6], delta[8]/v.Camera.F, delta[9]/v.Camera.F
	turn, move := v.Pose.seenByTangent(lnF, dx, dy)
	for i := range 3 {
		turn[i], move[i] = delta[i]-turn[i], delta[3+i]-move[i]
	}
	zoom := math.Exp(lnF)
	w.Pose = v.Pose.rotated(turn, move).seenBy(zoom, dx, dy)
	w.Camera.F *= zoom
	w.Camera.K1 = (v.Camera.K1 + delta[7] - 2*v.Camera.K1*lnF) * zoom * zoom
	w.Camera.CX += delta[8]
	w.Camera.CY += delta[9]
	w.Aspect += Aspect(delta[10])
	return &w
}

// Propagate returns f at the view and the standard uncertainty it has from the
// fit's covariance (JCGM 100, 5.2.2), for a view from FitView. f must be defined
// and smooth over the fit's uncertainty. The pixels that f maps are taken as
// exact: their own noise is another term of the budget.
func (v *View) Propagate(f func(*View) float64) (value, u float64) {
	values, cov := v.PropagateJoint(func(w *View) []float64 { return []float64{f(w)} })
	return values[0], math.Sqrt(cov.At(0, 0))
}

// PropagateJoint is Propagate for several results at once, with their joint
// covariance. f must always return the same number of values, at least one.
//
// The derivatives are central differences along the columns of the covariance's
// square root: such steps run along the valley where focal length and distance
// trade places, across which single parameters would leave the linear range.
func (v *View) PropagateJoint(f func(*View) []float64) ([]float64, *mat.SymDense) {
	const step = 0.1 // of a standard deviation
	var chol mat.Cholesky
	if !chol.Factorize(v.Cov) {
		panic("calib: a view's covariance must be positive definite")
	}
	var root mat.TriDense
	chol.LTo(&root)
	values := f(v)
	cov := mat.NewSymDense(len(values), nil)
	for k := range ViewUnknowns {
		var delta, minus [ViewUnknowns]float64
		for i := range ViewUnknowns {
			delta[i] = step * root.At(i, k)
			minus[i] = -delta[i]
		}
		a, b := f(v.With(delta)), f(v.With(minus))
		for i := range a {
			a[i] = (a[i] - b[i]) / (2 * step)
		}
		cov.SymRankOne(cov, 1, mat.NewVecDense(len(a), a))
	}
	return values, cov
}
