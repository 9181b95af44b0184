package synth

import "math"

// Round strands are drawn as cylinders lying on the surface: the part of the light
// that comes from all sides reaches their flanks and the ground beside them less
// and less, the lamp lights one flank and casts a shadow beyond the other, and a
// gloss line runs along them. Share of the lamp in all light is Light.Shadow.

// penumbra is half the angle the lamp covers, radians: a window or a soft lamp.
const penumbra = 15 * math.Pi / 180

// overRound lays an uncrushed strand over c in a pixel with its middle at (u, v).
func (f *film) overRound(c RGB, u, v float64, j jacobian) RGB {
	l, _ := look(f.left, f.u0, u)
	r, _ := look(f.right, f.u0, u)
	mid, radius := (l+r)/2, (l-r)/2
	if math.Abs(u) < f.Length/2+radius {
		k := f.beside((v - mid) / radius)
		c = RGB{c[0] * k, c[1] * k, c[2] * k}
	}
	share := f.cover(u, v, j)
	if share == 0 {
		return c
	}
	// As with a film, the part of the pixel that is covered is what is shaded.
	d, px, _ := f.depth(u, v, j)
	x := 1 - innerDepth(d, finest*px)/radius
	if v < mid {
		x = -x
	}
	x = max(-1, min(1, x))
	up := math.Sqrt(1 - x*x)
	alpha := 1 - math.Exp(-2*f.Opacity*2*radius*up)
	bright := f.flank(x, up) * (1 + 0.012*f.grain.rough(u/0.6, v/0.6, 3))
	gloss := f.Gloss * math.Exp(-math.Pow((x-f.lampLean()/2)/0.12, 2)/2) * 0.4
	var out RGB
	for i := range out {
		out[i] = f.Colour[i]*bright + gloss
	}
	return mix(c, out, share*alpha)
}

// lampLean is the sine of the lamp's lean across the strand, positive to the left.
func (f *film) lampLean() float64 { return f.light * f.lampAcross }

// flank is the light on the strand where its normal leans by the sine x across and
// the cosine up: from all sides by the share of the sky it faces, and from the lamp.
func (f *film) flank(x, up float64) float64 {
	lamp := max(0, x*f.lampLean()+up*f.lampUp) / f.lampUp
	return f.Glow + (1-f.Glow)*((1-f.lampShare)*(1+up)/2+f.lampShare*lamp)
}

// beside is the light on the ground q radii beside the strand's middle: less of
// the sky, whose part hidden in the plane across is 1/(1+q^2), and of the lamp
// where the strand stands before it.
func (f *film) beside(q float64) float64 {
	out := max(1, math.Abs(q))
	sky := out * out / (1 + out*out)
	hidden := math.Pi/2 - 2*math.Atan(1/out) // from the vertical, the strand's upper rim
	lean := math.Atan2(f.lampLean(), f.lampUp)
	if q > 0 {
		lean = -lean // towards the strand, which stands to the right of this place
	}
	lamp := smoothStep((hidden - lean + penumbra) / (2 * penumbra))
	return (1-f.lampShare)*sky + f.lampShare*lamp
}
