package vision

import (
	"image"
	"math"
	"strconv"

	"stripgap/calib"
	"stripgap/calib/quantity"
)

// mmPerThou is exact: an inch is 25.4 mm.
const mmPerThou = 0.0254

// plotScale maps values linearly to pixels: lo to a, hi to b.
type plotScale struct{ lo, hi, a, b float64 }

func (s plotScale) at(v float64) float64 { return s.a + (v-s.lo)/(s.hi-s.lo)*(s.b-s.a) }

// plotFrame is a plot's two axes on the canvas.
type plotFrame struct {
	along, value plotScale
	area         image.Rectangle
}

func (f plotFrame) point(along, value float64) calib.PixelPoint {
	return calib.PixelPoint{X: f.along.at(along), Y: f.value.at(value)}
}

// draw draws the plot into r: the values with their 95 % band, limits, dropped
// stations as crosses at the foot, mm on the left and thou on the right.
func (p *OverlayPlot) draw(c *canvas, r image.Rectangle, firstOnRight bool) {
	f := p.frame(r, firstOnRight)
	c.rect(inkWhite, r)
	title := p.Quantity + " along the strip, mm (left) and thou (right); shaded: 95 %"
	c.text(inkBlack, fontKey{labelSize, true}, calib.PixelPoint{X: float64(r.Min.X+r.Max.X) / 2, Y: float64(r.Min.Y) + 34}, anchorMiddle, title)
	f.drawAxes(c)
	p.drawBand(c, f)
	p.drawLimits(c, f)
	p.drawEnds(c, f, firstOnRight)
}

// frame chooses the axes: the strip's whole length across, and upright all of
// the band and the limits, with room for the limits' names and the crosses.
func (p *OverlayPlot) frame(r image.Rectangle, firstOnRight bool) plotFrame {
	area := image.Rect(r.Min.X+150, r.Min.Y+74, r.Max.X-130, r.Max.Y-108)
	reach := 0.0
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range p.Points {
		reach = math.Max(reach, math.Abs(q.At))
		if !q.Dropped {
			lo, hi = math.Min(lo, q.Value-q.Half), math.Max(hi, q.Value+q.Half)
		}
	}
	for _, l := range p.Limits {
		lo, hi = math.Min(lo, l.Value), math.Max(hi, l.Value)
	}
	if lo > hi { // nothing to scale by
		lo, hi = 0, 1
	}
	pad := math.Max((hi-lo)/6, 1e-4*math.Max(math.Abs(hi), 1e-3))
	reach = math.Max(reach*1.04, 1e-3)
	f := plotFrame{area: area,
		along: plotScale{-reach, reach, float64(area.Max.X), float64(area.Min.X)},
		value: plotScale{lo - pad, hi + pad, float64(area.Max.Y), float64(area.Min.Y)}}
	if firstOnRight {
		f.along.a, f.along.b = f.along.b, f.along.a
	}
	return f
}

func (f plotFrame) drawAxes(c *canvas) {
	plain := fontKey{labelSize - 2, false}
	l, r := float64(f.area.Min.X), float64(f.area.Max.X)
	t, b := float64(f.area.Min.Y), float64(f.area.Max.Y)
	steps, digits := quantity.Steps(f.value.lo, f.value.hi, 6)
	for _, v := range steps {
		y := f.value.at(v)
		c.stroke(inkGrey, 2, calib.PixelPoint{X: l, Y: y}, calib.PixelPoint{X: r, Y: y})
		c.text(inkBlack, plain, calib.PixelPoint{X: l - 14, Y: y}, anchorRight, strconv.FormatFloat(v, 'f', digits, 64))
	}
	steps, digits = quantity.Steps(f.value.lo/mmPerThou, f.value.hi/mmPerThou, 6)
	for _, v := range steps {
		y := f.value.at(v * mmPerThou)
		c.stroke(inkBlack, 3, calib.PixelPoint{X: r, Y: y}, calib.PixelPoint{X: r + 9, Y: y})
		c.text(inkBlack, plain, calib.PixelPoint{X: r + 18, Y: y}, anchorLeft, strconv.FormatFloat(v, 'f', digits, 64))
	}
	steps, digits = quantity.Steps(f.along.lo, f.along.hi, 8)
	for _, v := range steps {
		x := f.along.at(v)
		c.stroke(inkBlack, 3, calib.PixelPoint{X: x, Y: b}, calib.PixelPoint{X: x, Y: b + 9})
		c.text(inkBlack, plain, calib.PixelPoint{X: x, Y: b + 28}, anchorMiddle, strconv.FormatFloat(math.Abs(v), 'f', digits, 64))
	}
	c.stroke(inkBlack, 3, calib.PixelPoint{X: l, Y: t}, calib.PixelPoint{X: l, Y: b},
		calib.PixelPoint{X: r, Y: b}, calib.PixelPoint{X: r, Y: t})
}

