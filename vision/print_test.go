package vision

import (
	"math"
	"strings"
	"testing"

	"stripgap/calib"
)

// TestMeasureKnowsThePrint: a card printed 3 % small along x and 1.5 % along y
// makes an unchecked reading about that much too large; the check of its serial
// takes that out and its uncertainty goes in place of the unchecked print's.
func TestMeasureKnowsThePrint(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, layout := range []string{"bench", "rider"} {
		s := smallScene(t, layout)
		s.Card.ScaleX, s.Card.ScaleY = 0.97, 0.985
		p, truth := shot(t, s)
		want := truth.Strips[0].MeanWidth
		o := flat()
		o.Print = calib.PrintScale{}
		known := calib.PrintScale{X: 0.97, Y: 0.985, U: 4e-4}
		o.Prints = map[string]calib.PrintScale{s.Card.Serial: known, "6C3H2P": {X: 1.04, Y: 1.04, U: 1e-4}}
		m, err := Measure(p, o)
		if err != nil {
			t.Errorf("%s: %v", layout, err)
			continue
		}
		if m.Print != known {
			t.Errorf("%s: reckoned with print %+v", layout, m.Print)
		}
		if d := m.Profile.Mean - want; math.Abs(d) > 2*m.Profile.U || math.Abs(d) > 0.005*want {
			t.Errorf("%s: width %.4f mm, truth %.4f, u %.4f", layout, m.Profile.Mean, want, m.Profile.U)
		}
		if u := termNamed(m.Profile.Budget, "print scale"); relative(u, 4e-4*m.Profile.Mean) > 1e-9 {
			t.Errorf("%s: print scale %.2g mm of %.4f", layout, u, m.Profile.Mean)
		}
		// Both directions the same, so that the marks still agree with one another.
		s.Card.ScaleX = 0.985
		p, _ = shot(t, s)
		o.Prints = nil
		if m, err = Measure(p, o); err != nil {
			t.Errorf("%s, unchecked: %v", layout, err)
			continue
		}
		if off := m.Profile.Mean/want - 1; math.Abs(off-0.015) > 0.006 || m.Print.Checked() {
			t.Errorf("%s, unchecked: off by %.2f %%, print %+v", layout, 100*off, m.Print)
		}
		if u := termNamed(m.Profile.Budget, "print scale"); relative(u, printUnchecked*m.Profile.Mean) > 1e-9 {
			t.Errorf("%s, unchecked: print scale %.2g mm", layout, u)
		}
	}
}

func termNamed(b []Term, name string) float64 {
	for _, t := range b {
		if strings.EqualFold(t.Name, name) {
			return t.U
		}
	}
	return math.NaN()
}
