package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
)

// TestCurledCardCovariance draws riders whose ends stand up by 0.13 mm and asks that a
// width beside them, read in photos that pass the marks' gates, errs by no more than its
// uncertainty says: the root of the mean square over u is 3.3 where only the marks' noise
// counts. 200 draws know it to 5 % (1/sqrt(400)).
func TestCurledCardCovariance(t *testing.T) {
	const draws, sigma, curl = 200, 0.06, 0.13
	r := rand.New(rand.NewPCG(43, 0))
	p := &Photo{Luma: &Plane{W: 4000, H: 3000}, Exif: Exif{Focal35MM: 26}}
	square, passed := 0.0, 0
	for range draws {
		v := &calib.View{Camera: calib.Camera{F: stereoF, CX: 1999.5, CY: 1499.5},
			Pose: lookAt(calib.CardPoint{Y: -3}, 105, 20, 360*r.Float64())}
		l := calib.Rider()
		f := &found{card: &Card{Layout: l}}
		for _, k := range l.Marks {
			x := 2 * k.Centre.X / l.Width
			q := mustImage(t, v, k.Centre.At(curl*x*x))
			q = q.Add(calib.PixelPoint{X: sigma * r.NormFloat64(), Y: sigma * r.NormFloat64()})
			f.card.Marks = append(f.card.Marks, MarkFound{Mark: k, Pixel: q, U: sigma})
		}
		low, high := mustImage(t, v, calib.SpacePoint{X: -1, Y: -9}), mustImage(t, v, calib.SpacePoint{X: 1, Y: -9})
		if r := f.fitView(p, Options{}); r != nil {
			t.Fatal(r)
		}
		m := &Measurement{Card: f.card, View: f.view}
		if m.gateMarks() != nil {
			continue
		}
		width, u := f.view.Propagate(func(v *calib.View) float64 {
			a, _ := v.Card(low, calib.Plane{})
			b, _ := v.Card(high, calib.Plane{})
			return math.Hypot(a.X-b.X, a.Y-b.Y)
		})
		square += (width - 2) / u * (width - 2) / u
		passed++
	}
	spread := math.Sqrt(square / float64(passed))
	t.Logf("%d of %d pass, rms error/u %.2f", passed, draws, spread)
	if spread > 1.1 || passed < draws/2 {
		t.Errorf("%d of %d pass, rms error/u %.2f", passed, draws, spread)
	}
}
