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

// TestUnevenTint: of what chroma is blurred by, little goes with the edge. A strip whose
// edges luma would call alike is no less even in a colour that a phone smoothed; one whose
// edge is drawn out by more than the blur of lens and samples is uneven in it, too.
func TestUnevenTint(t *testing.T) {
	tint, ok := tintOf(rgb{0.62, 0.54, 0.23}, rgb{0.52, 0.5, 0.49})
	if !ok {
		t.Fatal("no tint")
	}
	const lens, smoothed = 0.8, 2.4 // px
	for _, c := range []struct {
		drawnOut float64 // px
		uneven   bool
	}{{0, false}, {0.6, false}, {1.7, true}} {
		s := traced{cam: camera1D{S: lens, A: -1, channel: tint}}
		s.spread = [2]float64{smoothed, math.Hypot(smoothed, c.drawnOut)}
		if got := s.unevenEdges(); (got > notableUneven) != c.uneven {
			t.Errorf("an edge drawn out by %v px is %.2f times as soft", c.drawnOut, got)
		}
	}
}

// TestWouldShow: a colour that hardly tells film from metal does not prove that nothing
// of the film is drawn out.
func TestWouldShow(t *testing.T) {
	for _, c := range []struct {
		contrast float64
		code     string
		shows    bool
	}{{0.05, CodeSmeared, false}, {0.05, CodeUnevenEdges, false}, {0.05, CodeLowContrast, true}, {0.2, CodeSmeared, true}} {
		s := traced{c: cutter{contrast: c.contrast}}
		if got := s.wouldShow(c.code); got != c.shows {
			t.Errorf("%s, contrast %v: %v", c.code, c.contrast, got)
		}
	}
}
