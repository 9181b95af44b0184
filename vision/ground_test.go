package vision

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stripgap/calib"
)

// slowSpot interpolates a plane at 1/64 of its pixels, as lookUp says it does.
func slowSpot(s source, u, v float64) float64 {
	x := math.Max(0, math.Min(u*s.kx+s.ox, float64(s.W-1)-1.0/64))
	y := math.Max(0, math.Min(v*s.ky+s.oy, float64(s.H-1)-1.0/64))
	return s.Plane.bilinear(x, y)
}

// randomGround is a ground of a leaning card on a made-up photo of smooth planes.
func randomGround(t *testing.T, rng *rand.Rand, zone *Zone) (*ground, [3]source) {
	t.Helper()
	p := &Photo{Luma: NewPlane(240, 200), ChromaX: 1, ChromaY: 1}
	g := &ground{w: 90 + rng.IntN(40), h: 70 + rng.IntN(40), perMM: 1 + 2*rng.Float64(), layout: calib.Bench()}
	g.corner = calib.CardPoint{X: -70, Y: 60}
	g.image = calib.Homography{3 * rng.Float64(), rng.Float64() - 0.5, 120, rng.Float64() - 0.5, -3 * rng.Float64(), 100,
		0.004 * (rng.Float64() - 0.5), 0.004 * (rng.Float64() - 0.5), 1}
	var from [3]source
	for k := range from {
		from[k] = source{NewPlane(60, 50), 0.25, 0.25, 0.2, -0.3}
		a, b := rng.Float64(), rng.Float64()
		for i := range from[k].Pix {
			from[k].Pix[i] = toByte(128 + 90*math.Sin(a*float64(i%60)/9+b*float64(i/60)/7))
		}
	}
	g.lookUp(from, g.sort(p, zone))
	return g, from
}

// TestLookUpEqualsPlaceByPlace: kinds and features are what the card's geometry and
// the planes say of each place alone.
func TestLookUpEqualsPlaceByPlace(t *testing.T) {
	for trial := range 30 {
		rng := rand.New(rand.NewPCG(7, uint64(trial)))
		var zone *Zone
		if trial%2 == 1 {
			zone = &Zone{calib.CardPoint{X: -60, Y: -10}, calib.CardPoint{X: 20, Y: 40}}
		}
		g, from := randomGround(t, rng, zone)
		for i, kind := range g.kind {
			c := g.cardAt(float64(i%g.w), float64(i/g.w))
			q, ok := g.image.Image(c)
			want := uint8(0)
			switch in := math.Min(math.Min(q.X-photoRim, 239-photoRim-q.X), math.Min(q.Y-photoRim, 199-photoRim-q.Y)); {
			case math.Abs(in) < 1e-6:
				continue
			case !ok || in < 0:
				want = outsidePhoto
			case g.layout.Contains(c, cardRim):
				want = onCard
			case zone != nil && (c.X < zone.Min.X || c.X > zone.Max.X || c.Y < zone.Min.Y || c.Y > zone.Max.Y):
				want = offZone
			}
			if kind != want {
				t.Fatalf("trial %d: place %v is of kind %d, want %d", trial, c, kind, want)
			}
			if kind == outsidePhoto {
				continue
			}
			luma := slowSpot(from[0], q.X, q.Y)
			light := [3]float64{}
			light[0] = 59 * (math.Log(math.Round(luma)+4) - 1.38)
			for k := 1; k < 3; k++ {
				light[k] = math.Max(0, math.Min(255, 128+(slowSpot(from[k], q.X, q.Y)-128)*160/(luma+16)))
			}
			// A level of luma is so much of a feature, and 1/64 of a pixel less than one.
			slack := [3]float64{1 + 80/(luma+4), 2 + 300/(luma+16), 2 + 300/(luma+16)}
			for k, f := range g.feature {
				if math.Abs(float64(f.Pix[i])-light[k]) > slack[k] {
					t.Fatalf("trial %d: feature %d of place %v is %d, want %.1f", trial, k, c, f.Pix[i], light[k])
				}
			}
		}
	}
}

// TestCellsEqualMeans, the card and what lies outside the photo left out.
func TestCellsEqualMeans(t *testing.T) {
	for trial := range 10 {
		rng := rand.New(rand.NewPCG(8, uint64(trial)))
		g, _ := randomGround(t, rng, nil)
		side := 1 + rng.IntN(9)
		cells, filled := g.cells(side)
		for y := range filled.H {
			for x := range filled.W {
				var sum [3]float64
				n := 0.0
				for i := range g.kind {
					if i%g.w/side != x || i/g.w/side != y || g.kind[i] == onCard || g.kind[i] == outsidePhoto {
						continue
					}
					n++
					for k, f := range g.feature {
						sum[k] += float64(f.Pix[i])
					}
				}
				if (filled.At(x, y) != 0) != (n > 0) {
					t.Fatalf("trial %d: cell %d, %d has %.0f places, and filled is %d", trial, x, y, n, filled.At(x, y))
				}
				for k, c := range cells {
					if n > 0 && math.Abs(float64(c.At(x, y))-sum[k]/n) > 0.5 {
						t.Fatalf("trial %d: cell %d, %d is %d, want %.2f", trial, x, y, c.At(x, y), sum[k]/n)
					}
				}
			}
		}
	}
}

