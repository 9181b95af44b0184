package synth

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"image"
	"image/jpeg"
	"math"
	"testing"

	"github.com/bep/imagemeta"
)

func noisyScene() Scene {
	s := plainScene(5)
	s.Seed = 77
	s.Camera.Width, s.Camera.Height = 500, 375
	s.Card.JitterUM, s.Card.Grain = 3, 0.01
	s.Surface.Finish, s.Surface.LineDepth, s.Surface.Specks, s.Surface.Scratches = "honed", 0.5, 50, 10
	s.Strips[0].RoughUM, s.Strips[0].RoughScale, s.Strips[0].Ragged = 5, 0.5, 0.4
	s.Optics = Optics{Blur: 1, Defocus: 1.2, MotionX: 1, FringeRed: 2e-4}
	s.Sensor = Sensor{FullWell: 3000, Read: 3, Bayer: true, Red: 0.6, Blue: 0.7, CastRed: 1, CastBlue: 1}
	s.Processing = Processing{Curve: 0.4, Denoise: 0.3, Sharpen: 1, SharpenRadius: 1}
	return s
}

func TestSameSceneSameBytes(t *testing.T) {
	a, truth, err := Render(noisyScene())
	if err != nil {
		t.Fatal(err)
	}
	b, _, err := Render(noisyScene())
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a, b) {
		t.Error("the same scene gave two different photos")
	}
	sum := sha256.Sum256(a)
	if got := hex.EncodeToString(sum[:]); got != truth.PhotoSHA256 {
		t.Errorf("sha256: got %s, want %s", truth.PhotoSHA256, got)
	}
	for what, change := range map[string]func(*Scene){
		"seed": func(s *Scene) { s.Seed++ },
		"shot": func(s *Scene) { s.Shot++ },
	} {
		other := noisyScene()
		change(&other)
		c, _, err := Render(other)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Equal(a, c) {
			t.Errorf("another %s gave the same photo", what)
		}
	}
}

// EXIF is read back by an independent reader, the picture by the standard
// library's decoder.
func TestFileIsReadable(t *testing.T) {
	s := noisyScene()
	s.Output.Orientation = 6
	photo, _, err := Render(s)
	if err != nil {
		t.Fatal(err)
	}
	img, err := jpeg.Decode(bytes.NewReader(photo))
	if err != nil {
		t.Fatal(err)
	}
	// Orientation 6 is shown after a quarter turn, so the file is upright.
	if got := img.Bounds().Size(); got != image.Pt(375, 500) {
		t.Errorf("stored size: got %v, want 375 x 500", got)
	}
	tags := map[string]any{}
	_, err = imagemeta.Decode(imagemeta.Options{R: bytes.NewReader(photo), ImageFormat: imagemeta.JPEG,
		Sources:   imagemeta.EXIF,
		HandleTag: func(i imagemeta.TagInfo) error { tags[i.Tag] = i.Value; return nil }})
	if err != nil {
		t.Fatal(err)
	}
	for tag, want := range map[string]any{"Make": "Rendered", "Model": "stripgap synth", "Orientation": uint16(6),
		"FocalLengthIn35mmFormat": uint16(26), "ExifImageWidth": uint32(375), "ExifImageHeight": uint32(500)} {
		if tags[tag] != want {
			t.Errorf("%s: got %v (%T), want %v", tag, tags[tag], tags[tag], want)
		}
	}
}

