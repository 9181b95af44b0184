package calib

import "math"

// distort moves a point of the ideal image at focal length 1 by the radial lens
// model x_d = x (1 + k1 r²). It returns false where the model folds over, which
// only k1 < 0 does, at and beyond r² = 1 / (3 |k1|): no lens is like that.
func distort(x, y, k1 float64) (float64, float64, bool) {
	r2 := x*x + y*y
	if !(1+3*k1*r2 > 0) {
		return 0, 0, false
	}
	g := 1 + k1*r2
	return x * g, y * g, true
}

// undistort inverts distort: it solves r (1 + k1 r²) = r_d by Newton's method to
// rounding. It returns false for points beyond the model's fold.
func undistort(xd, yd, k1 float64) (float64, float64, bool) {
	rd := math.Hypot(xd, yd)
	if math.IsNaN(rd) || math.IsInf(rd, 0) {
		return 0, 0, false
	}
	if rd == 0 || k1 == 0 {
		return xd, yd, true
	}
	if k1 < 0 {
		// The largest distorted radius is two thirds of the fold's.
		if fold := math.Sqrt(-1 / (3 * k1)); rd >= fold*2/3 {
			return 0, 0, false
		}
	}
	// From below (k1 < 0: concave) or above (k1 > 0: convex) every step stays
	// on one side of the root, so the start r = r_d always converges.
	r := rd
	for range 100 {
		step := (r*(1+k1*r*r) - rd) / (1 + 3*k1*r*r)
		r -= step
		if math.Abs(step) <= 1e-15*r {
			break
		}
	}
	return xd * r / rd, yd * r / rd, true
}
