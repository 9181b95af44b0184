package vision

// #include "spline.h"
import "C"

import "unsafe"

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
	s.c = splines.get(s.w * s.h)
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

// splines are the coefficients of splines that were closed.
var splines pool[float32]

// close gives the spline's memory to splines made later; nothing of it may be used after
// that. To leave it out costs time only.
func (s *spline) close() { splines.put(s.c) }

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
	C.filter_columns(cfloats(s.c), C.int(s.w), C.int(s.h), pole, poleReach)
}

// cfloats is the address of a non-empty slice for the length of one C call.
func cfloats(v []float32) *C.float { return (*C.float)(unsafe.SliceData(v)) }

// at returns the value and the gradient at (x, y) in the plane's pixels; false
// within 2 px of the window's border.
func (s *spline) at(x, y float64) (v, gx, gy float64, ok bool) {
	var out [3]float64
	ok = C.sample_spline(cfloats(s.c), C.int(s.w), C.int(s.h), C.double(x-float64(s.x0)), C.double(y-float64(s.y0)), cdoubles(out[:])) != 0
	return out[0], out[1], out[2], ok
}
