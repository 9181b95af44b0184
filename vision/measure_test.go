package vision

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// smallScene is the smallest photo that passes the gates: a card with a strip
// beside it, some blur, noise, tone and sharpening.
func smallScene(t testing.TB, layout string) synth.Scene {
	t.Helper()
	s := synth.NewScene(layout)
	s.Seed = 7
	s.Card.Serial = testSerial(t)
	strip := synth.Strip{Angle: 4, Length: 18, Width: 1.6, Taper: 0.05, Ragged: 0.2,
		SectionArea: 0.08, Colour: synth.RGB{0.1, 0.45, 0.15}, Opacity: 60}
	s.Camera.Focal35, s.Camera.ExifFocal = 60, 60 // cut from the middle of a phone's photo
	if layout == "rider" {
		s.Camera.Width, s.Camera.Height = 1000, 750
		s.Pose = synth.Pose{Distance: 78, Target: calib.CardPoint{X: 0, Y: 3}, Tilt: 8, Azimuth: 60, Roll: 3}
		strip.Centre = calib.CardPoint{X: 1, Y: 10}
	} else {
		s.Camera.Width, s.Camera.Height = 1500, 1200
		s.Pose = synth.Pose{Distance: 190, Target: calib.CardPoint{X: 0, Y: 8}, Tilt: 8, Azimuth: 60, Roll: 3}
		strip.Centre = calib.CardPoint{X: 4, Y: 36}
	}
	s.Strips = []synth.Strip{strip}
	s.Optics.Blur = 0.9
	s.Sensor.FullWell, s.Sensor.Read = 12000, 4
	s.Processing = synth.Processing{Curve: 0.2, Sharpen: 0.6, SharpenRadius: 1.2}
	return s
}

// shot renders a scene and decodes its photo.
func shot(t testing.TB, s synth.Scene) (*Photo, *synth.Truth) {
	t.Helper()
	data, truth, err := synth.Render(s)
	if err != nil {
		t.Fatal(err)
	}
	return mustDecode(t, s.Name, data), truth
}

// flat says that the strip lies in the plane of the card's face, as the small
// scenes are drawn, and that the print is true.
func flat() Options {
	return Options{PlaneU: &PlaneU{Height: 0.005, Along: 1e-3, Across: 1e-3}, Print: calib.PrintScale{X: 1, Y: 1, U: 2e-4}}
}

// turnedScenes are the small scenes the right way up, upside down, on their side
// with and without EXIF's orientation, steeper, and on darker and lighter metal.
func turnedScenes(t testing.TB) []synth.Scene {
	var out []synth.Scene
	add := func(name, layout string, change func(s *synth.Scene)) {
		s := smallScene(t, layout)
		s.Name = layout + ", " + name
		change(&s)
		out = append(out, s)
	}
	add("plain", "rider", func(s *synth.Scene) {})
	add("plain", "bench", func(s *synth.Scene) {})
	add("upside down", "rider", func(s *synth.Scene) { s.Pose.Roll += 180 })
	add("upside down by EXIF 3", "rider", func(s *synth.Scene) { s.Output.Orientation = 3 })
	add("on its side by EXIF 6", "rider", func(s *synth.Scene) { s.Output.Orientation = 6 })
	add("on its side by EXIF 8", "bench", func(s *synth.Scene) { s.Output.Orientation = 8 })
	add("mirrored by EXIF 2", "rider", func(s *synth.Scene) { s.Output.Orientation = 2 })
	add("portrait", "rider", func(s *synth.Scene) {
		s.Camera.Width, s.Camera.Height = s.Camera.Height, s.Camera.Width
		s.Pose.Roll += 90
	})
	add("tilted 30 degrees", "rider", func(s *synth.Scene) { s.Pose.Tilt, s.Pose.Azimuth = 30, 20 })
	add("light film on dark metal", "rider", func(s *synth.Scene) {
		s.Surface.Metal = synth.RGB{0.08, 0.08, 0.09}
		s.Strips[0].Colour = synth.RGB{0.3, 0.8, 0.4}
	})
	add("strip below, at 20 degrees", "bench", func(s *synth.Scene) {
		s.Pose.Target.Y = -8
		s.Strips[0].Centre.Y, s.Strips[0].Angle = -38, -20
	})
	return out
}

