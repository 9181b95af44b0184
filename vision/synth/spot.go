package synth

import "math"

// spot is a picture of a point out of focus or in motion: weights on a square of
// (2 reach + 1)^2 pixels.
type spot struct {
	reach int
	w     []float32
}

// newSpot draws a disc of the given radius smeared along (mx, my), px. ok is
// false when that is a point.
func newSpot(radius, mx, my float64) (s spot, ok bool) {
	if radius == 0 && mx == 0 && my == 0 {
		return s, false
	}
	const fine = 12 // samples per pixel side
	r := max(radius, 0.3)
	s.reach = int(math.Ceil(r + max(math.Abs(mx), math.Abs(my))/2 + 0.5))
	side := 2*s.reach + 1
	s.w = make([]float32, side*side)
	steps := 1 + int(8*math.Hypot(mx, my))
	var sum float32
	for k := range steps {
		t := (float64(k)+0.5)/float64(steps) - 0.5
		for i := range side * fine {
			for j := range side * fine {
				x := (float64(i)+0.5)/fine - 0.5 - float64(s.reach)
				y := (float64(j)+0.5)/fine - 0.5 - float64(s.reach)
				if math.Hypot(x-t*mx, y-t*my) <= r {
					s.w[j/fine*side+i/fine]++
					sum++
				}
			}
		}
	}
	for i := range s.w {
		s.w[i] /= sum
	}
	return s, true
}

// blur replaces every point of a plane by the spot. Pixels beyond the border
// repeat it.
func (s spot) blur(plane []float32, w, h int) []float32 {
	wide := w + 2*s.reach
	padded := make([]float32, wide*(h+2*s.reach))
	for y := range h + 2*s.reach {
		src := plane[min(max(y-s.reach, 0), h-1)*w:][:w]
		dst := padded[y*wide:][:wide]
		copy(dst[s.reach:], src)
		for i := range s.reach {
			dst[i], dst[wide-1-i] = src[0], src[w-1]
		}
	}
	out := make([]float32, w*h)
	side := 2*s.reach + 1
	for y := range h {
		line := out[y*w:][:w]
		for k, g := range s.w {
			if g == 0 {
				continue
			}
			// A spot is symmetric, so correlation is convolution.
			src := padded[(y+k/side)*wide+k%side:][:w]
			for i := range line {
				line[i] += g * src[i]
			}
		}
	}
	return out
}
