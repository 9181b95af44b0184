package vision

import (
	"math"
	"testing"
)

// TestEdgeWeights: a texture of the metal moves a fitted edge by what the edge's
// weights say.
func TestEdgeWeights(t *testing.T) {
	const metal, film, width, side = 0.6, 0.2, 40.0, 14.0
	cam := slowCamera{S: 1.2}
	shape, ok := newEdgeShape(camera1D{S: cam.S, R: 1}, rgb{film, film, film}, rgb{metal, metal, metal})
	if !ok {
		t.Fatal("no edge")
	}
	// Luma mixed as light is: the texture is weak, and the film hides what is under it.
	draw := func(texture func(u float64) float64) slice {
		var s slice
		light := cam.edge(rgb{film, film, film}, rgb{metal, metal, metal})
		for x := -side; x < width+side; x += binWidth {
			d := math.Min(x, width-x)
			y := cam.luma(light, d)
			if x < width/2 {
				y += texture(d) * (y - film) / (metal - film)
			}
			s.bins = append(s.bins, bin{x, y, 20})
		}
		return s
	}
	w, ok := shape.weights(side, width/2)
	if !ok {
		t.Fatal("no weights")
	}
	p := pairShape{shape, shape}
	plain, ok := fitPair(draw(func(float64) float64 { return 0 }), p, 0, width)
	if !ok {
		t.Fatal("no fit")
	}
	largest := 0.0
	for _, pitch := range []float64{4, 6, 9, 14, 25} {
		for phase := 0.0; phase < 6; phase++ {
			texture := func(u float64) float64 { return 0.004 * math.Cos(2*math.Pi*u/pitch+phase) }
			fit, ok := fitPair(draw(texture), p, 0, width)
			if !ok {
				t.Fatal("no fit")
			}
			want := 0.0
			for i, v := range w.w {
				want += v * texture(w.from+float64(i)*textureGrid) / (film - metal)
			}
			got := plain.x[0] - fit.x[0] // outwards
			largest = math.Max(largest, math.Abs(want))
			if math.Abs(got-want) > 0.004 {
				t.Errorf("lines of %g px, phase %g: the edge moved by %.4f px, the weights say %.4f", pitch, phase, got, want)
			}
		}
	}
	if largest < 0.02 {
		t.Errorf("no texture moves the edge by more than %.4f px: nothing was tested", largest)
	}
}

// TestLinesAlong: machining lines along the strip, which the renderer draws by code of
// its own, move an edge alike at all stations. What mean and taper are off by is still
// no more than their uncertainty says.
func TestLinesAlong(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	var mean, taper []float64
	for seed := range uint64(8) {
		s := smallScene(t, "rider")
		s.Seed = seed
		m := &s.Surface
		m.Finish, m.LineAngle, m.LineDepth, m.LinePitch, m.Glare, m.GlareAt = "brushed", 3*float64(seed)/7-1.5, 0.8, 0.3, 0.1, 4
		s.Strips[0].Colour = [3]float64{0.12, 0.15, 0.12}
		p, truth := shot(t, s)
		r, err := Measure(p, flat())
		if err != nil {
			continue // lines may look like a smear
		}
		pr, k := r.Profile, &truth.Strips[0]
		length := pr.Ends[0].Card.Sub(pr.Ends[1].Card).Norm()
		mean = append(mean, (pr.Mean-k.MeanWidth)/pr.U)
		taper = append(taper, (pr.Taper+k.WidthSlope*length)/pr.TaperU)
	}
	if len(mean) < 6 {
		t.Fatalf("%d of 8 read", len(mean))
	}
	for name, list := range map[string][]float64{"mean": mean, "taper": taper} {
		sum := 0.0
		for _, z := range list {
			sum += z * z
		}
		if z := math.Sqrt(sum / float64(len(list))); !(z > 0.3 && z < 1.5) {
			t.Errorf("%s: errors are %.2f times their uncertainty", name, z)
		}
	}
}
