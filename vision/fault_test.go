package vision

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// faultFlags are the flags that say something is the matter with a strip.
var faultFlags = []string{FlagSmeared, FlagRolled, FlagTorn, FlagOverGap}

// TestFaultsAreNamed: each photo is the small one but for one damage or opening,
// which its flag names and no other; a strip that is smeared or rolled is refused
// by that name, and what is read is still right.
func TestFaultsAreNamed(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, c := range []struct {
		name, flag, code string
		change           func(s *synth.Scene)
	}{
		{"sound", "", "no error", func(s *synth.Scene) {}},
		{"smeared a little", "", CodeUnevenEdges, func(s *synth.Scene) { s.Strips[0].Fault.Smear, s.Strips[0].Opacity = 0.5, 25 }},
		{"hard light, its shadow told by the colour", "", "no error", func(s *synth.Scene) {
			s.Light.Shadow, s.Light.Elevation, s.Light.Azimuth = 0.9, 30, -90
		}},
		{"smeared", FlagSmeared, CodeSmeared, func(s *synth.Scene) { s.Strips[0].Fault.Smear, s.Strips[0].Opacity = 1.2, 20 }},
		{"smeared beside the card", FlagSmeared, CodeSmeared, func(s *synth.Scene) {
			s.Strips[0].Fault.Smear, s.Strips[0].Opacity, s.Strips[0].Centre.Y = 1.2, 20, 8.9
		}},
		{"rolled", FlagRolled, CodeRolled, func(s *synth.Scene) { s.Strips[0].Fault.RollFrom, s.Strips[0].Fault.RollBy = 8, 0.4 }},
		{"wide, its ends round", "", "no error", func(s *synth.Scene) {
			k := &s.Strips[0]
			k.Width, k.Length, k.Centre.Y, k.EndRound = 4, 17, 11, 2.2
		}},
		{"torn", FlagTorn, "no error", func(s *synth.Scene) { s.Strips[0].Fault.TornAt, s.Strips[0].Fault.TornBy = 8, 1.5 }},
		{"wide and torn", FlagTorn, "no error", func(s *synth.Scene) {
			k := &s.Strips[0]
			k.Width, k.Length, k.Centre.Y = 4, 13, 11
			k.Fault.TornAt, k.Fault.TornBy = 6, 1.5
		}},
		{"over a hole", FlagOverGap, "no error", func(s *synth.Scene) { s.Surface.HoleU, s.Surface.HoleRadius = 2, 1.2 }},
		{"tapered, over a hole near an end", FlagOverGap, "no error", func(s *synth.Scene) {
			s.Surface.HoleU, s.Surface.HoleRadius, s.Strips[0].Taper = -5, 1.8, 0.5
		}},
		{"over a groove", FlagOverGap, "no error", func(s *synth.Scene) { s.Surface.GrooveU, s.Surface.GrooveHalf = -2, 0.8 }},
	} {
		s := smallScene(t, "rider")
		s.Name = c.name
		c.change(&s)
		p, truth := shot(t, s)
		m, err := Measure(p, flat())
		if got := refusalCode(err); got != c.code {
			t.Errorf("%s: %s, want %s", c.name, got, c.code)
		}
		for _, f := range faultFlags {
			if seen := m != nil && slices.Contains(m.Flags, f); seen != (f == c.flag) {
				t.Errorf("%s: flags %v, want %q", c.name, m.Flags, c.flag)
			}
		}
		if err == nil && relative(m.Profile.Mean, truth.Strips[0].MeanWidth) > 0.01 {
			t.Errorf("%s: width %.4f mm, truth %.4f", c.name, m.Profile.Mean, truth.Strips[0].MeanWidth)
		}
	}
}

// TestSmearedFar: an edge may be drawn out so far that what lies right beside it is film
// still, and not another ground.
func TestSmearedFar(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, index := range []uint64{2, 11} { // the benchmark's that looked so
		s, err := synth.Random(rand.New(rand.NewPCG(1, index)), synth.Smeared)
		if err != nil {
			t.Fatal(err)
		}
		p, _ := shot(t, synth.Cropped(s))
		if _, err := Measure(p, flat()); refusalCode(err) != CodeSmeared {
			t.Errorf("scene %d: %v", index, err)
		}
	}
}

// TestLinesAreNoSmear: lines along a strip that are darker beside one of its edges are
// no smear, the metal on the other side having such, too.
func TestLinesAreNoSmear(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s, err := synth.Random(rand.New(rand.NewPCG(1, 54)), synth.Flat) // one of the benchmark's that looked so
	if err != nil {
		t.Fatal(err)
	}
	readsTrue(t, synth.Cropped(s))
}

