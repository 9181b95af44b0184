package vision

import (
	"math"
	"math/rand/v2"
)

// slowCamera is the tests' own model of what a photo does to a line across
// straight edges, written for plainness: blur by a Gaussian of standard deviation
// S in linear light, tone, then an unsharp mask of amount A and standard
// deviation R on luma. The tone is sRGB with a bend and the strength T of an S-shaped
// curve, B the logarithm of the bend's slope at black, or a curve of its own. It shares
// no code with the tables it is held against.
type slowCamera struct {
	S, A, R, T, B float64
	curve         func(light float64) float64
}

// slowLight is linear light (red, green, blue) at x px, blur included.
type slowLight func(x float64) rgb

// linearise is the inverse of slowCamera.display, by bisection.
func (c slowCamera) linearise(v float64) float64 {
	lo, hi := 0.0, 1.0
	for range 60 {
		mid := (lo + hi) / 2
		if c.display(mid) < v {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// display is IEC 61966-2-1 followed by the bend and the S-curve that tone documents.
// Light must lie in 0..1.
func (c slowCamera) display(l float64) float64 {
	if c.curve != nil {
		return c.curve(l)
	}
	g := 12.92 * l
	if l > 0.0031308 {
		g = 1.055*math.Pow(l, 1/2.4) - 0.055
	}
	if c.B < 0 {
		g = (1+c.B)*g - c.B*l
	} else {
		g = g * math.Exp(c.B) / (1 - g + g*math.Exp(c.B))
	}
	return g + 4*c.T*g*(1-g)*(g-0.5)
}

// linear turns a display-referred colour into light.
func (c slowCamera) linear(v rgb) rgb {
	return rgb{c.linearise(v[0]), c.linearise(v[1]), c.linearise(v[2])}
}

// luma is the photo's luma at x, with BT.601's weights. The unsharp mask's
// Gaussian is integrated by the midpoint rule out to six deviations.
func (c slowCamera) luma(light slowLight, x float64) float64 {
	soft := func(x float64) float64 {
		v := light(x)
		return 0.299*c.display(v[0]) + 0.587*c.display(v[1]) + 0.114*c.display(v[2])
	}
	y := soft(x)
	if c.A == 0 {
		return y
	}
	const steps, reach = 120, 6.0
	var mean, sum float64
	for i := range steps {
		z := reach * (2*(float64(i)+0.5)/steps - 1)
		w := math.Exp(-z * z / 2)
		mean += w * soft(x+z*c.R)
		sum += w
	}
	return y + c.A*(y-mean/sum)
}

// step is 0 far left of an edge at 0 and 1 far right, blurred.
func (c slowCamera) step(u float64) float64 { return (1 + math.Erf(u/c.S/math.Sqrt2)) / 2 }

// edge is the light across one edge at 0, film on the right, given as
// display-referred colours.
func (c slowCamera) edge(film, metal rgb) slowLight {
	f, m := c.linear(film), c.linear(metal)
	return func(x float64) (v rgb) {
		for i := range v {
			v[i] = m[i] + (f[i]-m[i])*c.step(x)
		}
		return v
	}
}

// pair is the light across film from x0 to x1 between two metals, all under a
// lamp whose level changes by slope per px.
func (c slowCamera) pair(film, low, high rgb, x0, x1, slope float64) slowLight {
	f, m0, m1 := c.linear(film), c.linear(low), c.linear(high)
	mid := (x0 + x1) / 2
	return func(x float64) (v rgb) {
		a, b := c.step(x-x0), c.step(x-x1)
		for i := range v {
			v[i] = (m0[i]*(1-a) + f[i]*(a-b) + m1[i]*b) * (1 + slope*(x-mid))
		}
		return v
	}
}

// slowSlice samples luma in bins of n pixels at binWidth over the ranges r.
func slowSlice(c slowCamera, light slowLight, r cuts, n float64) slice {
	var s slice
	for x := r.lo + binWidth/2; x < r.hi; x += binWidth {
		if x > r.skipLo && x < r.skipHi {
			continue
		}
		s.bins = append(s.bins, bin{x, c.luma(light, x), n})
	}
	return s
}

// noisy adds noise of the given standard deviation for one pixel.
func (s slice) noisy(rng *rand.Rand, sigma float64) slice {
	out := slice{bins: make([]bin, len(s.bins))}
	for i, b := range s.bins {
		b.y += sigma / math.Sqrt(b.n) * rng.NormFloat64()
		out.bins[i] = b
	}
	return out
}

// model is the edge model under test with the same parameters.
func (c slowCamera) model() camera1D {
	return camera1D{S: c.S, A: c.A, R: c.R, Tone: tone{c.T, c.B}}
}

func grey(v float64) rgb { return rgb{v, v, v} }
