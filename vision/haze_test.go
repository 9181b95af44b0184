package vision

import (
	"math"
	"testing"
)

// TestFilmShare: film that lies thinly on the metal is told from other light on it, where
// the film has a hue of its own.
func TestFilmShare(t *testing.T) {
	metal, green := rgb{0.5, 0.48, 0.45}, rgb{0.2, 0.4, 0.25}
	for _, c := range []struct {
		name        string
		film        rgb
		thin, light float64 // shares of the film's step and of the metal's light
		seen        bool
	}{
		{"nothing", green, 0, 0, true},
		{"thin film", green, 0.2, 0, true},
		{"more light", green, 0, 0.1, true},
		{"thin film in a shadow", green, 0.3, -0.05, true},
		{"a black film", rgb{0.05, 0.05, 0.04}, 0.2, 0, false},
	} {
		near := metal
		for i := range near {
			near[i] += c.thin*(c.film[i]-metal[i]) + c.light*metal[i]
		}
		share, ok := filmShare(near, metal, c.film)
		if ok != c.seen || ok && math.Abs(share-c.thin) > 1e-9 {
			t.Errorf("%s: share %v, %v; want %v, %v", c.name, share, ok, c.thin, c.seen)
		}
	}
}
