package calib

import (
	"errors"
	"math"
	"testing"
)

// phone is the prior of a phone photo of 4000 x 3000 px with EXIF: 26 mm
// equivalent is 3004.63 px (CIPA DCG-001 by the diagonal), to 3 % as the design
// takes it.
var phone = Prior{F: 3004.63, FRel: 0.03, K1: 0, K1SD: 0.05}

const photoW, photoH = 4000, 3000

// TestFitViewConverges goes over the range the fit must serve from its
// homography start, in noiseless photos of a camera off the prior. The fit at a
// sigma of 0.001 px must leave residuals below it, the rest being the prior's pull.
func TestFitViewConverges(t *testing.T) {
	worst := 0.0
	for _, l := range Layouts() {
		for _, dist := range []float64{60, 100, 200, 400} {
			for _, tilt := range []float64{0, 1, 5, 15, 25, 40} {
				for _, k1 := range []float64{-0.1, 0, 0.1} {
					for _, toward := range []float64{0, 0.7, 1.6, 3, 4.4} {
						cam := pinhole{F: 3004.63 * 1.03, CX: 1999.5, CY: 1499.5, K1: k1,
							Dist: dist, Tilt: rad(tilt), Toward: toward, Roll: 2 * toward}
						card := markCentres(l)
						v, err := FitView(card, cam.seeAll(card), 1e-3, photoW, photoH, phone)
						if err != nil {
							t.Fatalf("%s %g mm %g deg k1 %g: %v", l.Name, dist, tilt, k1, err)
						}
						worst = math.Max(worst, v.RMS)
						if v.RMS > 1e-3 {
							t.Errorf("%s %g mm %g deg k1 %g toward %g: rms %g px", l.Name, dist, tilt, k1, toward, v.RMS)
						}
					}
				}
			}
		}
	}
	t.Logf("largest rms %.2g px", worst)
}

func TestFitViewRecoversTruth(t *testing.T) {
	cam := pinhole{F: 3100, CX: 1999.5, CY: 1499.5, K1: 0.04, Dist: 150, Tilt: rad(25), Toward: 1, Roll: 0.3, Aim: CardPoint{5, 10}}
	card := markCentres(Bench())
	v, err := FitView(card, cam.seeAll(card), 1e-7, photoW, photoH, phone)
	if err != nil {
		t.Fatal(err)
	}
	e, c := cam.eye(), v.Pose.Centre()
	if math.Abs(v.Camera.F-3100) > 1e-3 || math.Abs(v.Camera.K1-0.04) > 1e-6 {
		t.Errorf("F %v K1 %v", v.Camera.F, v.Camera.K1)
	}
	if math.Hypot(math.Hypot(c.X-e[0], c.Y-e[1]), c.Z-e[2]) > 1e-4 {
		t.Errorf("eye %v, want %v", c, e)
	}
	if math.Abs(v.Tilt()-rad(25)) > 1e-6 {
		t.Errorf("tilt %v", v.Tilt())
	}
	if got := v.TiltAlong(CardPoint{3 * math.Cos(1), 3 * math.Sin(1)}); math.Abs(got-rad(25)) > 1e-6 {
		t.Errorf("tilt towards the camera %v", got)
	}
	if got := v.TiltAlong(CardPoint{-math.Sin(1), math.Cos(1)}); math.Abs(got) > 1e-6 {
		t.Errorf("tilt square to it %v", got)
	}
	for _, q := range []SpacePoint{{0, 0, 0}, {30, -60, 0}, {10, 40, 3}} {
		p, ok := v.Image(q)
		if want := cam.see(q.X, q.Y, q.Z); !ok || p.Sub(want).Norm() > 1e-3 {
			t.Errorf("%v at %v, want %v", q, p, want)
		}
	}
}

func TestFitViewBadInput(t *testing.T) {
	card := markCentres(Rider())
	cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: rad(15)}
	img := cam.seeAll(card)
	with := func(change func(*Prior)) Prior { p := phone; change(&p); return p }
	bad := []struct {
		name  string
		sigma float64
		w     int
		prior Prior
	}{
		{"sigma 0", 0, photoW, phone},
		{"sigma NaN", math.NaN(), photoW, phone},
		{"width 0", 0.02, 0, phone},
		{"F 0", 0.02, photoW, with(func(p *Prior) { p.F = 0 })},
		{"FRel 0", 0.02, photoW, with(func(p *Prior) { p.FRel = 0 })},
		{"K1 NaN", 0.02, photoW, with(func(p *Prior) { p.K1 = math.NaN() })},
		{"K1SD 0", 0.02, photoW, with(func(p *Prior) { p.K1SD = 0 })},
		{"CX NaN", 0.02, photoW, with(func(p *Prior) { p.CX = math.NaN() })},
	}
	for _, c := range bad {
		if v, err := FitView(card, img, c.sigma, c.w, photoH, c.prior); err == nil || v != nil {
			t.Errorf("%s accepted", c.name)
		}
	}
	fit := func(card []CardPoint, img []PixelPoint) error {
		_, err := FitView(card, img, 0.02, photoW, photoH, phone)
		return err
	}
	if err := fit(card[:3], img[:3]); !errors.Is(err, ErrFewPoints) {
		t.Errorf("three points: %v", err)
	}
	if err := fit(card[:4], img[:4]); !errors.Is(err, ErrDegenerate) {
		t.Errorf("a row and one: %v", err)
	}
	if err := fit(make([]CardPoint, 6), img); !errors.Is(err, ErrDegenerate) {
		t.Errorf("coincident: %v", err)
	}
	flipped, broken := append([]PixelPoint(nil), img...), append([]PixelPoint(nil), img...)
	for i := range flipped {
		flipped[i].X = photoW - 1 - flipped[i].X
	}
	if err := fit(card, flipped); !errors.Is(err, ErrMirrored) {
		t.Errorf("flipped: %v", err)
	}
	broken[3].Y = math.Inf(-1)
	if err := fit(card, broken); !errors.Is(err, ErrBadPoint) {
		t.Errorf("infinite: %v", err)
	}
}
