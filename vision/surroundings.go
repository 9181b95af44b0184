package vision

import "math"

// featureFloor is the least noise of a feature, grey levels: rounding and JPEG.
const featureFloor = 1.6

// contrast subtracts each feature's surroundings, the median over
// backgroundWindow of cells of about a millimetre, and finds its noise.
func (g *ground) contrast(sums *cells) error {
	near := sums.filled()
	window := int(backgroundWindow*g.perMM/float64(sums.side)) | 1
	window = max(3, min(window, (min(sums.w, sums.h)-1)|1))
	for k := range 3 {
		small := NewPlane(sums.w, sums.h)
		for i := range near {
			small.Pix[i] = toByte32(near[i][k])
		}
		med, err := medianOf(small, window)
		if err != nil {
			return err
		}
		back, err := resizeLinear(med, sums.w*sums.side, sums.h*sums.side)
		if err != nil {
			return err
		}
		g.subtract(k, back)
	}
	return nil
}

// subtract takes the surroundings from feature k. Its noise is that of the median
// over every 29th place.
func (g *ground) subtract(k int, back *Plane) {
	g.diff[k] = make([]int16, g.w*g.h)
	size := make([]float64, 0, g.w*g.h/29+1)
	for y := range g.h {
		row, from, here := g.diff[k][y*g.w:(y+1)*g.w], back.Row(y)[:g.w], g.feature[k].Row(y)
		for x, ok := range g.valid[y*g.w : (y+1)*g.w] {
			if !ok {
				continue
			}
			row[x] = int16(here[x]) - int16(from[x])
			if (y*g.w+x)%29 == 0 {
				size = append(size, math.Abs(float64(row[x])))
			}
		}
	}
	g.noise[k] = featureFloor
	if len(size) >= 50 {
		g.noise[k] = float32(math.Max(1.4826*median(size), featureFloor))
	}
}

// cells sums up the ground's features over squares, leaving out the card and what
// lies outside the photo.
type cells struct {
	w, h, side int
	sum        []cellSum
	column     []uint16 // the cell of each of the ground's columns
}

type cellSum struct{ bright, blue, red, n uint32 }

func (c *cellSum) add(bright, blue, red uint8) {
	c.bright += uint32(bright)
	c.blue += uint32(blue)
	c.red += uint32(red)
	c.n++
}

func newCells(g *ground) *cells {
	side := int(math.Ceil(g.perMM))
	c := &cells{w: (g.w + side - 1) / side, h: (g.h + side - 1) / side, side: side, column: make([]uint16, g.w)}
	c.sum = make([]cellSum, c.w*c.h)
	for x := range c.column {
		c.column[x] = uint16(x / side)
	}
	return c
}

// row returns the cells that row y of the ground counts into.
func (c *cells) row(y int) []cellSum { return c.sum[y/c.side*c.w:][:c.w] }

// filled returns each cell's means; a cell without ground takes the nearest ground
// in its row and column, weighed by the inverse of the distance.
func (c *cells) filled() [][3]float32 {
	w, h := c.w, c.h
	near, weight := make([][3]float32, w*h), make([]float32, w*h)
	sweep := func(start, step, n int) {
		var last [3]float32
		dist := float32(0)
		for k, i := 0, start; k < n; k, i = k+1, i+step {
			switch s := &c.sum[i]; {
			case s.n > 0:
				n := float32(s.n)
				last = [3]float32{float32(s.bright) / n, float32(s.blue) / n, float32(s.red) / n}
				near[i], weight[i], dist = last, 1, 1
			case dist > 0:
				for k := range last {
					near[i][k] += last[k] / dist
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
			for k := range near[i] {
				near[i][k] /= s
			}
		}
	}
	return near
}
