package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Errors of FitCamera, to be matched with errors.Is.
var (
	ErrFewShots     = errors.New("fewer than 4 photos: take at least 4 of the card, each tilted another way")
	ErrUndetermined = errors.New("the photos do not determine the camera: take some tilted photos from different sides")
	ErrStranger     = errors.New("it does not fit the other photos' camera: use one lens and zoom, lay the card flat, or leave this photo out")
)

// ShotError is what is wrong with one of the shots given to FitCamera.
type ShotError struct {
	Index int // of the shot, from 0
	Err   error
}

// Error counts the photos from 1.
func (e *ShotError) Error() string { return fmt.Sprintf("photo %d: %v", e.Index+1, e.Err) }

// Unwrap returns the cause.
func (e *ShotError) Unwrap() error { return e.Err }

// fewestShots is how many photos a camera is learnt from. Two that lean in
// different directions would do in principle; the others tell when one is wrong.
const fewestShots = 4

// A camera is determined when the photos leave its focal length, k1 and
// principal point no more uncertain than this: a few times better than EXIF and
// habit tell (3 %, 0.05 and 0.4 % of the longer side).
const (
	knownFRel      = 0.01
	knownK1        = 0.01
	knownPrincipal = 0.0015 // of the longer side
)

// A photo is a stranger among the others beyond so many standard deviations: of
// its points in its residuals (0.2 px for marks known to 0.02 px, at which a photo
// by itself is refused too), or of focusing and stabilising in its own camera.
const (
	strangeResidual = 10
	strangeWobble   = 5
)

// Shot is the card as seen in one photo: points of the card's face, the pixels
// they are seen at, and the standard deviation of each measured coordinate.
type Shot struct {
	Card  []CardPoint
	Image []PixelPoint
	Sigma float64 // px
}

// CameraFit is one camera fitted to several photos, each with its own pose. In
// each photo focal length and principal point may differ from the camera's by
// what focusing and stabilising do (see Phone.Prior).
type CameraFit struct {
	Camera Camera // the photos' mean
	// Cov is the 4 x 4 covariance of ln F, K1, CX and CY (px). Where the residuals
	// are clearly larger than the points' sigma explains, because the lens is not
	// quite the model, it is enlarged by their ratio, ChiSquare over Freedom.
	Cov       *mat.SymDense
	Poses     []Pose
	RMS       []float64 // of each photo, root mean square of the residuals' lengths, px
	ChiSquare float64   // weighted squares of residuals and priors
	Freedom   int       // what ChiSquare is expected to be under a wide prior
}

// FitCamera fits one camera to at least 4 photos of imgW x imgH pixels, taken
// with the same lens and zoom, of one print, whose aspect is fitted too. The prior should be wide: the photos are to tell
// the camera, and where they do not, ErrUndetermined says so.
//
// Errors: ErrFewShots, ErrUndetermined, ErrNotConverged; and as a ShotError those
// of FitView, and ErrStranger where a photo does not fit the others.
func FitCamera(shots []Shot, imgW, imgH int, prior Prior) (*CameraFit, error) {
	fit, err := fitCamera(shots, imgW, imgH, prior)
	if err != nil {
		return nil, fmt.Errorf("camera: %w", err)
	}
	return fit, nil
}

func fitCamera(shots []Shot, w, h int, prior Prior) (*CameraFit, error) {
	if len(shots) < fewestShots {
		return nil, ErrFewShots
	}
	known, err := prior.rows(w, h)
	if err != nil {
		return nil, err
	}
	start, err := startRig(shots, w, h, prior)
	if err != nil {
		return nil, err
	}
	best, eq, err := rigModel(shots, known, photoWobble(w, h)).solve(start)
	if err != nil {
		return nil, err
	}
	full, ok := eq.covariance()
	if !ok {
		return nil, ErrUndetermined
	}
	fit := &CameraFit{Camera: best.camera, Cov: cameraCov(full, 0), ChiSquare: eq.sum, Freedom: -4}
	for i, s := range shots {
		v := best.shots[i].view()
		if err := v.setResiduals(s.Card, s.Image); err != nil {
			return nil, &ShotError{i, err}
		}
		fit.Poses, fit.RMS = append(fit.Poses, v.Pose), append(fit.RMS, v.RMS)
		fit.Freedom += 2*len(s.Card) - 6
	}
	if err := fit.stranger(shots, best, photoWobble(w, h)); err != nil {
		return nil, err
	}
	fit.enlarge()
	return fit, fit.determined(max(w, h))
}

// stranger returns an error for the shot that fits the others' camera worst, or
// nil where all fit.
func (f *CameraFit) stranger(shots []Shot, r rig, b wobble) error {
	worst, most := 0, 0.0
	for i, s := range shots {
		strange := f.RMS[i] / (strangeResidual * s.Sigma)
		for _, v := range b.residual(r.shots[i].camera, f.Camera) {
			strange = math.Max(strange, math.Abs(v)/strangeWobble)
		}
		if strange > most {
			worst, most = i, strange
		}
	}
	if most <= 1 {
		return nil
	}
	return &ShotError{worst, fmt.Errorf("marks off by %.2f px, focal length by %+.1f %%: %w",
		f.RMS[worst], 100*(r.shots[worst].camera.F/f.Camera.F-1), ErrStranger)}
}

// enlarge scales the covariance to the residuals where those lie more than two
// standard deviations of chi-square, 2 sqrt(2 Freedom), above their expectation.
func (f *CameraFit) enlarge() {
	n := float64(f.Freedom)
	if f.ChiSquare > n+2*math.Sqrt(2*n) {
		f.Cov.ScaleSym(f.ChiSquare/n, f.Cov)
	}
}

// determined checks the camera's uncertainty in a photo whose longer side is
// side pixels.
func (f *CameraFit) determined(side int) error {
	u := func(i int) float64 { return math.Sqrt(f.Cov.At(i, i)) }
	principal := math.Max(u(2), u(3)) / float64(side)
	if u(0) > knownFRel || u(1) > knownK1 || principal > knownPrincipal {
		return fmt.Errorf("focal length to %.2g %%, k1 to %.2g, principal point to %.2g %% of the photo's longer side: %w",
			100*u(0), u(1), 100*principal, ErrUndetermined)
	}
	return nil
}

// cameraCov returns the block of ln F, K1, CX and CY, which begins at row first.
func cameraCov(full *mat.SymDense, first int) *mat.SymDense {
	c := mat.NewSymDense(4, nil)
	for i := range 4 {
		for k := i; k < 4; k++ {
			c.SetSym(i, k, full.At(first+i, first+k))
		}
	}
	return c
}