// TestPencilIsNoStrip: a band longer than any strip, such as a pencil that lies
// against the card, is none; a shorter one is.
func TestPencilIsNoStrip(t *testing.T) {
	for length, want := range map[int]bool{50: true, 70: false} {
		const perMM = 2
		g := &ground{w: 300, h: 40, perMM: perMM, quarry: crushedStrip}
		var body []int32
		for y := 10; y < 10+5*perMM; y++ {
			for x := range length * perMM {
				body = append(body, int32(y*g.w+20+x))
			}
		}
		if c, ok := g.shape(body); ok != want || c.even != want {
			t.Errorf("%d mm long: a band %v, even %v, want %v", length, ok, c.even, want)
		}
	}
}

// impostors are photos in which something is not the strip, and may be taken for
// it.
func impostors() []faulty {
	none := func(s *synth.Scene) { s.Strips = nil }
	rod := func(y, radius, round, soft float64, colour synth.RGB) synth.Clutter {
		return synth.Clutter{From: calib.CardPoint{X: -9, Y: y}, To: calib.CardPoint{X: 11, Y: y + 1}, Radius: radius, Height: radius * round,
			Round: round, Soft: soft, Gloss: 0.3 * round, Colour: colour}
	}
	return []faulty{
		{"an oil groove", "rider", "", func(s *synth.Scene) {
			none(s)
			s.Surface.GrooveU, s.Surface.GrooveHalf = 14.5, 1.2
		}},
		{"a part's bevel", "rider", "", func(s *synth.Scene) {
			none(s)
			s.Surface.HalfWidth, s.Surface.HalfLength, s.Surface.Chamfer, s.Surface.ChamferBy = 10, 40, 1.5, 1.8
		}},
		{"a wire", "rider", "", func(s *synth.Scene) {
			none(s)
			s.Clutter = []synth.Clutter{rod(10, 0.7, 1, 0, synth.RGB{0.5, 0.1, 0.1})}
		}},
		{"a matte red cable", "rider", "", func(s *synth.Scene) {
			none(s)
			cable := rod(10, 1.2, 1, 0, synth.RGB{0.5, 0.05, 0.05})
			cable.Gloss = 0
			s.Clutter = []synth.Clutter{cable}
		}},
		{"a matte grey cable", "rider", "", func(s *synth.Scene) {
			none(s)
			cable := rod(10, 0.6, 1, 0, synth.RGB{0.15, 0.15, 0.15})
			cable.Gloss = 0
			s.Clutter = []synth.Clutter{cable}
		}},
		{"a reflection", "rider", "", func(s *synth.Scene) {
			none(s)
			s.Clutter = []synth.Clutter{rod(10, 1, 0, 0.3, synth.RGB{0.85, 0.85, 0.85})}
		}},
		{"the gap between two slips of paper", "rider", "", func(s *synth.Scene) {
			none(s)
			white := synth.RGB{0.8, 0.8, 0.8}
			a, b := rod(12, 3, 0, 0, white), rod(20, 3, 0, 0, white)
			a.From.X, b.From.X, a.To.X, b.To.X = -60, -60, 60, 60
			s.Clutter = []synth.Clutter{a, b}
		}},
		{"scratches and dirt", "rider", "", func(s *synth.Scene) {
			none(s)
			s.Surface.Scratches, s.Surface.Specks, s.Surface.Finish, s.Surface.LineDepth = 150, 500, "brushed", 1
		}},
		{"a second strip half off the part", "rider", CodeTwoStrips, func(s *synth.Scene) {
			second := s.Strips[0]
			second.Centre.Y += 4
			s.Surface.HalfWidth, s.Surface.HalfLength = 4, 14
			s.Strips = append(s.Strips, second)
		}},
		{"a part with two strips, narrow as one", "bench", CodeTwoStrips, func(s *synth.Scene) {
			second := s.Strips[0]
			second.Centre.Y += 3
			s.Surface.HalfWidth, s.Surface.HalfLength = 3.4, 11
			s.Surface.Metal = synth.RGB{0.7, 0.7, 0.7}
			s.Strips[0].Centre.Y -= 0.2
			s.Strips = append(s.Strips, second)
		}},
	}
}

// TestImpostorsAreNotRead: whatever the reason given, nothing but a strip gives a
// width.
func TestImpostorsAreNotRead(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for _, c := range impostors() {
		s := smallScene(t, c.layout)
		s.Name = c.name
		c.change(&s)
		p, _ := shot(t, s)
		m, err := Measure(p, flat())
		switch got := refusalCode(err); {
		case err == nil:
			t.Errorf("%s: read, %.3f mm", c.name, m.Profile.Mean)
		case c.code != "" && got != c.code:
			t.Errorf("%s: %s (%v), want %s", c.name, got, err, c.code)
		default:
			t.Logf("%s: %s (%v)", c.name, got, err)
		}
	}
}

