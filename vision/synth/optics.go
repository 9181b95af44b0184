package synth

import "math"

// taps are the weights of a one-dimensional resampling: output i is the sum of
// n source values from first[i] on, weighted by w[i*n:].
type taps struct {
	n     int
	first []int
	w     []float32
}

// newTaps samples a line of size values, blurred by a Gaussian of standard
// deviation sigma and magnified about centre, at start, start+step, ... A
// colour's own magnification and the blur are one resampling, so that neither
// adds an interpolation error. Values beyond the ends repeat the last. Below a
// sigma of 0.5 the samples of a Gaussian no longer have its variance.
func newTaps(size int, sigma, centre, magnify float64, start, step int) taps {
	reach := int(math.Ceil(4*sigma)) + 1
	t := taps{n: min(2*reach+1, size)}
	for p := start; p < size; p += step {
		x := centre + (float64(p)-centre)/magnify
		mid := int(math.Round(x))
		first := min(max(mid-reach, 0), size-t.n)
		w := make([]float64, t.n)
		var sum float64
		for i := mid - reach; i <= mid+reach; i++ {
			g := math.Exp(-(float64(i) - x) * (float64(i) - x) / (2 * sigma * sigma))
			w[min(max(min(max(i, 0), size-1)-first, 0), t.n-1)] += g
			sum += g
		}
		t.first = append(t.first, first)
		for _, g := range w {
			t.w = append(t.w, float32(g/sum))
		}
	}
	return t
}

// rest returns the standard deviation of the blur still to come after what the
// edges were drawn with, so that with the pixel's square (variance 1/12) both add
// up to Blur.
func (o *Optics) rest() float64 { return math.Sqrt(o.Blur*o.Blur + 1.0/12 - finest*finest) }

// lens is what the optics do to one colour.
type lens struct {
	sigma   float64
	magnify float64
	cx, cy  float64
}

// sample returns the light of one plane behind the lens at the pixels (x0 + i
// step, y0 + j step), row after row.
func (l lens) sample(plane []float32, w, h, x0, y0, step int) []float32 {
	rows := newTaps(h, l.sigma, l.cy, l.magnify, y0, step)
	cols := newTaps(w, l.sigma, l.cx, l.magnify, x0, step)
	out := make([]float32, 0, len(rows.first)*len(cols.first))
	line := make([]float32, w)
	for j, first := range rows.first {
		weigh(line, plane[first*w:], w, rows.w[j*rows.n:(j+1)*rows.n])
		for i, f := range cols.first {
			src := line[f : f+cols.n]
			var sum float32
			for k, g := range cols.w[i*cols.n : (i+1)*cols.n] {
				sum += g * src[k]
			}
			out = append(out, sum)
		}
	}
	return out
}

// weigh sets line to the weighted sum of as many rows of src as there are
// weights, four at a time to spare memory.
func weigh(line, src []float32, w int, weights []float32) {
	clear(line)
	for len(weights) >= 4 {
		a, b, c, d := src[:w], src[w:2*w], src[2*w:3*w], src[3*w:4*w]
		g0, g1, g2, g3 := weights[0], weights[1], weights[2], weights[3]
		for i := range line {
			line[i] += g0*a[i] + g1*b[i] + g2*c[i] + g3*d[i]
		}
		src, weights = src[4*w:], weights[4:]
	}
	for k, g := range weights {
		row := src[k*w : (k+1)*w]
		for i := range line {
			line[i] += g * row[i]
		}
	}
}
