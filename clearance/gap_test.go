package clearance

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

// round is the section area of a round strand of diameter d.
func round(d float64) float64 { return math.Pi * d * d / 4 }

// Worked out by hand from the volume of the strand: d 0.300 mm to w 1.500 mm is
// c 0.0471239 mm, d 0.200 to w 2.5 is 0.0125664; half-round edges at c 0.05, w 2
// lack 0.54 % of the area.
func TestSectionValues(t *testing.T) {
	near(t, "0.300 to 1.5", square(1.5, round(0.3)).gap, 0.0471239, 5e-8)
	near(t, "0.200 to 2.5", square(2.5, round(0.2)).gap, 0.0125664, 5e-8)
	area := 2*0.05 - bulge*0.05*0.05
	near(t, "lack of area", 1-area/(2*0.05), 0.0054, 5e-5)
	near(t, "half-round", halfRound(2, area).gap, 0.05, 1e-15)
}

// The half-round section measured by another way: its outline's area, a rectangle
// between two half discs, summed as a polygon.
func TestHalfRoundOutline(t *testing.T) {
	const w, c, n = 0.8, 0.2, 20000
	var area float64
	for i := range n { // strips across the height
		y := (float64(i) + 0.5) / n * c
		area += (w - c + 2*math.Sqrt(c*c/4-(y-c/2)*(y-c/2))) * c / n
	}
	near(t, "gap of the outline", halfRound(w, area).gap, c, 1e-6)
}

// Properties over strands of 0.05 to 0.6 mm crushed to 1.01 to 40 times their
// diameter (seeded).
func TestGapProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 5000 {
		d := 0.05 + 0.55*r.Float64()
		area := round(d)
		w := d * math.Exp(math.Log(1.01)+r.Float64()*math.Log(40))
		g, err := FromWidth(w, area)
		if err != nil {
			t.Fatal(err)
		}
		sq, hr := square(w, area).gap, halfRound(w, area).gap
		if !(sq < g.Mm && g.Mm < hr && hr < d) {
			t.Fatalf("d %v, w %v: square %v, chosen %v, half-round %v", d, w, sq, g.Mm, hr)
		}
		// Back to the area, by each model's own equation.
		near(t, "square area", w*sq, area, 1e-14)
		near(t, "half-round area", w*hr-bulge*hr*hr, area, 1e-14)
		near(t, "spread", 2*g.EdgeSpread, hr-sq, 1e-15)

		wider, err := FromWidth(w*1.001, area)
		if err != nil {
			t.Fatal(err)
		}
		if wider.Mm >= g.Mm {
			t.Fatalf("d %v: %v mm wide is %v, wider is %v", d, w, g.Mm, wider.Mm)
		}
		const h = 1e-5 // relative step of a central difference
		byWidth := (mid(t, w*(1+h), area) - mid(t, w*(1-h), area)) / (2 * h * w)
		byArea := (mid(t, w, area*(1+h)) - mid(t, w, area*(1-h))) / (2 * h * area)
		near(t, "dc/dw", g.ByWidth/byWidth, 1, 1e-6)
		near(t, "dc/dA", g.ByArea/byArea, 1, 1e-6)
	}
}

func mid(t *testing.T, w, area float64) float64 {
	t.Helper()
	g, err := FromWidth(w, area)
	if err != nil {
		t.Fatal(err)
	}
	return g.Mm
}

// The root must not cancel away for strips crushed very thin: c = A/w (1 + b c/w
// + 2 (b c/w)^2 ...) with b = bulge.
func TestThinStripKeepsItsDigits(t *testing.T) {
	const w, area = 100.0, 1e-7
	e := bulge * area / (w * w)
	near(t, "relative", halfRound(w, area).gap/(area/w)-1, e+2*e*e, 3e-16)
}

func TestFromWidthRefuses(t *testing.T) {
	for _, c := range [][2]float64{
		{0, 1}, {-1, 1}, {math.NaN(), 1}, {math.Inf(1), 1}, {1, 0}, {1, -1}, {1, math.NaN()}, {1, math.Inf(1)},
	} {
		if g, err := FromWidth(c[0], c[1]); err == nil || errors.Is(err, ErrNotCrushed) {
			t.Errorf("width %v, area %v: %+v, %v", c[0], c[1], g, err)
		}
	}
	// Just at the strand's diameter both models still hold, below none does: 0.8 d
	// has no real root at all, 0.9 d one with a gap wider than the strip.
	d := 0.3
	g, err := FromWidth(d, round(d))
	if err != nil {
		t.Fatalf("uncrushed strand: %v", err)
	}
	near(t, "uncrushed, half-round", g.Mm+g.EdgeSpread, d, 1e-12)
	for _, f := range []float64{0.999, 0.9, 0.8, 0.1} {
		if g, err := FromWidth(f*d, round(d)); !errors.Is(err, ErrNotCrushed) {
			t.Errorf("%v diameters wide: %+v, %v", f, g, err)
		}
	}
}

func BenchmarkFromWidth(b *testing.B) {
	for b.Loop() {
		if _, err := FromWidth(1.5, 0.0706858); err != nil {
			b.Fatal(err)
		}
	}
}
