package quantity

import (
	"math"
	"testing"
)

func TestSteps(t *testing.T) {
	for _, c := range []struct {
		lo, hi   float64
		n        int
		first    float64
		count    int
		decimals int
	}{
		{0.023, 0.057, 6, 0.03, 3, 2}, {-10.4, 10.4, 8, -10, 5, 0}, {0, 1, 5, 0, 6, 1},
		{0.9, 2.3, 6, 1, 3, 1}, {120, 1380, 6, 500, 2, 0},
	} {
		values, decimals := Steps(c.lo, c.hi, c.n)
		if len(values) != c.count || math.Abs(values[0]-c.first) > 1e-12 || decimals != c.decimals {
			t.Errorf("%g to %g: %v with %d decimals", c.lo, c.hi, values, decimals)
		}
	}
}
