package vision

import (
	"testing"

	"stripgap/calib"
)

// TestCutAlong: a band along the photo's border, which may be part of something wide,
// is cut along; one that runs out of the photo is not.
func TestCutAlong(t *testing.T) {
	g := &ground{w: 100, h: 100, perMM: 2, corner: calib.CardPoint{X: 0, Y: 50}, kind: make([]uint8, 100*100)}
	for i := range 100 * 20 {
		g.kind[i] = outsidePhoto // above y = 40
	}
	for _, c := range []struct {
		name string
		a, b calib.CardPoint
		want bool
	}{
		{"inside", calib.CardPoint{X: 10, Y: 20}, calib.CardPoint{X: 20, Y: 20}, false},
		{"along the border", calib.CardPoint{X: 10, Y: 39}, calib.CardPoint{X: 20, Y: 39}, true},
		{"out of the photo", calib.CardPoint{X: 10, Y: 25}, calib.CardPoint{X: 10, Y: 40}, false},
	} {
		if got := g.cutAlong(candidate{a: c.a, b: c.b, width: 2}); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
