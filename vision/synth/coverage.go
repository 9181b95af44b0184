package synth

import "math"

// finest is the standard deviation, in px, of the Gaussian that stands for a
// pixel's own square (variance 1/12) and the finest part of the lens's blur. A
// bare square passes so much detail finer than the pixel grid that edges along
// the grid would seem to shift by up to 0.02 px with their place between pixels;
// a lens lets none of that through. The lens's remaining blur follows as
// Optics.rest.
const finest = 0.5

// spread returns the light an edge d px away, positive inside, lets through: the
// edge spread of the finest blur.
func spread(d float64) float64 {
	const reach = 4.5 * finest // beyond it the rest is under 1e-5
	switch {
	case d >= reach:
		return 1
	case d <= -reach:
		return 0
	}
	return 0.5 + 0.5*math.Erf(d/(finest*math.Sqrt2))
}

// edge returns the share of a pixel on the positive side of a function with the
// value f and the gradient (gx, gy) per px at the pixel's centre.
func edge(f, gx, gy float64) float64 {
	g := math.Sqrt(gx*gx + gy*gy)
	if g == 0 { // a level function has no edge
		return math.Max(0, math.Copysign(1, f))
	}
	return spread(f / g)
}

// innerDepth returns the mean distance to an edge of the part of a pixel inside
// it: d is the pixel centre's distance, positive inside, and s the standard
// deviation of the finest blur in the same unit. It is always positive (mean of a
// truncated normal distribution).
func innerDepth(d, s float64) float64 {
	z := d / s
	if z > 4 {
		return d
	}
	z = max(z, -4) // less than 1e-4 of the pixel is inside
	return s * (z + math.Exp(-z*z/2)/math.Sqrt(2*math.Pi)/(0.5*math.Erfc(-z/math.Sqrt2)))
}
