package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
)

// above is a view from straight above the card's centre, the card's x axis
// turned by roll degrees (clockwise in the photo), at px per mm.
func above(px, roll float64, w, h int) *calib.View {
	const distance = 150
	sin, cos := math.Sincos(roll * math.Pi / 180)
	return &calib.View{
		Camera: calib.Camera{F: px * distance, CX: float64(w-1) / 2, CY: float64(h-1) / 2},
		Pose:   calib.Pose{R: [3][3]float64{{cos, sin, 0}, {sin, -cos, 0}, {0, 0, -1}}, T: [3]float64{0, 0, distance}},
	}
}

// barPrint is a group of bars as printed and photographed.
type barPrint struct {
	bars    calib.Bars
	spread  float64 // mm by which every outline of the ink moves outward
	stretch float64 // relative change of the pitch about the group's middle
	blur    float64 // px
}

// scan is a picture before it is rounded: luma 0..1.
type scan struct {
	w, h int
	v    []float64
}

// plane adds noise of standard deviation sigma and rounds to bytes.
func (s scan) plane(rng *rand.Rand, sigma float64) *Plane {
	p := NewPlane(s.w, s.h)
	for i, v := range s.v {
		if sigma > 0 {
			v += sigma * rng.NormFloat64()
		}
		p.Pix[i] = uint8(math.Round(255 * min(1, max(0, v))))
	}
	return p
}

// paint draws the group as seen by above: its black is the product of blurred
// boxes, in linear light, then IEC 61966-2-1. Its own projection.
func (k barPrint) paint(px, roll float64, w, h int) scan {
	sin, cos := math.Sincos(roll * math.Pi / 180)
	sigma := k.blur / px
	box := func(x, lo, hi float64) float64 {
		return (math.Erf((x-lo+k.spread)/sigma/math.Sqrt2) - math.Erf((x-hi-k.spread)/sigma/math.Sqrt2)) / 2
	}
	b := k.bars
	length := float64(b.Count-1) * b.Pitch
	out := scan{w, h, make([]float64, 0, w*h)}
	for row := range h {
		for col := range w {
			u, v := (float64(col)-float64(w-1)/2)/px, (float64(row)-float64(h-1)/2)/px
			x, y := u*cos+v*sin-b.Start.X, u*sin-v*cos-b.Start.Y
			across, along := x, y
			if !b.Vertical {
				across, along = y, x
			}
			black := 0.0
			for i := range b.Count {
				at := float64(i)*b.Pitch + k.stretch*(float64(i)*b.Pitch-length/2)
				if math.Abs(across-at-b.Width/2) < 7*sigma+b.Width+0.1 { // further off it adds nothing
					black += box(across, at, at+b.Width)
				}
			}
			black *= box(along, 0, b.Length)
			out.v = append(out.v, slowCamera{}.display(0.82-0.77*black))
		}
	}
	return out
}

// groupNamed is the group of bars of that name with its middle at the card's
// centre, so that it fills a small picture.
func groupNamed(t *testing.T, l *calib.Layout, name string) calib.Bars {
	t.Helper()
	for _, b := range l.Bars {
		if b.Name != name {
			continue
		}
		across, along := float64(b.Count-1)*b.Pitch+b.Width, b.Length
		if b.Vertical {
			b.Start = calib.CardPoint{X: -across / 2, Y: -along / 2}
		} else {
			b.Start = calib.CardPoint{X: -along / 2, Y: -across / 2}
		}
		return b
	}
	t.Fatalf("no bars %q", name)
	return calib.Bars{}
}

// pitchGroups are groups of bars with a scale at which each is well resolved.
var pitchGroups = []struct {
	layout *calib.Layout
	name   string
	px     float64
}{
	{calib.Bench(), "coarse x", 16}, {calib.Bench(), "middle y", 20}, {calib.Bench(), "fine x", 24}, {calib.Rider(), "middle y", 30},
}

