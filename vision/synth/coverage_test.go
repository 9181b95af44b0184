package synth

import (
	"math"
	"testing"
)

// Values of the normal distribution function, from memory of any table of it:
// 0.8413447, 0.9772499, 0.9986501 at 1, 2 and 3 standard deviations.
func TestSpreadIsNormal(t *testing.T) {
	for z, want := range map[float64]float64{0: 0.5, 1: 0.8413447, 2: 0.9772499, 3: 0.9986501, -1: 1 - 0.8413447} {
		near(t, "spread", spread(z*finest), want, 1e-7)
	}
}

// Samples across an edge must sum to the length on its inside, wherever it lies
// between pixels: by the bound exp(-2 pi^2 s^2) / pi of the first alias.
func TestCoverageKeepsLength(t *testing.T) {
	bound := math.Exp(-2*math.Pi*math.Pi*finest*finest) / math.Pi
	for off := -0.5; off <= 0.5; off += 0.05 {
		sum := 0.0
		for x := -10; x <= 10; x++ {
			sum += edge(2*(float64(x)-off), 2, 0)
		}
		near(t, "length", sum, 10.5-off, bound+1e-5) // spread stops at its reach
	}
}

// The mean depth inside an edge against a sum over the pixel's weights.
func TestInnerDepth(t *testing.T) {
	for _, d := range []float64{-1.2, -0.3, 0, 0.4, 1.5, 3} {
		const s, step = 0.5, 1e-4
		var sum, weight float64
		for x := step / 2; x < 8; x += step {
			w := math.Exp(-(x - d) * (x - d) / (2 * s * s))
			sum, weight = sum+w*x, weight+w
		}
		near(t, "depth", innerDepth(d, s), sum/weight, 1e-4)
	}
}
