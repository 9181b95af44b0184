package pipeline

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// phoneScene is the bench card by a phone whose lens differs from what EXIF and
// habit tell: 27 mm equivalent instead of 26, principal point 0.45 % of the width
// off, barrel distortion. The sensor's picture is 1600 x 1200 px.
func phoneScene(t *testing.T, tilt, azimuth float64, orientation int) synth.Scene {
	t.Helper()
	s := benchScene(t, "bench")
	s.Camera = synth.Camera{Width: 1600, Height: 1200, Focal35: 27, ExifFocal: 26, OffsetX: 6, OffsetY: -4, K1: -0.03}
	if orientation == 6 { // upright, the sensor's x runs down and its y to the left
		s.Camera.Width, s.Camera.Height = 1200, 1600
		s.Camera.OffsetX, s.Camera.OffsetY = 4, 6
		s.Pose.Roll = 90
	}
	s.Output.Orientation = orientation
	s.Pose.Distance, s.Pose.Tilt, s.Pose.Azimuth = 105, tilt, azimuth
	s.Optics.Blur = 0.7
	return s
}

func renderPhoto(t *testing.T, s synth.Scene) *vision.Photo {
	t.Helper()
	data, _, err := synth.Render(s)
	if err != nil {
		t.Fatal(err)
	}
	photo, err := vision.Decode("rendered.jpg", data)
	if err != nil {
		t.Fatal(err)
	}
	return photo
}

// TestLearnThenRead learns a camera from rendered photos, two of them held
// upright, compares it with the renderer's, and reads a strip with it.
func TestLearnThenRead(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	var sights []CardSight
	for i, orientation := range []int{1, 6, 1, 6} {
		scene := phoneScene(t, 20, 90*float64(i)+20, orientation)
		scene.Strips = nil
		s, err := SeeCard(renderPhoto(t, scene))
		if err != nil {
			t.Fatal(err)
		}
		sights = append(sights, s)
	}
	phone, fit, err := LearnPhone(sights)
	if err != nil {
		t.Fatal(err)
	}
	if want := (calib.PhoneKey{Make: "Rendered", Model: "stripgap synth", Focal35MM: 26, Width: 1600, Height: 1200}); phone.Key != want {
		t.Errorf("key %+v, want %+v", phone.Key, want)
	}
	f := synth.FocalPixels(27, 1600, 1200)
	c, u := phone.Camera, func(i int) float64 { return math.Sqrt(phone.Cov.At(i, i)) }
	t.Logf("F %.1f of %.1f px, k1 %.4f, principal point %.2f, %.2f px; u %.2g %.2g %.2g %.2g; rms %.3f px",
		c.F, f, c.K1, c.CX, c.CY, u(0), u(1), u(2), u(3), fit.RMS)
	for i, e := range [4]float64{math.Log(c.F / f), c.K1 + 0.03, c.CX - (799.5 + 6), c.CY - (599.5 - 4)} {
		if math.Abs(e) > 2*u(i) {
			t.Errorf("parameter %d is off by %g, u %g", i, e, u(i))
		}
	}
	for _, orientation := range []int{1, 6} {
		scene := phoneScene(t, 2, 30, orientation)
		alone, uAlone := readWith(t, renderPhoto(t, scene), nil) // which closes the photo
		learnt, uLearnt := readWith(t, renderPhoto(t, scene), []calib.Phone{phone})
		t.Logf("orientation %d: F %.1f px, u %.2g; with the profile %.1f px, u %.2g", orientation, alone.F, uAlone, learnt.F, uLearnt)
		if uLearnt > uAlone/2 {
			t.Errorf("orientation %d: u(ln F) %.2g with the profile, %.2g without", orientation, uLearnt, uAlone)
		}
		if e := math.Log(learnt.F / f); math.Abs(e) > 2*uLearnt {
			t.Errorf("orientation %d: ln F off by %.2g, u %.2g", orientation, e, uLearnt)
		}
	}
}

// readWith reads a photo and returns the camera it was read with and u(ln F).
func readWith(t *testing.T, photo *vision.Photo, phones []calib.Phone) (calib.Camera, float64) {
	t.Helper()
	var view *calib.View
	r := &Reader{
		Load: func(string) (*vision.Photo, error) { return photo, nil },
		Measure: func(p *vision.Photo, o vision.Options) (*vision.Measurement, error) {
			m, err := vision.Measure(p, o)
			view = m.View
			return m, err
		},
		Given: Given{Phones: phones, Coverage: 2},
	}
	if result := r.Read(Task{Photo: "strip.jpg"}).Result; result.Outcome != OutcomeRead {
		t.Fatalf("refused: %+v", result.Refusal)
	}
	return view.Camera, math.Sqrt(view.Cov.At(6, 6))
}