// TestInkSpreadLeavesThePitch: the pitch stays within 0.4 um of its nominal for
// any ink spread that a printer makes. That is the project's own figure for what
// (black + white)/2 may move by; measured below 0.15 um.
func TestInkSpreadLeavesThePitch(t *testing.T) {
	for _, g := range pitchGroups {
		b := groupNamed(t, g.layout, g.name)
		for _, spread := range []float64{-0.02, 0, 0.03, 0.08} {
			const w, h, roll = 260, 260, 7
			k := barPrint{bars: b, spread: spread, blur: 1.2}
			got, ok := measurePitch(k.paint(g.px, roll, w, h).plane(nil, 0), above(g.px, roll, w, h), b)
			if !ok {
				t.Errorf("%s, spread %v mm: not measured", g.name, spread)
				continue
			}
			if d := got.Pitch - b.Pitch; math.Abs(d) > 0.0004 {
				t.Errorf("%s, spread %v mm: pitch off by %.2f um, u %.2f um", g.name, spread, 1000*d, 1000*got.U)
			}
			if want := b.Pitch * g.px; relative(got.PixelsPitch, want) > 1e-3 || got.Vertical != b.Vertical || got.Nominal != b.Pitch {
				t.Errorf("%s: %+v, want %v px", g.name, got, want)
			}
		}
	}
}

// TestBurntPaperLeavesThePitch: the pitch stays within the 0.4 um that ink spread
// may move it by where the paper between the bars is burnt out, all of it or the
// half that a light from the side reaches.
func TestBurntPaperLeavesThePitch(t *testing.T) {
	const w, h, roll = 260, 260, 7
	for _, g := range pitchGroups {
		b := groupNamed(t, g.layout, g.name)
		for name, gain := range map[string]func(x, y float64) float64{
			"everywhere": func(x, y float64) float64 { return 1.25 },
			"one half":   func(x, y float64) float64 { return 1.09 + 0.15*x + 0.15*y }, // white is 0.92 of full
		} {
			s := barPrint{bars: b, spread: 0.02, blur: 1.2}.paint(g.px, roll, w, h)
			burnt := 0
			for i := range s.v {
				s.v[i] *= gain(float64(i%w)/w-0.5, float64(i/w)/h-0.5)
				if s.v[i] > 1 {
					burnt++
				}
			}
			if burnt < len(s.v)/4 {
				t.Fatalf("%s, %s: %d pixels are burnt out", g.name, name, burnt)
			}
			got, ok := measurePitch(s.plane(nil, 0), above(g.px, roll, w, h), b)
			if !ok {
				t.Errorf("%s, burnt out %s: not measured", g.name, name)
				continue
			}
			d := got.Pitch - b.Pitch
			t.Logf("%s, burnt out %s: pitch off by %+.2f um, u %.2f um", g.name, name, 1000*d, 1000*got.U)
			if math.Abs(d) > 0.0004 {
				t.Errorf("%s, burnt out %s: pitch off by %.2f um, u %.2f um", g.name, name, 1000*d, 1000*got.U)
			}
		}
	}
}

// TestStretchedPitchIsRead from 0.1 % (where the gate starts to bite) to 3 %.
func TestStretchedPitchIsRead(t *testing.T) {
	for _, g := range pitchGroups {
		b := groupNamed(t, g.layout, g.name)
		for _, stretch := range []float64{-0.03, -0.004, 0.001, 0.01} {
			const w, h, roll = 260, 260, -11
			k := barPrint{bars: b, spread: 0.02, stretch: stretch, blur: 1.2}
			got, ok := measurePitch(k.paint(g.px, roll, w, h).plane(nil, 0), above(g.px, roll, w, h), b)
			if !ok {
				t.Errorf("%s, stretched by %v: not measured", g.name, stretch)
				continue
			}
			if d := got.Pitch/b.Pitch - 1 - stretch; math.Abs(d) > 3e-4+0.01*math.Abs(stretch) {
				t.Errorf("%s, stretched by %v: read as %.5f", g.name, stretch, got.Pitch/b.Pitch-1)
			}
		}
	}
}

