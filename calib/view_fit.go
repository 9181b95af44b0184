package calib

import (
	"errors"
	"fmt"
	"math"
)

// Errors of FitView, to be matched with errors.Is.
var (
	ErrMirrored = errors.New("the card is mirrored: take the photo directly, without a mirror or a flip")
	ErrFold     = errors.New("the prior's lens distortion reaches no such pixel: give a smaller k1")
)

// FitView fits a camera, its pose and the print's aspect to at least 4 places of
// a card's layout and the pixels they are seen at, in a photo of imgW x imgH
// pixels. sigmaPx is the standard deviation of each measured coordinate. It
// minimises the weighted squares of the residuals and of the prior's terms, on
// ln F, K1, the principal point and the aspect, so a level view, in which focal
// length and distance look alike, rests on the prior and its covariance says so.
// Both poses in which a flat card looks nearly alike are tried and the better one
// kept.
//
// Only the layout's mean scale is taken for true. A print that is stretched more
// along one direction than along the other does not look like the layout from
// anywhere, so the photo tells its aspect, and best from straight above.
//
// It is tried and tested for tilts to 40 degrees, distances of 60 to 400 mm, |K1|
// to 0.1 and focal lengths within two standard deviations of the prior.
//
// Errors: those of FitHomography, ErrMirrored, ErrFold, and bad sigma, size or
// prior.
func FitView(card []CardPoint, img []PixelPoint, sigmaPx float64, imgW, imgH int, prior Prior) (*View, error) {
	v, err := fitView(card, img, sigmaPx, imgW, imgH, prior)
	if err != nil {
		return nil, fmt.Errorf("view: %w", err)
	}
	return v, nil
}

func fitView(card []CardPoint, img []PixelPoint, sigma float64, w, h int, prior Prior) (*View, error) {
	if !(sigma > 0) || math.IsInf(sigma, 0) {
		return nil, fmt.Errorf("sigma %g px: must be positive", sigma)
	}
	known, err := prior.rows(w, h)
	if err != nil {
		return nil, err
	}
	start, err := startPose(card, img, known.mean)
	if err != nil {
		return nil, err
	}
	fit := func(p Pose) (viewState, normal, error) {
		rough := viewModel(card, img, coarse*sigma, known)
		s, _, err := rough.solve(viewState{camera: known.mean, pose: p})
		if err != nil {
			s = viewState{camera: known.mean, pose: p}
		}
		return viewModel(card, img, sigma, known).solve(s)
	}
	best, eq, err := fit(start)
	other, otherEq, otherErr := fit(start.rival())
	if standing(otherEq, otherErr) < standing(eq, err) {
		best, eq, err, other, otherEq, otherErr = other, otherEq, otherErr, best, eq, err
	}
	if err != nil { // also where the other converged, but to something worse
		return nil, err
	}
	cov, ok := eq.covariance()
	if !ok || !(best.pose.Centre().Z > 0) {
		return nil, ErrNotConverged
	}
	v := best.view()
	v.Cov, v.ChiSquare, v.Freedom = cov, eq.sum, viewRows(len(card))-ViewUnknowns
	v.RivalExcess = math.Inf(1)
	if otherErr == nil && best.pose.angleTo(other.pose) > 1e-4 {
		v.RivalExcess = otherEq.sum - eq.sum
	}
	return v, v.setResiduals(card, img)
}

// coarse is how many times their sigma the points are taken to be off in a first
// fit. It rests more on the prior, and so begins the second near the truth, where
// steps from the homography can lead far along the valley in which focal length,
// tilt and aspect trade places, and creep back.
const coarse = 30

// standing is the sum by which the two poses compare. One that stalled gives way
// to one that got as far, but not to one that is worse: that would be the wrong
// pose with an air of certainty.
func standing(e normal, err error) float64 {
	if err != nil {
		return e.sum + 1e-3
	}
	return e.sum
}

// startPose returns the pose by way of the homography of the pixels freed of
// the prior's distortion.
func startPose(card []CardPoint, img []PixelPoint, camera Camera) (Pose, error) {
	flat := make([]PixelPoint, len(img))
	for i, p := range img {
		if v := p.X + p.Y; math.IsNaN(v) || math.IsInf(v, 0) {
			return Pose{}, fmt.Errorf("pixel %d: %w", i, ErrBadPoint)
		}
		x, y, ok := camera.Ideal(p)
		if !ok {
			return Pose{}, fmt.Errorf("pixel %d at %g, %g: %w", i, p.X, p.Y, ErrFold)
		}
		flat[i] = PixelPoint{camera.CX + camera.F*x, camera.CY + camera.F*y}
	}
	h, err := FitHomography(card, flat)
	if err != nil {
		return Pose{}, err
	}
	if h.Mirrored() {
		return Pose{}, ErrMirrored
	}
	pose, ok := poseFromHomography(h, camera)
	if !ok {
		return Pose{}, ErrHorizon
	}
	return pose, nil
}

