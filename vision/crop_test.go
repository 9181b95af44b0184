package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// TestCropped: shapes that cameras save, their sizes in pixels from memory, and shapes
// that only a cut leaves.
func TestCropped(t *testing.T) {
	for _, c := range []struct {
		w, h int
		told [2]int // by EXIF
		want bool
	}{
		{4032, 3024, [2]int{}, false},
		{3024, 4032, [2]int{}, false},
		{4208, 3120, [2]int{}, false}, // 1.349
		{4080, 3072, [2]int{}, false}, // 1.328
		{6000, 4000, [2]int{}, false},
		{4000, 2250, [2]int{}, false},
		{4032, 1816, [2]int{}, false},
		{3024, 3024, [2]int{}, false},
		{2098, 2429, [2]int{}, true},
		{2109, 1624, [2]int{}, true},
		{3000, 1800, [2]int{}, true},
		{2016, 1512, [2]int{4032, 3024}, false}, // made smaller
		{1512, 2016, [2]int{4032, 3024}, false}, // and turned
		{3024, 3024, [2]int{4032, 3024}, true},
		{2098, 2429, [2]int{2098, 2429}, true}, // who cut it wrote its own size
	} {
		p := &Photo{Luma: &Plane{W: c.w, H: c.h}, Exif: Exif{Width: c.told[0], Height: c.told[1]}}
		if got := p.cropped(); got != c.want {
			t.Errorf("%d x %d, EXIF %v: cropped %v", c.w, c.h, c.told, got)
		}
	}
}

// croppedScene is a rider cut off centre from a photo of 12 megapixels to a height in px,
// with EXIF's focal length left as it was.
func croppedScene(t *testing.T, tilt float64, height int) synth.Scene {
	s := smallScene(t, "rider")
	const full = 26 // mm equivalent, of 4032 x 3024 px
	focal := synth.FocalPixels(full, 4032, 3024)
	s.Camera.Width, s.Camera.Height = 1200, height
	s.Camera.Focal35 = full * focal / synth.FocalPixels(full, 1200, height)
	s.Camera.ExifFocal = full
	s.Camera.OffsetX, s.Camera.OffsetY = 500, -350
	s.Pose.Distance, s.Pose.Tilt = 90, tilt
	s.Pose.Roll = 0
	perPx := s.Pose.Distance / focal
	s.Pose.Target = calib.CardPoint{X: 500 * perPx, Y: 3 + 350*perPx}
	return s
}

// readsCropped reports whether a cropped photo is read, which must be within its
// uncertainty, and that no more than twice what the whole photo's would be.
func readsCropped(t *testing.T, tilt float64, p *Photo, truth *synth.Truth) bool {
	t.Helper()
	m, err := Measure(p, flat())
	if err != nil {
		t.Errorf("tilt %g: %v", tilt, err)
		return false
	}
	off, u := m.Profile.Mean/truth.Strips[0].MeanWidth-1, m.Profile.U/m.Profile.Mean
	t.Logf("tilt %g: %+.2f %%, u %.2f %%", tilt, 100*off, 100*u)
	if math.Abs(off) > 2*u || u > 0.01 {
		t.Errorf("tilt %g: off by %.2f %%, u %.2f %%", tilt, 100*off, 100*u)
	}
	return true
}

// TestMeasureCroppedPhoto: a photo that was cropped with its EXIF kept is read within
// its uncertainty, and that is no more than twice what the whole photo's would be. One
// of a print stretched by 6 %, which nobody measured, is refused or read within it.
func TestMeasureCroppedPhoto(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, tilt := range []float64{4, 16} {
		p, truth := shot(t, croppedScene(t, tilt, 1040))
		if !readsCropped(t, tilt, p, truth) {
			continue
		}

		s := croppedScene(t, tilt, 1040)
		s.Card.ScaleX = 1.06
		p, truth = shot(t, s)
		o := flat()
		o.Print = calib.PrintScale{}
		m, err := Measure(p, o)
		if err != nil {
			t.Logf("tilt %g, stretched: %v", tilt, err)
			continue
		}
		off, u := m.Profile.Mean/truth.Strips[0].MeanWidth*math.Sqrt(1.06)-1, m.Profile.U/m.Profile.Mean
		t.Logf("tilt %g, stretched: %+.2f %%, u %.2f %%", tilt, 100*off, 100*u)
		if math.Abs(off) > 2*u {
			t.Errorf("tilt %g, stretched: off by %.2f %%, u %.2f %%", tilt, 100*off, 100*u)
		}
	}
}

