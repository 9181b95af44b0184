package vision

import (
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// TestPlacesOfRefusals: a refusal that is about something in the photo outlines
// it, where the renderer put it.
func TestPlacesOfRefusals(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, c := range []struct {
		faulty
		at []calib.CardPoint // each to be inside an outline of its own
	}{
		{faulty{"two strips", "rider", CodeTwoStrips, func(s *synth.Scene) {
			second := s.Strips[0]
			second.Centre.Y += 4
			s.Strips = append(s.Strips, second)
		}}, []calib.CardPoint{{X: 1, Y: 9}, {X: 1, Y: 13}}},
		{faulty{"covered marks", "rider", CodeFewMarks, func(s *synth.Scene) {
			s.Clutter = []synth.Clutter{{From: calib.CardPoint{X: -9.6, Y: -3.6}, To: calib.CardPoint{X: -9.6, Y: 3.6}, Radius: 2.2,
				Height: 0.3, Colour: synth.RGB{0.3, 0.3, 0.3}}}
		}}, []calib.CardPoint{{X: -9.6, Y: -3.6}, {X: -9.6, Y: 3.6}}},
	} {
		s := smallScene(t, c.layout)
		s.Name = c.name
		c.change(&s)
		if c.code == CodeTwoStrips {
			for i := range c.at {
				c.at[i] = s.Strips[i].Centre
			}
		}
		p, truth := shot(t, s)
		m, err := Measure(p, Options{})
		if got := refusalCode(err); got != c.code {
			t.Errorf("%s: %s (%v), want %s", c.name, got, err, c.code)
			continue
		}
		if len(m.Places) != len(c.at) {
			t.Errorf("%s: %d places, want %d", c.name, len(m.Places), len(c.at))
		}
		h := calib.Homography{}
		for i := range h {
			h[i] = truth.ImageFromCard[i/3][i%3]
		}
		for _, at := range c.at {
			px, _ := h.Image(at)
			if n := outlinesRound(m.Places, px); n != 1 {
				t.Errorf("%s: %d outlines of %v hold (%.0f, %.0f)", c.name, n, m.Places, px.X, px.Y)
			}
		}
	}
}

// outlinesRound counts the convex outlines that hold a place.
func outlinesRound(all [][]calib.PixelPoint, at calib.PixelPoint) (n int) {
	for _, o := range all {
		left, right := 0, 0
		for i, a := range o {
			d, e := o[(i+1)%len(o)].Sub(a), at.Sub(a)
			if d.X*e.Y-d.Y*e.X > 0 {
				left++
			} else {
				right++
			}
		}
		if left == 0 || right == 0 {
			n++
		}
	}
	return n
}
