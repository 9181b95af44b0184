package vision

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
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

// TestMeasureDoubtsThePrint: a check that is wrong by 2 % along one direction only, as
// of another print, contradicts the marks and is refused for that, not for the card.
func TestMeasureDoubtsThePrint(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, layout := range []string{"bench", "rider"} {
		s := smallScene(t, layout)
		s.Card.ScaleX, s.Card.ScaleY = 0.98, 1
		p, _ := shot(t, s)
		o := flat()
		o.Print = calib.PrintScale{}
		o.Prints = map[string]calib.PrintScale{s.Card.Serial: {X: 1, Y: 1, U: 6.7e-4}}
		_, err := Measure(p, o)
		var r *Refusal
		if !errors.As(err, &r) || r.Code != CodePrintMismatch {
			t.Errorf("%s: %v", layout, err)
			continue
		}
		var off float64
		if _, err := fmt.Sscanf(r.Message[strings.LastIndex(r.Message, " by "):], " by %f", &off); err != nil || math.Abs(off-2) > 0.5 {
			t.Errorf("%s: %q tells %v %%, drawn 2", layout, r.Message, off)
		}
	}
}

// TestMeasurePairSharesThePrint: where the code of one photo cannot be read, the
// other's tells the sheet for both.
func TestMeasurePairSharesThePrint(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	scenes := pairScenes(rand.New(rand.NewPCG(1, 0)), 2000, 1500)
	known := calib.PrintScale{X: 0.98, Y: 0.985, U: 4e-4}
	var photos [2]*Photo
	var truth *synth.Truth
	for i, s := range scenes {
		s.Card.ScaleX, s.Card.ScaleY = known.X, known.Y
		photos[i], truth = photograph(t, s)
	}
	coverCode(t, photos[0])
	o := Options{Prints: map[string]calib.PrintScale{scenes[0].Card.Serial: known}}
	for _, order := range [2][2]int{{0, 1}, {1, 0}} {
		m, err := MeasurePair(photos[order[0]], photos[order[1]], o)
		if err != nil {
			t.Fatal(err)
		}
		if m.Print != known || m.Card.Serial != scenes[0].Card.Serial {
			t.Errorf("print %+v of sheet %q", m.Print, m.Card.Serial)
		}
		if u := termNamed(m.Profile.Budget, "print scale"); relative(u, known.U*m.Profile.Mean) > 0.05 {
			t.Errorf("print scale %.3g mm of %.4f", u, m.Profile.Mean)
		}
		if want := truth.Strips[0].MeanWidth; math.Abs(m.Profile.Mean/want-1) > 0.005 { // the print alone is 1.7 %
			t.Errorf("width %.4f mm, truth %.4f", m.Profile.Mean, want)
		}
	}
}

// coverCode lays grey over the card's code.
func coverCode(t *testing.T, p *Photo) {
	t.Helper()
	card, view, err := FindCard(p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	p.Luma.fourth = nil
	half := card.Layout.Code.Side / 2
	for y := -half; y < half; y += 0.02 {
		for x := -half; x < half; x += 0.02 {
			if q, ok := view.Image(card.Layout.Code.Centre.Add(calib.CardPoint{X: x, Y: y}).At(0)); ok {
				p.Luma.Row(int(q.Y))[int(q.X)] = 128
			}
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