// TestCutToACamerasShape: a photo that was cut to 4:3, a shape that cameras save, shows it by
// its marks alone, and is read within its uncertainty; a whole photo of a print that is
// stretched by 6 % is none, and stays refused.
func TestCutToACamerasShape(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, tilt := range []float64{4, 16} {
		p, truth := shot(t, croppedScene(t, tilt, 900))
		if p.cropped() {
			t.Fatal("its shape tells")
		}
		if !readsCropped(t, tilt, p, truth) {
			continue
		}

		s := smallScene(t, "rider")
		s.Card.ScaleX, s.Pose.Tilt = 1.06, tilt
		p, _ = shot(t, s)
		o := flat()
		o.Print = calib.PrintScale{}
		if _, err := Measure(p, o); refusalCode(err) != CodeCardDistorted || p.cropped() {
			t.Errorf("tilt %g, stretched: %s, cropped %v", tilt, refusalCode(err), p.cropped())
		}
	}
}

// TestDistortedCardIsNoCut: cards that are curled, twisted or bent up at a corner, and
// stretched prints, seen by a whole photo's camera, pass for a cut photo in hardly any of
// those that do not fit it.
func TestDistortedCardIsNoCut(t *testing.T) {
	const draws, sigma, w, h = 60, 0.04, 4000, 3000
	p := &Photo{Luma: &Plane{W: w, H: h}, Exif: Exif{Focal35MM: 26}}
	prior := Options{}.prior(p)
	r := rand.New(rand.NewPCG(43, 1))
	apart, taken := 0, 0
	for _, l := range []*calib.Layout{calib.Bench(), calib.Rider()} {
		for _, shape := range []func(x, y, by float64) (up, stretch float64){
			func(x, _, by float64) (float64, float64) { return by * x * x, 1 },
			func(x, y, by float64) (float64, float64) { return by * x * y, 1 },
			func(x, y, by float64) (float64, float64) { return by * math.Max(0, x+y-1), 1 },
			func(_, _, by float64) (float64, float64) { return 0, 1 + by/5 },
		} {
			for range draws {
				v := &calib.View{
					Camera: calib.Camera{F: prior.F * (1 + 0.02*r.NormFloat64()), K1: 0.02 * r.NormFloat64(), CX: w / 2, CY: h / 2},
					Pose:   lookAt(calib.CardPoint{X: 8 * r.NormFloat64(), Y: 8 * r.NormFloat64()}, 1.75*l.Width+48, 28*r.Float64(), 360*r.Float64()),
				}
				by := 0.02 * math.Exp(3*r.Float64()) * float64(2*r.IntN(2)-1) // of half the card's length
				var card []calib.CardPoint
				var img []calib.PixelPoint
				for _, k := range l.Marks {
					up, stretch := shape(2*k.Centre.X/l.Width, 2*k.Centre.Y/l.Height, by)
					q := mustImage(t, v, calib.CardPoint{X: stretch * k.Centre.X, Y: k.Centre.Y}.At(up*l.Width/2))
					card = append(card, k.Centre)
					img = append(img, q.Add(calib.PixelPoint{X: sigma * r.NormFloat64(), Y: sigma * r.NormFloat64()}))
				}
				fit := func(prior calib.Prior) (*calib.View, error) {
					return calib.FitView(card, img, sigma, w, h, prior)
				}
				if seen, err := fit(prior); err != nil || misfit(seen) <= maxMisfit {
					continue
				}
				apart++
				if (Options{}).cutUnseen(p, fit) {
					taken++
				}
			}
		}
	}
	t.Logf("%d do not fit, %d pass for a cut photo", apart, taken)
	if apart < 3*draws || taken > apart/100 {
		t.Errorf("%d do not fit, %d pass for a cut photo", apart, taken)
	}
}

