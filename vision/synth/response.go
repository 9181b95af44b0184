package synth

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Response is a camera's tone curve in place of that of IEC 61966-2-1; the zero one
// is that. Processing's S-shaped curve follows it.
type Response struct {
	Kind string `json:"kind"` // "power", "log", "shoulder" or "film"
	// Strength is the power's denominator (1 to 3), how steep the logarithm is (1 to
	// 1000), or the shoulder's or film's bend (0.1 to 10); see curve.
	Strength float64 `json:"strength"`
	Lift     float64 `json:"lift"` // share of white that black is lifted to, 0 to 0.2
}

// curve returns the curve from linear light to what is displayed, both 0 to 1 and
// monotone, before the lift. "shoulder" and "film" are Hill's equation normalised to
// keep white, of exponent 1 and 1.25: a shoulder alone, and one with a toe, then sRGB.
func (r Response) curve() (func(float64) float64, error) {
	k := r.Strength
	in := func(lo, hi float64) bool { return k >= lo && k <= hi }
	hill := func(n float64) func(float64) float64 {
		return func(v float64) float64 {
			x := math.Pow(k*v, n)
			return encodeSRGB(x / (1 + x) * (1 + math.Pow(k, -n)))
		}
	}
	switch {
	case !(r.Lift >= 0 && r.Lift <= 0.2):
	case r.Kind == "":
		return encodeSRGB, nil
	case r.Kind == "power" && in(1, 3):
		return func(v float64) float64 { return math.Pow(v, 1/k) }, nil
	case r.Kind == "log" && in(1, 1000):
		return func(v float64) float64 { return math.Log1p(k*v) / math.Log1p(k) }, nil
	case r.Kind == "shoulder" && in(0.1, 10):
		return hill(1), nil
	case r.Kind == "film" && in(0.1, 10):
		return hill(1.25), nil
	}
	return nil, fmt.Errorf("%w: processing.response is %+v, want a power of 1 to 3, a log of 1 to 1000, a shoulder or film of 0.1 to 10, lifted by 0 to 0.2", ErrScene, r)
}

// drawResponse draws a curve that is not sRGB's.
func drawResponse(rng *rand.Rand) Response {
	r := Response{Lift: math.Max(0, between(rng, -0.04, 0.06))}
	switch rng.IntN(4) {
	case 0:
		r.Kind, r.Strength = "power", between(rng, 1.8, 2.4)
	case 1:
		r.Kind, r.Strength = "log", 8*math.Exp(rng.Float64()*math.Log(8))
	case 2:
		r.Kind, r.Strength = "shoulder", between(rng, 0.4, 1.6)
	case 3:
		r.Kind, r.Strength = "film", between(rng, 0.5, 2)
	}
	return r
}
