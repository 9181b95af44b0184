package synth

import (
	"errors"
	"math"
	"testing"
)

func roundScene(lamp, elevation float64) Scene {
	s := NewScene("rider")
	s.Card.Serial = "6C3H2P"
	s.Light.Shadow, s.Light.Azimuth, s.Light.Elevation = lamp, 90, elevation // from the strand's left
	s.Strips = []Strip{{Round: true, Width: 0.4, SectionArea: math.Pi * 0.04, Length: 16, Opacity: 60, Colour: RGB{0.1, 0.3, 0.1}}}
	return s
}

// TestRoundLight: light from all sides shades both flanks alike, the ground beside
// the strand has half of it (its half of the sky is hidden), far away all; a lamp
// from the left lights the left flank and casts its shadow to the right.
func TestRoundLight(t *testing.T) {
	near := func(name string, got, want, tol float64) {
		t.Helper()
		if math.Abs(got-want) > tol {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
	lit := func(lamp, elevation float64) *film {
		s := roundScene(lamp, elevation)
		st, err := newStage(&s)
		if err != nil {
			t.Fatal(err)
		}
		return st.films[0]
	}
	even := lit(0, 60)
	near("top", even.flank(0, 1), 1, 1e-12)
	near("rims", even.flank(1, 0), 0.5, 1e-12)
	near("left against right", even.flank(-0.6, 0.8), even.flank(0.6, 0.8), 1e-12)
	near("ground at the rim", even.beside(1), 0.5, 1e-12)
	near("ground far away", even.beside(-60), 1, 1e-3)
	lamp := lit(1, 45)
	near("flank square to the lamp", lamp.flank(math.Sqrt(0.5), math.Sqrt(0.5)), math.Sqrt2, 1e-12)
	near("flank turned away", lamp.flank(-1, 0), 0, 1e-12)
	near("ground on the lamp's side", lamp.beside(3), 1, 1e-12)
	// A ray that touches the rim at 45 degrees ends 1 + sqrt 2 radii beside the
	// middle: there half the lamp is seen.
	near("the shadow's border", lamp.beside(-1-math.Sqrt2), 0.5, 1e-9)
	near("the shadow", lamp.beside(-1.2), 0, 1e-9)
	near("beyond it", lamp.beside(-6), 1, 1e-9)
}

func TestRoundTruth(t *testing.T) {
	s := roundScene(0.3, 60)
	s.Camera.Width, s.Camera.Height = 400, 300
	s.Strips[0].Centre.Y = 9
	_, truth, err := Render(s)
	if err != nil {
		t.Fatal(err)
	}
	if got := truth.Strips[0].MeanWidth; math.Abs(got-0.4) > 1e-12 {
		t.Errorf("diameter %v", got)
	}
	s.Strips[0].SectionArea = 0.1 // not the circle's
	if _, _, err := Render(s); !errors.Is(err, ErrScene) {
		t.Errorf("a strand of another area is drawn: %v", err)
	}
}
