package calib

import (
	"fmt"
	"math"
)

// Camera is a pinhole with one term of radial lens distortion. Square pixels;
// the camera frame has its origin at the pinhole, x right and y down as in the
// photo, and z forward along the optical axis.
type Camera struct {
	F      float64 // focal length in pixels
	CX, CY float64 // principal point in pixels
	K1     float64 // x_d = x (1 + K1 r²), x and r in the ideal image at focal length 1
}

// Image returns the pixel of the ideal image point (x, y) at focal length 1, or
// false where the distortion model folds over.
func (c Camera) Image(x, y float64) (PixelPoint, bool) {
	x, y, ok := distort(x, y, c.K1)
	return PixelPoint{c.CX + c.F*x, c.CY + c.F*y}, ok
}

// Ideal inverts Image: it returns the point at focal length 1, free of
// distortion, that is seen at pixel p, or false where no point is.
func (c Camera) Ideal(p PixelPoint) (x, y float64, ok bool) {
	return undistort((p.X-c.CX)/c.F, (p.Y-c.CY)/c.F, c.K1)
}

// Prior is what is known of a camera before the fit: each value with its
// standard deviation.
type Prior struct {
	F, FRel  float64 // focal length in pixels, and its relative standard deviation
	K1, K1SD float64
	// CX, CY is the principal point in pixels where one is known; both 0 means
	// the centre of the photo, ((width-1)/2, (height-1)/2).
	CX, CY float64
}

// camera returns the prior's camera for a photo of w x h pixels.
func (p Prior) camera(w, h int) (Camera, error) {
	c := Camera{F: p.F, CX: p.CX, CY: p.CY, K1: p.K1}
	if p.CX == 0 && p.CY == 0 {
		c.CX, c.CY = float64(w-1)/2, float64(h-1)/2
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
		return c, fmt.Errorf("prior principal point %g, %g: must be finite", p.CX, p.CY)
	}
	return c, nil
}

// jacobian returns d(pixel)/d(ideal point) at (x, y).
func (c Camera) jacobian(x, y float64) [2][2]float64 {
	g := 1 + c.K1*(x*x+y*y)
	cross := c.F * 2 * c.K1 * x * y
	return [2][2]float64{
		{c.F * (g + 2*c.K1*x*x), cross},
		{cross, c.F * (g + 2*c.K1*y*y)},
	}
}