// TestMeasureReadsSmallPhotos: width, taper, ends, serial and scale of rendered
// photos against their exact truth, which shares no projection with this package.
func TestMeasureReadsSmallPhotos(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, s := range turnedScenes(t) {
		p, truth := shot(t, s)
		strip := truth.Strips[0]
		m, err := Measure(p, flat())
		if err != nil {
			t.Errorf("%s: %v", s.Name, err)
			continue
		}
		pr := m.Profile
		// Expanded by 2, and never beyond half a percent: these are clean photos.
		if d := pr.Mean - strip.MeanWidth; math.Abs(d) > 2*pr.U || math.Abs(d) > 0.005*strip.MeanWidth {
			t.Errorf("%s: width %.4f mm, truth %.4f, u %.4f", s.Name, pr.Mean, strip.MeanWidth, pr.U)
		}
		// The truth's taper is that of the middle; the profile's is carried to the ends.
		taper := strip.Taper * strip.LengthMM / (strip.MiddleTo - strip.MiddleFrom)
		if d := pr.Taper - taper; math.Abs(d) > 2.6*pr.TaperU || math.Abs(d) > 0.015 { // 2.6: 1 % of normal draws
			t.Errorf("%s: taper %.4f mm, truth %.4f, u %.4f", s.Name, pr.Taper, taper, pr.TaperU)
		}
		for i, e := range pr.Ends {
			want := strip.Ends[i]
			apart := math.Hypot(e.Card.X-want.Card.X, e.Card.Y-want.Card.Y)
			if e.Name != want.Name || apart > 0.6 || e.Pixel.Sub(want.Pixel).Norm() > 0.6*m.PxPerMM { // a station is 0.5 mm
				t.Errorf("%s: end %q at %v, truth %q at %v", s.Name, e.Name, e.Card, want.Name, want.Card)
			}
			if math.Abs(e.Width-want.Width) > 0.02 {
				t.Errorf("%s: %s end %.4f mm wide, truth %.4f", s.Name, e.Name, e.Width, want.Width)
			}
		}
		if m.Card.Serial != s.Card.Serial || m.Card.Layout.Name != s.Card.Layout {
			t.Errorf("%s: card %q of layout %q", s.Name, m.Card.Serial, m.Card.Layout.Name)
		}
		if relative(m.PxPerMM, truth.PixelsPerMM) > 0.15 { // across and along differ under tilt, by 1/cos 30 degrees
			t.Errorf("%s: %v px per mm, truth %v", s.Name, m.PxPerMM, truth.PixelsPerMM)
		}
		for _, c := range m.Checks {
			if !c.OK {
				t.Errorf("%s: read although %q failed", s.Name, c.Name)
			}
		}
	}
}

// TestMeasureCoverage: over seeds of noise and texture the width's scatter about
// the truth agrees with its standard uncertainty. The common terms (print, height,
// tilt of the plane) do not vary here and are small by the options; edge terms do.
// What is common to all photos of one edge is not drawn again, so the scatter may
// be well below u, never above.
func TestMeasureCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	square, said := 0.0, 0.0
	const draws = 12
	for seed := range draws {
		s := smallScene(t, "rider")
		s.Seed = uint64(100 + seed)
		s.Strips[0].Centre.Y += 0.013 * float64(seed) // another place on the pixel grid
		p, truth := shot(t, s)
		m, err := Measure(p, flat())
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		d := m.Profile.Mean - truth.Strips[0].MeanWidth
		square += d * d / draws
		said += m.Profile.U * m.Profile.U / draws
	}
	if ratio := math.Sqrt(square / said); ratio < 0.1 || ratio > 1.4 { // 12 draws know it to 20 %
		t.Errorf("scatters %.2f times its standard uncertainty, %.4f mm", ratio, math.Sqrt(said))
	}
}

// faulty is a small photo with one fault.
type faulty struct {
	name, layout, code string
	change             func(s *synth.Scene)
}

func (c faulty) refusal(t *testing.T) {
	t.Helper()
	s := smallScene(t, c.layout)
	s.Name = c.name
	c.change(&s)
	p, _ := shot(t, s)
	m, err := Measure(p, Options{})
	if got := refusalCode(err); got != c.code {
		t.Errorf("%s: %s (%v), want %s", c.name, got, err, c.code)
	}
	if m == nil {
		t.Errorf("%s: no measurement comes with the refusal", c.name)
	}
}

