package vision

import (
	"fmt"
	"math"
	"testing"
)

// edgeCameras span blur, sharpening and tone of phone photos that are read
// (blur to 2.3 px), and a little more.
var edgeCameras = []slowCamera{
	{S: 0.6, R: 1.2}, {S: 0.7, A: 0.8, R: 1.0, T: 0.2, B: 0.4}, {S: 1.0, A: 0.5, R: 2.5, T: -0.2}, {S: 1.2, A: 1.5, R: 1.2, T: 0.3},
	{S: 1.6, A: 3, R: 0.8, B: -0.3}, {S: 2.0, A: 0.3, R: 3, T: 0.4, B: 0.6}, {S: 2.6, A: 1, R: 1.5, T: -0.4}, {S: 4, A: 2, R: 2, T: 0.1},
}

// edgePairs are film and metal, display-referred: dark on light, light on dark,
// coloured on grey, and two colours close in luma.
var edgePairs = [][2]rgb{
	{grey(0.1), grey(0.9)}, {grey(0.9), grey(0.1)}, {grey(0.5), grey(0.6)},
	{{0.2, 0.65, 0.25}, {0.7, 0.7, 0.72}}, {{0.8, 0.15, 0.2}, {0.55, 0.5, 0.45}}, {{0.1, 0.3, 0.9}, {0.5, 0.35, 0.1}},
}

// TestEdgeShapeEqualsSlowModel compares the table with the plain forward model,
// normalised between its two far levels. The tolerance is a share of the curve's
// swing, which is 1 but for halos and for colours whose mixture is darker or
// lighter than both. Straight lines between table entries 0.1 px apart leave
// 0.1^2/8 of the second derivative, 0.24/S^2 for a Gaussian edge: 8e-4 at 0.6 px.
func TestEdgeShapeEqualsSlowModel(t *testing.T) {
	for _, c := range edgeCameras {
		for _, p := range edgePairs {
			film, metal := p[0], p[1]
			s, ok := newEdgeShape(c.model(), film, metal)
			if !ok {
				t.Fatalf("%+v, %v: no shape", c, p)
			}
			light := c.edge(film, metal)
			y0, y1 := metal.luma(), film.luma()
			var worst, at float64
			lo, hi := 0.0, 1.0
			for u := -28.0; u <= 28; u += 0.293 {
				e, _ := s.at(u)
				want := (c.luma(light, u) - y0) / (y1 - y0)
				lo, hi = min(lo, want), max(hi, want)
				if d := math.Abs(e - want); d > worst {
					worst, at = d, u
				}
			}
			if worst > 2e-3*(hi-lo) {
				t.Errorf("%+v, %v: off by %v of a swing of %v, at %v px", c, p, worst, hi-lo, at)
			}
		}
	}
}

// TestEdgeShapeSlope compares the tabulated slope with differences of the slow
// model, over its largest value; measured 0.7 %.
func TestEdgeShapeSlope(t *testing.T) {
	const h = 1e-3
	for _, c := range edgeCameras {
		film, metal := edgePairs[3][0], edgePairs[3][1]
		s, _ := newEdgeShape(c.model(), film, metal)
		light := c.edge(film, metal)
		contrast := film.luma() - metal.luma()
		var diff, most float64
		for u := -s.reach + 0.5; u < s.reach-0.5; u += 0.217 {
			_, d := s.at(u)
			want := (c.luma(light, u+h) - c.luma(light, u-h)) / (2 * h) / contrast
			diff, most = max(diff, math.Abs(d-want)), max(most, math.Abs(want))
		}
		if diff > 0.02*most {
			t.Errorf("%+v: slope off by %v of %v", c, diff, most)
		}
	}
}

// TestHaloIsTheDerivativeByAmount: the shape is linear in the amount.
func TestHaloIsTheDerivativeByAmount(t *testing.T) {
	for _, c := range edgeCameras {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			film, metal := edgePairs[4][0], edgePairs[4][1]
			more := c
			more.A += 0.5
			a, _ := newEdgeShape(c.model(), film, metal)
			b, _ := newEdgeShape(more.model(), film, metal)
			seen := 0.0
			for u := -20.0; u < 20; u += 0.131 {
				ea, _ := a.at(u)
				eb, _ := b.at(u)
				if math.Abs((eb-ea)/0.5-a.haloAt(u)) > 1e-9 {
					t.Fatalf("at %v px: halo %v, difference %v", u, a.haloAt(u), (eb-ea)/0.5)
				}
				seen = max(seen, math.Abs(a.haloAt(u)))
			}
			if seen < 0.02 { // the weakest mask here, R = 0.8 on a blur of 1.6, makes 0.06
				t.Errorf("the halo never exceeds %v", seen)
			}
		})
	}
}

