package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// principalShare is the standard deviation of a phone's principal point about
// the photo's centre, as a share of the photo's longer side. Common practice, no
// source.
const principalShare = 0.004

// aspectSD is the standard deviation of the aspect of prints that nobody
// measured: printers stretch a sheet by 0.1 to 0.5 % more along one direction.
// Common practice, no source.
const aspectSD = 0.003

// Prior is what is known before the fit of a camera, each value with its standard
// deviation, and of the card's print.
type Prior struct {
	F, FRel  float64 // focal length in pixels, and its relative standard deviation
	K1, K1SD float64
	// Principal is the principal point in pixels; nil means the centre of the
	// photo, ((width-1)/2, (height-1)/2).
	Principal *PixelPoint
	// CXSD, CYSD are the principal point's standard deviations in pixels; 0 means
	// 0.4 % of the photo's longer side.
	CXSD, CYSD float64
	// Corr is the 4 x 4 correlation matrix of ln F, K1, CX and CY; nil means
	// that they are independent.
	Corr *mat.SymDense
	// AspectSD is the standard deviation of the print's Aspect about 0; 0 means
	// 0.3 %, for a print that nobody measured.
	AspectSD float64
}

// WidePrior is what holds for any camera of about the given focal length in
// pixels, in photos of w x h pixels: the focal length to 25 %, k1 to 0.3 and the
// principal point to 2 % of the longer side. FitCamera is to learn from photos
// and not from this. Common practice, no source.
func WidePrior(f float64, w, h int) Prior {
	sd := 0.02 * float64(max(w, h))
	return Prior{F: f, FRel: 0.25, K1SD: 0.3, CXSD: sd, CYSD: sd}
}

// PrintAspectSD returns AspectSD, or what it stands for when it is 0.
func (p Prior) PrintAspectSD() float64 {
	if p.AspectSD == 0 {
		return aspectSD
	}
	return p.AspectSD
}

// camera returns the prior's camera for a photo of w x h pixels.
func (p Prior) camera(w, h int) (Camera, error) {
	c := Camera{F: p.F, CX: float64(w-1) / 2, CY: float64(h-1) / 2, K1: p.K1}
	if p.Principal != nil {
		c.CX, c.CY = p.Principal.X, p.Principal.Y
	}
	positive := func(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	switch {
	case w < 1 || h < 1:
		return c, fmt.Errorf("photo of %d x %d px: give its size", w, h)
	case !positive(p.F) || !positive(p.FRel):
		return c, fmt.Errorf("prior focal length %g px, relative sd %g: both must be positive", p.F, p.FRel)
	case !finite(p.K1) || !positive(p.K1SD):
		return c, fmt.Errorf("prior k1 %g, sd %g: the sd must be positive", p.K1, p.K1SD)
	case !finite(c.CX) || !finite(c.CY):
		return c, fmt.Errorf("prior principal point %g, %g: must be finite", c.CX, c.CY)
	case p.CXSD != 0 && !positive(p.CXSD) || p.CYSD != 0 && !positive(p.CYSD):
		return c, fmt.Errorf("prior principal point's sd %g, %g px: must be positive", p.CXSD, p.CYSD)
	case p.AspectSD != 0 && !positive(p.AspectSD):
		return c, fmt.Errorf("prior aspect's sd %g: must be positive", p.AspectSD)
	}
	return c, nil
}

// priorRows states the prior as four residuals of unit variance: weight, times
// the camera's ln F, K1, CX and CY less the prior's, and the sd of the aspect.
type priorRows struct {
	mean     Camera
	weight   [4][4]float64
	aspectSD float64
}

// rows returns the prior's residuals for a photo of w x h pixels.
func (p Prior) rows(w, h int) (priorRows, error) {
	mean, err := p.camera(w, h)
	if err != nil {
		return priorRows{}, err
	}
	out := priorRows{mean: mean, aspectSD: p.PrintAspectSD()}
	sd := [4]float64{p.FRel, p.K1SD, p.CXSD, p.CYSD}
	for i := 2; i < 4; i++ {
		if sd[i] == 0 {
			sd[i] = principalShare * float64(max(w, h))
		}
	}
	root := mat.NewTriDense(4, mat.Lower, nil) // of the correlations
	if p.Corr == nil {
		for i := range 4 {
			root.SetTri(i, i, 1)
		}
	} else if root, err = choleskyOfCorrelations(p.Corr); err != nil {
		return priorRows{}, err
	}
	var inverse mat.TriDense
	if err := inverse.InverseTri(root); err != nil {
		return priorRows{}, fmt.Errorf("prior correlations: %w", err)
	}
	for i := range 4 {
		for k := range i + 1 {
			out.weight[i][k] = inverse.At(i, k) / sd[k]
		}
	}
	return out, nil
}

func choleskyOfCorrelations(c *mat.SymDense) (*mat.TriDense, error) {
	if c.SymmetricDim() != 4 {
		return nil, fmt.Errorf("prior correlations: %d rows, must be 4", c.SymmetricDim())
	}
	for i := range 4 {
		if math.Abs(c.At(i, i)-1) > 1e-9 {
			return nil, fmt.Errorf("prior correlations: %g on the diagonal, must be 1", c.At(i, i))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		return nil, errors.New("prior correlations: not positive definite")
	}
	var root mat.TriDense
	chol.LTo(&root)
	return &root, nil
}

// residual returns the four residuals at a camera.
func (p priorRows) residual(c Camera) [4]float64 {
	off := [4]float64{math.Log(c.F / p.mean.F), c.K1 - p.mean.K1, c.CX - p.mean.CX, c.CY - p.mean.CY}
	var r [4]float64
	for i := range 4 {
		for k := range i + 1 {
			r[i] += p.weight[i][k] * off[k]
		}
	}
	return r
}
