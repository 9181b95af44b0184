package vision

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// scaleScene is a strip's sleeve with a printed scale beside a bench card on wood:
// dark bars, whose widths are made up, side by side along the card's x, or one
// below the other. The first bar is the middle one, for the sleeve lies round it.
func scaleScene(t testing.TB, widths []float64, down bool) synth.Scene {
	s := smallScene(t, "bench")
	s.Bench = synth.Bench{Kind: "wood", Colour: synth.RGB{0.42, 0.27, 0.15}, Depth: 0.2}
	s.Surface.Metal = synth.RGB{0.7, 0.75, 0.5}
	s.Surface.HalfLength, s.Surface.HalfWidth = 7.5, 22
	s.Strips = nil
	for i, at := range []float64{0, -14, -7, 7, 14}[:len(widths)] {
		b := synth.Strip{Width: widths[i], Length: 9, Angle: 90, SectionArea: 0.001 * widths[i], Colour: synth.RGB{0.04, 0.04, 0.05}, Opacity: 1e5,
			Centre: calib.CardPoint{X: at, Y: 38}}
		if down {
			b.Angle, b.Centre = 0, calib.CardPoint{X: 52, Y: at}
		}
		s.Strips = append(s.Strips, b)
	}
	if down {
		s.Pose.Target = calib.CardPoint{X: 10}
		s.Pose.Distance = 230
	}
	return s
}

// TestMeasureBars: every bar once, in order, and as wide as drawn.
func TestMeasureBars(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, down := range []bool{false, true} {
		s := scaleScene(t, []float64{1.4, 2.8, 1.9, 1.1, 0.9}, down)
		p, truth := shot(t, s)
		bars, err := MeasureBars(p, flat())
		if err != nil || len(bars) != len(s.Strips) {
			t.Fatalf("down %v: %d bars, %v", down, len(bars), err)
		}
		order := []int{1, 2, 0, 3, 4} // as drawn, from the left
		if down {
			order = []int{4, 3, 0, 2, 1} // from the top
		}
		for i, m := range bars {
			want := truth.Strips[order[i]].MeanWidth
			t.Logf("down %v, bar %d: %.4f mm, truth %.4f, u %.4f", down, i, m.Profile.Mean, want, m.Profile.U)
			if d := m.Profile.Mean - want; math.Abs(d) > 3*m.Profile.U || math.Abs(d) > 0.02 {
				t.Errorf("down %v, bar %d: %.4f mm, truth %.4f, u %.4f", down, i, m.Profile.Mean, want, m.Profile.U)
			}
		}
	}
	bare := scaleScene(t, nil, false)
	p, _ := shot(t, bare)
	if _, err := MeasureBars(p, flat()); refusalCode(err) != CodeNoBars {
		t.Errorf("no bars: %v", err)
	}
}
