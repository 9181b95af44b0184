package synth

import (
	"math"
	"testing"

	"stripgap/calib"
)

// plainScene is a small photo of a bench card with an opaque, sharp strip on
// metal that reflects nothing but evenly.
func plainScene(angle float64) Scene {
	s := NewScene("bench")
	s.Camera.Width, s.Camera.Height = 1000, 750
	s.Card.Serial = serials[0]
	s.Pose = Pose{Target: calib.CardPoint{X: 2.3, Y: 41.7}, Distance: 38, Tilt: 8, Azimuth: 40, Roll: 3}
	s.Strips = []Strip{{Centre: calib.CardPoint{X: 2, Y: 41}, Angle: angle, Length: 18, Width: 3,
		Taper: 0.2, SectionArea: 0.15, Colour: RGB{0, 0, 0}, Opacity: 1e9}}
	return s
}

// linear renders the light of a scene before any lens.
func linear(t *testing.T, s Scene) (*stage, *picture) {
	t.Helper()
	st, err := newStage(&s)
	if err != nil {
		t.Fatal(err)
	}
	return st, st.light()
}

// crossing returns where a smooth profile passes level, between 0 and its end;
// samples are one step apart.
func crossing(profile []float64, level float64) float64 {
	for i := range len(profile) - 1 {
		if (profile[i]-level)*(profile[i+1]-level) <= 0 {
			return float64(i) + (level-profile[i])/(profile[i+1]-profile[i])
		}
	}
	return math.NaN()
}

// sampleAt interpolates a plane by a Gaussian of 1 px, wide enough to carry the
// pixels and symmetric, so that it moves no straight edge.
func sampleAt(p *picture, x, y float64) float64 {
	var sum, weight float64
	for j := int(y) - 5; j <= int(y)+6; j++ {
		for i := int(x) - 5; i <= int(x)+6; i++ {
			g := math.Exp(-((float64(i)-x)*(float64(i)-x) + (float64(j)-y)*(float64(j)-y)) / 2)
			sum += g * float64(p.c[1][j*p.w+i])
			weight += g
		}
	}
	return sum / weight
}

// The 50 % crossing of a strip's edge, in linear light and square to it in the
// photo, must lie where the truth projects it: within 0.01 px at every angle, on
// every surface, with lens distortion.
func TestEdgeLiesAtTruth(t *testing.T) {
	for _, c := range []struct {
		angle, k1 float64
		kind      string
	}{{0, 0, "flat"}, {4, 0, "flat"}, {22.5, 0, "flat"}, {45, 0, "flat"}, {71, -0.08, "flat"}, {90, 0, "flat"},
		{10, 0.05, "shell"}, {33, 0, "journal"}} {
		s := plainScene(c.angle)
		s.Surface.Kind, s.Surface.Radius, s.Surface.HalfWidth = c.kind, 25, 30
		s.Camera.K1 = c.k1
		st, pic := linear(t, s)
		f := st.films[0]
		for u := -7.0; u <= 7; u++ {
			near(t, c.kind, edgeOffset(st, pic, f, u), 0, 0.01)
		}
	}
}

// edgeOffset measures how far, in px, the left edge at u lies from its truth.
func edgeOffset(st *stage, pic *picture, f *film, u float64) float64 {
	place := func(u float64) calib.PixelPoint {
		v, _ := look(f.left, f.u0, u)
		return st.cam.project(f.frame.at(u, v))
	}
	on := place(u)
	along := place(u + 0.1).Sub(place(u - 0.1))
	n := calib.PixelPoint{X: along.Y, Y: -along.X}.Scale(1 / along.Norm())
	const half, step = 5.0, 0.25
	var profile []float64
	for d := -half; d <= half; d += step {
		profile = append(profile, sampleAt(pic, on.X+d*n.X, on.Y+d*n.Y))
	}
	return crossing(profile, (profile[0]+profile[len(profile)-1])/2)*step - half
}

// Darkness summed across the strip, square to it, is its width in pixels.
func TestSumAcrossStripIsWidth(t *testing.T) {
	for _, angle := range []float64{0, 13, 45} {
		s := plainScene(angle)
		s.Pose.Tilt, s.Strips[0].Taper = 0, 0 // one scale over the photo
		st, pic := linear(t, s)
		f := st.films[0]
		scale := st.cam.f / s.Pose.Distance
		for u := -6.0; u <= 6; u += 1.5 {
			on := st.cam.project(f.frame.at(u, 0))
			left := st.cam.project(f.frame.at(u, 1)).Sub(on)
			n := left.Scale(1 / left.Norm())
			reach := f.Width*scale/2 + 10
			const step = 0.1
			bright := sampleAt(pic, on.X+reach*n.X, on.Y+reach*n.Y)
			var sum float64
			for d := -reach; d <= reach; d += step {
				sum += (1 - sampleAt(pic, on.X+d*n.X, on.Y+d*n.Y)/bright) * step
			}
			near(t, "width, px", sum, f.Width*scale, 0.01)
		}
	}
}

