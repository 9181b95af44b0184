package vision

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// TestLie: the card's back touches the metal, thickness under its face. A journal is
// a circle that touches the back in its middle, a shell one through the back's two
// edges; the strip is on the circle.
func TestLie(t *testing.T) {
	l := calib.Rider()
	dir := calib.CardPoint{X: 1}
	const r = 28.0
	half := l.Height / 2
	for _, thick := range []float64{0.12, 1.2, 5} {
		for _, off := range []float64{-14, -9, 0, 11} {
			for _, c := range []struct {
				name   string
				s      Surface
				height float64
			}{
				{"flat", Surface{Kind: SurfaceFlat}, -thick},
				{"journal", Surface{SurfaceJournal, r}, -thick - r + math.Sqrt(r*r-off*off)},
				{"shell", Surface{SurfaceShell, r}, -thick + math.Sqrt(r*r-half*half) - math.Sqrt(r*r-off*off)},
			} {
				height, across, u := c.s.lie(l, dir, off, Height{thick, boardHeightU})
				if math.Abs(height-c.height) > 1e-12 {
					t.Errorf("%s, %v mm thick, off %v: height %v mm, want %v", c.name, thick, off, height, c.height)
				}
				_, across0, u0 := c.s.lie(l, dir, off, Height{usualCard, flatHeightU})
				if across != across0 || u.Along != u0.Along || u.Across != u0.Across {
					t.Errorf("%s, %v mm thick, off %v: the thickness tilts the strip", c.name, thick, off)
				}
				if known := u0.Height*u0.Height - u.Height*u.Height; math.Abs(known-(flatHeightU*flatHeightU-boardHeightU*boardHeightU)) > 1e-12 {
					t.Errorf("%s, %v mm thick, off %v: height u %v mm, %v without", c.name, thick, off, u.Height, u0.Height)
				}
			}
		}
	}
}

// TestThicknessWhere: it counts only where film and card lie on the same metal, that
// metal is told and the height is not.
func TestThicknessWhere(t *testing.T) {
	flat, shell := Surface{Kind: SurfaceFlat}, Surface{SurfaceShell, 28}
	bench, rider := calib.Bench(), calib.Rider()
	for _, c := range []struct {
		name string
		o    Options
		l    *calib.Layout
		want float64
	}{
		{"flat, bench card", Options{Surface: flat}, bench, 1.2},
		{"flat, rider", Options{Surface: flat}, rider, 1.2},
		{"shell, rider", Options{Surface: shell}, rider, 1.2},
		{"shell, bench card beside it", Options{Surface: shell}, bench, 0},
		{"nothing told", Options{}, rider, 0},
		{"height told", Options{Surface: flat, Height: &Height{MM: -1, U: 0.2}}, rider, 0},
		{"plane told", Options{Surface: flat, PlaneU: &PlaneU{}}, rider, 0},
		{"a strand", Options{Surface: flat, quarry: unusedStrand}, rider, 0},
	} {
		if c.o.quarry == (quarry{}) {
			c.o.quarry = crushedStrip
		}
		c.o.Print.Thickness = 1.2
		if got := c.o.thickness(c.l); got != c.want {
			t.Errorf("%s: %v mm, want %v", c.name, got, c.want)
		}
	}
}

// TestUsualCard: untold, a card is as thick as paper, and never lies below the metal; only
// under film crushed on that metal.
func TestUsualCard(t *testing.T) {
	for _, c := range []struct {
		o    Options
		want Height
	}{
		{Options{quarry: crushedStrip}, Height{usualCard, flatHeightU}},
		{Options{quarry: crushedStrip, Surface: Surface{Kind: SurfaceFlat}, Print: calib.PrintScale{Thickness: 1.2}}, Height{1.2, boardHeightU}},
		{Options{quarry: unusedStrand, Surface: Surface{Kind: SurfaceFlat}, Print: calib.PrintScale{Thickness: 1.2}}, Height{0, flatHeightU}},
	} {
		if got := c.o.card(calib.Rider()); got != c.want {
			t.Errorf("%+v: %+v, want %+v", c.o.Surface, got, c.want)
		}
	}
}

