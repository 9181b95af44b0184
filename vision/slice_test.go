package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
)

// naiveGather looks at every pixel of the plane. Bins without pixels are left out.
func naiveGather(p *Plane, f frame, half float64, r cuts) (bins []bin, saturated float64) {
	type cell struct{ x, y, n float64 }
	cells := make([]cell, int((r.hi-r.lo)/binWidth)+1)
	bright, all := 0.0, 0.0
	for y := range p.H {
		for x := range p.W {
			d := calib.PixelPoint{X: float64(x), Y: float64(y)}.Sub(f.o)
			a := d.X*f.along.X + d.Y*f.along.Y
			c := d.X*f.across.X + d.Y*f.across.Y
			if a < -half || a >= half || c < r.lo || c >= r.hi || c > r.skipLo && c < r.skipHi {
				continue
			}
			k := &cells[int((c-r.lo)/binWidth)]
			k.x += c
			k.y += float64(p.At(x, y)) / 255
			k.n++
			all++
			if p.At(x, y) >= 253 {
				bright++
			}
		}
	}
	for _, k := range cells {
		if k.n > 0 {
			bins = append(bins, bin{k.x / k.n, k.y / k.n, k.n})
		}
	}
	return bins, bright / all
}

// TestGatherEqualsNaiveLoop over many angles, both hands, sub-pixel origins and
// both kinds of range. It also shows that narrowing a row to the box never loses
// a pixel.
func TestGatherEqualsNaiveLoop(t *testing.T) {
	p := noisePlane(120, 110, 11)
	rng := rand.New(rand.NewPCG(11, 1))
	var angles []float64
	for deg := -180.0; deg < 180; deg += 7.5 { // 0, 45, 90, ... are among them
		angles = append(angles, deg)
	}
	angles = append(angles, 1e-7, -1e-7, 90+1e-7, 90-1e-7) // rows meet an edge far outside the plane
	for _, deg := range angles {
		for trial := range 4 {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			o := calib.PixelPoint{X: 60 + rng.Float64(), Y: 55 + rng.Float64()}
			if trial == 0 {
				o = calib.PixelPoint{X: 60, Y: 55} // box borders fall on pixel centres
			}
			f := newFrame(o, calib.PixelPoint{X: 3 * cos, Y: 3 * sin}, trial%2 == 1)
			half := 4 + float64(trial)
			r := cuts{lo: -20 - rng.Float64(), hi: 20 + rng.Float64()}
			if trial > 1 {
				r = around(-14, 15, 6)
			}
			got, ok := gather(p, f, half, r)
			if !ok {
				t.Fatalf("%v degrees: the box lies inside, and yet it is refused", deg)
			}
			want, saturated := naiveGather(p, f, half, r)
			if len(got.bins) != len(want) || math.Abs(got.saturated-saturated) > 1e-12 {
				t.Fatalf("%v degrees, trial %d: %d bins, %v saturated; want %d, %v", deg, trial, len(got.bins), got.saturated, len(want), saturated)
			}
			for i, b := range got.bins {
				w := want[i]
				if b.n != w.n || math.Abs(b.x-w.x) > 1e-12 || math.Abs(b.y-w.y) > 1e-12 {
					t.Fatalf("%v degrees, trial %d: bin %d is %v, want %v", deg, trial, i, b, w)
				}
			}
		}
	}
}

// TestAround: both edges with their sides; the middle is left out only where the
// sides do not meet.
func TestAround(t *testing.T) {
	if got, want := around(-10, 12, 4), (cuts{-14, 16, -6, 8}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got, want := around(-3, 3, 4), (cuts{lo: -7, hi: 7}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
}

// TestGatherNeedsTheWholeBox moves a box that just fits by a hundredth of a pixel.
func TestGatherNeedsTheWholeBox(t *testing.T) {
	p := noisePlane(50, 40, 12)
	box := cuts{lo: -10, hi: 10}
	for _, c := range []struct {
		x, y float64
		ok   bool
	}{
		{5, 10, true}, {4.99, 10, false}, {5, 9.99, false},
		{44, 29, true}, {44.01, 29, false}, {44, 29.01, false},
		{math.NaN(), 20, false},
	} {
		f := newFrame(calib.PixelPoint{X: c.x, Y: c.y}, calib.PixelPoint{X: 1}, false)
		if _, ok := gather(p, f, 5, box); ok != c.ok {
			t.Errorf("box about (%v, %v): %v, want %v", c.x, c.y, ok, c.ok)
		}
	}
}

// TestFrameHands: across is along turned by a quarter, by the hand asked for.
func TestFrameHands(t *testing.T) {
	for deg := 0.0; deg < 360; deg += 30 {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		for _, flip := range []bool{false, true} {
			f := newFrame(calib.PixelPoint{X: 1, Y: 2}, calib.PixelPoint{X: 5 * cos, Y: 5 * sin}, flip)
			cross := f.along.X*f.across.Y - f.along.Y*f.across.X
			want := 1.0
			if flip {
				want = -1
			}
			if math.Abs(cross-want) > 1e-12 || math.Abs(f.across.Norm()-1) > 1e-12 {
				t.Errorf("%v degrees, flip %v: along %v, across %v", deg, flip, f.along, f.across)
			}
			if d := f.at(3).Sub(calib.PixelPoint{X: 1, Y: 2}).Sub(f.across.Scale(3)).Norm(); d > 1e-12 {
				t.Errorf("at(3) is off by %v", d)
			}
		}
	}
}
