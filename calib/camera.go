package calib

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

// jacobian returns d(pixel)/d(ideal point) at (x, y).
func (c Camera) jacobian(x, y float64) [2][2]float64 {
	g := 1 + c.K1*(x*x+y*y)
	cross := c.F * 2 * c.K1 * x * y
	return [2][2]float64{
		{c.F * (g + 2*c.K1*x*x), cross},
		{cross, c.F * (g + 2*c.K1*y*y)},
	}
}
