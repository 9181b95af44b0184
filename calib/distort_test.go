package calib

import (
	"math"
	"testing"
)

// TestDistortValues: x_d = x (1 + k1 r²), worked by hand from the model.
func TestDistortValues(t *testing.T) {
	cases := []struct{ x, y, k1, xd, yd float64 }{
		{0.3, 0.4, 0, 0.3, 0.4},
		{0.3, 0.4, 0.1, 0.3075, 0.41},              // r² = 0.25, factor 1.025
		{0.3, 0.4, -0.2664, 0.28002, 0.37336},      // factor 0.9334
		{-0.6, 0.8, -0.05, -0.57, 0.76},            // r² = 1
		{0, 0.5, 0.05, 0, 0.50625},                 // factor 1.0125
		{1e-9, 0, -0.1, 1e-9 * (1 - 0.1*1e-18), 0}, // next to the axis
	}
	for _, c := range cases {
		x, y, ok := distort(c.x, c.y, c.k1)
		if !ok || math.Hypot(x-c.xd, y-c.yd) > 1e-15 {
			t.Errorf("%v: got %v, %v", c, x, y)
		}
	}
}

func TestUndistortRoundTrip(t *testing.T) {
	for _, k1 := range []float64{-0.3, -0.1, -1e-6, 0, 1e-6, 0.1, 0.5, 30} {
		last := 2.0
		if k1 < 0 {
			last = math.Min(last, 0.999*math.Sqrt(-1/(3*k1)))
		}
		for i := range 101 {
			r := last * float64(i) / 100
			x, y := r*math.Cos(r), r*math.Sin(r)
			xd, yd, ok := distort(x, y, k1)
			if !ok {
				t.Fatalf("k1 %g, r %g: refused", k1, r)
			}
			if bx, by, ok := undistort(xd, yd, k1); !ok || math.Hypot(bx-x, by-y) > 1e-10 {
				t.Errorf("k1 %g: (%g, %g) comes back as (%g, %g) %v", k1, x, y, bx, by, ok)
			}
		}
	}
}

// TestDistortFold: for k1 = -1/3 the model folds at r = 1, where r_d = 2/3.
func TestDistortFold(t *testing.T) {
	const k1 = -1.0 / 3
	for r, want := range map[float64]bool{0.999: true, 1.001: false, 1.8: false} {
		if _, _, ok := distort(r, 0, k1); ok != want {
			t.Errorf("distort at r %g: %v", r, ok)
		}
	}
	for r, want := range map[float64]bool{0.666: true, 0.667: false, 5: false} {
		if _, _, ok := undistort(0, r, k1); ok != want {
			t.Errorf("undistort at r_d %g: %v", r, ok)
		}
	}
	if _, _, ok := undistort(math.NaN(), 0, 0); ok {
		t.Error("NaN accepted")
	}
}
