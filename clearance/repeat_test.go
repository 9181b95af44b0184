package clearance

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func repeated(t *testing.T, a, b Gauged, laying float64) Repeat {
	t.Helper()
	r, err := Repeated(a, b, laying)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// With own uncertainties 0.3 and 0.4 um the difference has 0.5 um; tapers the same.
func TestRepeated(t *testing.T) {
	first := gauged(0.050, 0.0003, 0.001, 0.010, 0.0003)
	for _, c := range []struct {
		x, taper float64
		ends     [2]string
		want     RepeatOutcome
		directed bool
		turned   bool
	}{
		{0.0509, 0.0109, [2]string{"front", "rear"}, Confirmed, true, false},
		{0.0511, 0.0100, [2]string{"front", "rear"}, ThirdNeeded, true, false},
		{0.0500, 0.0112, [2]string{"front", "rear"}, ThirdNeeded, true, false},
		{0.0516, 0.0100, [2]string{"front", "rear"}, NotRepeated, true, false},
		{0.0500, 0.0000, [2]string{"front", "rear"}, NotRepeated, true, false},
		{0.0500, -0.0100, [2]string{"front", "rear"}, NotRepeated, true, true},
		{0.0500, -0.0100, [2]string{"rear", "front"}, Confirmed, true, false},
		{0.0500, -0.0100, [2]string{"a", "b"}, Confirmed, false, false}, // sizes only
		{0.0500, 0.0000, [2]string{"b", "a"}, NotRepeated, false, false},
	} {
		second := gauged(c.x, 0.0004, 0.001, c.taper, 0.0004)
		second.Ends = c.ends
		for range 2 { // either strip may come first
			r := repeated(t, first, second, 0)
			if r.Outcome != c.want || r.Directed != c.directed || r.Turned != c.turned {
				t.Errorf("%v, taper %v, ends %v: %+v", c.x, c.taper, c.ends, r)
			}
			near(t, "u", r.Difference.U, 0.0005, 1e-12)
			near(t, "u of tapers", r.TaperDifference.U, 0.0005, 1e-12)
			if s := r.String(); !strings.HasPrefix(s, string(c.want)) || strings.Contains(s, "sizes only") == c.directed {
				t.Errorf("says %q", s)
			}
			first, second = second, first
		}
	}
	near(t, "with laying", repeated(t, first, first, 0.0012).Difference.U, math.Sqrt2*math.Hypot(0.0003, 0.0012), 1e-12)
}

// Rates, drawn (seeded): two honest strips in one bearing, each laid a little
// differently and read with its own error, the lot's and the sheet's error shared.
// The fixed bounds give 91.1 %, 8.4 % and 0.5 % (two normal differences). Power:
// a taper of the limit in one strip only, and a gap that is 0.0003 in larger.
func TestRepeatRates(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	const pairs = 20000
	lay := func(x, taper, shared float64) Gauged {
		own, tu := 0.0005, 0.0006
		return gauged(x+shared+math.Hypot(own, Laying)*r.NormFloat64(), own, 0.001,
			taper+math.Hypot(tu, Laying)*r.NormFloat64(), tu)
	}
	count := func(x2, taper1, taper2 float64) map[RepeatOutcome]float64 {
		n := map[RepeatOutcome]float64{}
		for range pairs {
			shared := 0.001 * math.Sqrt2 * r.NormFloat64()
			n[repeated(t, lay(0.05, taper1, shared), lay(x2, taper2, shared), Laying).Outcome] += 1. / pairs
		}
		return n
	}
	honest := count(0.05, 0.010, 0.010)
	near(t, "honest: confirmed", honest[Confirmed], 0.9545*0.9545, 0.008) // 4 sd
	near(t, "honest: not repeated", honest[NotRepeated], 1-0.9973*0.9973, 0.002)
	vanished := count(0.05, TaperLimit, 0)
	larger := count(0.05+0.0003*25.4, 0, 0)
	t.Logf("honest %v\ntaper of one strip only %v\n0.0003 in larger %v", honest, vanished, larger)
	if vanished[NotRepeated] < 0.99 || vanished[Confirmed] > 0.001 {
		t.Errorf("a taper that vanished: %v", vanished)
	}
	if larger[Confirmed] > 0.05 {
		t.Errorf("a gap 0.0003 in larger: %v", larger)
	}
}

func TestRepeatedRefuses(t *testing.T) {
	good, bad := plainGauged(0.05, 0.0005), Gauged{}
	if r, err := Repeated(good, bad, 0); err == nil || !strings.Contains(err.Error(), "strip 2") {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err := Repeated(good, good, math.NaN()); err == nil {
		t.Errorf("%+v", r)
	}
}