// Ink spread widens a bar by twice itself and moves its middle nowhere: 2 mm of
// bar and 0.04 mm of spread are 2.08 mm, at a print scale of 1.01 2.1008 mm.
func TestInkWidensBar(t *testing.T) {
	s := NewScene("bench")
	s.Card.Serial, s.Card.InkUM, s.Card.ScaleX, s.Card.Ink = serials[0], 40, 1.01, 0
	s.Camera.Width, s.Camera.Height = 600, 450
	bar := calib.Bench().Bars[0]
	middle := calib.CardPoint{X: 1.01 * (bar.Start.X + bar.Width/2), Y: bar.Start.Y + bar.Length/2}
	s.Pose = Pose{Target: middle.Add(calib.CardPoint{X: 0.017, Y: 0.3}), Distance: 20}
	st, pic := linear(t, s)
	scale := st.cam.f / s.Pose.Distance
	on := st.cam.project(vec{middle.X, middle.Y, 0})
	y, reach := int(on.Y), int(1.3*scale)
	var dark, moment float64
	for x := int(on.X) - reach; x <= int(on.X)+reach; x++ {
		k := 1 - float64(pic.c[1][y*pic.w+x])/(0.85*0.8)
		dark, moment = dark+k, moment+k*float64(x)
	}
	near(t, "width, mm", dark/scale, 2.1008, 3e-4) // two edges alias by 0.0023 px at most
	near(t, "middle, px", moment/dark, on.X, 0.003)
}

// A mark's centre of darkness is its centre in a photo from straight above,
// whatever the ink spread.
func TestMarkIsCentred(t *testing.T) {
	for _, ink := range []float64{-20, 0, 80} {
		s := NewScene("rider")
		s.Card.Serial, s.Card.InkUM = serials[0], ink
		s.Camera.Width, s.Camera.Height = 800, 600
		mark := calib.Rider().Marks[2]
		s.Pose = Pose{Target: calib.CardPoint{X: mark.Centre.X + 0.013, Y: mark.Centre.Y - 0.021}, Distance: 24, Roll: 31}
		st, pic := linear(t, s)
		want := st.cam.project(vec{mark.Centre.X, mark.Centre.Y, 0})
		radius := calib.Rider().Style.Quiet * st.cam.f / s.Pose.Distance * 0.95
		var sx, sy, dark float64
		for y := range pic.h {
			for x := range pic.w {
				if math.Hypot(float64(x)-want.X, float64(y)-want.Y) < radius {
					k := 0.85*0.8 - float64(pic.c[1][y*pic.w+x])
					sx, sy, dark = sx+k*float64(x), sy+k*float64(y), dark+k
				}
			}
		}
		near(t, "x", sx/dark, want.X, 0.005)
		near(t, "y", sy/dark, want.Y, 0.005)
	}
}

// The ink field against the definition, point by point: the ink's area must be
// the polygons' area, and an isolated bar's edges must lie where the layout says.
func TestInkFieldEdges(t *testing.T) {
	l := calib.Bench()
	f, err := inkFieldFor(l, serials[0], "")
	if err != nil {
		t.Fatal(err)
	}
	bar := l.Bars[0]
	for _, dy := range []float64{3, 5, 7} {
		for _, dx := range []float64{-0.21, -0.04, 0.003, 0.17} {
			d, gx, gy, ok := f.at(bar.Start.X+dx, bar.Start.Y+dy)
			if !ok {
				t.Fatal("no outline near a bar's edge")
			}
			near(t, "distance", d, dx, 1e-6)
			near(t, "gradient x", gx, 1, 1e-5)
			near(t, "gradient y", gy, 0, 1e-5)
		}
	}
}

// Abutting areas must not leave a seam: deep inside the QR code's corner
// squares, 1.5 modules from any edge, no outline may be found closer.
func TestUnionHasNoSeams(t *testing.T) {
	l := calib.Bench()
	f, err := inkFieldFor(l, serials[0], "")
	if err != nil {
		t.Fatal(err)
	}
	module := l.Code.Side / 21 // version 1 has 21 modules (ISO/IEC 18004)
	// The middle of the top left finder pattern is 3.5 modules in; its inner
	// square is 3 modules wide.
	x := l.Code.Centre.X - l.Code.Side/2 + 3.5*module
	y := l.Code.Centre.Y + l.Code.Side/2 - 3.5*module
	for _, dy := range []float64{0, 0.4, -0.4} {
		d, _, _, _ := f.at(x, y+dy*module)
		near(t, "depth", d, min(band, (1.5-math.Abs(dy))*module), 0.02)
	}
}