// TestMeasureRaisedCard: a strip under a card's face is read too narrow by the
// thickness over the distance; the sheet's thickness takes that out and makes the
// height surer, on flat metal, in a shell and on a journal.
func TestMeasureRaisedCard(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	const thick, radius = 1.2, 28.0
	for _, c := range []struct{ layout, kind string }{{"bench", "flat"}, {"rider", "flat"}, {"rider", "shell"}, {"rider", "journal"}} {
		s := smallScene(t, c.layout)
		s.Card.Thickness, s.Bench.Depth = thick, thick
		strip := &s.Strips[0]
		strip.Height = -thick
		surface := Surface{Kind: SurfaceFlat}
		if c.kind != "flat" {
			s.Surface.Kind, s.Surface.Radius, s.Bench.Depth = c.kind, radius, radius+12
			s.Surface.HalfLength, s.Surface.HalfWidth = 12, 22
			surface = onRound(&s, strip)
		}
		p, truth := shot(t, s)
		want := truth.Strips[0].MeanWidth
		o := Options{Surface: surface, Prints: map[string]calib.PrintScale{s.Card.Serial: {X: 1, Y: 1, U: 2e-4}}}
		without, err := Measure(p, o)
		if err != nil {
			t.Errorf("%v, without: %v", c, err)
			continue
		}
		o.Prints[s.Card.Serial] = calib.PrintScale{X: 1, Y: 1, U: 2e-4, Thickness: thick}
		with, err := Measure(p, o)
		if err != nil {
			t.Errorf("%v: %v", c, err)
			continue
		}
		if without.Thickness != 0 || with.Thickness != thick {
			t.Errorf("%v: thickness used %v and %v mm", c, without.Thickness, with.Thickness)
		}
		if d := with.Profile.Mean - want; math.Abs(d) > 2*with.Profile.U || math.Abs(d) > 0.005*want {
			t.Errorf("%v: width %.4f mm, truth %.4f, u %.4f", c, with.Profile.Mean, want, with.Profile.U)
		}
		gain, more := with.Profile.Mean/without.Profile.Mean-1, (thick-usualCard)/s.Pose.Distance
		if math.Abs(gain-more) > 0.15*more {
			t.Errorf("%v: %.2f %% wider by the thickness, want about %.2f %%", c, 100*gain, 100*more)
		}
		if a, b := termNamed(with.Profile.Budget, "height"), termNamed(without.Profile.Budget, "height"); !(a < 0.95*b) {
			t.Errorf("%v: height %.4f mm, %.4f without", c, a, b)
		}
		t.Logf("%v: off by %+.2f %% without, %+.2f %% with; U %.4f and %.4f mm", c, 100*(without.Profile.Mean/want-1),
			100*(with.Profile.Mean/want-1), 2*without.Profile.U, 2*with.Profile.U)
	}
}

// onRound lays a strip along the scene's shell or journal as the rider lies, and
// tells what a person says of it.
func onRound(s *synth.Scene, strip *synth.Strip) Surface {
	r, half := s.Surface.Radius, calib.Rider().Height/2
	phi := strip.Centre.Y / r // along the arc
	sin, cos := math.Sincos(phi)
	strip.Angle, strip.Centre.Y, strip.TiltAcross = 0, r*sin, phi*180/math.Pi
	drop := r * (1 - cos)
	if s.Surface.Kind == "journal" {
		strip.Height, strip.TiltAcross = -s.Card.Thickness-drop, -strip.TiltAcross
		return Surface{SurfaceJournal, r}
	}
	strip.Height = -s.Card.Thickness + drop - (r - math.Sqrt(r*r-half*half))
	return Surface{SurfaceShell, r}
}

const read = "no error" // as refusalCode says it

// TestRadiusTooSmall: a strip further from the card's middle than the radius lets it be,
// and a card wider than the shell, are not read.
func TestRadiusTooSmall(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a photo")
	}
	s := smallScene(t, "rider")
	p, _ := shot(t, s)
	y, half := math.Abs(s.Strips[0].Centre.Y), calib.Rider().Height/2
	for _, c := range []struct {
		surface Surface
		want    string
	}{
		{Surface{SurfaceJournal, 3 * y}, read},
		{Surface{SurfaceJournal, y / 0.95}, CodeSurfaceMismatch},
		{Surface{SurfaceJournal, y / 2}, CodeSurfaceMismatch},
		{Surface{SurfaceShell, 4 * math.Max(half, y)}, read},
		{Surface{SurfaceShell, math.Max(half, y) / 0.97}, CodeSurfaceMismatch},
		{Surface{SurfaceShell, half / 2}, CodeSurfaceMismatch},
	} {
		if _, err := Measure(p, Options{Surface: c.surface}); refusalCode(err) != c.want {
			t.Errorf("strip %.1f mm and card %.1f mm beside the middle, %+v: %v, want %q", y, half, c.surface, err, c.want)
		}
	}
}

// TestNoPlaneNoBudget: a plane that is so unsure that the camera might look along it
// leaves the width unknown, rather than as sure as if its height and tilt were told.
func TestNoPlaneNoBudget(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a photo")
	}
	p, _ := shot(t, smallScene(t, "rider"))
	for height, want := range map[float64]string{0.3: read, 1e4: CodeStationsLost} {
		m, err := Measure(p, Options{PlaneU: &PlaneU{Height: height, Along: degree, Across: degree}})
		if refusalCode(err) != want || (m.Profile != nil) != (want == read) {
			t.Errorf("a height known to %v mm: %v, want %q", height, err, want)
		}
	}
}