// TestPitchUncertainty: over draws of noise the pitch scatters no more than U
// says. U is on the safe side, by up to a half: it takes the harmonics that the
// fit leaves out, and the window's weights, for noise. 300 draws know a standard
// deviation to 4 %.
func TestPitchUncertainty(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 3))
	b := groupNamed(t, calib.Bench(), "middle y")
	const w, h, px, roll, draws = 130, 240, 20, 7, 300
	clean := barPrint{bars: b, spread: 0.02, blur: 1.2}.paint(px, roll, w, h)
	var sum, square, said float64
	for range draws {
		got, ok := measurePitch(clean.plane(rng, 0.02), above(px, roll, w, h), b)
		if !ok {
			t.Fatal("not measured")
		}
		sum += got.Pitch - b.Pitch
		square += (got.Pitch - b.Pitch) * (got.Pitch - b.Pitch)
		said += got.U * got.U
	}
	ratio := math.Sqrt((square - sum*sum/draws) / (draws - 1) / (said / draws))
	if ratio < 0.5 || ratio > 1.1 {
		t.Errorf("scatters %.2f times its standard uncertainty", ratio)
	}
}

// TestPitchRefuses: bars that the photo does not resolve, or that are not there.
func TestPitchRefuses(t *testing.T) {
	b := groupNamed(t, calib.Bench(), "fine x")
	const w, h = 260, 200
	fine := barPrint{bars: b, blur: 1.2}
	if g, ok := measurePitch(fine.paint(11, 0, w, h).plane(nil, 0), above(11, 0, w, h), b); ok {
		t.Errorf("5.5 px a pitch: %+v", g)
	}
	for _, blur := range []float64{4.8, 8} { // the bars keep under 1 % of their contrast
		soft := barPrint{bars: b, blur: blur}
		if g, ok := measurePitch(soft.paint(20, 0, w, h).plane(nil, 0), above(20, 0, w, h), b); ok {
			t.Errorf("blurred by %v px: %+v", blur, g)
		}
	}
	if g, ok := measurePitch(NewPlane(w, h), above(20, 0, w, h), b); ok {
		t.Errorf("a black picture: %+v", g)
	}
	if g, ok := measurePitch(fine.paint(20, 0, 60, 200).plane(nil, 0), above(20, 0, 60, 200), b); ok {
		t.Errorf("cut by the frame: %+v", g)
	}
}

// TestScaleJoinsGroups against the weighted mean worked out by hand. Along x:
// errors 1e-3 and 3e-3 with u = hypot(1e-3, 0.003/10) and hypot(2e-3, 0.003/5)
// have the weights 917431.19 and 229357.80, mean 1.4e-3, u 9.33809e-4.
func TestScaleJoinsGroups(t *testing.T) {
	w := Witness{Groups: []BarGroup{
		{Nominal: 2, Vertical: true, Pitch: 2.002, U: 0.002, Length: 10},
		{Nominal: 0.5, Vertical: true, Pitch: 0.5015, U: 0.001, Length: 5},
		{Nominal: 1, Pitch: 0.998, U: 0.0004, Length: 10},
	}}
	want := []ScaleError{{"x", 1.4e-3, 9.33809e-4}, {"y", -2e-3, 5e-4}}
	got := w.Scale()
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i, g := range got {
		if g.Axis != want[i].Axis || relative(g.Error, want[i].Error) > 1e-5 || relative(g.U, want[i].U) > 1e-5 {
			t.Errorf("%+v, want %+v", g, want[i])
		}
	}
	if got := (&Witness{}).Scale(); len(got) != 0 {
		t.Errorf("no groups, and yet %+v", got)
	}
}

// TestBlurAlongNormal: an ellipse with its axes along the card's.
func TestBlurAlongNormal(t *testing.T) {
	w := Witness{BlurX: 2, BlurY: 1, Sharpening: 0.5, Radius: 1.5, Tone: 0.1}
	for _, c := range []struct{ x, y, s float64 }{{1, 0, 2}, {0, -3, 1}, {2, 2, math.Sqrt(2.5)}} {
		m := w.along(calib.CardPoint{X: c.x, Y: c.y})
		if math.Abs(m.S-c.s) > 1e-12 || m.A != 0.5 || m.R != 1.5 || m.Tone.S != 0.1 {
			t.Errorf("along (%v, %v): %+v, want blur %v", c.x, c.y, m, c.s)
		}
	}
}