// TestCropCovarianceAgainstSampling draws frames and places in them from the prior of a
// cropped photo, and prints as printers make them, and asks that a width beside the
// rider scatters as its uncertainty says, or less where that allows for a stretched
// print. 300 draws know the spread to 4 % (1/sqrt(600)), so the limits lie more than two
// of those away; for level photos, see calib. A start far along the valley of alike cameras may stall.
func TestCropCovarianceAgainstSampling(t *testing.T) {
	const draws, sigma, w, h = 300, 0.06, 2000, 2300
	p := &Photo{Luma: &Plane{W: w, H: h}, Exif: Exif{Focal35MM: 26}}
	if !p.cropped() {
		t.Fatal("its shape is not told")
	}
	for _, print := range []calib.PrintScale{{}, {X: 1, Y: 1, U: 1e-3}} {
		prior := Options{Print: print}.prior(p)
		for n, lean := range []float64{10, 20} {
			r := rand.New(rand.NewPCG(41, uint64(n)))
			var mean, square, said, stalled float64
			for range draws {
				zoom := math.Exp(prior.FRel * math.Max(-2, math.Min(2, r.NormFloat64())))
				place := calib.PixelPoint{X: prior.CXSD, Y: prior.CYSD}.Scale(math.Sqrt(12)) // of the frame about the photo
				v := &calib.View{
					Camera: calib.Camera{F: prior.F * zoom, K1: prior.K1SD * r.NormFloat64(), CX: w/2 + place.X*(r.Float64()-0.5), CY: h/2 + place.Y*(r.Float64()-0.5)},
					Aspect: calib.Aspect(math.Min(0.003, prior.AspectSD) * r.NormFloat64()), // 0.3 % is calib's prior of prints
					Pose:   lookAt(calib.CardPoint{Y: -3}, 110*zoom, lean, 360*r.Float64()),
				}
				var card []calib.CardPoint
				var img []calib.PixelPoint
				for _, k := range calib.Rider().Marks {
					q := mustImage(t, v, v.Aspect.Place(k.Centre).At(0))
					card = append(card, k.Centre)
					img = append(img, q.Add(calib.PixelPoint{X: sigma * r.NormFloat64(), Y: sigma * r.NormFloat64()}))
				}
				low, high := mustImage(t, v, calib.SpacePoint{Y: -8}), mustImage(t, v, calib.SpacePoint{Y: -10})
				got, err := calib.FitView(card, img, sigma, w, h, prior)
				if err != nil {
					stalled++
					continue
				}
				width, u := got.Propagate(func(v *calib.View) float64 {
					a, _ := v.Card(low, calib.Plane{})
					b, _ := v.Card(high, calib.Plane{})
					return math.Hypot(a.X-b.X, a.Y-b.Y)
				})
				z := (width - 2) / u
				mean, square, said = mean+z/draws, square+z*z/draws, said+u/draws
			}
			spread := math.Sqrt(square - mean*mean)
			t.Logf("print checked %v, lean %g: u %.4f mm, spread/u %.3f, bias/u %+.3f", print.Checked(), lean, said, spread, mean)
			if print.Checked() && spread < 0.9 || spread > 1.1 || math.Abs(mean) > 0.2 {
				t.Errorf("print checked %v, lean %g: spread/u %.3f, bias/u %+.3f", print.Checked(), lean, spread, mean)
			}
			if stalled > draws/50 {
				t.Errorf("%g of %d fits stalled", stalled, draws)
			}
		}
	}
}