// TestMeasureRefuses: each photo is the small one but for one fault, and ends in
// that fault's own refusal.
func TestMeasureRefuses(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, c := range []faulty{
		{"no card", "rider", CodeNoCard, func(s *synth.Scene) { s.Pose.Target = calib.CardPoint{X: 90, Y: 60} }},
		{"half a card", "rider", CodeFewMarks, func(s *synth.Scene) { s.Pose.Target.X = 24 }},
		{"no strip", "rider", CodeNoStrip, func(s *synth.Scene) { s.Strips = nil }},
		{"two strips", "rider", CodeTwoStrips, func(s *synth.Scene) {
			second := s.Strips[0]
			second.Centre.Y += 4
			s.Strips = append(s.Strips, second)
		}},
		{"two strips, one on either side", "rider", CodeTwoStrips, func(s *synth.Scene) {
			second := s.Strips[0]
			second.Centre.Y = -10
			s.Strips = append(s.Strips, second)
		}},
		{"strip cut by the frame", "rider", CodeStripCutOff, func(s *synth.Scene) { s.Strips[0].Centre.X = 17 }},
		{"strip cut by the lower frame", "bench", CodeStripCutOff, func(s *synth.Scene) {
			s.Pose.Target.Y = 12
			s.Strips[0].Centre, s.Strips[0].Angle, s.Strips[0].Length = calib.CardPoint{X: 2, Y: 46}, 90, 26
		}},
		{"strip under the card", "rider", CodeStripReachesCard, func(s *synth.Scene) {
			t := &s.Strips[0]
			t.Fault.UnderCard, t.Height = true, -s.Card.Thickness/2
			t.Centre, t.Angle = calib.CardPoint{X: 3, Y: 10}, 60
		}},
		{"blurred", "rider", CodeBlurred, func(s *synth.Scene) { s.Optics.Blur = 3 }},
		{"over-sharpened, its halos cut off", "rider", CodeOverProcessed, func(s *synth.Scene) {
			s.Processing.Sharpen, s.Processing.SharpenRadius, s.Processing.Denoise = 5, 2.5, 0.8
		}},
		{"overexposed", "rider", CodeSaturated, func(s *synth.Scene) { s.Light.Level = 2.5 }},
		{"steep", "rider", CodeTilted, func(s *synth.Scene) { s.Pose.Tilt = 42 }},
		{"narrow strip", "bench", CodeNarrowStrip, func(s *synth.Scene) { s.Strips[0].Width, s.Strips[0].Taper = 0.5, 0 }},
		{"rider far away", "rider", CodeRiderGap, func(s *synth.Scene) {
			s.Pose.Target.Y, s.Pose.Distance = 6, 95
			s.Strips[0].Centre.Y = 17
		}},
		{"print stretched one way beyond any printer", "bench", CodeCardDistorted, func(s *synth.Scene) { s.Card.ScaleX = 1.06 }},
	} {
		c.refusal(t)
	}
}

// mirroredPhoto flips a photo left to right, as a selfie camera stores it. The
// width must be a multiple of the chroma's factor.
func mirroredPhoto(p *Photo) *Photo {
	flip := func(a *Plane) *Plane {
		b := NewPlane(a.W, a.H)
		for y := range a.H {
			for x, v := range a.Row(y) {
				b.Row(y)[a.W-1-x] = v
			}
		}
		return b
	}
	q := *p
	q.Luma, q.Cb, q.Cr = flip(p.Luma), flip(p.Cb), flip(p.Cr)
	return &q
}

func TestMeasureRefusesMirroredPhotos(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, layout := range []string{"rider", "bench"} {
		p, _ := shot(t, smallScene(t, layout))
		if _, err := Measure(mirroredPhoto(p), Options{}); refusalCode(err) != CodeMirrored {
			t.Errorf("%s: %v", layout, err)
		}
		if _, err := Measure(mirroredPhoto(mirroredPhoto(p)), Options{}); err != nil {
			t.Errorf("%s, flipped twice: %v", layout, err)
		}
	}
}

// TestScaleGate: the bars' pitch may be off by 0.1 % and twice its own noise. With
// u of 0.02 % on the whole group, and print jitter of 3 um on its 20 mm, the limit
// is 0.1 + 2 hypot(0.02, 0.015) = 0.15 %.
func TestScaleGate(t *testing.T) {
	for _, c := range []struct {
		off  float64
		code string
	}{{1.4e-3, ""}, {-1.4e-3, ""}, {1.6e-3, CodeScaleGate}, {-1.6e-3, CodeScaleGate}} {
		m := &Measurement{View: &calib.View{}, Card: &Card{Layout: calib.Bench()}, Bars: &Witness{BlurX: 1, BlurY: 1,
			Groups: []BarGroup{{Nominal: 1, Vertical: true, Pitch: 1 + c.off, U: 2e-4, Length: 20}, {Nominal: 1, Pitch: 1, U: 2e-4, Length: 20}}}}
		got := ""
		if r := m.gateBars(); r != nil {
			got = r.Code
		}
		if got != c.code {
			t.Errorf("off by %v: %q, want %q", c.off, got, c.code)
		}
	}
}

// TestScaleMustShow: a photo in which the bars of one direction cannot be measured
// does not prove its scale.
func TestScaleMustShow(t *testing.T) {
	m := &Measurement{View: &calib.View{}, Card: &Card{Layout: calib.Bench()}, Bars: &Witness{BlurX: 1, BlurY: 1,
		Groups: []BarGroup{{Nominal: 1, Vertical: true, Pitch: 1, U: 2e-4, Length: 20}}}}
	if r := m.gateBars(); r == nil || r.Code != CodeFewMarks {
		t.Errorf("bars along one side only: %v, want %s", r, CodeFewMarks)
	}
}

// readsTrue renders a scene and reads its strip on flat metal, to 1 % of its width.
func readsTrue(t *testing.T, s synth.Scene) {
	t.Helper()
	p, truth := shot(t, s)
	m, err := Measure(p, flat())
	if err != nil {
		t.Fatal(err)
	}
	if relative(m.Profile.Mean, truth.Strips[0].MeanWidth) > 0.01 {
		t.Errorf("width %.4f mm, truth %.4f", m.Profile.Mean, truth.Strips[0].MeanWidth)
	}
}
