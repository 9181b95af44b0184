package vision

/*
#cgo noescape pitch_equations
#cgo nocallback pitch_equations
#include "pitch.h"
*/
import "C"

import (
	"math"

	"stripgap/calib"
)

// measurePitch fits a periodic luma to a group of equal bars: a straight line
// and three harmonics whose phases are free, so ink spread, blur, sharpening and
// tone (all alike for each bar) cannot move the pitch. It works from the middle
// of the first bar to the middle of the last, in millimetres through the view,
// under a Hann window, which keeps the bars' higher harmonics from leaking into
// the pitch. Nor can burnt-out paper, which is but a tone curve with a flat top: it
// cuts both sides of each bar alike.
// False when the photo does not resolve the group.
func measurePitch(luma *Plane, v *calib.View, b calib.Bars) (BarGroup, bool) {
	length := float64(b.Count-1) * b.Pitch
	middle := b.Width/2 + length/2
	var sum, sumU float64
	n := 0
	var px float64
	for _, a := range [2]float64{barEnd, b.Length - barEnd - barStation} {
		c := barPoint(b, middle, a+barStation/2)
		f, perPx, ok := cardFrame(v, c, barPoint(b, middle, a), calib.Plane{})
		if !ok || b.Pitch/perPx < minPitchPixels {
			return BarGroup{}, false
		}
		half := length / 2 / perPx
		s, ok := gather(luma, f, barStation/2/perPx, cuts{lo: -half, hi: half})
		if !ok {
			continue
		}
		pitch, u, ok := fitPitch(s, f, v, b, c)
		if !ok {
			continue
		}
		sum += pitch
		sumU += u * u
		px += b.Pitch / perPx
		n++
	}
	if n == 0 {
		return BarGroup{}, false
	}
	k := float64(n)
	return BarGroup{b.Name, b.Pitch, b.Vertical, sum / k, math.Sqrt(sumU) / k, px / k, length}, true
}

// minPitchPixels is the least pitch in px whose fundamental a sharp photo keeps.
const minPitchPixels = 6

// fitPitch fits one slice. Unknowns: line (2), three harmonics (6), and the
// relative change of the pitch (1).
func fitPitch(s slice, f frame, v *calib.View, b calib.Bars, c calib.CardPoint) (pitch, u float64, ok bool) {
	half := float64(b.Count-1) * b.Pitch / 2
	x, ok := s.places(f, v, b, c)
	if !ok {
		return 0, 0, false
	}
	luma, weight := make([]float64, len(x)), make([]float64, len(x))
	for i, k := range s.bins {
		luma[i] = k.y
		weight[i] = k.n * (0.5 + 0.5*math.Cos(math.Pi*x[i]/half)) // Hann's window
	}
	omega := 2 * math.Pi / b.Pitch
	stretch := 0.0
	var par [maxUnknowns]float64
	for iter := range 8 {
		q := normal{n: C.PITCH_UNKNOWNS}
		if iter == 0 {
			q.n = C.PITCH_STRETCH
		}
		C.pitch_equations(cdoubles(x), cdoubles(luma), cdoubles(weight), C.int(len(x)), C.double(omega), C.double(stretch),
			cdoubles(par[:]), cdoubles(q.a[0][:]), maxUnknowns, cdoubles(q.b[:]), (*C.double)(&q.rr))
		fac, ok := q.factorise()
		if !ok {
			return 0, 0, false
		}
		step := fac.solve(q.b)
		for n := range 8 {
			par[n] += step[n]
		}
		if iter == 0 {
			continue
		}
		stretch += step[8]
		if math.Abs(stretch) > 0.05 {
			return 0, 0, false
		}
		if math.Abs(step[8]) < 1e-5 { // the next step would be its square
			if math.Hypot(par[2], par[3]) < 0.02 {
				return 0, 0, false // the bars are not resolved
			}
			variance := q.fitted(step) / float64(len(s.bins)-q.n)
			pitch = b.Pitch / (1 + stretch)
			return pitch, pitch * math.Sqrt(variance*fac.inverse(8)[8]), true
		}
	}
	return 0, 0, false
}

// places returns how far in mm each bin lies from the card point c along the group:
// looked up at some of them, about two px apart, and on a line between.
func (s *slice) places(f frame, v *calib.View, b calib.Bars, c calib.CardPoint) ([]float64, bool) {
	const every = 8
	x := make([]float64, len(s.bins))
	look := func(i int) bool {
		q, ok := v.Card(f.at(s.bins[i].x), calib.Plane{})
		x[i] = q.X - c.X
		if !b.Vertical {
			x[i] = q.Y - c.Y
		}
		return ok
	}
	if !look(0) {
		return nil, false
	}
	for from := 0; from < len(x)-1; {
		to := min(from+every, len(x)-1)
		if !look(to) {
			return nil, false
		}
		start := s.bins[from].x
		perPx := (x[to] - x[from]) / (s.bins[to].x - start)
		for i := from + 1; i < to; i++ {
			x[i] = x[from] + perPx*(s.bins[i].x-start)
		}
		from = to
	}
	return x, true
}