// Where row 0 and column 0 of the stored picture are shown, by the table of
// CIPA DC-008 (also Exif 2.3, tag 274).
func TestOrientationTable(t *testing.T) {
	// Upright: top is darker than bottom by 100, left than right by 10.
	up := newPicture(2, 2)
	copy(up.c[0], []float32{0, 10, 100, 110})
	sides := map[string][2]float32{"top": {0, 10}, "bottom": {100, 110}, "left": {0, 100}, "right": {10, 110}}
	holds := func(side string, a, b float32) bool {
		s := sides[side]
		return s == [2]float32{a, b} || s == [2]float32{b, a}
	}
	for o, want := range map[int][2]string{1: {"top", "left"}, 2: {"top", "right"}, 3: {"bottom", "right"},
		4: {"bottom", "left"}, 5: {"left", "top"}, 6: {"right", "top"}, 7: {"right", "bottom"}, 8: {"left", "bottom"}} {
		v := orient(up, o).c[0]
		if !holds(want[0], v[0], v[1]) || !holds(want[1], v[0], v[2]) {
			t.Errorf("orientation %d: row 0 %v, column 0 %v, want %v", o, v[:2], []float32{v[0], v[2]}, want)
		}
	}
}

// A grid of codes and linear values by IEC 61966-2-1 (constants from memory).
func TestTone(t *testing.T) {
	tone := newTone(&Processing{})
	for code, linear := range map[float64]float32{0: 0, 10: 0.003035270, 64: 0.051269458, 128: 0.215860500, 188: 0.502886458, 255: 1} {
		near(t, "code", float64(tone.at(linear)), code, 0.06) // half a table step on the steepest part
	}
}

// Each response rises from its lift to white, and takes the form that its name says:
// a power of one over its strength, a logarithm of 1 and its strength times the light,
// and of Hill's equation, before sRGB, half of what much light gives at one over its
// strength (the definition of its half-saturation).
func TestResponse(t *testing.T) {
	rng := newRand(1, 2)
	kinds := map[string]int{}
	for range 200 {
		p := Processing{Response: drawResponse(rng)}
		r := p.Response
		kinds[r.Kind]++
		tone := newTone(&p)
		near(t, "black", float64(tone[0]), 255*r.Lift, 1e-4)
		near(t, "white", float64(tone[toneSteps]), 255, 1e-4)
		for i, v := range tone[1:] {
			if !(v > tone[i]) {
				t.Fatalf("%+v does not rise at %d", r, i)
			}
		}
		r.Lift = 0
		curve, err := r.curve()
		if err != nil {
			t.Fatal(err)
		}
		switch r.Kind {
		case "power":
			near(t, "power", math.Pow(curve(0.3), r.Strength), 0.3, 1e-12)
		case "log":
			near(t, "logarithm", math.Pow(1+r.Strength, curve(0.3)), 1+r.Strength*0.3, 1e-9)
		case "shoulder", "film":
			if k := r.Strength; k > 1 {
				n := map[string]float64{"shoulder": 1, "film": 1.25}[r.Kind]
				near(t, "half", curve(1/k), encodeSRGB((1+math.Pow(k, -n))/2), 1e-12)
			}
		}
	}
	if len(kinds) != 4 {
		t.Errorf("drew only %v", kinds)
	}
	for _, r := range []Response{{Kind: "gamma", Strength: 2}, {Kind: "power"}, {Kind: "log", Strength: math.NaN()}, {Lift: -0.1}} {
		s := NewScene("rider")
		s.Processing.Response = r
		if err := s.Validate(); !errors.Is(err, ErrScene) {
			t.Errorf("%+v: %v", r, err)
		}
	}
}

