package vision

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// TestStripIsReadBesideALine: a faint line of the bench, which a coarse look finds, is
// not read for the strip, which only a closer look finds because its part is small.
func TestStripIsReadBesideALine(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "bench")
	s.Surface.HalfWidth, s.Surface.HalfLength, s.Surface.Metal = 6, 11, synth.RGB{0.55, 0.4, 0.25}
	k := &s.Strips[0]
	k.Width, k.Length, k.Colour = 3.2, 11, synth.RGB{0.05, 0.15, 0.6}
	s.Clutter = []synth.Clutter{{From: calib.CardPoint{X: -38, Y: 38}, To: calib.CardPoint{X: -12, Y: 40},
		Radius: 0.45, Height: -0.2, Colour: synth.RGB{0.21, 0.21, 0.21}}}
	readsTrue(t, s)
}

// TestLightStripOnLightMetal: steps that the logarithm of a bright luma hides are seen
// in luma itself.
func TestLightStripOnLightMetal(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "rider")
	s.Surface.Metal = synth.RGB{0.7, 0.7, 0.7}
	k := &s.Strips[0]
	k.Width, k.Length, k.Opacity, k.Colour = 2.6, 13, 200, synth.RGB{0.84, 0.84, 0.84}
	readsTrue(t, s)
}

// TestGroundsAreKnownByColour: of a band that colour cannot trace it is known all the
// same what lies on its sides, so that a part's border is not taken for a hidden strip.
func TestGroundsAreKnownByColour(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "rider")
	s.Strips[0].Colour = synth.RGB{0.1, 0.1, 0.1}
	p, _ := shot(t, s)
	o := flat()
	o.quarry = crushedStrip
	var m Measurement
	f, r := m.prove(p, o)
	if r != nil {
		t.Fatal(r)
	}
	o.byColour = true
	band := candidate{a: calib.CardPoint{X: -6, Y: 9.5}, b: calib.CardPoint{X: 8, Y: 10.5}, width: 1.6}
	strip, why := trace(p, f.view, f.card.Layout, m.Bars, o, band)
	if why != dropContrast || strip.film.apart(strip.metal[0]) < 0.2 {
		t.Errorf("%s: film %v, metal %v", why, strip.film, strip.metal)
	}
}

// TestTooLarge: what is traced over more than a strip can be long or wide is none.
func TestTooLarge(t *testing.T) {
	for _, c := range []struct {
		length, width float64
		want          bool
	}{{40, 2, false}, {70, 2, true}, {20, 7.5, true}} {
		b := traced{cuts: make([]cut, 20), film: grey(0.2), metal: [2]rgb{grey(0.6), grey(0.6)}, spread: [2]float64{1, 1}}
		b.c.axis.Half, b.c.width, b.cam.S = c.length/2, c.width, 1
		if got := b.unlike(crushedStrip) == tooLarge; got != c.want {
			t.Errorf("%v by %v mm: too large %v", c.length, c.width, got)
		}
	}
}

// TestFoundLiesOnTheGround: what a strip was traced from is where the ground shows it,
// whatever the lens does, so that its film and metal can be told there.
func TestFoundLiesOnTheGround(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "bench")
	s.Camera.Width, s.Camera.Height = 2400, 1800
	s.Camera.Focal35, s.Camera.ExifFocal, s.Camera.K1, s.Pose.Distance = 26, 26, -0.05, 120
	s.Strips[0].Width, s.Strips[0].Centre = 0.8, calib.CardPoint{X: 40, Y: 52}
	p, _ := shot(t, s)
	o := flat()
	o.quarry = crushedStrip
	var m Measurement
	f, r := m.prove(p, o)
	if r != nil {
		t.Fatal(r)
	}
	strip, r := findStrip(p, f, m.Bars, o)
	if r != nil {
		t.Fatal(r)
	}
	g, err := newGround(p, f, nil, o.quarry.look[0])
	if err != nil {
		t.Fatal(err)
	}
	film, metal, ok := g.filmAndMetal(strip.found)
	apart := math.Hypot(film[0]-metal[0], math.Hypot(film[1]-metal[1], film[2]-metal[2]))
	if !ok || apart < strip.found.contrast {
		t.Errorf("film and metal are %.1f apart where the film stands out by %.1f", apart, strip.found.contrast)
	}
}
