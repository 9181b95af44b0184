package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// crushed makes points of a strip of section area whose edges lack the share of a
// half-round edge's, w = A/c + lack c, with errors drawn by r; nil for none.
func crushed(area, lack float64, gaps []float64, uw, uc float64, r *rand.Rand) []AreaPoint {
	var out []AreaPoint
	for i, c := range gaps {
		p := AreaPoint{fmt.Sprintf("gauge %d", i+1), quantity.Value{X: area/c + lack*c, U: uw}, quantity.Value{X: c, U: uc}}
		if r != nil {
			p.Width.X += uw * r.NormFloat64()
			p.Gap.X += uc * r.NormFloat64()
		}
		out = append(out, p)
	}
	return out
}

var someGaps = []float64{0.03, 0.04, 0.05, 0.06, 0.07}

// TestFitArea: exact points give back their area for either edge shape, within the
// edge shape's own term, and everything is in the budget.
func TestFitArea(t *testing.T) {
	const area = 0.0707
	for _, lack := range []float64{0, edgeLack / 2, edgeLack} {
		f, err := FitArea(crushed(area, lack, someGaps, 0.004, 5e-4, nil), 0.002, 0.001)
		if err != nil {
			t.Fatal(err)
		}
		if d := math.Abs(f.Area.X - area); d > math.Sqrt(3)*1.05*f.Terms[1].U {
			t.Errorf("lack %.3f: area %.6f, want %.6f, edge shape %.2g", lack, f.Area.X, area, f.Terms[1].U)
		}
		if f.ChiSquare > 1e-9 || f.DoF != 4 || f.Chance < 0.99 || len(f.Doubts) != 0 {
			t.Errorf("lack %.3f: %+v", lack, f)
		}
		sum := 0.0
		for _, term := range f.Terms {
			sum = math.Hypot(sum, term.U)
		}
		wantNear(t, "u", f.Area.U, sum, 1e-15)
		wantNear(t, "scale", f.Terms[2].U, 0.002*f.Area.X, 1e-15)
		if g := f.Terms[3].U / 0.001; g < 0.03 || g > 0.07 { // a width off by 1 um makes an area off by the gap times that
			t.Errorf("edges act with %.3f mm", g)
		}
	}
}

