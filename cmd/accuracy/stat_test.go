package main

import (
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// TestQuantile compares with definition 7 of Hyndman and Fan (1996), worked by
// hand: at p the value lies p (n-1) steps above the smallest.
func TestQuantile(t *testing.T) {
	ten := []float64{10, 2, 8, 4, 6, 1, 3, 5, 7, 9} // order must not matter
	for _, c := range []struct{ p, want float64 }{{0, 1}, {0.25, 3.25}, {0.5, 5.5}, {0.95, 9.55}, {1, 10}} {
		near(t, "1 to 10", quantile(ten, c.p), c.want, 1e-12)
	}
	near(t, "one value", quantile([]float64{4}, 0.95), 4, 0)
	if ten[0] != 10 {
		t.Error("quantile sorted its caller's values")
	}
}

// TestSpread uses deviations few enough to work by hand.
func TestSpread(t *testing.T) {
	// Normalised: -2, 1, 4, 0.5; sum 3.5, squares about the mean 18.1875.
	s := newSpread([]deviation{{-4, 2}, {1, 1}, {6, 1.5}, {0.5, 1}})
	if s.N != 4 || s.Above3 != 2 || s.Above5 != 1 || s.Silent != 1 {
		t.Errorf("%+v: want 4 deviations, 2 above 3 %%, one of them beyond its U, 1 above 5 %%", s)
	}
	near(t, "median", s.Median, 2.5, 1e-12) // of 0.5 1 4 6
	near(t, "95th percentile", s.P95, 5.7, 1e-12)
	near(t, "bias", s.Bias, 0.75, 1e-12) // median of -4 0.5 1 6
	near(t, "worst", s.Worst, 6, 0)
	near(t, "covered", s.Covered, 75, 1e-12) // -4 lies exactly on 2 u and counts
	near(t, "z mean", s.ZMean, 0.875, 1e-12)
	near(t, "z sd", s.ZSD, math.Sqrt(18.1875/3), 1e-12)
	near(t, "median u", s.MedianU, 1.25, 1e-12)

	if s := newSpread([]deviation{{-7, 1}, {2, 1}}); s.Worst != -7 {
		t.Errorf("worst is %v, want -7: it keeps its sign", s.Worst)
	}
	if s := newSpread(nil); s.N != 0 {
		t.Errorf("nothing gave %d deviations", s.N)
	}
}

// TestCoverage draws errors of exactly the claimed size. The normal
// distribution holds 95.45 % within 2 standard deviations (JCGM 100:2008 table
// G.1); with errors twice the claim 68.27 %.
func TestCoverage(t *testing.T) {
	const n = 40000 // the share's own standard deviation is 0.10, and 0.23 %
	for _, c := range []struct{ factor, want float64 }{{1, 95.45}, {2, 68.27}} {
		rng := rand.New(rand.NewPCG(7, 0))
		var d []deviation
		for range n {
			u := 0.1 + rng.Float64()
			d = append(d, deviation{c.factor * u * rng.NormFloat64(), u})
		}
		s := newSpread(d)
		near(t, "covered", s.Covered, c.want, 1)
		near(t, "z sd", s.ZSD, c.factor, 0.02*c.factor)
		near(t, "z mean", s.ZMean, 0, 0.03*c.factor)
	}
}

func TestBand(t *testing.T) {
	for v, want := range map[float64]string{0.5: "< 1", 1: "1 to 1.5", 1.49: "1 to 1.5", 1.5: "1.5 to 2", 2: ">= 2", 9: ">= 2"} {
		if got := band(v, 1, 1.5, 2); got != want {
			t.Errorf("%v: got %q, want %q", v, got, want)
		}
	}
}

func TestFormat(t *testing.T) {
	for v, want := range map[float64]string{-0.001: "0.00", 1.006: "1.01", -0.25: "-0.25"} {
		if got := format(v, 2); got != want {
			t.Errorf("%v: got %s, want %s", v, got, want)
		}
	}
}
