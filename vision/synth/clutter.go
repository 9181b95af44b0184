package synth

import (
	"fmt"
	"math"

	"stripgap/calib"
)

// Clutter is a thing that has no business beside a strip: a wire, a hair, a
// finger, a slip of paper, a reflection. Seen from above it is a band with
// round ends, Radius to each side of the line between its two points.
type Clutter struct {
	From   calib.CardPoint `json:"from_mm"`
	To     calib.CardPoint `json:"to_mm"`
	Height float64         `json:"height_mm"` // of its middle plane above the card's face
	Radius float64         `json:"radius_mm"`
	Soft   float64         `json:"soft_mm"` // over which its border fades, 0 for a thing, more for a reflection
	Round  float64         `json:"round"`   // shading of a round body, 0 is a flat one, to 1
	Gloss  float64         `json:"gloss"`   // radiance of the bright line along a round body
	Colour RGB             `json:"colour"`
}

// limits are Clutter's allowed ranges, named for the i-th of a scene.
func (k Clutter) limits(i int) []limit {
	name := fmt.Sprintf("clutter[%d].", i)
	return []limit{{name + "radius_mm", k.Radius, 0.01, 100}, {name + "soft_mm", k.Soft, 0, 100},
		{name + "round", k.Round, 0, 1}, {name + "gloss", k.Gloss, 0, 2}, {name + "height_mm", k.Height, -50, 100}}
}

// inside returns the distance in mm to the border of the band, positive inside,
// and the offset from its middle line to the left.
func (k *Clutter) inside(x, y float64) (d, left float64) {
	p := calib.CardPoint{X: x, Y: y}.Sub(k.From)
	e := k.To.Sub(k.From)
	t := min(1, max(0, p.Dot(e)/(e.Dot(e)+1e-12)))
	d = k.Radius - p.Sub(e.Scale(t)).Norm()
	return d, (p.Y*e.X - p.X*e.Y) / (e.Norm() + 1e-6)
}

// clutter lays the scene's things over c, in a pixel whose ray runs through the
// normalised coordinates (x, y).
func (st *stage) clutter(c RGB, x, y float64) RGB {
	for i := range st.scene.Clutter {
		k := &st.scene.Clutter[i]
		u, v := st.card.plane(x, y, k.Height)
		d, left := k.inside(u, v)
		soft := max(k.Soft, st.pixel)
		if d < -4*soft {
			continue
		}
		share := spread(d / soft)
		z := max(-1, min(1, left/k.Radius)) // slope of a round body's side
		bright := 1 - k.Round*(1-math.Sqrt(1-z*z)) + 0.4*k.Round*z*st.lampAcross(k)
		line := k.Gloss * math.Exp(-(z-0.3)*(z-0.3)/0.02)
		c = mix(c, RGB{k.Colour[0]*bright + line, k.Colour[1]*bright + line, k.Colour[2]*bright + line}, share)
	}
	return c
}

// lampAcross is how far the light comes from the left of the thing.
func (st *stage) lampAcross(k *Clutter) float64 {
	e := k.To.Sub(k.From)
	n := e.Norm() + 1e-6
	return (-e.Y*st.lamp[0] + e.X*st.lamp[1]) / n
}

// clutterShade is the share of light that the things above a place keep from it.
func (st *stage) clutterShade(p vec) float64 {
	k := 1.0
	for i := range st.scene.Clutter {
		t := &st.scene.Clutter[i]
		over := t.Height - p[2]
		if over <= 0.02 || t.Soft > 0 {
			continue
		}
		d, _ := t.inside(p[0]-st.cast[0]*over, p[1]-st.cast[1]*over)
		soft := 0.05 + 0.5*over
		k *= 1 - st.scene.Light.Shadow*smoothStep((d+soft)/(2*soft))
	}
	return k
}
