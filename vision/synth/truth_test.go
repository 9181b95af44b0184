package synth

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"stripgap/calib"
)

func truthOf(t *testing.T, s Scene) *Truth {
	t.Helper()
	st, err := newStage(&s)
	if err != nil {
		t.Fatal(err)
	}
	truth, err := st.truth()
	if err != nil {
		t.Fatal(err)
	}
	return truth
}

// By hand: a strip 18 mm long and 3 mm wide with 0.2 mm of taper, its wide end at
// +9 mm, leaves 0.5 mm out at each end, so the middle runs from 3 - 0.1 x 8.5/9 =
// 2.905556 to 3.094444 mm; the section of 0.15 mm2 is then 0.051625 mm thick at
// the narrow end and 0.048474 at the wide one.
func TestTruthByHand(t *testing.T) {
	s := plainScene(0)
	strip := truthOf(t, s).Strips[0]
	near(t, "length", strip.LengthMM, 18, 1e-9)
	near(t, "mean", strip.MeanWidth, 3, 1e-9)
	near(t, "from", strip.MiddleFrom, 0.5, 1e-9)
	near(t, "to", strip.MiddleTo, 17.5, 1e-9)
	near(t, "taper", strip.Taper, 0.2*17/18, 1e-9)
	near(t, "slope", strip.WidthSlope, -0.2/18, 1e-9)
	near(t, "bow", strip.Bow, 0, 1e-9)
	near(t, "front width", strip.Ends[0].Width, 3.094444, 1e-6)
	near(t, "rear width", strip.Ends[1].Width, 2.905556, 1e-6)
	near(t, "front clearance", strip.Ends[0].Clearance, 0.048474, 1e-6)
	near(t, "rear clearance", strip.Ends[1].Clearance, 0.051625, 1e-6)
	near(t, "clearance taper", strip.ClearTaper, 0.048474-0.051625, 2e-6)
	near(t, "front x", strip.Ends[0].Card.X, 2+9, 1e-9)
	near(t, "front y", strip.Ends[0].Card.Y, 41, 1e-9)
	if n := len(strip.Profile); n != 69 { // 17 mm in steps of 0.25
		t.Errorf("stations: got %d, want 69", n)
	}
}

// The bow of 3 + 0.09 (1/3 - 4 (s/18)^2) over the middle 17 mm is 0.09 x
// (17/18)^2.
func TestBow(t *testing.T) {
	s := plainScene(0)
	s.Strips[0].Bow = 0.09
	near(t, "bow", truthOf(t, s).Strips[0].Bow, 0.09*17*17/18/18, 1e-6)
}

// A swaying strip keeps its width: it is measured square to the centreline.
func TestSwayKeepsWidth(t *testing.T) {
	s := plainScene(0)
	s.Strips[0].Sway, s.Strips[0].Taper, s.Pose.Tilt = 0.5, 0, 0
	truth := truthOf(t, s)
	for _, p := range truth.Strips[0].Profile {
		near(t, "width", p.Width, 3, 1e-9)
		near(t, "pixels", p.Left.Sub(p.Right).Norm(), 3*truth.PixelsPerMM, 0.005*truth.PixelsPerMM)
	}
}

func TestEndNames(t *testing.T) {
	for angle, want := range map[float64][2]string{0: {"rear", "front"}, 59: {"rear", "front"}, 61: {"b", "a"},
		90: {"b", "a"}, 121: {"front", "rear"}, 180: {"front", "rear"}, -90: {"a", "b"}, 299: {"a", "b"}} {
		low, high := (&Strip{Angle: angle}).names()
		if got := [2]string{low, high}; got != want {
			t.Errorf("angle %g: got %v, want %v", angle, got, want)
		}
	}
}

// Turning a strip end for end changes nothing that can be seen of a strip whose
// taper is turned with it.
func TestTurnedStripIsTheSame(t *testing.T) {
	s := plainScene(20)
	a := truthOf(t, s).Strips[0]
	s.Strips[0].Angle, s.Strips[0].Taper = 200, -s.Strips[0].Taper
	b := truthOf(t, s).Strips[0]
	near(t, "taper", b.Taper, a.Taper, 1e-9)
	near(t, "front x", b.Ends[0].Pixel.X, a.Ends[0].Pixel.X, 1e-6)
	for i := range a.Profile {
		near(t, "left x", b.Profile[i].Left.X, a.Profile[i].Left.X, 1e-6)
		near(t, "right y", b.Profile[i].Right.Y, a.Profile[i].Right.Y, 1e-6)
	}
}

