package vision

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// pairScenes draws two scenes of one strip that lies 0 to 5 mm above the card
// and 5 to 10 degrees off its plane, in any direction, seen from both sides of
// the strip at 12 to 20 degrees.
func pairScenes(rng *rand.Rand, width, height int) [2]synth.Scene {
	in := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	s := synth.NewScene("bench")
	s.Card.Serial = "6C3H2P"
	s.Seed = rng.Uint64() >> 11
	s.Camera.Width, s.Camera.Height = width, height
	s.Camera.Focal35 = in(25.5, 26.5)
	s.Camera.K1 = in(-0.02, 0.02)
	tilt, way := in(5, 10), in(0, 2*math.Pi)
	w := in(1.5, 4)
	s.Strips = []synth.Strip{{
		Centre: calib.CardPoint{X: in(-10, 10), Y: -27 - in(5, 12) - w/2}, Height: in(0, 5), Angle: in(-10, 10),
		TiltAlong: tilt * math.Cos(way), TiltAcross: tilt * math.Sin(way),
		Length: in(15, 25), Width: w, Taper: w * in(-0.1, 0.1), SectionArea: 0.1,
		RoughUM: in(1, 6), RoughScale: in(0.3, 1.5), Ragged: 0.4,
		Colour: synth.RGB{0.1, 0.4, 0.15}, Opacity: 60, Gloss: 0.3,
	}}
	s.Surface.Finish, s.Surface.LineDepth, s.Surface.LineAngle = "brushed", 0.4, in(-90, 90)
	s.Card.InkUM, s.Card.JitterUM, s.Card.Grain = in(-10, 30), in(0, 4), 0.012
	s.Optics.Blur = in(0.7, 1.3)
	s.Sensor = synth.Sensor{FullWell: in(3000, 12000), Read: 4, Bayer: true, Red: 0.6, Blue: 0.7, CastRed: 1, CastBlue: 1}
	s.Processing = synth.Processing{Sharpen: in(0, 0.8), SharpenRadius: in(0.8, 1.5), Curve: in(0, 0.3)}
	out := [2]synth.Scene{s, s}
	for i := range out {
		out[i].Shot = uint64(i)
		out[i].Pose = synth.Pose{
			Target: calib.CardPoint{X: in(-3, 3), Y: s.Strips[0].Centre.Y / 2}, Distance: in(115, 140),
			Tilt: in(12, 20), Azimuth: 90 + 180*float64(i) + s.Strips[0].Angle + in(-20, 20), Roll: in(-8, 8),
		}
	}
	return out
}

// photograph renders a scene and decodes it.
func photograph(t testing.TB, s synth.Scene) (*Photo, *synth.Truth) {
	t.Helper()
	data, truth, err := synth.Render(s)
	if err != nil {
		t.Fatal(err)
	}
	return mustDecode(t, "rendered.jpg", data), truth
}

// TestMeasurePairRendered asks two photos for what they are made for: height 0
// to 5 mm and tilt 5 to 10 degrees unknown, widths within 0.5 % where one photo
// is wrong by several per cent. The photos have a quarter of the usual pixels.
func TestMeasurePairRendered(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	const pairs = 4
	alone := 0.0
	for i := range pairs {
		scenes := pairScenes(rand.New(rand.NewPCG(1, uint64(i))), 2000, 1500)
		var photos [2]*Photo
		var truth *synth.Truth
		worst := 0.0
		for k, s := range scenes {
			photos[k], truth = photograph(t, s)
			if m, err := Measure(photos[k], Options{}); err == nil {
				worst = math.Max(worst, math.Abs(m.Profile.Mean/truth.Strips[0].MeanWidth-1))
			}
		}
		alone += worst / pairs
		m, err := MeasurePair(photos[0], photos[1], Options{})
		if err != nil {
			t.Errorf("pair %d: %v", i, err)
			continue
		}
		if slices.Contains(m.Flags, FlagSurfaceAssumed) {
			t.Errorf("pair %d: flags %v, although the plane is solved", i, m.Flags)
		}
		off := m.Profile.Mean/truth.Strips[0].MeanWidth - 1
		t.Logf("pair %d: one photo off by up to %.1f %%, two by %+.3f %% (u %.3f %%)", i, 100*worst, 100*off, 100*m.Profile.U/m.Profile.Mean)
		if math.Abs(off) > 0.005 || math.Abs(off) > 2*m.Profile.U/m.Profile.Mean {
			t.Errorf("pair %d: width off by %+.3f %%, u %.3f %%", i, 100*off, 100*m.Profile.U/m.Profile.Mean)
		}
		checkSolved(t, i, m, scenes[0].Strips[0])
		if i == 0 {
			checkSwapped(t, m, photos)
			checkMisfits(t, photos)
		}
	}
	if alone < 0.03 { // "several per cent"
		t.Errorf("one photo is off by %.1f %% on average: the scenes do not show what two photos are for", 100*alone)
	}
}

