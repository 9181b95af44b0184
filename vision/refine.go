package vision

/*
#cgo noescape symmetry_equations
#cgo nocallback symmetry_equations
#include "spline.h"
*/
import "C"

import (
	"math"

	"stripgap/calib"
)

// markFit is the outcome of one symmetry fit.
type markFit struct {
	at calib.PixelPoint
	u  float64 // standard uncertainty per axis, px
}

// symmetryReach is the radius of the compared patch in outer radii of the mark.
const symmetryReach = 1.12

// markPatch is the spline of the photo round one mark, and where to compare it
// with itself.
type markPatch struct {
	mark    calib.Mark
	spline  *spline
	offsets []calib.CardPoint // half the disc; each is paired with its opposite
	reach   float64           // mm
	from    calib.CardPoint   // where the next fit starts, card mm by its homography
}

// newMarkPatch cuts the patch of the mark where h expects it. False when it
// leaves the photo.
func newMarkPatch(luma *Plane, h calib.Homography, m calib.Mark, s calib.MarkStyle, samples int) (*markPatch, bool) {
	k := &markPatch{mark: m, reach: symmetryReach * s.Teeth, from: m.Centre}
	start, ok1 := h.Image(m.Centre)
	scale, ok2 := localScale(h, m.Centre)
	if !ok1 || !ok2 {
		return nil, false
	}
	px := int(math.Ceil(1.25*k.reach*scale)) + 4
	var ok bool
	if k.spline, ok = newSpline(luma, int(start.X)-px, int(start.Y)-px, int(start.X)+px+1, int(start.Y)+px+1); !ok {
		return nil, false
	}
	step := k.reach * math.Sqrt(math.Pi/2/float64(samples))
	for y := step / 2; y < k.reach; y += step {
		for x := -k.reach; x < k.reach; x += step {
			if x*x+y*y < k.reach*k.reach {
				k.offsets = append(k.offsets, calib.CardPoint{X: x, Y: y})
			}
		}
	}
	return k, true
}

// refine moves the mark's centre until the patch round it, rectified by the
// homography, equals itself turned by 180 degrees. The figure is symmetric, so
// ink spread, blur and sharpening, which keep the symmetry, do not move the
// answer. Illumination that grows along the patch is fitted beside the shift:
// I(w) (1 - g.w) = I(-w) (1 + g.w). False when the patch leaves the photo, has
// no contrast, or the fit does not settle within a sixth of the reach. Every so
// many of the patch's places are compared.
func (k *markPatch) refine(h calib.Homography, every int) (markFit, bool) {
	scale, ok := localScale(h, k.mark.Centre)
	if !ok {
		return markFit{}, false
	}
	c := k.from
	for range 12 {
		n, ok := k.step(h, c, every)
		if !ok {
			return markFit{}, false
		}
		c = c.Add(n.shift)
		if c.Sub(k.from).Norm() > k.reach/6 {
			return markFit{}, false
		}
		if n.shift.Norm()*scale < markSettled {
			at, ok := h.Image(c)
			return markFit{at, n.u * scale}, ok
		}
	}
	return markFit{}, false
}

// markSettled is the last step in px of a fit that has settled. The next one would
// be a tenth of it.
const markSettled = 4e-3

// localScale returns the mean px per mm of h at c.
func localScale(h calib.Homography, c calib.CardPoint) (float64, bool) {
	a, ok1 := h.Image(c.Add(calib.CardPoint{X: 0.5}))
	b, ok2 := h.Image(c.Add(calib.CardPoint{X: -0.5}))
	d, ok3 := h.Image(c.Add(calib.CardPoint{Y: 0.5}))
	e, ok4 := h.Image(c.Add(calib.CardPoint{Y: -0.5}))
	if !ok1 || !ok2 || !ok3 || !ok4 {
		return 0, false
	}
	x, y := a.Sub(b), d.Sub(e)
	s := math.Sqrt(math.Abs(x.X*y.Y - x.Y*y.X))
	return s, s > 0 && !math.IsInf(s, 0)
}

type symmetryUpdate struct {
	shift calib.CardPoint // mm
	u     float64         // standard uncertainty per axis, mm
}

// step is one Gauss-Newton step in the shift (two unknowns) and the
// illumination's slope (two unknowns).
func (k *markPatch) step(h calib.Homography, c calib.CardPoint, every int) (symmetryUpdate, bool) {
	q := normal{n: 4}
	for i := range 3 { // from the card to the window
		h[i], h[3+i] = h[i]-float64(k.spline.x0)*h[6+i], h[3+i]-float64(k.spline.y0)*h[6+i]
	}
	rows := C.symmetry_equations(cfloats(k.spline.c), C.int(k.spline.w), C.int(k.spline.h), cdoubles(h[:]), (*C.double)(&c.X),
		(*C.double)(&k.offsets[0].X), C.int(len(k.offsets)), C.int(every), C.double(k.reach),
		cdoubles(q.a[0][:]), maxUnknowns, cdoubles(q.b[:]), (*C.double)(&q.rr))
	if rows < 40 {
		return symmetryUpdate{}, false
	}
	f, ok := q.factorise()
	if !ok {
		return symmetryUpdate{}, false
	}
	x := f.solve(q.b)
	variance := q.fitted(x) / float64(int(rows)-q.n)
	u := math.Sqrt(variance * (f.inverse(0)[0] + f.inverse(1)[1]) / 2)
	return symmetryUpdate{calib.CardPoint{X: x[0], Y: x[1]}, u}, true
}