// Over a groove the strip keeps the diameter of its strand, 2 sqrt(A / pi), and
// its stations there say so and stay out of the mean.
func TestGrooveIsBridged(t *testing.T) {
	s := plainScene(0)
	s.Strips[0].Taper = 0
	s.Surface.GrooveU, s.Surface.GrooveHalf = 2, 1.2
	strip := truthOf(t, s).Strips[0]
	near(t, "mean", strip.MeanWidth, 3, 0.01)
	over := 0
	for _, p := range strip.Profile {
		if p.Over == "groove" {
			over++
		}
		if u := 9 - p.At; math.Abs(u-2) < 0.3 {
			near(t, "width over the groove", p.Width, 2*math.Sqrt(0.15/math.Pi), 1e-3)
		}
	}
	if over < 9 || over > 13 { // 2.4 mm, and 0.35 on either side, in steps of 0.25
		t.Errorf("stations over the groove: got %d, want 9 to 13", over)
	}
}

func TestFaultsAreNoted(t *testing.T) {
	for want, f := range map[string]Fault{"torn": {TornAt: 9, TornBy: 2}, "rolled": {RollFrom: 9, RollBy: 0.5}} {
		s := plainScene(0)
		s.Strips[0].Fault = f
		found := false
		for _, p := range truthOf(t, s).Strips[0].Profile {
			found = found || p.Over == want
		}
		if !found {
			t.Errorf("no station is noted as %s", want)
		}
	}
}

// With print scale a mark's centre moves with it: 38.6 x 1.01 mm.
func TestMarkTruthFollowsPrint(t *testing.T) {
	s := plainScene(0)
	s.Card.ScaleX, s.Card.ScaleY = 1.01, 0.99
	m := truthOf(t, s).Marks[2]
	near(t, "x", m.Card.X, 38.986, 1e-9)
	near(t, "y", m.Card.Y, 22.572, 1e-9)
}

// The warp from drawing to paper and back, and its size.
func TestPrintWarp(t *testing.T) {
	s := plainScene(0)
	s.Card.JitterUM, s.Card.ScaleX = 5, 1.01
	p, err := newPrinted(&s)
	if err != nil {
		t.Fatal(err)
	}
	var squares float64
	n := 0
	for x := -40.0; x <= 40; x++ {
		for y := -25.0; y <= 25; y++ {
			q := p.paper(calib.CardPoint{X: x, Y: y})
			bx, by := p.drawing(q.X, q.Y)
			near(t, "x", bx, x, 5e-5)
			near(t, "y", by, y, 5e-5)
			squares += (q.Y - y) * (q.Y - y)
			n++
		}
	}
	near(t, "jitter, mm", math.Sqrt(squares/float64(n)), 0.005, 0.002) // few waves over one card
}

func TestStrata(t *testing.T) {
	for _, stratum := range Strata() {
		for i := range uint64(4) {
			s, err := Random(rand.New(rand.NewPCG(3, i)), stratum)
			if err != nil {
				t.Fatal(err)
			}
			again, err := Random(rand.New(rand.NewPCG(3, i)), stratum)
			if err != nil || !reflect.DeepEqual(s, again) {
				t.Errorf("%s %d: the same seed gave another scene (%v)", stratum, i, err)
			}
			checkStratum(t, &s, stratum)
		}
	}
}

