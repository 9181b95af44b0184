package vision

// #include "ground.h"
import "C"

import (
	"fmt"
	"math"
	"unsafe"
)

// featureFloor is the least noise of a feature, grey levels: rounding and JPEG.
const featureFloor = 1.6

// contrast subtracts each feature's surroundings, the median over
// backgroundWindow of cells of about a millimetre, and finds its noise.
func (g *ground) contrast() error {
	side := int(math.Ceil(g.perMM))
	window := int(backgroundWindow*g.perMM/float64(side)) | 1
	if window < 3 || window > mostMedian {
		return fmt.Errorf("median: window %d", window)
	}
	cells, filled := g.cells(side)
	fillCells(cells, filled)
	for k, f := range g.feature {
		g.diff[k] = subtract(f, side, medians(cells[k], window))
		g.noise[k] = g.noiseOf(g.diff[k])
	}
	return nil
}

// mostMedian is the largest window of medians, pixels.
const mostMedian = 15

// medians returns the medians over window by window pixels, an odd number of at
// most mostMedian, at every second pixel of every second row.
func medians(p *Plane, window int) *Plane {
	out := NewPlane((p.W+1)/2, (p.H+1)/2)
	spare := make([]uint8, C.median_spare(C.int(p.W), C.int(p.H)))
	C.medians(cbytes(p.Pix), C.int(p.W), C.int(p.H), C.int(window), cbytes(spare), cbytes(out.Pix))
	return out
}

// subtract returns the feature less the medians of its cells of side places, which
// are two cells apart, interpolated.
func subtract(f *Plane, side int, median *Plane) []int16 {
	diff, spare := newRaster[int16](f.W*f.H), make([]uint16, 4*f.W)
	C.subtract(cbytes(f.Pix), C.int(f.W), C.int(f.H), C.int(side), cbytes(median.Pix), C.int(median.W), C.int(median.H),
		(*C.ushort)(unsafe.SliceData(spare)), cshorts(diff))
	return diff
}

// cshorts is the address of a non-empty slice for the length of one C call.
func cshorts(v []int16) *C.short { return (*C.short)(unsafe.SliceData(v)) }

// noiseOf returns the robust standard deviation of a difference: of its median size
// over every 29th place.
func (g *ground) noiseOf(diff []int16) float32 {
	var size [256]int
	n := 0
	for i := 0; i < len(diff); i += 29 {
		if g.kind[i] == 0 {
			size[max(diff[i], -diff[i])]++
			n++
		}
	}
	if n < 50 {
		return featureFloor
	}
	return float32(math.Max(1.4826*medianOfCounts(size[:], n), featureFloor))
}

// medianOfCounts returns the median of n numbers, of each of which 0, 1, 2 and so
// on v tells how many there are.
func medianOfCounts(v []int, n int) float64 {
	below := 0
	for lo, c := range v {
		if below += c; 2*below < n {
			continue
		}
		hi := lo
		if 2*below == n {
			for hi++; v[hi] == 0; hi++ {
			}
		}
		return float64(lo+hi) / 2
	}
	return 0
}

// cells returns the features' means over squares of side places, the card and what
// lies outside the photo left out, and which squares have something else.
func (g *ground) cells(side int) (mean [3]*Plane, filled *Plane) {
	w, h := (g.w+side-1)/side, (g.h+side-1)/side
	filled = NewPlane(w, h)
	spare := make([]uint32, 2*g.w)
	for k, f := range g.feature {
		mean[k] = NewPlane(w, h)
		C.average_cells(cbytes(f.Pix), cbytes(g.kind), C.int(g.w), C.int(g.h), C.int(side),
			(*C.uint)(unsafe.SliceData(spare)), cbytes(mean[k].Pix), cbytes(filled.Pix))
	}
	return mean, filled
}

// fillCells gives each cell that is not filled the nearest ones' values in its row and
// column, weighed by the inverse of the distance.
func fillCells(cells [3]*Plane, filled *Plane) {
	w, h := filled.W, filled.H
	sum, weight := make([][3]float32, w*h), make([]float32, w*h)
	sweep := func(start, step, n int) {
		last, dist := 0, float32(0)
		for i := start; n > 0; n, i = n-1, i+step {
			switch {
			case filled.Pix[i] != 0:
				last, dist = i, 1
			case dist > 0:
				for k, c := range cells {
					sum[i][k] += float32(c.Pix[last]) / dist
				}
				weight[i] += 1 / dist
				dist++
			}
		}
	}
	for y := range h {
		sweep(y*w, 1, w)
		sweep(y*w+w-1, -1, w)
	}
	for x := range w {
		sweep(x, w, h)
		sweep((h-1)*w+x, -w, h)
	}
	for i, s := range weight {
		if s > 0 {
			for k, c := range cells {
				c.Pix[i] = toByte(float64(sum[i][k] / s))
			}
		}
	}
}

func toByte(v float64) uint8 { return uint8(max(0, min(255, v+0.5))) }