func (v *View) setResiduals(card []CardPoint, img []PixelPoint) error {
	v.Residuals = make([]PixelPoint, len(img))
	sum := 0.0
	for i := range card {
		p, ok := v.Mark(card[i])
		if !ok {
			return ErrNotConverged
		}
		v.Residuals[i] = img[i].Sub(p)
		sum += v.Residuals[i].X*v.Residuals[i].X + v.Residuals[i].Y*v.Residuals[i].Y
	}
	v.RMS = math.Sqrt(sum / float64(len(img)))
	return nil
}

// viewState is what FitView solves for.
type viewState struct {
	camera Camera
	pose   Pose
	aspect Aspect
}

func (s viewState) view() *View { return &View{Camera: s.camera, Pose: s.pose, Aspect: s.aspect} }

// moved returns s changed by d, in the order of View.Cov.
func (s viewState) moved(d [ViewUnknowns]float64) viewState {
	v := s.view().With(d)
	return viewState{v.Camera, v.Pose, v.Aspect}
}

// viewRows is how many residuals a fit to n points has: theirs and the prior's.
func viewRows(n int) int { return 2*n + 5 }

// viewModel states the fit in units of standard deviations: two rows a point,
// then the prior's. Its parameters are those of View.Cov.
func viewModel(card []CardPoint, img []PixelPoint, sigma float64, known priorRows) model[viewState] {
	const params = ViewUnknowns
	n := len(card)
	return model[viewState]{
		rows: viewRows(n), params: params,
		enough: 1e-10, // the sum is in variances: 1e-5 of a standard deviation
		move: func(s viewState, d []float64) viewState {
			return s.moved([params]float64(d))
		},
		linearise: func(s viewState, r, j []float64) bool {
			for i := range card {
				p, rows, ok := s.imageAndRows(card[i])
				if !ok {
					return false
				}
				r[2*i], r[2*i+1] = (p.X-img[i].X)/sigma, (p.Y-img[i].Y)/sigma
				for k := range params {
					j[2*i*params+k], j[(2*i+1)*params+k] = rows[0][k]/sigma, rows[1][k]/sigma
				}
			}
			for i, v := range known.residual(s.camera) {
				r[2*n+i] = v
				copy(j[(2*n+i)*params+6:], known.weight[i][:])
			}
			r[2*n+4] = float64(s.aspect) / known.aspectSD
			j[(2*n+4)*params+10] = 1 / known.aspectSD
			return true
		},
	}
}

// imageAndRows returns the pixel of a place of the layout and its derivatives by
// the unknowns, or false where it is not seen.
func (s viewState) imageAndRows(place CardPoint) (p PixelPoint, rows [2][ViewUnknowns]float64, ok bool) {
	q := s.aspect.Place(place).At(0)
	a, c := s.pose.turn(q), s.pose.point(q)
	if !(c[2] > 0) {
		return p, rows, false
	}
	x, y := c[0]/c[2], c[1]/c[2]
	if p, ok = s.camera.Image(x, y); !ok {
		return p, rows, false
	}
	lens := s.camera.jacobian(x, y)
	move := func(k int, d [3]float64) { // what moving the point by d in the camera frame does
		dx, dy := (d[0]-x*d[2])/c[2], (d[1]-y*d[2])/c[2]
		for i := range 2 {
			rows[i][k] = lens[i][0]*dx + lens[i][1]*dy
		}
	}
	for k, d := range [6][3]float64{ // a small turn w moves the point by w x a
		{0, -a[2], a[1]}, {a[2], 0, -a[0]}, {-a[1], a[0], 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1},
	} {
		move(k, d)
	}
	move(10, s.pose.turn(SpacePoint{X: q.X / 2, Y: -q.Y / 2}))
	f, r2 := s.camera.F, x*x+y*y
	rows[0][6], rows[1][6] = p.X-s.camera.CX, p.Y-s.camera.CY
	rows[0][7], rows[1][7] = f*x*r2, f*y*r2
	rows[0][8], rows[1][9] = 1, 1
	return p, rows, true
}
