package vision

import (
	"math"
	"testing"

	"stripgap/vision/synth"
)

// TestFilmBeyond: film is seen to run on to its end although the light falls off along
// it by more than film and metal differ.
func TestFilmBeyond(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "rider")
	s.Light.GradientX = -0.8
	s.Strips[0].Colour = synth.RGB{0.28, 0.29, 0.28} // on metal of 0.4
	p, truth := shot(t, s)
	strip, r := new(Measurement).run(p, flat())
	if r != nil {
		t.Fatal(r)
	}
	const kept = 7.0 // mm at the first end are taken as all that was traced
	left := strip.c.axis
	strip.c.axis.Middle, strip.c.axis.Half = left.At(left.Half-kept/2), kept/2
	for i := range strip.cuts {
		strip.cuts[i].s -= left.Half - kept/2
	}
	want := 2*left.Half - kept
	if got := strip.filmBeyond(-1); math.Abs(got-want) > 1 {
		t.Errorf("%.2f mm of film beyond, want %.2f of a strip of %.2f", got, want, truth.Strips[0].LengthMM)
	}
	if got := strip.filmBeyond(1); got > 1 {
		t.Errorf("%.2f mm of film beyond the strip's end", got)
	}
}