// TestOptionsChooseTheProfile: photos read together take a profile only where one
// speaks for all of them, and never in place of a prior that was given.
func TestOptionsChooseTheProfile(t *testing.T) {
	phone, _, err := LearnPhone(sights(5, 0.35))
	if err != nil {
		t.Fatal(err)
	}
	other := phone // of a longer lens
	other.Key.Model, other.Camera.F = "d", 1.2*phone.Camera.F
	photo := func(model string, orientation, w, h int) *vision.Photo {
		p := &vision.Photo{Luma: &vision.Plane{W: w, H: h}}
		p.Exif = vision.Exif{Make: "a", Model: model, Orientation: orientation}
		return p
	}
	lying, upright := photo("b", 1, 1600, 1200), photo("b", 6, 1200, 1600)
	given := calib.Prior{F: 1000, FRel: 0.1, K1SD: 0.1}
	for _, c := range []struct {
		name   string
		given  calib.Prior
		photos []*vision.Photo
		f      float64
	}{
		{"one", calib.Prior{}, []*vision.Photo{lying}, phone.Camera.F},
		{"two alike", calib.Prior{}, []*vision.Photo{upright, upright}, phone.Camera.F},
		{"one lying, one upright", calib.Prior{}, []*vision.Photo{lying, upright}, 0},
		{"another phone", calib.Prior{}, []*vision.Photo{photo("c", 1, 1600, 1200)}, 0},
		{"another size", calib.Prior{}, []*vision.Photo{photo("b", 1, 1200, 900)}, 0},
		{"one of each", calib.Prior{}, []*vision.Photo{lying, photo("c", 1, 1600, 1200)}, 0},
		{"one each of two known", calib.Prior{}, []*vision.Photo{lying, photo("d", 1, 1600, 1200)}, 0},
		{"stored mirrored", calib.Prior{}, []*vision.Photo{photo("b", 2, 1600, 1200)}, 0},
		{"a prior is given", given, []*vision.Photo{lying}, given.F},
	} {
		r := &Reader{Given: Given{Options: vision.Options{Prior: c.given}, Phones: []calib.Phone{phone, other}}}
		o, camera := r.options(Task{}, c.photos...)
		if got := o.Prior.F; got != c.f {
			t.Errorf("%s: F %g px, want %g", c.name, got, c.f)
		}
		if (camera == nil) != (c.given.F > 0) || camera != nil && (camera.From == fromProfile) != (c.f > 0) {
			t.Errorf("%s: camera known from %+v", c.name, camera)
		}
	}
}

func TestSeeCardRefuses(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	rider := benchScene(t, "rider")
	rider.Camera.Width, rider.Camera.Height, rider.Strips = 1600, 1200, nil
	photo := renderPhoto(t, rider)
	refused := func(name, code string) {
		t.Helper()
		_, err := SeeCard(photo)
		var why *vision.Refusal
		if !errors.As(err, &why) || why.Code != code || why.Remedy == "" {
			t.Errorf("%s: %v, want %s", name, err, code)
		}
	}
	refused("a rider", codeNotBenchCard)
	photo.Exif.Orientation = 2
	refused("a mirrored picture", codeNoPhone)
	photo.Exif.Orientation, photo.Exif.Model = 1, ""
	refused("no model", codeNoPhone)
	rider.Card.Layout, rider.Card.Bearing, rider.Pose.Distance = "bench", "", 400
	rider.Optics.Blur = 8
	photo = renderPhoto(t, rider)
	refused("marks blurred away", vision.CodeNoCard)
}

// sights makes the sights of a phone without photos: the bench card's marks by a
// camera of 1250 px over the card, leaning by tilt to n sides in turn.
func sights(n int, tilt float64) []CardSight {
	var out []CardSight
	for i := range n {
		sinT, cosT := math.Sincos(tilt)
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		s := CardSight{Photo: fmt.Sprintf("%d.jpg", i), Focal: 1250, Tilt: tilt, Key: calib.PhoneKey{Make: "a", Model: "b", Width: 1600, Height: 1200}}
		s.Shot.Sigma = 0.02
		for _, m := range calib.Bench().Marks {
			// Along the lean and across it, then over the depth.
			a, b := m.Centre.X*cos+m.Centre.Y*sin, m.Centre.Y*cos-m.Centre.X*sin
			depth := 130 - a*sinT
			a *= cosT
			x, y := (a*cos-b*sin)/depth, (a*sin+b*cos)/depth
			s.Shot.Card = append(s.Shot.Card, m.Centre)
			s.Shot.Image = append(s.Shot.Image, calib.PixelPoint{X: 799.5 + 1250*x, Y: 599.5 - 1250*y})
		}
		out = append(out, s)
	}
	return out
}

func TestLearnPhoneRefuses(t *testing.T) {
	if _, _, err := LearnPhone(sights(5, 0.35)); err != nil {
		t.Fatalf("five good photos: %v", err)
	}
	zoomed, moved := sights(5, 0.35), sights(5, 0.35)
	zoomed[3].Key.Focal35MM = 52
	moved[2].Shot.Image[0].X += 2
	for _, c := range []struct {
		name   string
		sights []CardSight
		is     error
		says   string
	}{
		{"none", nil, calib.ErrFewShots, "at least 4"},
		{"three", sights(3, 0.35), calib.ErrFewShots, "at least 4"},
		{"level", sights(5, 0.01), calib.ErrUndetermined, "tilted by 1, 1, 1, 1, 1 degrees"},
		{"zoomed", zoomed, nil, "3.jpg is by a b (52 mm equivalent) 1600 x 1200 px, but 0.jpg by a b 1600 x 1200 px"},
		{"a mark moved", moved, calib.ErrStranger, "2.jpg: marks off by"},
	} {
		_, _, err := LearnPhone(c.sights)
		if err == nil || c.is != nil && !errors.Is(err, c.is) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
}
