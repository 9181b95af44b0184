package vision

/*
#cgo noescape sort_pixels
#cgo nocallback sort_pixels
#include "slice.h"
*/
import "C"

import (
	"math"
	"slices"

	"stripgap/calib"
)

// frame is a local upright frame in the photo: an origin, the unit direction
// along an edge and the unit direction across it, at right angles in pixels.
type frame struct{ o, along, across calib.PixelPoint }

// newFrame lays the frame at o along the direction t (not zero); across is along
// turned by +90 degrees in the photo's axes when flip is false, -90 when true.
func newFrame(o, t calib.PixelPoint, flip bool) frame {
	t = t.Scale(1 / t.Norm())
	n := calib.PixelPoint{X: -t.Y, Y: t.X}
	if flip {
		n = n.Scale(-1)
	}
	return frame{o, t, n}
}

// at returns the photo's place at across x px.
func (f frame) at(x float64) calib.PixelPoint { return f.o.Add(f.across.Scale(x)) }

// box is the least upright box round what lies within half px along the frame's
// origin and from lo to hi px across.
func (f frame) box(half, lo, hi float64) (x0, y0, x1, y1 float64) {
	x0, y0, x1, y1 = math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, a := range [2]float64{-half, half} {
		for _, c := range [2]float64{lo, hi} {
			p := f.at(c).Add(f.along.Scale(a))
			x0, y0 = math.Min(x0, p.X), math.Min(y0, p.Y)
			x1, y1 = math.Max(x1, p.X), math.Max(y1, p.Y)
		}
	}
	return x0, y0, x1, y1
}

// bin is the mean of the pixels of one narrow cell across an edge.
type bin struct {
	x float64 // mean across coordinate, px
	y float64 // mean luma, 0..1
	n float64 // pixels
}

// binWidth is the cell's width in px. Its own blur (binWidth^2/12 = 0.005 px^2)
// is far below any camera's.
const binWidth = 0.25

// slice is the luma across one station as bins, with no interpolation: each
// pixel counts at the place of its own centre.
type slice struct {
	bins      []bin
	saturated float64 // share of pixels at the top of the range
}

// cuts are the across ranges of a slice in px: from lo to hi, leaving out what
// lies strictly between skipLo and skipHi (nothing when they are equal).
type cuts struct{ lo, hi, skipLo, skipHi float64 }

// around is the range of side px to both sides of each of two edges.
func around(x0, x1, side float64) cuts {
	c := cuts{lo: x0 - side, hi: x1 + side}
	if x0+side < x1-side {
		c.skipLo, c.skipHi = x0+side, x1-side
	}
	return c
}

// gather collects the pixels whose centres lie within half px along the frame's
// origin and in the ranges across. False when the photo does not hold the whole
// of that box.
func gather(luma *Plane, f frame, half float64, r cuts) (slice, bool) {
	x0, y0, x1, y1 := f.box(half, r.lo, r.hi)
	return sortPixels(luma, f, [4]float64{x0, y0, x1, y1}, half, r)
}

// sortPixels gathers a plane's samples in a box of it, given by its least and largest
// coordinates. The frame's origin is a place of the plane, its directions turn steps
// of the plane's samples into px.
func sortPixels(plane *Plane, f frame, box [4]float64, half float64, r cuts) (slice, bool) {
	lo, hi := r.lo, r.hi
	x0, y0, x1, y1 := box[0], box[1], box[2], box[3]
	if !(x0 >= 0 && y0 >= 0 && x1 <= float64(plane.W-1) && y1 <= float64(plane.H-1)) || hi-lo > 4000 {
		return slice{}, false
	}
	sum := make([]bin, int((hi-lo)/binWidth)+1)
	at := [6]float64{f.o.X, f.o.Y, f.along.X, f.along.Y, f.across.X, f.across.Y}
	ranges := [4]float64{lo, hi, r.skipLo, r.skipHi}
	var bright C.int
	all := C.sort_pixels(cbytes(plane.Pix), C.int(plane.W), C.int(math.Ceil(y0)), C.int(y1), C.double(x0), C.double(x1),
		cdoubles(at[:]), C.double(half), cdoubles(ranges[:]), 1/binWidth, burntOutFrom, (*C.double)(&sum[0].x), &bright)
	s := slice{bins: sum[:0]}
	for _, b := range sum {
		if b.n > 0 {
			s.bins = append(s.bins, bin{b.x / b.n, b.y / b.n / 255, b.n})
		}
	}
	if all > 0 {
		s.saturated = float64(bright) / float64(all)
	}
	return s, all > 0
}

// burntOutFrom is the value of a pixel that counts as burnt out.
const burntOutFrom = 253

// maxClipped is the share of burnt-out pixels up to which a bar's slice is used:
// the sharpening's halo on the paper may clip, the paper itself may not.
const maxClipped = 0.1

// unclip leaves out the bins that burnt-out pixels hold down.
func (s *slice) unclip() {
	const clip = 0.985
	if s.saturated == 0 {
		return
	}
	s.bins = slices.DeleteFunc(s.bins, func(b bin) bool { return b.y > clip })
}

// step returns the difference of the mean luma between x0 and x1 and outside.
func (s slice) step(x0, x1 float64) float64 {
	var in, out, n, m float64
	for _, b := range s.bins {
		if b.x > x0 && b.x < x1 {
			in, n = in+b.n*b.y, n+b.n
		} else {
			out, m = out+b.n*b.y, m+b.n
		}
	}
	if n == 0 || m == 0 {
		return 0
	}
	return math.Abs(in/n - out/m)
}

// seek returns the two places within reach of x0 and x1 where the luma steps most
// steeply and oppositely: a start for the fit, to about a pixel. A positive sense
// wants what lies between lighter, a negative one darker, 0 either.
func (s slice) seek(x0, x1, reach, sense float64) (float64, float64) {
	const n = 8            // bins to both sides of a step, 2 px
	var best [2][2]float64 // by sign of the step at the low edge: largest step, low and high
	at := [2][2]float64{{x0, x1}, {x0, x1}}
	for i := n; i+n < len(s.bins); i++ {
		x := (s.bins[i-1].x + s.bins[i].x) / 2
		step := 0.0
		for k := range n {
			step += s.bins[i+k].y - s.bins[i-1-k].y
		}
		for side, expected := range [2]float64{x0, x1} {
			if math.Abs(x-expected) > reach {
				continue
			}
			for sign, v := range [2]float64{step, -step} {
				if side == 1 {
					v = -v
				}
				if v > best[sign][side] {
					best[sign][side], at[sign][side] = v, x
				}
			}
		}
	}
	sign := 0
	if sense < 0 || sense == 0 && math.Min(best[1][0], best[1][1]) > math.Min(best[0][0], best[0][1]) {
		sign = 1
	}
	return at[sign][0], at[sign][1]
}
