package vision

import "math"

// spline is a cubic B-spline through the pixels of a window of a plane (Unser,
// Aldroubi and Eden, IEEE Trans. Signal Processing 41 (1993) 821). Unlike warps
// that quantise to 1/32 px it puts no floor under a sub-pixel fit.
type spline struct {
	x0, y0, w, h int
	c            []float32
}

// newSpline fits the window [x0,x1) x [y0,y1), which is held inside the plane;
// false when less than 4 x 4 pixels of it are.
func newSpline(p *Plane, x0, y0, x1, y1 int) (*spline, bool) {
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, p.W), min(y1, p.H)
	s := &spline{x0: x0, y0: y0, w: x1 - x0, h: y1 - y0}
	if s.w < 4 || s.h < 4 {
		return nil, false
	}
	s.c = make([]float32, s.w*s.h)
	for y := range s.h {
		row := s.c[y*s.w : (y+1)*s.w]
		for x, v := range p.Row(y0 + y)[x0:x1] {
			row[x] = splineGain * float32(v)
		}
	}
	s.prefilterRows()
	s.prefilterColumns()
	return s, true
}

// splineGain is what the filter of both directions asks for, 6 each.
const splineGain = 36

const pole = -0.26794919243112270647 // sqrt(3) - 2

// poleReach is where the pole's powers fall under float32's precision.
const poleReach = 14

// prefilterRows turns samples into spline coefficients along the rows, mirrored at
// both ends. It takes four rows at a time: each value waits for the one before it,
// but not for those of other rows.
func (s *spline) prefilterRows() {
	var spare [3][]float32
	for y := 0; y < s.h; y += 4 {
		var four [4][]float32
		for k := range four {
			switch {
			case y+k < s.h:
				four[k] = s.c[(y+k)*s.w : (y+k+1)*s.w]
			case spare[k-1] == nil:
				spare[k-1] = make([]float32, s.w)
				fallthrough
			default:
				four[k] = spare[k-1]
			}
		}
		prefilter(four[0], four[1], four[2], four[3])
	}
}

func prefilter(a, b, c, d []float32) {
	n := len(a)
	b, c, d = b[:n], c[:n], d[:n]
	p, q, r, s := causalStart(a), causalStart(b), causalStart(c), causalStart(d)
	a[0], b[0], c[0], d[0] = p, q, r, s
	for i := 1; i < n; i++ {
		p, q, r, s = a[i]+pole*p, b[i]+pole*q, c[i]+pole*r, d[i]+pole*s
		a[i], b[i], c[i], d[i] = p, q, r, s
	}
	p, q, r, s = anticausalStart(a), anticausalStart(b), anticausalStart(c), anticausalStart(d)
	a[n-1], b[n-1], c[n-1], d[n-1] = p, q, r, s
	for i := n - 2; i >= 0; i-- {
		p, q, r, s = pole*(p-a[i]), pole*(q-b[i]), pole*(r-c[i]), pole*(s-d[i])
		a[i], b[i], c[i], d[i] = p, q, r, s
	}
}

// causalStart is the first value of the forward recursion over v, mirrored.
func causalStart(v []float32) float32 {
	sum, z := v[0], float32(pole)
	for i := 1; i < min(len(v), poleReach); i++ {
		sum += z * v[i]
		z *= pole
	}
	return sum
}

// anticausalStart is the last value of the backward recursion over v, mirrored.
func anticausalStart(v []float32) float32 {
	n := len(v)
	return float32(pole/(pole*pole-1)) * (v[n-1] + pole*v[n-2])
}

// prefilterColumns does the same down all columns at once, row by row.
func (s *spline) prefilterColumns() {
	w, n := s.w, s.h
	row := func(y int) []float32 { return s.c[y*w : (y+1)*w] }
	first := row(0)
	z := float32(pole)
	for y := 1; y < min(n, poleReach); y++ {
		for x, v := range row(y) {
			first[x] += z * v
		}
		z *= pole
	}
	for y := 1; y < n; y++ {
		above, here := row(y-1), row(y)
		for x := range here {
			here[x] += pole * above[x]
		}
	}
	last, before := row(n-1), row(n-2)
	for x := range last {
		last[x] = float32(pole/(pole*pole-1)) * (last[x] + pole*before[x])
	}
	for y := n - 2; y >= 0; y-- {
		below, here := row(y+1), row(y)
		for x := range here {
			here[x] = pole * (below[x] - here[x])
		}
	}
}

// at returns the value and the gradient at (x, y) in the plane's pixels; false
// within 2 px of the window's border.
func (s *spline) at(x, y float64) (v, gx, gy float64, ok bool) {
	fx, fy := math.Floor(x), math.Floor(y)
	i, j := int(fx)-s.x0-1, int(fy)-s.y0-1
	if i < 0 || j < 0 || i+3 >= s.w || j+3 >= s.h {
		return 0, 0, 0, false
	}
	wx, dx := weights(x - fx)
	wy, dy := weights(y - fy)
	at := j*s.w + i
	for k := range 4 {
		r := (*[4]float32)(s.c[at:])
		r0, r1, r2, r3 := float64(r[0]), float64(r[1]), float64(r[2]), float64(r[3])
		a := wx[0]*r0 + wx[1]*r1 + wx[2]*r2 + wx[3]*r3
		b := dx[0]*r0 + dx[1]*r1 + dx[2]*r2 + dx[3]*r3
		v += wy[k] * a
		gx += wy[k] * b
		gy += dy[k] * a
		at += s.w
	}
	return v, gx, gy, true
}

// weights returns the cubic B-spline's four weights at fraction t, and their
// derivatives.
func weights(t float64) (w, d [4]float64) {
	u := 1 - t
	w[0] = u * u * u / 6
	w[1] = 2.0/3 - t*t*(2-t)/2
	w[2] = 2.0/3 - u*u*(2-u)/2
	w[3] = t * t * t / 6
	d[0] = -u * u / 2
	d[1] = t * (3*t - 4) / 2
	d[2] = -u * (3*u - 4) / 2
	d[3] = t * t / 2
	return w, d
}
