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

// FitView fits a camera and its pose to at least 4 card points, on the card's
// face, and the pixels they are seen at, in a photo of imgW x imgH pixels.
// sigmaPx is the standard deviation of each measured coordinate. It minimises
// the weighted squares of the residuals and of the prior's terms, on ln F, K1
// and the principal point, so a level view, in which focal length and distance
// look alike, rests on the prior and its covariance says so. Both poses in which a flat card looks
// nearly alike are tried and the better one kept.
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
	m := viewModel(card, img, sigma, known)
	best, eq, err := m.solve(viewState{known.mean, start})
	other, otherEq, otherErr := m.solve(viewState{known.mean, start.rival()})
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
	v := &View{Camera: best.camera, Pose: best.pose, Cov: cov, ChiSquare: eq.sum, RivalExcess: math.Inf(1)}
	if otherErr == nil && best.pose.angleTo(other.pose) > 1e-4 {
		v.RivalExcess = otherEq.sum - eq.sum
	}
	return v, v.setResiduals(card, img)
}

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
		p, ok := v.Image(card[i].At(0))
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
}

// viewModel states the fit in units of standard deviations: two rows a point,
// then the prior's. Its parameters are those of View.Cov.
func viewModel(card []CardPoint, img []PixelPoint, sigma float64, known priorRows) model[viewState] {
	const params = 10
	n := len(card)
	return model[viewState]{
		rows: 2*n + 4, params: params,
		enough: 1e-10, // the sum is in variances: 1e-5 of a standard deviation
		move: func(s viewState, d []float64) viewState {
			v := (&View{Camera: s.camera, Pose: s.pose}).With([10]float64(d))
			return viewState{v.Camera, v.Pose}
		},
		linearise: func(s viewState, r, j []float64) bool {
			for i := range card {
				p, rows, ok := s.imageAndRows(card[i].At(0))
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
			return true
		},
	}
}

// imageAndRows returns the pixel of q and its derivatives by the ten
// parameters, or false where q is not seen.
func (s viewState) imageAndRows(q SpacePoint) (p PixelPoint, rows [2][10]float64, ok bool) {
	a, c := s.pose.turn(q), s.pose.point(q)
	if !(c[2] > 0) {
		return p, rows, false
	}
	x, y := c[0]/c[2], c[1]/c[2]
	if p, ok = s.camera.Image(x, y); !ok {
		return p, rows, false
	}
	lens := s.camera.jacobian(x, y)
	// A small turn w moves the point by w x a; a move t by t.
	moves := [6][3]float64{
		{0, -a[2], a[1]}, {a[2], 0, -a[0]}, {-a[1], a[0], 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1},
	}
	f, r2 := s.camera.F, x*x+y*y
	for i := range 2 {
		for k, d := range moves {
			rows[i][k] = (lens[i][0]*(d[0]-x*d[2]) + lens[i][1]*(d[1]-y*d[2])) / c[2]
		}
	}
	rows[0][6], rows[1][6] = p.X-s.camera.CX, p.Y-s.camera.CY
	rows[0][7], rows[1][7] = f*x*r2, f*y*r2
	rows[0][8], rows[1][9] = 1, 1
	return p, rows, true
}
