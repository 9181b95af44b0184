package vision

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// TestMeasureStretchedPrint reads cards that a printer made 0.2 % too short along
// x and 0.37 % too long along y, which nobody measured, from above and from the
// side. The photo must tell the aspect, the bars must agree with the marks, and
// widths along both directions be those of a print of the same mean scale, which
// no photo tells. Limits: three standard uncertainties of the aspect; 0.1 %, the
// scale gate, for the bars; three of the width's without its print scale.
func TestMeasureStretchedPrint(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	const sx, sy = 0.998, 1.0037
	for _, angle := range []float64{0, 90} {
		for _, tilt := range []float64{0, 15} {
			p, truth := photograph(t, stretchedScene(sx, sy, angle, tilt))
			m, err := Measure(p, Options{PlaneU: &PlaneU{Height: 0.01, Along: 1e-3, Across: 1e-3}})
			if err != nil {
				t.Errorf("strip at %g, tilt %g: %v", angle, tilt, err)
				continue
			}
			aspect, u := float64(m.View.Aspect), math.Sqrt(m.View.Cov.At(10, 10))
			if want := math.Log(sx / sy); math.Abs(aspect-want) > 3*u {
				t.Errorf("tilt %g: aspect %.4f +- %.4f, want %.4f", tilt, aspect, u, want)
			}
			for _, d := range m.Bars.Scale() {
				if math.Abs(d.Error) > maxScaleError {
					t.Errorf("tilt %g: bars along %s off by %.3f %%", tilt, d.Axis, 100*d.Error)
				}
			}
			width := 0.0
			for _, k := range m.Profile.Budget {
				if k.Name != "print scale" {
					width = math.Hypot(width, k.U)
				}
			}
			want := truth.Strips[0].MeanWidth / math.Sqrt(sx*sy)
			t.Logf("strip at %2g, tilt %2g: aspect %+.4f +- %.4f, width %+.2f %%, %+.1f u", angle, tilt, aspect, u,
				100*(m.Profile.Mean/want-1), (m.Profile.Mean-want)/width)
			if math.Abs(m.Profile.Mean-want) > 3*width {
				t.Errorf("strip at %g, tilt %g: width %.4f +- %.4f mm, want %.4f", angle, tilt, m.Profile.Mean, width, want)
			}
		}
	}
}

// stretchedScene is a clean bench card with a strip below it or right of it, on
// the plane of the card's face.
func stretchedScene(sx, sy, angle, tilt float64) synth.Scene {
	s := synth.NewScene("bench")
	s.Seed = 11
	s.Card.Serial = "6C3H2P"
	s.Card.ScaleX, s.Card.ScaleY = sx, sy
	s.Camera.Width, s.Camera.Height = 2000, 1500
	s.Camera.Focal35, s.Camera.ExifFocal = 60, 60 // cut from the middle of a phone's photo
	s.Pose = synth.Pose{Target: calib.CardPoint{X: 0, Y: -8}, Distance: 200, Tilt: tilt, Azimuth: 40, Roll: 2}
	strip := synth.Strip{Centre: calib.CardPoint{X: 4, Y: -36}, Angle: angle, Length: 18, Width: 2.4,
		SectionArea: 0.1, Colour: synth.RGB{0.1, 0.4, 0.15}, Opacity: 60}
	if angle == 90 {
		s.Pose.Target = calib.CardPoint{X: 8}
		strip.Centre = calib.CardPoint{X: 52}
	}
	s.Strips = []synth.Strip{strip}
	s.Optics.Blur = 0.9
	s.Sensor.FullWell, s.Sensor.Read = 12000, 4
	s.Processing = synth.Processing{Curve: 0.2, Sharpen: 0.6, SharpenRadius: 1.2}
	return s
}
