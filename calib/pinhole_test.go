package calib

import (
	"math"
	"math/rand/v2"
)

// pinhole is the tests' own camera, written down without any code under test:
// it looks from Eye, at distance Dist from the card's centre, leaning Tilt from
// the normal towards the card direction Toward, at a point Aim of the card, and
// is turned by Roll about its axis. Angles are radians, lengths mm.
type pinhole struct {
	F, CX, CY, K1      float64
	Dist, Tilt, Toward float64
	Roll               float64
	Aim                CardPoint
}

func (c pinhole) eye() [3]float64 {
	return [3]float64{
		c.Dist * math.Sin(c.Tilt) * math.Cos(c.Toward),
		c.Dist * math.Sin(c.Tilt) * math.Sin(c.Toward),
		c.Dist * math.Cos(c.Tilt),
	}
}

// axes returns the photo's right, down and forward directions in the card frame.
func (c pinhole) axes() (right, down, fwd [3]float64) {
	e := c.eye()
	fwd = scaled([3]float64{c.Aim.X - e[0], c.Aim.Y - e[1], -e[2]})
	// Right starts from the card's x, made square to the view.
	d := fwd[0]
	r := scaled([3]float64{1 - d*fwd[0], -d * fwd[1], -d * fwd[2]})
	s := crossed(fwd, r)
	cos, sin := math.Cos(c.Roll), math.Sin(c.Roll)
	for i := range 3 {
		right[i] = cos*r[i] + sin*s[i]
		down[i] = cos*s[i] - sin*r[i]
	}
	return right, down, fwd
}

// see returns the pixel of the card-frame point.
func (c pinhole) see(x, y, z float64) PixelPoint {
	right, down, fwd := c.axes()
	e := c.eye()
	p := [3]float64{x - e[0], y - e[1], z - e[2]}
	depth := dotted(p, fwd)
	u, v := dotted(p, right)/depth, dotted(p, down)/depth
	g := 1 + c.K1*(u*u+v*v)
	return PixelPoint{c.CX + c.F*u*g, c.CY + c.F*v*g}
}

func (c pinhole) seeAll(card []CardPoint) []PixelPoint {
	img := make([]PixelPoint, len(card))
	for i, p := range card {
		img[i] = c.see(p.X, p.Y, 0)
	}
	return img
}

func scaled(v [3]float64) [3]float64 {
	n := math.Sqrt(dotted(v, v))
	return [3]float64{v[0] / n, v[1] / n, v[2] / n}
}

func dotted(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

func crossed(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func markCentres(l *Layout) []CardPoint {
	var p []CardPoint
	for _, m := range l.Marks {
		p = append(p, m.Centre)
	}
	return p
}

func jitter(img []PixelPoint, sigma float64, r *rand.Rand) []PixelPoint {
	out := make([]PixelPoint, len(img))
	for i, p := range img {
		out[i] = PixelPoint{p.X + sigma*r.NormFloat64(), p.Y + sigma*r.NormFloat64()}
	}
	return out
}

func rad(deg float64) float64 { return deg * math.Pi / 180 }
