package vision

import (
	"math"
	"testing"
)

// TestEdgeTable holds the native table to the mixed light of Go, place by place.
func TestEdgeTable(t *testing.T) {
	for _, c := range edgeCameras {
		for _, p := range edgePairs {
			for _, shadow := range []filmShadow{{}, {castShadow, 0.3, 2}, {castShadow, 0, 0.75}, {ambientShadow, -0.1, 3}, {ambientShadow, 0.5, 0.4}} {
				m := c.model()
				s, ok := newShadedEdge(m, p[0], p[1], shadow)
				if !ok {
					t.Fatalf("%+v, %v: no edge", c, p)
				}
				row := s.plain.row
				mix := newMixing(m.Tone, p[0], p[1], m.channel)
				bare, full := mix.mixed(0, 1), mix.luma(1)
				gain := full - bare.luma
				for i := range row[0] {
					x := float64(i-len(row[0])/2) * edgeStep
					u := x / m.S
					f := normalCDF(u)
					share, byBlur, byReach := shadow.whole(x, m.S)
					d := mix.mixed(f, 1-f-shadow.depth*share)
					d.luma -= bare.luma
					if u < -edgeEnd && shadow.depth == 0 {
						d = mixed{byMetal: bare.byMetal}
					} else if u > edgeEnd {
						d = mixed{luma: gain}
					}
					want := [len(row)]float64{d.luma / gain, d.byTone / gain, d.byBend / gain, d.byFilm / gain, d.byMetal / gain,
						-u / m.S * normalPDF(u), share, byBlur, byReach}
					for k, w := range want {
						if math.Abs(row[k][i]-w) > 1e-11*(1+math.Abs(w)) {
							t.Fatalf("%+v, %v, %+v: row %d at %v px: %v, want %v", c, p, shadow, k, x, row[k][i], w)
						}
					}
				}
			}
		}
	}
}
