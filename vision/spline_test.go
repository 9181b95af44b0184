package vision

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// planeFrom fills a plane with f, which must give whole numbers 0..255.
func planeFrom(t testing.TB, w, h int, f func(x, y int) int) *Plane {
	t.Helper()
	p := NewPlane(w, h)
	for y := range h {
		for x := range w {
			v := f(x, y)
			if v < 0 || v > 255 {
				t.Fatalf("value %d at (%d, %d)", v, x, y)
			}
			p.Row(y)[x] = uint8(v)
		}
	}
	return p
}

// noisePlane is white noise over the whole range.
func noisePlane(w, h int, seed uint64) *Plane {
	rng := rand.New(rand.NewPCG(seed, 7))
	p := NewPlane(w, h)
	for i := range p.Pix {
		p.Pix[i] = uint8(rng.IntN(256))
	}
	return p
}

// directSpline solves for the coefficients of the cubic B-spline through the
// window [x0,x1) x [y0,y1) of p, mirrored at its borders, as two dense systems:
// samples = A_y c A_x'. It is slow and straightforward.
type directSpline struct {
	x0, y0 int
	c      *mat.Dense // rows along y
}

func newDirectSpline(t *testing.T, p *Plane, x0, y0, x1, y1 int) directSpline {
	t.Helper()
	w, h := x1-x0, y1-y0
	samples := mat.NewDense(h, w, nil)
	for y := range h {
		for x := range w {
			samples.Set(y, x, float64(p.At(x0+x, y0+y)))
		}
	}
	var rows, c mat.Dense
	if err := rows.Solve(collocation(h), samples); err != nil {
		t.Fatal(err)
	}
	var ct mat.Dense
	if err := ct.Solve(collocation(w), rows.T()); err != nil {
		t.Fatal(err)
	}
	c.CloneFrom(ct.T())
	return directSpline{x0, y0, &c}
}

// collocation gives samples from coefficients on a line of n: the B-spline's
// values 4/6 at its own place and 1/6 at its neighbours, mirrored at the ends.
func collocation(n int) *mat.Dense {
	a := mat.NewDense(n, n, nil)
	add := func(i, j int) { a.Set(i, j, a.At(i, j)+1.0/6) }
	for i := range n {
		a.Set(i, i, a.At(i, i)+4.0/6)
		left, right := i-1, i+1
		if left < 0 {
			left = 1
		}
		if right == n {
			right = n - 2
		}
		add(i, left)
		add(i, right)
	}
	return a
}

// bspline is the cubic B-spline and its derivative at distance u.
func bspline(u float64) (b, d float64) {
	a, sign := math.Abs(u), 1.0
	if u < 0 {
		sign = -1
	}
	switch {
	case a < 1:
		return 2.0/3 - a*a + a*a*a/2, sign * (-2*a + 1.5*a*a)
	case a < 2:
		return (2 - a) * (2 - a) * (2 - a) / 6, -sign * (2 - a) * (2 - a) / 2
	}
	return 0, 0
}

func (s directSpline) at(x, y float64) (v, gx, gy float64) {
	h, w := s.c.Dims()
	for j := range h {
		by, dy := bspline(y - float64(s.y0+j))
		for i := range w {
			bx, dx := bspline(x - float64(s.x0+i))
			c := s.c.At(j, i)
			v += c * bx * by
			gx += c * dx * by
			gy += c * bx * dy
		}
	}
	return v, gx, gy
}