// TestCableOfTheFilmsColour: what runs on beyond what is looked at, in the film's own
// colour, is no second strip.
func TestCableOfTheFilmsColour(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "rider")
	s.Pose.Distance = 140
	s.Clutter = []synth.Clutter{{From: calib.CardPoint{X: 22, Y: 18}, To: calib.CardPoint{X: 50, Y: 22}, Radius: 0.8, Height: -0.2, Colour: s.Strips[0].Colour}}
	readsTrue(t, s)
}

// TestStainIsNoFold: a stain beside half of an edge, of the film's luma, is told from a fold
// by its colour.
func TestStainIsNoFold(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "rider")
	k := &s.Strips[0]
	k.Colour, s.Surface.Metal = synth.RGB{0.45, 0.36, 0.05}, synth.RGB{0.6, 0.6, 0.6}
	k.Angle, k.Taper = 0, 0
	edge := k.Centre.Y + k.Width/2 + 0.1
	s.Clutter = []synth.Clutter{{From: calib.CardPoint{X: k.Centre.X, Y: edge}, To: calib.CardPoint{X: k.Centre.X + 12, Y: edge}, Radius: 0.1, Height: 0, Colour: synth.RGB{0.357, 0.357, 0.357}}}
	p, truth := shot(t, s)
	m, err := Measure(p, flat())
	if err != nil || !slices.Contains(m.Flags, FlagByColour) {
		t.Fatalf("%v, flags %v", err, m.Flags)
	}
	if off := relative(m.Profile.Mean, truth.Strips[0].MeanWidth); off > 2*m.Profile.U/m.Profile.Mean {
		t.Errorf("off by %.2f %%, u %.2f %%", 100*off, 100*m.Profile.U/m.Profile.Mean)
	}
}

// TestBareIsNoStrip: where no strip is to be seen, neither the part that the card lies
// on, nor the card's own cut side and shadow, nor writing that it half covers is taken for a
// strip under the card, or for one that the photo cuts.
func TestBareIsNoStrip(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	stroke := func(x0, y0, x1, y1 float64) synth.Clutter {
		return synth.Clutter{From: calib.CardPoint{X: x0, Y: y0}, To: calib.CardPoint{X: x1, Y: y1}, Radius: 0.3, Height: -0.2, Colour: synth.RGB{0.03, 0.03, 0.03}}
	}
	for _, c := range []faulty{
		{"a part that shows on both sides of the card", "bench", CodeNoStrip, func(s *synth.Scene) {
			s.Surface.HalfLength, s.Surface.HalfWidth, s.Surface.Metal = 20, 30, synth.RGB{0.62, 0.62, 0.61}
			s.Bench.Colour = synth.RGB{0.10, 0.14, 0.24}
		}},
		{"a part that the photo's border cuts", "bench", CodeNoStrip, func(s *synth.Scene) {
			s.Surface.HalfLength, s.Surface.HalfWidth, s.Surface.Metal = 400, 400, synth.RGB{0.62, 0.62, 0.61}
			s.Clutter = []synth.Clutter{{From: calib.CardPoint{X: -12, Y: 60}, To: calib.CardPoint{X: -12, Y: 37}, Radius: 9, Height: -0.2, Colour: synth.RGB{0.05, 0.08, 0.2}}}
		}},
		{"a thick card's cut side", "bench", CodeNoStrip, func(s *synth.Scene) {
			side := stroke(-42, 26.9, 42, 26.9)
			side.Radius, side.Colour = 0.7, synth.RGB{0.6, 0.6, 0.6}
			s.Clutter = []synth.Clutter{side}
		}},
		{"a thick card's shadow", "bench", CodeNoStrip, func(s *synth.Scene) {
			shadow := stroke(-42, 26.9, 42, 26.9)
			shadow.Radius, shadow.Colour = 1, synth.RGB{0.2, 0.2, 0.2}
			s.Clutter = []synth.Clutter{shadow}
		}},
		{"a stroke that the card half covers", "rider", CodeNoStrip, func(s *synth.Scene) {
			s.Clutter = []synth.Clutter{stroke(-3, 6.3, -3, 8), stroke(0, 7, 0, 9.4), stroke(3, 7, 5, 9.2)}
		}},
	} {
		none := c.change
		c.change = func(s *synth.Scene) {
			s.Strips = nil
			none(s)
		}
		c.refusal(t)
	}
}

