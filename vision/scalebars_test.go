package vision

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// scaleScene is a printed scale beside a bench card: dark bars, whose widths are
// made up, side by side along the card's x, or one below the other.
func scaleScene(t testing.TB, widths []float64, down bool) synth.Scene {
	s := smallScene(t, "bench")
	s.Surface.Metal = synth.RGB{0.8, 0.8, 0.78}
	s.Strips = nil
	at := -22.0
	for _, w := range widths {
		b := synth.Strip{Width: w, Length: 12, Angle: 90, SectionArea: 0.001 * w, Colour: synth.RGB{0.04, 0.04, 0.05}, Opacity: 1e5,
			Centre: calib.CardPoint{X: at, Y: 36}}
		if down {
			b.Angle, b.Centre = 0, calib.CardPoint{X: 8, Y: at + 52}
		}
		s.Strips = append(s.Strips, b)
		at += 7
	}
	if down {
		s.Pose.Target.Y = 20
		s.Pose.Distance = 240
	}
	return s
}

// TestMeasureBars: every bar once, in order, and as wide as drawn.
func TestMeasureBars(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, down := range []bool{false, true} {
		widths := []float64{2.8, 1.9, 1.4, 1.1, 0.9}
		s := scaleScene(t, widths, down)
		p, truth := shot(t, s)
		bars, err := MeasureBars(p, flat())
		if err != nil || len(bars) != len(widths) {
			t.Fatalf("down %v: %d bars, %v", down, len(bars), err)
		}
		for i, m := range bars {
			k := i
			if down { // drawn from the bottom up
				k = len(widths) - 1 - i
			}
			want := truth.Strips[k].MeanWidth
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