// TestSplineEqualsDirectSolve: single precision leaves about 1e-4 of 255.
func TestSplineEqualsDirectSolve(t *testing.T) {
	p := noisePlane(60, 50, 1)
	rng := rand.New(rand.NewPCG(1, 1))
	for _, w := range [][4]int{{0, 0, 60, 50}, {7, 11, 40, 30}, {30, 20, 60, 50}, {3, 5, 20, 21}} {
		fast, ok := newSpline(p, w[0], w[1], w[2], w[3])
		if !ok {
			t.Fatal(w)
		}
		slow := newDirectSpline(t, p, w[0], w[1], w[2], w[3])
		for range 200 {
			x := float64(w[0]) + 1 + rng.Float64()*float64(w[2]-w[0]-3)
			y := float64(w[1]) + 1 + rng.Float64()*float64(w[3]-w[1]-3)
			v, gx, gy, ok := fast.at(x, y)
			if !ok {
				t.Fatalf("window %v: nothing at %v, %v", w, x, y)
			}
			v1, gx1, gy1 := slow.at(x, y)
			if d := max(math.Abs(v-v1), math.Abs(gx-gx1), math.Abs(gy-gy1)); d > 2e-3 {
				t.Fatalf("window %v at (%v, %v): %v, direct solve %v", w, x, y, [3]float64{v, gx, gy}, [3]float64{v1, gx1, gy1})
			}
		}
	}
}

// TestSplineMeetsPixelCentres for windows down to the smallest.
func TestSplineMeetsPixelCentres(t *testing.T) {
	p := noisePlane(40, 40, 2)
	for _, n := range []int{4, 5, 7, 10, 14, 15, 33} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			s, ok := newSpline(p, 5, 6, 5+n, 6+n)
			if !ok {
				t.Fatal("no spline")
			}
			for y := 7; y < 6+n-2; y++ {
				for x := 6; x < 5+n-2; x++ {
					if v, _, _, ok := s.at(float64(x), float64(y)); !ok || math.Abs(v-float64(p.At(x, y))) > 1e-3 {
						t.Fatalf("(%d, %d) is %v (%v), pixel %d", x, y, v, ok, p.At(x, y))
					}
				}
			}
		})
	}
}

// TestSplineReproducesCubics: a cubic spline holds cubics exactly, away from the
// mirrored borders, whose pull falls by |pole| = 0.268 a pixel: by 4e-6 over ten.
func TestSplineReproducesCubics(t *testing.T) {
	// x (x-1) (x-2)/6 is whole for every whole x, and so is y (y-1)/2.
	const cx, cy, base = 12, 12, 150
	cubic := func(x, y float64) (v, gx, gy float64) {
		u, w := x-cx, y-cy
		return u*(u-1)*(u-2)/6 + w*(w-1)/2, (3*u*u - 6*u + 2) / 6, w - 0.5
	}
	p := planeFrom(t, 25, 25, func(x, y int) int {
		v, _, _ := cubic(float64(x), float64(y))
		return int(math.Round(max(0, min(255, v+base))))
	})
	// Far out the cubic leaves a byte's range. That too only reaches the middle
	// through powers of the pole: 0.268^6 = 4e-4 of some tens of grey levels.
	for x := 5; x <= 18; x++ {
		for y := 3; y <= 20; y++ {
			if v, _, _ := cubic(float64(x), float64(y)); v+base < 0 || v+base > 255 {
				t.Fatalf("the cubic is clipped at (%d, %d)", x, y)
			}
		}
	}
	s, ok := newSpline(p, 0, 0, 25, 25)
	if !ok {
		t.Fatal("no spline")
	}
	for y := 11.0; y <= 13; y += 0.13 {
		for x := 11.0; x <= 13; x += 0.17 {
			v, gx, gy, _ := s.at(x, y)
			v1, gx1, gy1 := cubic(x, y)
			if d := max(math.Abs(v-base-v1), math.Abs(gx-gx1), math.Abs(gy-gy1)); d > 0.02 {
				t.Fatalf("(%v, %v): %v, want %v", x, y, [3]float64{v - base, gx, gy}, [3]float64{v1, gx1, gy1})
			}
		}
	}
}