// TestAsBlackAsPrint: a black film is read and flagged, for a pen's line looks as it does;
// a coloured one as dark is not.
func TestAsBlackAsPrint(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for colour, want := range map[synth.RGB]bool{{0.04, 0.04, 0.04}: true, {0.04, 0.15, 0.05}: false, {0.3, 0.3, 0.3}: false} {
		s := smallScene(t, "rider")
		s.Strips[0].Colour, s.Surface.Metal = colour, synth.RGB{0.62, 0.62, 0.61}
		p, _ := shot(t, s)
		m, err := Measure(p, flat())
		if seen := slices.Contains(m.Flags, FlagAsBlack); err != nil || seen != want {
			t.Errorf("film %v: %v, flags %v", colour, err, m.Flags)
		}
	}
}

// TestClutterDoesNotMislead: with a wire, a finger, a hair, a bright bevel and a
// deep shadow about, what is read is the strip.
func TestClutterDoesNotMislead(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	at := func(x, y float64) calib.CardPoint { return calib.CardPoint{X: x, Y: y} }
	for _, c := range []struct {
		name   string
		change func(s *synth.Scene)
	}{
		{"finger", func(s *synth.Scene) {
			s.Clutter = []synth.Clutter{{From: at(16, 16), To: at(40, 40), Radius: 5, Height: 5, Round: 0.6, Colour: synth.RGB{0.55, 0.33, 0.25}}}
		}},
		{"hair across", func(s *synth.Scene) {
			s.Clutter = []synth.Clutter{{From: at(-8, 7), To: at(6, 16), Radius: 0.04, Height: 0.1, Round: 1, Colour: synth.RGB{0.03, 0.02, 0.02}}}
		}},
		{"deep shadow of the card", func(s *synth.Scene) {
			s.Light.Shadow, s.Light.Elevation, s.Light.Azimuth = 0.9, 30, -90
			s.Card.Thickness = 1
		}},
	} {
		s := smallScene(t, "rider")
		s.Name = c.name
		c.change(&s)
		p, truth := shot(t, s)
		m, err := Measure(p, flat())
		if err != nil {
			t.Logf("%s: %v", c.name, err) // refused is safe
			continue
		}
		if d := relative(m.Profile.Mean, truth.Strips[0].MeanWidth); d > 0.02 {
			t.Errorf("%s: width off by %.1f %%", c.name, 100*d)
		}
	}
}

// TestEndsAreNamedAtEveryTurn: the front end is the one further along the card's
// arrow however strip and phone are turned; within 30 degrees of square to the
// arrow the ends are a and b.
func TestEndsAreNamedAtEveryTurn(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	for i := range 9 {
		angle := 5 + 35*float64(i)
		s := smallScene(t, "bench")
		s.Camera.Width, s.Camera.Height = 1400, 1400
		k := &s.Strips[0]
		k.Angle, k.Length, k.Taper = angle, 14, 0.2
		k.Centre = calib.CardPoint{X: 5, Y: 38}
		s.Pose.Roll, s.Pose.Distance = 73*float64(i), 200
		s.Output.Orientation = 1 + i%8
		p, truth := shot(t, s)
		m, err := Measure(p, flat())
		if err != nil {
			t.Errorf("strip at %v degrees: %v", angle, err)
			continue
		}
		for n, e := range m.Profile.Ends {
			want := truth.Strips[0].Ends[n]
			if e.Name != want.Name || math.Hypot(e.Card.X-want.Card.X, e.Card.Y-want.Card.Y) > 1 {
				t.Errorf("strip at %v degrees: end %q at %v, truth %q at %v", angle, e.Name, e.Card, want.Name, want.Card)
			}
		}
		if d := m.Profile.Taper * truth.Strips[0].Taper; d <= 0 {
			t.Errorf("strip at %v degrees: taper %.3f, truth %.3f", angle, m.Profile.Taper, truth.Strips[0].Taper)
		}
	}
}

// TestWideStripRightBesideTheCard: the border of a white card a millimetre away is
// a step like the film's own edge, and must not be taken for it.
func TestWideStripRightBesideTheCard(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	s := smallScene(t, "rider")
	s.Card.Paper = synth.RGB{0.88, 0.87, 0.88}
	s.Surface.Metal = synth.RGB{0.3, 0.3, 0.3}
	k := &s.Strips[0]
	k.Width, k.Taper, k.Angle, k.Colour = 4.4, 0.9, 1, synth.RGB{0.1, 0.08, 0.01}
	k.Centre = calib.CardPoint{X: 0, Y: calib.Rider().Height/2 + 1.1 + k.Width/2}
	readsTrue(t, s)
}
