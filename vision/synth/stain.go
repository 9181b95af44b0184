package synth

import (
	"math"
	"math/rand/v2"
)

// Stains are kept as a map of brightness gains over a square of the surface.
const (
	stainHalf = 40.0 // mm from the middle
	stainStep = 0.05 // mm
	stainSide = int(2*stainHalf/stainStep) + 1
)

// stains is dirt and scratches on the metal: the factor by which each place is
// brighter than clean metal.
type stains []float32

// newStains returns nil when there are none.
func newStains(rng *rand.Rand, specks, scratches int) stains {
	if specks+scratches == 0 {
		return nil
	}
	s := make(stains, stainSide*stainSide)
	for i := range s {
		s[i] = 1
	}
	place := func() (x, y float64) { return between(rng, -stainHalf, stainHalf), between(rng, -stainHalf, stainHalf) }
	for range specks {
		x, y := place()
		radius := 0.08 * math.Exp(0.7*rng.NormFloat64())
		s.stroke(x, y, x+radius*rng.NormFloat64()/2, y, radius, between(rng, 0.35, 0.9))
	}
	for range scratches {
		x, y := place()
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		length := between(rng, 2, 20)
		gain := between(rng, 0.6, 0.9)
		if rng.IntN(2) == 0 {
			gain = between(rng, 1.1, 1.6) // a bright scratch mirrors the lamp
		}
		s.stroke(x, y, x+length*cos, y+length*sin, between(rng, 0.02, 0.07), gain)
	}
	return s
}

// stroke multiplies a round-ended line of the given radius by gain, with soft
// edges.
func (s stains) stroke(x0, y0, x1, y1, radius, gain float64) {
	const soft = 0.05
	reach := radius + soft
	node := func(v float64) int {
		return min(max(int(math.Round((v+stainHalf)/stainStep)), 0), stainSide-1)
	}
	ex, ey := x1-x0, y1-y0
	inv := 1 / (ex*ex + ey*ey + 1e-12)
	for j := node(min(y0, y1) - reach); j <= node(max(y0, y1)+reach); j++ {
		for i := node(min(x0, x1) - reach); i <= node(max(x0, x1)+reach); i++ {
			px, py := float64(i)*stainStep-stainHalf-x0, float64(j)*stainStep-stainHalf-y0
			k := min(1, max(0, (px*ex+py*ey)*inv))
			d := math.Hypot(px-k*ex, py-k*ey)
			t := min(1, max(0, (reach-d)/(2*soft)))
			s[j*stainSide+i] *= float32(1 + t*(gain-1))
		}
	}
}

// at returns the gain at (u, v), 1 outside the map.
func (s stains) at(u, v float64) float64 {
	x, y := (u+stainHalf)/stainStep, (v+stainHalf)/stainStep
	if s == nil || x < 0 || y < 0 || x >= float64(stainSide-1) || y >= float64(stainSide-1) {
		return 1
	}
	i, j := int(x), int(y)
	p, q := float32(x-float64(i)), float32(y-float64(j))
	k := j*stainSide + i
	top := s[k] + p*(s[k+1]-s[k])
	low := s[k+stainSide] + p*(s[k+stainSide+1]-s[k+stainSide])
	return float64(top + q*(low-top))
}