// TestMediansEqualSorting, beyond the border as on it.
func TestMediansEqualSorting(t *testing.T) {
	for trial := range 20 {
		rng := rand.New(rand.NewPCG(9, uint64(trial)))
		p := NewPlane(1+rng.IntN(90), 1+rng.IntN(40))
		for i := range p.Pix {
			p.Pix[i] = uint8(rng.IntN(1 + rng.IntN(256)))
		}
		window := 3 + 2*rng.IntN(7)
		got := medians(p, window)
		for y := 0; y < p.H; y += 2 {
			for x := 0; x < p.W; x += 2 {
				var all []uint8
				for dy := -window / 2; dy <= window/2; dy++ {
					for dx := -window / 2; dx <= window/2; dx++ {
						all = append(all, p.At(min(max(x+dx, 0), p.W-1), min(max(y+dy, 0), p.H-1)))
					}
				}
				slices.Sort(all)
				if v := got.At(x/2, y/2); v != all[len(all)/2] {
					t.Fatalf("trial %d: median at %d, %d is %d, want %d", trial, x, y, v, all[len(all)/2])
				}
			}
		}
	}
}

// TestSubtractInterpolates medians of a slope: in between, the slope is left.
func TestSubtractInterpolates(t *testing.T) {
	for _, side := range []int{1, 3, 8} {
		const columns, rows = 9, 7
		median := NewPlane(columns, rows)
		at := func(x, y float64) float64 { return 20 + 12*x + 9*y }
		for i := range median.Pix {
			median.Pix[i] = uint8(at(float64(i%columns), float64(i/columns)))
		}
		f := NewPlane(2*columns*side, 2*rows*side)
		for i := range f.Pix {
			f.Pix[i] = uint8(i % 251)
		}
		diff := subtract(f, side, median)
		for i, d := range diff {
			x := ((float64(i%f.W)+0.5)/float64(side) - 0.5) / 2
			y := ((float64(i/f.W)+0.5)/float64(side) - 0.5) / 2
			back := at(math.Max(0, math.Min(x, columns-1)), math.Max(0, math.Min(y, rows-1)))
			if math.Abs(float64(f.Pix[i])-back-float64(d)) > 0.6 {
				t.Fatalf("side %d, place %d: %d less %.2f is not %d", side, i, f.Pix[i], back, d)
			}
		}
	}
}

// TestMedianOfCounts equals the median of the numbers counted.
func TestMedianOfCounts(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 1))
	for range 200 {
		var v []float64
		count := make([]int, 20)
		for range 1 + rng.IntN(12) {
			k := rng.IntN(20)
			v, count[k] = append(v, float64(k)), count[k]+1
		}
		if got, want := medianOfCounts(count, len(v)), median(slices.Clone(v)); got != want {
			t.Fatalf("median of %v is %g, want %g", v, got, want)
		}
	}
}

// TestMasksEqualPlaceByPlace: what stands out, and what is like a film.
func TestMasksEqualPlaceByPlace(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	g := &ground{w: 61, h: 43, noise: [3]float32{1.6, 2.3, 4}, kind: make([]uint8, 61*43)}
	for i := range g.kind {
		if rng.IntN(4) == 0 {
			g.kind[i] = []uint8{outsidePhoto, onCard, offZone}[rng.IntN(3)]
		}
	}
	for k := range g.feature {
		g.feature[k], g.diff[k] = NewPlane(g.w, g.h), make([]int16, g.w*g.h)
		for i := range g.kind {
			g.feature[k].Pix[i] = uint8(100 + rng.IntN(20))
			g.diff[k][i] = int16(rng.IntN(31) - 15)
		}
	}
	film, most := [3]float64{66, 48, 27}, 9.0
	out, like := g.stands(), g.resembles(film, most)
	set := func(ok bool) uint8 {
		if ok {
			return 255
		}
		return 0
	}
	for i := range g.kind {
		var differs, off float64
		for k := range g.noise {
			n := float64(g.noise[k])
			differs += math.Pow(float64(g.diff[k][i])/n, 2)
			off += math.Pow(float64(g.feature[k].Pix[i])/n-film[k], 2)
		}
		if want := set(g.kind[i] == 0 && differs > foundContrast*foundContrast); out.Pix[i] != want {
			t.Fatalf("place %d, %.3f from its surroundings: %d", i, math.Sqrt(differs), out.Pix[i])
		}
		if want := set(g.kind[i] == 0 && off < most); like.Pix[i] != want {
			t.Fatalf("place %d, %.3f from the film: %d", i, math.Sqrt(off), like.Pix[i])
		}
	}
}

// TestColumnsStayInTheRow, whatever the line is: the native code takes them for checked.
func TestColumnsStayInTheRow(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, a := range []float64{0, 1, -1, 1e300, -1e300, inf, -inf, nan} {
		for _, b := range []float64{0, 1, -1, 1e-300, -1e-300, inf, -inf, nan} {
			if s := (columns{3, 90}).where(a, b); s.from < 3 || s.to > 90 || s.from > s.to {
				t.Errorf("where %v + %v x is not negative: %+v", a, b, s)
			}
		}
	}
}