// TestEdgeRates compares the tabulated derivatives with differences of whole
// tables, over the largest value of each; measured up to 2e-4, from the straight
// lines of the plain edge's slope and from the mask's cut-off.
func TestEdgeRates(t *testing.T) {
	const h = 1e-3
	for _, c := range edgeCameras {
		if c.B == 0 {
			c.B = 2 * h // a negative bend is another
		}
		for _, p := range edgePairs {
			s, _ := newEdgeShape(c.model(), p[0], p[1])
			rates := s.rates()
			for name, k := range map[string]struct {
				table []float64
				move  slowCamera
			}{
				"blur": {rates.blur, slowCamera{S: h}}, "radius": {rates.radius, slowCamera{R: h}}, "tone": {rates.tone, slowCamera{T: h}}, "bend": {rates.bend, slowCamera{B: h}},
			} {
				a, _ := newEdgeShape(slowCamera{S: c.S - k.move.S, A: c.A, R: c.R - k.move.R, T: c.T - k.move.T, B: c.B - k.move.B}.model(), p[0], p[1])
				b, _ := newEdgeShape(slowCamera{S: c.S + k.move.S, A: c.A, R: c.R + k.move.R, T: c.T + k.move.T, B: c.B + k.move.B}.model(), p[0], p[1])
				var diff, most float64
				for u := -s.reach + 0.5; u < s.reach-0.5; u += edgeStep {
					i, f, _ := s.inside(u)
					ea, _ := a.at(u)
					eb, _ := b.at(u)
					want := (eb - ea) / (2 * h)
					diff, most = max(diff, math.Abs(lerp(k.table, i, f)-want)), max(most, math.Abs(want))
				}
				if diff > 1e-3*most+1e-9 {
					t.Errorf("%+v, %v: %s off by %v of %v", c, p, name, diff, most)
				}
			}
		}
	}
}

// haloAt is the sharpening's share at offset u px, for amount 1.
func (s *edgeShape) haloAt(u float64) float64 {
	if i, f, ok := s.inside(u); ok {
		return lerp(s.halo, i, f)
	}
	return 0
}

// TestShadedEdgeRates: the derivatives by blur and shade are what small steps give.
func TestShadedEdgeRates(t *testing.T) {
	const h = 1e-4
	for _, c := range edgeCameras {
		for _, p := range edgePairs {
			for k := range 4 {
				form, shade := [2]shadowForm{castShadow, ambientShadow}[k/2], [2]float64{2 * h, 0.3}[k%2]
				table := func(blur, shade, reach float64) *edgeShape {
					m := c.model()
					m.S += blur
					s, ok := newShadedEdge(m, p[0], p[1], filmShadow{form, shade, 2 + reach})
					if !ok {
						t.Fatalf("%+v, %v: no edge", c, p)
					}
					return s
				}
				s := table(0, shade, 0)
				dimmed, further := s.shadowRates()
				for name, k := range map[string]struct {
					rate []float64
					a, b *edgeShape
				}{
					"blur":  {s.blurRate(), table(-h, shade, 0), table(h, shade, 0)},
					"shade": {dimmed, table(0, shade-h, 0), table(0, shade+h, 0)},
					"reach": {further, table(0, shade, -h), table(0, shade, h)},
				} {
					var diff, most float64
					for u := -s.reach + 0.5; u < s.reach-0.5; u += edgeStep {
						i, f, _ := s.inside(u)
						ea, _ := k.a.at(u)
						eb, _ := k.b.at(u)
						want := (eb - ea) / (2 * h)
						diff, most = max(diff, math.Abs(lerp(k.rate, i, f)-want)), max(most, math.Abs(want))
					}
					if diff > 1e-3*most+1e-9 {
						t.Errorf("%+v, %v, shade %v: %s off by %v of %v", c, p, shade, name, diff, most)
					}
				}
			}
		}
	}
}

// TestEdgeShapeEnds: beyond the table the edge is over, flat, and unsharpened,
// and the table does not jump there.
func TestEdgeShapeEnds(t *testing.T) {
	for _, c := range edgeCameras {
		s, _ := newEdgeShape(c.model(), grey(0.2), grey(0.8))
		for side, want := range map[float64]float64{-1: 0, 1: 1} {
			e, d := s.at(side * (s.reach + 1))
			if e != want || d != 0 || s.haloAt(side*(s.reach+1)) != 0 {
				t.Errorf("%+v: %v, slope %v beyond the end %v", c, e, d, side)
			}
			if e, _ := s.at(side * (s.reach - 1e-9)); math.Abs(e-want) > 2e-3 {
				t.Errorf("%+v: the table ends at %v", c, e)
			}
		}
	}
}

// TestEdgeShapeNeedsContrast: colours of one luma have no edge on luma.
func TestEdgeShapeNeedsContrast(t *testing.T) {
	c := slowCamera{S: 1, A: 0, R: 1, T: 0}.model()
	for _, p := range [][2]rgb{{grey(0.5), grey(0.5 + 0.9*minContrast)}, {{0.6, 0.4, 0.5}, {0.6 - 0.587, 0.4 + 0.299, 0.5}}} {
		if _, ok := newEdgeShape(c, p[0], p[1]); ok {
			t.Errorf("%v: an edge without contrast", p)
		}
	}
	if _, ok := newEdgeShape(c, grey(0.5), grey(0.5+1.1*minContrast)); !ok {
		t.Error("enough contrast, and yet no edge")
	}
}
