package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// TestBarsOnARaster prints each group of bars at 600 dots per inch, each edge at the
// nearest dot, wherever the card falls on the raster: the pitch fitted through the
// bars' middles stays within a fifth of the scale gate's 0.1 %.
func TestBarsOnARaster(t *testing.T) {
	const dots = 600 / 25.4 // per mm
	rng := rand.New(rand.NewPCG(61, 1))
	for _, l := range Layouts() {
		for _, b := range l.Bars {
			if b.Count < 2 {
				continue
			}
			for range 500 {
				at := rng.Float64()
				var x, y []float64
				for i := range b.Count {
					lo := b.Pitch*float64(i)*dots + at
					middle := (math.Round(lo) + math.Round(lo+b.Width*dots)) / 2
					x, y = append(x, float64(i)), append(y, middle/dots)
				}
				if _, pitch := stat.LinearRegression(x, y, nil, false); math.Abs(pitch/b.Pitch-1) > 2e-4 {
					t.Fatalf("%s, %s: pitch %.5f mm is printed as %.5f", l.Name, b.Name, b.Pitch, pitch)
				}
			}
		}
	}
}