// checkStratum holds a scene against what its stratum's documentation says.
func checkStratum(t *testing.T, s *Scene, stratum Stratum) {
	t.Helper()
	truth := truthOf(t, *s)
	inside := 0
	for _, m := range truth.Marks {
		if m.Inside {
			inside++
		}
	}
	if whole := inside == len(truth.Marks); whole == (stratum == HalfCard) {
		t.Errorf("%s: %d of %d marks in the photo", stratum, inside, len(truth.Marks))
	}
	want := map[Stratum]int{NoStrip: 0, TwoStrips: 2}
	strips, known := want[stratum]
	if !known {
		strips = 1
	}
	if len(truth.Strips) != strips {
		t.Errorf("%s: %d strips, want %d", stratum, len(truth.Strips), strips)
	}
	for _, f := range truth.Strips {
		if stratum != HalfCard && f.InFrame == (stratum == CutOff) {
			t.Errorf("%s: strip in frame: %v", stratum, f.InFrame)
		}
		if w := f.MeanWidth; w < 0.7 || w > 5.1 {
			t.Errorf("%s: mean width %g mm, want about 0.8 to 5", stratum, w)
		}
	}
	if stratum == Flat && (s.Pose.Tilt > 25 || s.Optics.Blur > 2 || s.Strips[0].Height != 0) {
		t.Errorf("flat: tilt %g, blur %g, height %g", s.Pose.Tilt, s.Optics.Blur, s.Strips[0].Height)
	}
}

// Two photos of a pair show the same strip, print and metal, down to the
// roughness, under different noise.
func TestPairShowsOneStrip(t *testing.T) {
	for i := range uint64(8) {
		pair, err := RandomPair(rand.New(rand.NewPCG(1, i)))
		if err != nil {
			t.Fatal(err)
		}
		a, b := truthOf(t, pair[0]), truthOf(t, pair[1])
		if x, y := a.Strips[0], b.Strips[0]; x.MeanWidth != y.MeanWidth || x.WidthSlope != y.WidthSlope || x.LengthMM != y.LengthMM {
			t.Errorf("pair %d: strips %g mm, slope %g and %g mm, slope %g", i, x.MeanWidth, x.WidthSlope, y.MeanWidth, y.WidthSlope)
		}
		var metal [2]*metal
		var prints [2]*printed
		for k := range pair {
			s := &pair[k]
			cam := newCamera(s.Camera, s.Pose)
			metal[k] = newMetal(&s.Surface, newFrame(&s.Strips[0], &s.Surface, cam), s.Seed, s.Pose.Distance/cam.f)
			if prints[k], err = newPrinted(s); err != nil {
				t.Fatal(err)
			}
		}
		if !slices.Equal(metal[0].lines, metal[1].lines) || metal[0].lineStep != metal[1].lineStep {
			t.Errorf("pair %d: the machining lines differ", i)
		}
		if !reflect.DeepEqual(prints[0].jitter, prints[1].jitter) {
			t.Errorf("pair %d: the prints differ", i)
		}
		if pair[0].Shot == pair[1].Shot {
			t.Errorf("pair %d: both photos have the same noise", i)
		}
	}
}

func TestRandomRefusesUnknownStratum(t *testing.T) {
	if _, err := Random(rand.New(rand.NewPCG(1, 1)), "easy"); !errors.Is(err, ErrStratum) {
		t.Errorf("got %v, want ErrStratum", err)
	}
}

func TestBadScenes(t *testing.T) {
	for want, spoil := range map[string]func(*Scene){
		"camera.width":          func(s *Scene) { s.Camera.Width = 5000 },
		"pose.tilt_deg":         func(s *Scene) { s.Pose.Tilt = math.NaN() },
		"optics.blur_px":        func(s *Scene) { s.Optics.Blur = 0 },
		"card.ink_um":           func(s *Scene) { s.Card.InkUM = 90 },
		"strips[0].width_mm":    func(s *Scene) { s.Strips[0].Width = 0 },
		"surface.radius_mm":     func(s *Scene) { s.Surface.Kind = "shell" },
		`surface kind "round"`:  func(s *Scene) { s.Surface.Kind = "round" },
		`no card layout "rule"`: func(s *Scene) { s.Card.Layout = "rule" },
		"stations":              func(s *Scene) { s.Surface.GrooveHalf = 20 },
		"serial":                func(s *Scene) { s.Card.Serial = "222223" },
	} {
		s := plainScene(0)
		spoil(&s)
		if _, _, err := Render(s); !errors.Is(err, ErrScene) || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want ErrScene with %q", err, want)
		}
	}
}
