package main

import (
	"math"
	"math/rand/v2"

	"stripgap/vision/synth"
)

// What a strip that only its colour tells from the metal looks like in the photo, on
// a scale where white is 1.
const (
	alikeLuma   = 0.03 // standard deviation of the film's luma (ITU-R BT.601) about the metal's
	plainColour = 0.06 // least distance of the two in Cb and Cr: 15 of 255 levels
)

// drawAlike draws a flat or a moderate scene whose film is about as light as the
// metal in the photo and of another colour.
func drawAlike(rng *rand.Rand) ([]synth.Scene, error) {
	stratum := []synth.Stratum{synth.Flat, synth.Moderate}[rng.IntN(2)]
	s, err := synth.RandomWith(rng, stratum, func(s *synth.Scene) bool {
		metal := s.Surface.Metal
		for i := range metal {
			metal[i] = metal[i]*s.Surface.Diffuse + 0.15*s.Surface.Glare
		}
		y, cb, cr := shown(s, metal)
		hue, strong := 2*math.Pi*rng.Float64(), 0.95*rng.Float64()
		want := y + alikeLuma*rng.NormFloat64()
		film := func(light float64) (c synth.RGB) {
			for i := range c {
				c[i] = light * (1 + strong*math.Cos(hue-2*math.Pi/3*float64(i)))
			}
			return c
		}
		dark, light := 0.0, 1.0
		for range 30 {
			middle := (dark + light) / 2
			if y, _, _ := shown(s, film(middle)); y < want {
				dark = middle
			} else {
				light = middle
			}
		}
		c := film(light)
		_, fb, fr := shown(s, c)
		s.Strips[0].Colour = c
		return max(c[0], c[1], c[2]) <= 0.92 && math.Hypot(fb-cb, fr-cr) >= plainColour
	})
	return []synth.Scene{s}, err
}

// shown is the photo's luma and chroma (ITU-T T.871), the latter about 0, of a linear
// colour in the middle of a scene: lit, with the white balance's error, and through
// the tone curve. White is 1.
func shown(s *synth.Scene, c synth.RGB) (y, cb, cr float64) {
	cast := synth.RGB{s.Sensor.CastRed, 1, s.Sensor.CastBlue}
	for i := range c {
		v := min(1, c[i]*s.Light.Level*cast[i])
		if v <= 0.0031308 { // IEC 61966-2-1
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		c[i] = v + s.Processing.Curve*(v*v*(3-2*v)-v)
	}
	y = 0.299*c[0] + 0.587*c[1] + 0.114*c[2]
	return y, (c[2] - y) / 1.772, (c[0] - y) / 1.402
}