// checkSolved compares the solved plane with the renderer's. Its uncertainties
// are standard ones; one of 12 true values lies beyond three of them in 3 % of such tests.
func checkSolved(t *testing.T, i int, m *Measurement, s synth.Strip) {
	t.Helper()
	const k = 3
	rad := func(deg float64) float64 { return deg * math.Pi / 180 }
	// The renderer tilts the strip's left side by TiltAcross about the strip's
	// axis, which already leans by TiltAlong.
	along, across := math.Tan(rad(s.TiltAlong)), math.Tan(rad(s.TiltAcross))/math.Cos(rad(s.TiltAlong))
	sin, cos := math.Sincos(rad(s.Angle))
	p, u := m.Strip.Plane, m.Solved.U
	for _, c := range []struct {
		name         string
		got, want, u float64
	}{
		{"height", p.At(s.Centre).Z, s.Height, u.Height},
		{"slope along", p.SlopeX*cos + p.SlopeY*sin, along, u.Along},
		{"slope across", -p.SlopeX*sin + p.SlopeY*cos, across, u.Across},
	} {
		t.Logf("pair %d: %-12s %+.4f, truth %+.4f, u %.4f", i, c.name, c.got, c.want, c.u)
		if math.Abs(c.got-c.want) > k*c.u {
			t.Errorf("pair %d: %s %+.4f, truth %+.4f, u %.4f", i, c.name, c.got, c.want, c.u)
		}
	}
	if d := m.Strip.Axis.Dir; math.Abs(m.Solved.Along-(p.SlopeX*d.X+p.SlopeY*d.Y)) > 1e-9 {
		t.Errorf("pair %d: slope along %g is not the plane's", i, m.Solved.Along)
	}
}

// checkSwapped asks for the same reading whichever photo comes first.
func checkSwapped(t *testing.T, m *Measurement, photos [2]*Photo) {
	t.Helper()
	w, err := MeasurePair(photos[1], photos[0], Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		a, b float64
	}{
		{"mean", m.Profile.Mean, w.Profile.Mean}, {"u", m.Profile.U, w.Profile.U},
		{"taper", m.Profile.Taper, w.Profile.Taper}, {"height", m.Solved.Height, w.Solved.Height},
		{"along", m.Solved.Along, w.Solved.Along}, {"across", m.Solved.Across, w.Solved.Across},
	} {
		// The solution stops within 1e-3 standard deviations, some 1e-5 mm here.
		if math.Abs(c.a-c.b) > 1e-5 {
			t.Errorf("%s: %.8f, swapped %.8f", c.name, c.a, c.b)
		}
	}
	for i := range m.Profile.Ends {
		if m.Profile.Ends[i].Name != w.Profile.Ends[i].Name {
			t.Errorf("end %d is %q, swapped %q", i, m.Profile.Ends[i].Name, w.Profile.Ends[i].Name)
		}
	}
}

// checkMisfits pairs photos that are no pair.
func checkMisfits(t *testing.T, photos [2]*Photo) {
	t.Helper()
	m, err := MeasurePair(photos[0], photos[0], Options{})
	if code := refusalCode(err); code != CodePairTooAlike || m == nil || m.Profile != nil {
		t.Errorf("the same photo twice: %s, %+v", code, m)
	}
	other := pairScenes(rand.New(rand.NewPCG(1, 9)), 2000, 1500)[1]
	stranger, _ := photograph(t, other)
	if _, err := MeasurePair(photos[0], stranger, Options{}); refusalCode(err) != CodePairMismatch {
		t.Errorf("another strip: %s", refusalCode(err))
	}
	empty := other
	empty.Strips = nil
	bare, _ := photograph(t, empty)
	m, err = MeasurePair(photos[0], bare, Options{})
	if code := refusalCode(err); code != CodeNoStrip || m == nil || m.Profile != nil || !m.OfSecond {
		t.Errorf("no strip in the second photo: %s, %+v", code, m)
	}
}
