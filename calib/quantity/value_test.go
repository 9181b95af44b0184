package quantity

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
)

func TestRound(t *testing.T) {
	for _, c := range []struct {
		x, u         float64
		wantX, wantU string
		source       string
	}{
		{100.02147, 0.00035, "100.02147", "0.00035", "JCGM 100 7.2.2, mass standard in g"},
		{9.987, 10.47, "10", "11", "JCGM 100 7.2.6: 10.47 becomes 11 (value ours)"},
		{1234.6, 28.05, "1235", "28", "JCGM 100 7.2.6: 28.05 becomes 28 (value ours)"},
		{10.05762, 0.027, "10.058", "0.027", "JCGM 100 7.2.6, resistance in ohm"},
		{50.000838, 0.000093, "50.000838", "0.000093", "JCGM 100 H.1, gauge block in mm"},
		{0.05, 0.000999, "0.0500", "0.0010", "ours: 99.9 carries to 100"},
		{1, 9.99, "1", "10", "ours: carries across the point"},
		{12345, 2345, "12300", "2400", "ours: tens and hundreds; 2345 to 2300 would lose 2 %"},
		{-0.0004, 0.012, "0.000", "0.012", "ours: no negative zero"},
		{0.3, 0, "0.3", "0", "ours: nothing says where to round"},
	} {
		if xs, us := Round(c.x, c.u); xs != c.wantX || us != c.wantU {
			t.Errorf("%v, %v: got %s and %s, want %s and %s (%s)", c.x, c.u, xs, us, c.wantX, c.wantU, c.source)
		}
	}
}

// Printing keeps within half a step of the value and never understates the
// uncertainty by more than 1 % nor overstates it by more than a tenth.
func TestRoundProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		u := math.Pow(10, 8*r.Float64()-5)
		x := u * 1000 * (r.Float64() - 0.5)
		xs, us := Round(x, u)
		px, err1 := strconv.ParseFloat(xs, 64)
		pu, err2 := strconv.ParseFloat(us, 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%v, %v printed as %q and %q", x, u, xs, us)
		}
		if pu < 0.99*u*(1-1e-12) || pu > 1.1*u || math.Abs(px-x) > 0.051*pu {
			t.Fatalf("%v, %v printed as %q and %q", x, u, xs, us)
		}
	}
}

func TestFormat(t *testing.T) {
	if got, want := Format(0.05123, 0.00112, MM), "0.0512 ± 0.0012 mm"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := Format(0.0508, 0.00127, Thou), "2.000 ± 0.050 thou"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := (Value{2, 0.5}).Scale(-3), (Value{-6, 1.5}); got != want {
		t.Errorf("scaled: got %v, want %v", got, want)
	}
}

// TestChance: what cannot be told is not printed as certain.
func TestChance(t *testing.T) {
	for p, want := range map[float64]string{0: "under 1 %", 0.004: "under 1 %", 0.006: "1 %", 0.5: "50 %", 0.994: "99 %", 0.996: "over 99 %", 1: "over 99 %"} {
		if got := Chance(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
}