// TestFitAreaCoverage: over seeds of both errors the fit scatters as it says, and
// says too often that points disagree in 5 % of the cases.
func TestFitAreaCoverage(t *testing.T) {
	const area, rounds = 0.0707, 3000
	r := rand.New(rand.NewPCG(21, 22))
	var square, intercept float64
	doubts := 0
	for range rounds {
		f, err := FitArea(crushed(area, edgeLack/2, someGaps, 0.004, 4e-4, r), 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		own := f.Terms[0].U
		if len(f.Doubts) > 0 {
			doubts++
			own /= math.Sqrt(f.ChiSquare / float64(f.DoF))
		}
		square += math.Pow((f.Area.X-area)/own, 2) / rounds
		intercept += math.Pow(f.Intercept.X/f.Intercept.U, 2) / rounds
	}
	// Five standard deviations of a mean square and of a count.
	if math.Abs(square-1) > 5*math.Sqrt(2.0/rounds)+0.02 || math.Abs(intercept-1) > 5*math.Sqrt(2.0/rounds)+0.02 {
		t.Errorf("mean square error %.3f u^2, of the intercept %.3f", square, intercept)
	}
	if p := float64(doubts) / rounds; math.Abs(p-leastChance) > 0.025 {
		t.Errorf("%.1f %% of good points are doubted", 100*p)
	}
}

// TestFitAreaSharedGauges: several strips on one gauge all have its error. Drawn so, the
// fit scatters as it says, and strips without error of their own gain nothing by number.
func TestFitAreaSharedGauges(t *testing.T) {
	const area, uw, uc, rounds = 0.0707, 0.004, 5e-4, 3000
	draw := func(r *rand.Rand, gauges []float64, each int) (points []AreaPoint) {
		for _, c := range gauges {
			held := c + uc*r.NormFloat64()
			for range each {
				w := area/held + edgeLack/2*held + uw*r.NormFloat64()
				points = append(points, AreaPoint{fmt.Sprintf("gauge %g", c), quantity.Value{X: w, U: uw}, quantity.Value{X: c, U: uc}})
			}
		}
		return points
	}
	r := rand.New(rand.NewPCG(23, 24))
	var square float64
	doubts := 0
	for range rounds {
		f, err := FitArea(draw(r, []float64{0.04, 0.06}, 3), 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		own := f.Terms[0].U
		if f.Chance < leastChance {
			doubts++
			own /= math.Sqrt(f.ChiSquare / float64(f.DoF))
		}
		square += math.Pow((f.Area.X-area)/own, 2) / rounds
		if f.DoF != 5 {
			t.Fatalf("%d degrees of freedom of six points", f.DoF)
		}
	}
	if math.Abs(square-1) > 5*math.Sqrt(2.0/rounds)+0.02 {
		t.Errorf("mean square error %.3f u^2", square)
	}
	if p := float64(doubts) / rounds; math.Abs(p-leastChance) > 0.025 {
		t.Errorf("%.1f %% of good points are doubted", 100*p)
	}
	f, err := FitArea(crushed(area, edgeLack/2, []float64{0.05, 0.05, 0.05}, 1e-5, uc, nil), 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "one gauge's u", f.Terms[0].U/f.Area.X, uc/0.05, 2e-4)
	if len(f.Doubts) != 1 || !strings.HasPrefix(f.Doubts[0], "points of one gap cannot show") {
		t.Errorf("doubts %q", f.Doubts)
	}
}

func TestFitAreaDoubts(t *testing.T) {
	good := func() []AreaPoint { return crushed(0.0707, edgeLack/2, someGaps, 0.004, 2e-4, nil) }
	saw := func(name, want string, points []AreaPoint) AreaFit {
		f, err := FitArea(points, 0, 0)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !strings.Contains(strings.Join(f.Doubts, "\n"), want) {
			t.Errorf("%s: %q, want %q", name, f.Doubts, want)
		}
		return f
	}
	saw("one point", "one point cannot show", good()[:1])
	p := good()
	p[2].Width.X *= 1.05
	f := saw("one apart", "without gauge 3 the others agree", p)
	saw("one apart", "the points disagree with the area law", p)
	if plain := saw("good", "", good()); f.Terms[0].U < 1.5*plain.Terms[0].U {
		t.Errorf("not widened: %v, %v", f.Terms[0].U, plain.Terms[0].U)
	}
	p = good()
	gaps := slices.Clone(someGaps)
	slices.Reverse(gaps)
	for i := range p {
		p[i].Gap.X = gaps[i]
	}
	saw("reversed", "reverse order", p)
	p = good()
	for i := range p {
		p[i].Width.X += 0.06
	}
	saw("all too wide", "the widths are off by about +0.0", p)
	// Two that contradict one another.
	saw("two", "disagree", []AreaPoint{good()[0], {"b", quantity.Value{X: 2, U: 0.004}, quantity.Value{X: 0.05, U: 2e-4}}})
}

func TestFitAreaRefuses(t *testing.T) {
	ok := crushed(0.07, 0, someGaps[:1], 0.004, 1e-4, nil)[0]
	for want, change := range map[string]func(p *AreaPoint){
		"must be positive":                func(p *AreaPoint) { p.Width.X = -1 },
		"with their uncertainties":        func(p *AreaPoint) { p.Width.U = 0 },
		"must be positive, ":              func(p *AreaPoint) { p.Gap.X = math.NaN() },
		"is not above the gap, 50.000 mm": func(p *AreaPoint) { p.Gap.X = 50 },
	} {
		p := ok
		change(&p)
		if _, err := FitArea([]AreaPoint{p}, 0, 0); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: %v, want %q", p, err, want)
		}
	}
	if _, err := FitArea(nil, 0, 0); err == nil {
		t.Error("no points are fitted")
	}
}

func TestFitDiameter(t *testing.T) {
	v := func(x, u float64) quantity.Value { return quantity.Value{X: x, U: u} }
	// By hand: weights 4 and 1 (in 1/0.002^2): (4 0.300 + 0.305)/5 = 0.301.
	d, err := FitDiameter([]quantity.Value{v(0.300, 0.001), v(0.305, 0.002)}, 0.003)
	if err != nil {
		t.Fatal(err)
	}
	wantNear(t, "mean", d.Mean.X, 0.301, 1e-12)
	wantNear(t, "chi-square", d.ChiSquare, 1+4, 1e-9)
	wantNear(t, "u", d.Mean.U, math.Hypot(math.Sqrt(5)*0.001*math.Sqrt(0.8), 0.003), 1e-12)
	if len(d.Doubts) != 1 || !strings.Contains(d.Doubts[0], "the photos disagree") { // 5 with one freedom: 2.5 %
		t.Errorf("%q", d.Doubts)
	}
	if d, _ := FitDiameter([]quantity.Value{v(0.3, 0.001)}, 0); len(d.Doubts) != 1 || d.Mean != v(0.3, 0.001) {
		t.Errorf("one reading: %+v", d)
	}
	for _, bad := range [][]quantity.Value{nil, {v(0, 1)}, {v(1, 0)}, {v(math.Inf(1), 1)}} {
		if d, err := FitDiameter(bad, 0); err == nil {
			t.Errorf("%v: %+v", bad, d)
		}
	}
}
