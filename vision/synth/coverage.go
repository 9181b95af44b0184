package synth

import "math"

// halfPlane returns the share of a unit pixel that lies on the positive side of
// a straight edge: d is the pixel centre's signed distance to the edge in px and
// (nx, ny) the edge's unit normal. It is the exact area, so that sums across an
// edge keep its place at every angle.
func halfPlane(d, nx, ny float64) float64 {
	a, b := math.Abs(nx), math.Abs(ny)
	h := (a + b) / 2
	switch {
	case d >= h:
		return 1
	case d <= -h:
		return 0
	}
	k := math.Abs(a-b) / 2
	if math.Abs(d) <= k {
		return 0.5 + d/max(a, b)
	}
	r := (h - math.Abs(d)) * (h - math.Abs(d)) / (2 * a * b)
	if d > 0 {
		return 1 - r
	}
	return r
}

// edge returns the coverage of a pixel by the positive side of a function with
// the value f and the gradient (gx, gy) per px at the pixel's centre.
func edge(f, gx, gy float64) float64 {
	g := math.Hypot(gx, gy)
	if g == 0 {
		if f > 0 {
			return 1
		}
		return 0
	}
	return halfPlane(f/g, gx/g, gy/g)
}
