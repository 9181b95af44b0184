package pipeline

import (
	"math"
	"slices"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// rendered reads a rendered scene whose strip's section area is known to 0.5 %.
func rendered(t *testing.T, s synth.Scene) (Result, *synth.Truth) {
	t.Helper()
	data, truth, err := synth.Render(s)
	if err != nil {
		t.Fatal(err)
	}
	area := truth.Strips[0].SectionArea
	reader := &Reader{
		Load:    func(path string) (*vision.Photo, error) { return vision.Decode(path, data) },
		Measure: vision.Measure,
		Given: Given{Coverage: 2,
			Lot: &calib.Lot{Name: "rendered", SectionArea: quantity.Value{X: area, U: area / 200}, RangeLo: 0.01, RangeHi: 0.2}},
	}
	return reader.Read(Task{Photo: "rendered.jpg"}).Result, truth
}

// benchScene is a plain photo of a card with a strip beside it.
func benchScene(t *testing.T, layout string) synth.Scene {
	t.Helper()
	s := synth.NewScene(layout)
	s.Camera.Width, s.Camera.Height = 2800, 2100 // enough pixels, and half the time of 12 MP
	serial, err := calib.NewSerial(strings.NewReader(strings.Repeat("stripgap", 64)))
	if err != nil {
		t.Fatal(err)
	}
	s.Card.Serial = serial
	strip := synth.Strip{Centre: calib.CardPoint{X: 4, Y: 36}, Angle: 4, Length: 20, Width: 1.6, Taper: 0.04,
		Ragged: 0.2, SectionArea: 0.08, Colour: synth.RGB{0.1, 0.45, 0.15}, Opacity: 60}
	if layout == "rider" {
		s.Card.Bearing = "M1"
		s.Pose.Distance = 90
		strip.Centre = calib.CardPoint{X: 1, Y: 10}
	}
	s.Strips = []synth.Strip{strip}
	s.Optics.Blur = 1
	return s
}

// TestRendered reads both cards from rendered photos and compares with the
// renderer's exact truth, which its own projection code made.
func TestRendered(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, layout := range []string{"bench", "rider"} {
		r, truth := rendered(t, benchScene(t, layout))
		if r.Outcome != OutcomeRead {
			t.Errorf("%s: refused: %+v", layout, r.Refusal)
			continue
		}
		strip := truth.Strips[0]
		if e := r.Width.Mean/strip.MeanWidth - 1; math.Abs(e) > 0.005 { // half the demanded 95th percentile, and clean photos
			t.Errorf("%s: width %v mm, truth %v: off by %.2f %%", layout, r.Width.Mean, strip.MeanWidth, 100*e)
		}
		if d := r.Clearance.Mean - strip.Clearance; math.Abs(d) > r.Clearance.Expanded {
			t.Errorf("%s: clearance %v mm, truth %v: off by more than U %v", layout, r.Clearance.Mean, strip.Clearance, r.Clearance.Expanded)
		}
		for i, e := range r.Ends {
			if e.Name != strip.Ends[i].Name {
				t.Errorf("%s: end %d is %q, truth %q", layout, i, e.Name, strip.Ends[i].Name)
			}
		}
		// Checks over several strips know what they share by this name.
		if !slices.ContainsFunc(r.Budget, func(b Term) bool { return b.Name == clearance.TermPrintScale }) {
			t.Errorf("%s: no term %q in the budget %+v", layout, clearance.TermPrintScale, r.Budget)
		}
		if c, s := r.Card, truth.Scene.Card; c.Layout != layout || c.Serial != s.Serial || c.Bearing != s.Bearing {
			t.Errorf("card %+v, truth %+v", c, s)
		}
	}
}
