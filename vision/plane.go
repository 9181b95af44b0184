package vision

import "fmt"

// Plane is an 8-bit raster. Rows are packed: the stride is W and len(Pix) is
// W*H. Pixel (0,0) is the top-left one.
type Plane struct {
	W, H int
	Pix  []uint8
	// half and fourth are this plane averaged over 2 by 2 and over 4 by 4 pixels where
	// its maker had that at hand, or nil. Who writes to the plane afterwards must drop
	// them.
	half, fourth *Plane
}

// NewPlane returns a black plane of w by h pixels. Both must be at least 1;
// anything else is a programmer's mistake and panics.
func NewPlane(w, h int) *Plane {
	if w < 1 || h < 1 {
		panic(fmt.Sprintf("vision: plane of %d x %d pixels", w, h))
	}
	return &Plane{W: w, H: h, Pix: newRaster[uint8](w * h)}
}

// At returns the value of pixel (x, y), which must lie inside the plane.
func (p *Plane) At(x, y int) uint8 { return p.Pix[y*p.W+x] }

// Row returns row y; writing to it writes to the plane.
func (p *Plane) Row(y int) []uint8 { return p.Pix[y*p.W : (y+1)*p.W : (y+1)*p.W] }

// bilinear returns the value at (x, y) by linear interpolation between pixel
// centres. Places outside take the value of the nearest border pixel.
func (p *Plane) bilinear(x, y float64) float64 {
	x0, fx := cell(x, p.W)
	y0, fy := cell(y, p.H)
	x1, y1 := min(x0+1, p.W-1), min(y0+1, p.H-1)
	top := float64(p.At(x0, y0))*(1-fx) + float64(p.At(x1, y0))*fx
	bottom := float64(p.At(x0, y1))*(1-fx) + float64(p.At(x1, y1))*fx
	return top*(1-fy) + bottom*fy
}

// cell splits a coordinate on an axis of n pixels into a pixel and a fraction
// towards the next, held inside the axis.
func cell(v float64, n int) (i int, frac float64) {
	if v <= 0 {
		return 0, 0
	}
	if v >= float64(n-1) {
		return n - 1, 0
	}
	i = int(v)
	return i, v - float64(i)
}
