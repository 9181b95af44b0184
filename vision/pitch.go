package vision

import (
	"math"

	"stripgap/calib"
)

// measurePitch fits a periodic luma to a group of equal bars: a straight line
// and two harmonics whose phases are free, so ink spread, blur, sharpening and
// tone (all alike for each bar) cannot move the pitch. It works from the middle
// of the first bar to the middle of the last, in millimetres through the view.
// False when the photo does not resolve the group.
func measurePitch(luma *Plane, v *calib.View, b calib.Bars) (BarGroup, bool) {
	length := float64(b.Count-1) * b.Pitch
	middle := b.Width/2 + length/2
	var sum, sumU float64
	n := 0
	var px float64
	for a := barEnd; a+barStation <= b.Length-barEnd+1e-9; a += barStation {
		c := barPoint(b, middle, a+barStation/2)
		f, perPx, ok := cardFrame(v, c, barPoint(b, middle, a), calib.Plane{})
		if !ok || b.Pitch/perPx < minPitchPixels {
			return BarGroup{}, false
		}
		half := length / 2 / perPx
		s, ok := gather(luma, f, barStation/2/perPx, -half, half)
		if !ok || s.saturated > 0.02 {
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
	return BarGroup{b.Name, b.Pitch, sum / k, math.Sqrt(sumU) / k, px / k}, true
}

// minPitchPixels is the least pitch in px whose fundamental a sharp photo keeps.
const minPitchPixels = 6

// fitPitch fits one slice. Unknowns: line (2), two harmonics (4), and the
// relative change of the pitch (1).
func fitPitch(s slice, f frame, v *calib.View, b calib.Bars, c calib.CardPoint) (pitch, u float64, ok bool) {
	x := make([]float64, len(s.bins))
	for i, k := range s.bins {
		q, ok := v.Card(f.at(k.x), calib.Plane{})
		if !ok {
			return 0, 0, false
		}
		x[i] = q.X - c.X
		if !b.Vertical {
			x[i] = q.Y - c.Y
		}
	}
	omega := 2 * math.Pi / b.Pitch
	stretch := 0.0
	var par [maxUnknowns]float64
	for iter := range 8 {
		q := normal{n: 7}
		if iter == 0 {
			q.n = 6
		}
		for i, k := range s.bins {
			p := omega * (1 + stretch) * x[i]
			c1, s1, c2, s2 := math.Cos(p), math.Sin(p), math.Cos(2*p), math.Sin(2*p)
			j := [maxUnknowns]float64{1, x[i], c1, s1, c2, s2}
			y := 0.0
			for n := range 6 {
				y += j[n] * par[n]
			}
			j[6] = omega * x[i] * (-par[2]*s1 + par[3]*c1 - 2*par[4]*s2 + 2*par[5]*c2)
			q.add(&j, k.y-y, k.n)
		}
		fac, ok := q.factorise()
		if !ok {
			return 0, 0, false
		}
		step := fac.solve(q.b)
		for n := range 6 {
			par[n] += step[n]
		}
		if iter == 0 {
			continue
		}
		stretch += step[6]
		if math.Abs(stretch) > 0.05 {
			return 0, 0, false
		}
		if math.Abs(step[6]) < 1e-7 {
			if math.Hypot(par[2], par[3]) < 0.02 {
				return 0, 0, false // the bars are not resolved
			}
			variance := q.fitted(step) / float64(len(s.bins)-7)
			pitch = b.Pitch / (1 + stretch)
			return pitch, pitch * math.Sqrt(variance*fac.inverse(6)[6]), true
		}
	}
	return 0, 0, false
}