// The variance of photon and read noise adds: with 500 electrons and 5 of read
// noise the standard deviation is sqrt(525) electrons.
func TestSensorNoise(t *testing.T) {
	const n = 200000
	v := make([]float32, n)
	for i := range v {
		v[i] = 1 // times a filter of 0.5
	}
	s := Sensor{FullWell: 1000, Read: 5}
	s.read(v, 0.5, newRand(1, 1))
	var sum, squares float64
	for _, x := range v {
		sum += float64(x)
		squares += float64(x) * float64(x)
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	want := math.Sqrt(525) / 1000
	near(t, "mean", mean, 0.5, 5*want/math.Sqrt(n)) // five standard errors
	near(t, "sd", sd, want, 5*want/math.Sqrt(2*n)+1e-4)
}

// A point of light behind the lens: its centre moves by the magnification, its
// variance is the blur's.
func TestLensMovesAndBlursPoint(t *testing.T) {
	const w, h = 301, 5
	plane := make([]float32, w*h)
	for y := range h {
		plane[y*w+280] = 1
	}
	l := lens{sigma: 1.3, magnify: 1.002, cx: 150, cy: 2}
	out := l.sample(plane, w, h, 0, 0, 1)[2*w : 3*w]
	var m0, m1, m2 float64
	for x, v := range out {
		m0, m1, m2 = m0+float64(v), m1+float64(v)*float64(x), m2+float64(v)*float64(x*x)
	}
	mean := m1 / m0
	near(t, "centre", mean, 150+130*1.002, 1e-3)
	near(t, "variance", m2/m0-mean*mean, 1.3*1.3, 0.01) // magnified by 0.4 %
}

// Second moments of a uniform disc, r^2/4 each way, and of a line, L^2/12.
func TestSpotMoments(t *testing.T) {
	s, ok := newSpot(2.5, 3, 0)
	if !ok {
		t.Fatal("no spot")
	}
	side := 2*s.reach + 1
	var sum, xx, yy float64
	for i, g := range s.w {
		x, y := float64(i%side-s.reach), float64(i/side-s.reach)
		sum, xx, yy = sum+float64(g), xx+float64(g)*x*x, yy+float64(g)*y*y
	}
	const pixel = 1.0 / 12 // of the square each weight is gathered over (Sheppard), exact for smooth spots only
	near(t, "sum", sum, 1, 1e-5)
	near(t, "along", xx, 2.5*2.5/4+9.0/12+pixel, 0.06)
	near(t, "across", yy, 2.5*2.5/4+pixel, 0.06)
	if _, ok := newSpot(0, 0, 0); ok {
		t.Error("a point is not a spot")
	}
}

// Bilinear interpolation keeps any colour that is a plane in x and y, away from
// the border.
func TestDemosaicKeepsPlanes(t *testing.T) {
	const w, h = 12, 10
	colour := func(ch, x, y int) float32 { return float32(ch)*0.2 + 0.01*float32(x) - 0.005*float32(y) }
	raw := make([]float32, w*h)
	for y := range h {
		for x := range w {
			raw[y*w+x] = colour(x&1+y&1, x, y) // red, green, green, blue
		}
	}
	p := newPicture(w, h)
	demosaic(p, raw)
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			for ch := range 3 {
				near(t, "colour", float64(p.c[ch][y*w+x]), float64(colour(ch, x, y)), 1e-6)
			}
		}
	}
}

// Exposure: paper of reflectance 0.85 under level 0.8 is 0.68 linear, which
// IEC 61966-2-1 codes as 255 (1.055 x 0.68^(1/2.4) - 0.055) = 215.0.
func TestPaperBrightness(t *testing.T) {
	photo, truth, err := Render(plainScene(0))
	if err != nil {
		t.Fatal(err)
	}
	img, err := jpeg.Decode(bytes.NewReader(photo))
	if err != nil {
		t.Fatal(err)
	}
	h := truth.ImageFromCard
	x, y := 8.0, 26.0 // bare paper
	w := h[2][0]*x + h[2][1]*y + h[2][2]
	px, py := (h[0][0]*x+h[0][1]*y+h[0][2])/w, (h[1][0]*x+h[1][1]*y+h[1][2])/w
	luma := img.(*image.YCbCr).YCbCrAt(int(px), int(py)).Y
	near(t, "luma", float64(luma), 215, 1)
}

func BenchmarkRender12MP(b *testing.B) {
	s := noisyScene()
	s.Camera.Width, s.Camera.Height = 4000, 3000
	s.Pose.Distance, s.Pose.Target.Y = 120, 20
	s.Optics.Defocus, s.Optics.MotionX, s.Processing.Denoise = 0, 0, 0
	for b.Loop() {
		if _, _, err := Render(s); err != nil {
			b.Fatal(err)
		}
	}
}