// drawBand draws runs of neighbouring used stations: the band, the line and a
// dot a station. A dropped station interrupts the run, so a gap stays a gap.
func (p *OverlayPlot) drawBand(c *canvas, f plotFrame) {
	var run []OverlayPoint
	flush := func() {
		p.drawRun(c, f, run)
		run = run[:0]
	}
	for _, q := range p.Points {
		if !q.Dropped {
			run = append(run, q)
			continue
		}
		flush()
	}
	flush()
	for _, q := range p.Points {
		if q.Dropped {
			c.cross(inkRed, calib.PixelPoint{X: f.along.at(q.At), Y: float64(f.area.Max.Y) - 16}, 8)
		}
	}
}

func (p *OverlayPlot) drawRun(c *canvas, f plotFrame, run []OverlayPoint) {
	var upper, lower, line []calib.PixelPoint
	for _, q := range run {
		upper = append(upper, f.point(q.At, q.Value+q.Half))
		lower = append(lower, f.point(q.At, q.Value-q.Half))
		line = append(line, f.point(q.At, q.Value))
	}
	if len(run) == 1 { // too narrow for a band
		half := calib.PixelPoint{X: 5}
		c.fill(inkPale, []calib.PixelPoint{upper[0].Sub(half), upper[0].Add(half), lower[0].Add(half), lower[0].Sub(half)})
	}
	ring := upper
	for i := len(lower) - 1; i >= 0; i-- {
		ring = append(ring, lower[i])
	}
	c.fill(inkPale, ring)
	c.stroke(inkBlue, 4, line...)
	for _, at := range line {
		c.fill(inkBlue, circle(at, 5))
	}
}

// drawLimits draws the limits and names them on the side away from the values.
func (p *OverlayPlot) drawLimits(c *canvas, f plotFrame) {
	sum, n := 0.0, 0.0
	for _, q := range p.Points {
		if !q.Dropped {
			sum, n = sum+q.Value, n+1
		}
	}
	for _, l := range p.Limits {
		y := f.value.at(l.Value)
		c.dashed(inkRed, 4, calib.PixelPoint{X: float64(f.area.Min.X), Y: y}, calib.PixelPoint{X: float64(f.area.Max.X), Y: y})
		away := 24.0
		if l.Value*n > sum {
			away = -away
		}
		c.text(inkRed, fontKey{labelSize, true}, calib.PixelPoint{X: float64(f.area.Min.X) + 16, Y: y + away}, anchorLeft, l.Name)
	}
}

// drawEnds names the ends under the plot, the same way round as in the photo.
func (p *OverlayPlot) drawEnds(c *canvas, f plotFrame, firstOnRight bool) {
	l, r := p.EndNames[0], p.EndNames[1]
	if firstOnRight {
		l, r = r, l
	}
	y := float64(f.area.Max.Y) + 72
	bold := fontKey{labelSize + 4, true}
	c.text(inkBlack, bold, calib.PixelPoint{X: float64(f.area.Min.X), Y: y}, anchorLeft, l)
	c.text(inkBlack, bold, calib.PixelPoint{X: float64(f.area.Max.X), Y: y}, anchorRight, r)
	c.text(inkBlack, fontKey{labelSize - 2, false}, calib.PixelPoint{X: float64(f.area.Min.X+f.area.Max.X) / 2, Y: y}, anchorMiddle, "mm from the strip's middle")
}
