package clearance

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib/quantity"
)

// What strips share cancels in a difference and stays in a mean; drawn (seeded),
// to 2 %.
func TestSharedErrors(t *testing.T) {
	a, b := gauged(0.050, 0.0004, 0.001, 0, 0.0003), gauged(0.060, 0.0006, 0.0012, 0, 0.0003)
	r := rand.New(rand.NewPCG(2, 3))
	var diff, mean spread
	for range 60000 {
		area, print := r.NormFloat64(), r.NormFloat64()
		x := 0.050 + 0.0004*r.NormFloat64() + 0.001*(area+print)
		y := 0.060 + 0.0006*r.NormFloat64() + 0.0012*(area+print)
		diff.add(x - y)
		mean.add((x + y) / 2)
	}
	d := a.Minus(b)
	near(t, "difference", d.X, -0.010, 1e-15)
	near(t, "u of the difference", d.U/diff.sd(), 1, 0.02)
	near(t, "u of the mean", sumU([]Gauged{a, b}, []float64{0.5, 0.5})/mean.sd(), 1, 0.02)
	near(t, "own", a.OwnU(), 0.0004, 1e-15)
	near(t, "shared", a.SharedU(), math.Sqrt2*0.001, 1e-12)
	near(t, "covariance", sharedCovariance(a, b), 2*0.001*0.0012, 1e-15)

	// Another lot shares the print only, an unknown sheet nothing.
	b.Lot = "other"
	near(t, "print only", sharedCovariance(a, b), 0.001*0.0012, 1e-15)
	b.Sheet = ""
	near(t, "nothing", sharedCovariance(a, b), 0, 0)
	near(t, "independent", a.Minus(b).U, math.Hypot(a.Clearance.U, b.Clearance.U), 1e-15)
}

// A reading's own budget carries the names that are shared: a strip read twice by
// photos of one card, with the lot's area known to 1 %, differs by far less than
// either is unsure.
func TestReadingGauged(t *testing.T) {
	p, s := strip()
	r := read(t, p, s)
	g := Gauged{r.Clearance, r.Budget, r.Taper, [2]string{r.Ends[0].Name, r.Ends[1].Name}, "lot", "sheet"}
	if err := g.Check(); err != nil {
		t.Fatal(err)
	}
	var want float64 // what is left: edge noise and processing
	for _, term := range r.Budget.Terms() {
		switch term.Name {
		case TermArea, TermEdgeShape, TermTemperature, TermPrintScale:
		default:
			want = math.Hypot(want, term.U)
		}
	}
	near(t, "own", g.OwnU(), want, 1e-15)
	near(t, "same strip again", g.Minus(g).U, math.Sqrt2*want, 1e-15)
	if g.OwnU() > 0.6*g.Clearance.U {
		t.Errorf("own %v of %v: the example shows nothing shared", g.OwnU(), g.Clearance.U)
	}
}

func TestGaugedCheck(t *testing.T) {
	nan := math.NaN()
	for name, change := range map[string]func(*Gauged){
		"clearance":   func(g *Gauged) { g.Clearance.X = nan },
		"negative":    func(g *Gauged) { g.Clearance.X = -0.01 },
		"uncertainty": func(g *Gauged) { g.Clearance.U = 0 },
		"taper":       func(g *Gauged) { g.Taper.X = inf },
		"taper u":     func(g *Gauged) { g.Taper.U = 0 },
		"ends":        func(g *Gauged) { g.Ends = [2]string{"a", "a"} },
		"no ends":     func(g *Gauged) { g.Ends = [2]string{} },
		"budget":      func(g *Gauged) { g.Budget = quantity.Budget{} },
	} {
		g := plainGauged(0.05, 0.0005)
		if err := g.Check(); err != nil {
			t.Fatal(err)
		}
		change(&g)
		if g.Check() == nil {
			t.Errorf("%s: %+v passes", name, g)
		}
	}
}
