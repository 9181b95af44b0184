package main

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"stripgap/vision/synth"
)

// TestDrawAlike: film and metal have about one luma in the photo and plainly another
// colour, and the same seed draws the same scene.
func TestDrawAlike(t *testing.T) {
	for i := range uint64(20) {
		draw := func() synth.Scene {
			s, err := drawAlike(rand.New(rand.NewPCG(3, i)))
			if err != nil || len(s) != 1 {
				t.Fatalf("%d scenes, %v", len(s), err)
			}
			return s[0]
		}
		s := draw()
		if !reflect.DeepEqual(s, draw()) {
			t.Errorf("scene %d differs when drawn again", i)
		}
		metal := s.Surface.Metal
		for k := range metal {
			metal[k] = metal[k]*s.Surface.Diffuse + 0.15*s.Surface.Glare
		}
		y0, b0, r0 := shown(&s, metal)
		y1, b1, r1 := shown(&s, s.Strips[0].Colour)
		if d := math.Abs(y1 - y0); d > 4*alikeLuma {
			t.Errorf("scene %d: lumas differ by %v", i, d)
		}
		if d := math.Hypot(b1-b0, r1-r0); d < plainColour {
			t.Errorf("scene %d: colours differ by %v", i, d)
		}
	}
}

// TestShown compares with values of IEC 61966-2-1 (linear 0.5 is 0.735357) and ITU-T
// T.871 (pure red is 0.299, -0.168736, 0.5), both from memory.
func TestShown(t *testing.T) {
	s := synth.NewScene("rider")
	s.Light.Level = 1
	for _, k := range []struct {
		c    synth.RGB
		want [3]float64
	}{{synth.RGB{0.5, 0.5, 0.5}, [3]float64{0.735357, 0, 0}}, {synth.RGB{1, 0, 0}, [3]float64{0.299, -0.168736, 0.5}}} {
		y, cb, cr := shown(&s, k.c)
		for i, v := range [3]float64{y, cb, cr} {
			if math.Abs(v-k.want[i]) > 1e-6 {
				t.Errorf("%v: %v, want %v", k.c, v, k.want[i])
			}
		}
	}
}
