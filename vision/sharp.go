package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// How the sharpness of a whole photo is judged, whatever it shows.
const (
	edgeCells  = 24  // cells across the photo, each of which gives its steepest edge
	edgeLeast  = 24  // grey levels over two quarter-scale pixels that make an edge
	edgeLook   = 24  // px to both sides of an edge
	edgesLeast = 8   // that must be seen
	sharpShare = 0.2 // of the edges are at least as sharp as the photo is said to be
)

// unsharp returns the blur (standard deviation, px) that not even the sharper
// ones of the photo's clear edges stay under, and whether enough are seen.
func (f *finder) unsharp() (blur float64, ok bool) {
	small, err := f.reduced(4)
	if err != nil || small.W < 4*edgeCells || small.H < 4*edgeCells {
		return 0, false
	}
	side := small.W / edgeCells
	var blurs []float64
	for y0 := 1; y0+side < small.H; y0 += side {
		for x0 := 1; x0+side < small.W; x0 += side {
			x, y, gx, gy := steepest(small, x0, y0, side)
			if g := math.Hypot(gx, gy); g >= edgeLeast {
				at := calib.PixelPoint{X: 4*float64(x) + 1.5, Y: 4*float64(y) + 1.5}
				blurs = append(blurs, edgeBlur(f.luma, at, calib.PixelPoint{X: gx / g, Y: gy / g}))
			}
		}
	}
	if len(blurs) < edgesLeast {
		return 0, false
	}
	slices.Sort(blurs)
	return blurs[int(sharpShare*float64(len(blurs)))], true
}

// tooBlurred reports whether the photo is certainly less sharp than one that can
// be measured.
func (f *finder) tooBlurred() bool {
	blur, ok := f.unsharp()
	return ok && blur > maxBlur
}

// steepest returns the place of the steepest luma in a square of the plane, which
// lies inside it with a pixel to spare, and the gradient there.
func steepest(p *Plane, x0, y0, side int) (x, y int, gx, gy float64) {
	best := -1.0
	for j := y0; j < y0+side; j++ {
		for i := x0; i < x0+side; i++ {
			dx := float64(p.At(i+1, j)) - float64(p.At(i-1, j))
			dy := float64(p.At(i, j+1)) - float64(p.At(i, j-1))
			if g := dx*dx + dy*dy; g > best {
				best, x, y, gx, gy = g, i, j, dx, dy
			}
		}
	}
	return x, y, gx, gy
}

// edgeBlur returns the standard deviation in px of the Gaussian that would give
// an edge its steepness: step / (slope sqrt(2 pi)). Lines of pixels beside one
// another are averaged against noise.
func edgeBlur(luma *Plane, at, dir calib.PixelPoint) float64 {
	var line [2*edgeLook + 1]float64
	for i := range line {
		for j := -2; j <= 2; j++ {
			q := at.Add(dir.Scale(float64(i - edgeLook))).Add(calib.PixelPoint{X: -dir.Y, Y: dir.X}.Scale(float64(j)))
			line[i] += luma.bilinear(q.X, q.Y) / 5
		}
	}
	slope, lo, hi := 0.0, line[edgeLook], line[edgeLook]
	for i := edgeLook / 2; i < 3*edgeLook/2; i++ {
		slope = math.Max(slope, math.Abs(line[i+1]-line[i-1])/2)
		lo, hi = math.Min(lo, line[i]), math.Max(hi, line[i])
	}
	if slope == 0 {
		return math.Inf(1)
	}
	return (hi - lo) / (slope * math.Sqrt(2*math.Pi))
}