// TestSplineFollowsSmoothPicture: a wave of 14 px, finer than anything a phone's
// blur leaves strong. Bytes round by up to 0.5; the interpolation spreads that by
// at most 1.55 a dimension (the cardinal spline's Lebesgue constant, derived).
func TestSplineFollowsSmoothPicture(t *testing.T) {
	const period = 14.0
	wave := func(x, y float64) (v, gx, gy float64) {
		k := 2 * math.Pi / period
		sx, cx := math.Sincos(k * x)
		sy, cy := math.Sincos(k*y + 0.4)
		return 128 + 100*sx*cy, 100 * k * cx * cy, -100 * k * sx * sy
	}
	p := planeFrom(t, 64, 64, func(x, y int) int {
		v, _, _ := wave(float64(x), float64(y))
		return int(math.Round(v))
	})
	s, ok := newSpline(p, 0, 0, 64, 64)
	if !ok {
		t.Fatal("no spline")
	}
	var worst, square, slope float64
	n := 0
	for y := 16.0; y < 48; y += 0.37 {
		for x := 16.0; x < 48; x += 0.31 {
			v, gx, gy, _ := s.at(x, y)
			v1, gx1, gy1 := wave(x, y)
			worst = max(worst, math.Abs(v-v1))
			slope = max(slope, math.Abs(gx-gx1), math.Abs(gy-gy1))
			square += (v - v1) * (v - v1)
			n++
		}
	}
	if rms := math.Sqrt(square / float64(n)); rms > 0.30 || worst > 0.5*1.55*1.55+0.1 {
		// Rounding alone is 1/sqrt(12) = 0.29 at the pixels' centres, less between.
		t.Errorf("off by %.3f rms, %.3f at most", rms, worst)
	}
	if slope > 2.2 { // of 45 at the steepest; measured 1.5
		t.Errorf("slope off by up to %.3f", slope)
	}
}

// TestSplineSlopeIsItsOwnDerivative compares the gradient with differences.
func TestSplineSlopeIsItsOwnDerivative(t *testing.T) {
	s, ok := newSpline(noisePlane(30, 30, 4), 0, 0, 30, 30)
	if !ok {
		t.Fatal("no spline")
	}
	rng := rand.New(rand.NewPCG(1, 3))
	const h = 1e-4
	for range 100 {
		x, y := 3+20*rng.Float64(), 3+20*rng.Float64()
		_, gx, gy, _ := s.at(x, y)
		a, _, _, _ := s.at(x+h, y)
		b, _, _, _ := s.at(x-h, y)
		c, _, _, _ := s.at(x, y+h)
		d, _, _, _ := s.at(x, y-h)
		if math.Abs((a-b)/(2*h)-gx) > 1e-3 || math.Abs((c-d)/(2*h)-gy) > 1e-3 {
			t.Fatalf("(%v, %v): gradient %v %v, differences %v %v", x, y, gx, gy, (a-b)/(2*h), (c-d)/(2*h))
		}
	}
}

// TestSplineBorder: a place needs two coefficients to each side.
func TestSplineBorder(t *testing.T) {
	p := noisePlane(40, 40, 5)
	s, ok := newSpline(p, 10, 12, 30, 28)
	if !ok {
		t.Fatal("no spline")
	}
	for _, c := range []struct {
		x, y float64
		ok   bool
	}{
		{11, 13, true}, {10.999, 13, false}, {11, 12.999, false},
		{27.999, 25.999, true}, {28, 20, false}, {20, 26, false},
		{-5, 20, false}, {20, 400, false}, {math.NaN(), 20, false},
	} {
		if _, _, _, ok := s.at(c.x, c.y); ok != c.ok {
			t.Errorf("(%v, %v): %v, want %v", c.x, c.y, ok, c.ok)
		}
	}
	if _, ok := newSpline(p, 37, 0, 60, 40); ok {
		t.Error("a window three pixels wide gave a spline")
	}
	if s, ok := newSpline(p, -5, -5, 60, 60); !ok || s.w != 40 || s.h != 40 {
		t.Error("a window larger than the plane is not held inside it")
	}
}
