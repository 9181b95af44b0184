package vision

import (
	"errors"
	"math"

	"stripgap/calib"
)

// ground is the neighbourhood of the card, rectified at low resolution, as how
// far each place differs from its own surroundings. It serves finding only; all
// measuring goes back to the photo's pixels.
type ground struct {
	w, h    int
	perMM   float64         // pixels per mm
	corner  calib.CardPoint // card point of the raster's top-left corner
	feature [3]*Plane       // log luma, and two colour ratios
	diff    [3][]float32    // the features less their surroundings
	noise   [3]float32      // robust standard deviation of each
	valid   []bool          // in the photo, off the card, in the zone
	card    []bool
	outside []bool // not in the photo
	image   calib.Homography
	layout  *calib.Layout
	odd     []candidate // what runs under the card and is no band
}

const (
	backgroundWindow = 12.0 // mm over which the surroundings' median is taken: over twice the widest strip
	cardRim          = 0.8  // mm round the card that count as the card: its cut edge and shadow
)

// newGround rectifies what lies within the layout's reach, or in the zone, at up
// to perMM pixels a millimetre.
func newGround(p *Photo, f *found, zone *Zone, perMM float64) (*ground, error) {
	l := f.card.Layout
	pxPerMM, ok := localScale(f.h, calib.CardPoint{})
	if !ok {
		return nil, errors.New("the card has no scale")
	}
	grow := l.Reach
	if l.OnPart {
		grow = l.Reach + 14 // a strip beside a rider may be longer than the rider
	}
	z := Zone{calib.CardPoint{X: -l.Width/2 - grow, Y: -l.Height/2 - grow}, calib.CardPoint{X: l.Width/2 + grow, Y: l.Height/2 + grow}}
	per := math.Min(perMM, pxPerMM)
	g := &ground{perMM: per, corner: calib.CardPoint{X: z.Min.X, Y: z.Max.Y}, image: f.h, layout: l}
	g.w, g.h = int((z.Max.X-z.Min.X)*per), int((z.Max.Y-z.Min.Y)*per)
	quarter, err := f.look.reduced(4)
	if err != nil {
		return nil, err
	}
	// The reduced plane's pixels are exactly these many of the photo's.
	qx, qy := float64(p.Luma.W)/float64(quarter.W), float64(p.Luma.H)/float64(quarter.H)
	luma, err := g.rectify(quarter, pxPerMM/4, qx, qy, 0, 0)
	if err != nil {
		return nil, err
	}
	fx, fy := float64(p.ChromaX), float64(p.ChromaY)
	cb, err := g.rectify(p.Cb, pxPerMM/math.Max(fx, fy), fx, fy, float64(p.ShiftX), float64(p.ShiftY))
	if err != nil {
		return nil, err
	}
	cr, err := g.rectify(p.Cr, pxPerMM/math.Max(fx, fy), fx, fy, float64(p.ShiftX), float64(p.ShiftY))
	if err != nil {
		return nil, err
	}
	g.masks(p, l, zone)
	g.feature = features(luma, cb, cr)
	return g, g.contrast()
}

// rectify averages a plane down to about the ground's resolution and warps it.
// fx, fy and the shifts lead from luma pixels to the plane's.
func (g *ground) rectify(p *Plane, perMM, fx, fy, shiftX, shiftY float64) (*Plane, error) {
	k := math.Max(1, math.Floor(perMM/g.perMM))
	w, h := max(1, int(float64(p.W)/k)), max(1, int(float64(p.H)/k))
	small, err := resizeArea(p, w, h)
	if err != nil {
		return nil, err
	}
	kx, ky := fx*float64(p.W)/float64(w), fy*float64(p.H)/float64(h)
	// photo -> small: (x + shift + 0.5)/k - 0.5; ground -> card -> photo before it.
	m := g.image
	for c := range 3 {
		m[c] = (m[c] + (shiftX+0.5)*m[6+c]) / kx
		m[c] -= 0.5 * m[6+c]
		m[3+c] = (m[3+c] + (shiftY+0.5)*m[6+c]) / ky
		m[3+c] -= 0.5 * m[6+c]
	}
	var src [9]float64
	for r := range 3 { // columns: x, y, 1 of the ground
		a, b, c := m[3*r], m[3*r+1], m[3*r+2]
		src[3*r] = a / g.perMM
		src[3*r+1] = -b / g.perMM
		src[3*r+2] = a*(g.corner.X+0.5/g.perMM) + b*(g.corner.Y-0.5/g.perMM) + c
	}
	return warpTo(small, src, g.w, g.h, 0)
}

// cardAt returns the card point of raster place (x, y).
func (g *ground) cardAt(x, y float64) calib.CardPoint {
	return calib.CardPoint{X: g.corner.X + (x+0.5)/g.perMM, Y: g.corner.Y - (y+0.5)/g.perMM}
}

func (g *ground) masks(p *Photo, l *calib.Layout, zone *Zone) {
	n := g.w * g.h
	g.valid, g.card, g.outside = make([]bool, n), make([]bool, n), make([]bool, n)
	const rim = 3 // px at the photo's border that the area average mixes with nothing
	right, bottom := float64(p.Luma.W-1-rim), float64(p.Luma.H-1-rim)
	h := g.image
	for y := range g.h {
		for x := range g.w {
			i := y*g.w + x
			c := g.cardAt(float64(x), float64(y))
			// The homography without its division: u/k is the photo's column.
			u, v, k := h[0]*c.X+h[1]*c.Y+h[2], h[3]*c.X+h[4]*c.Y+h[5], h[6]*c.X+h[7]*c.Y+h[8]
			if k < 0 {
				u, v, k = -u, -v, -k
			}
			g.outside[i] = !(u >= rim*k && v >= rim*k && u <= right*k && v <= bottom*k)
			g.card[i] = l.Contains(c, cardRim)
			in := zone == nil || (c.X >= zone.Min.X && c.X <= zone.Max.X && c.Y >= zone.Min.Y && c.Y <= zone.Max.Y)
			g.valid[i] = in && !g.outside[i] && !g.card[i]
		}
	}
}

// features turns luma and chroma into three rasters that illumination shifts but
// does not scale: log luma, and the two colour differences over luma.
func features(luma, cb, cr *Plane) [3]*Plane {
	out := [3]*Plane{NewPlane(luma.W, luma.H), NewPlane(luma.W, luma.H), NewPlane(luma.W, luma.H)}
	var logs [256]uint8
	var over [256]float32
	for v := range logs {
		logs[v] = uint8(59 * (math.Log(float64(v)+4) - 1.38))
		over[v] = 160 / (float32(v) + 16)
	}
	for i, v := range luma.Pix {
		out[0].Pix[i] = logs[v]
		out[1].Pix[i] = toByte32(128 + over[v]*(float32(cb.Pix[i])-128))
		out[2].Pix[i] = toByte32(128 + over[v]*(float32(cr.Pix[i])-128))
	}
	return out
}

func toByte(v float64) uint8   { return uint8(max(0, min(255, v+0.5))) }
func toByte32(v float32) uint8 { return uint8(max(0, min(255, v+0.5))) }

// featureFloor is the least noise of a feature, grey levels: rounding and JPEG.
const featureFloor = 1.6

// contrast subtracts each feature's surroundings and finds its noise.
func (g *ground) contrast() error {
	f := g.feature
	for k := range 3 {
		back, err := g.surroundings(f[k])
		if err != nil {
			return err
		}
		g.diff[k] = make([]float32, g.w*g.h)
		var size []float64
		for i := range g.diff[k] {
			if !g.valid[i] {
				continue
			}
			d := float32(f[k].Pix[i]) - float32(back.Pix[i])
			g.diff[k][i] = d
			if i%29 == 0 {
				size = append(size, math.Abs(float64(d)))
			}
		}
		g.noise[k] = featureFloor
		if len(size) >= 50 {
			g.noise[k] = float32(math.Max(1.4826*median(size), featureFloor))
		}
	}
	return nil
}

// surroundings returns the median over backgroundWindow, worked out on cells of
// about a millimetre; the card and what lies outside the photo do not count.
func (g *ground) surroundings(f *Plane) (*Plane, error) {
	cell := int(math.Ceil(g.perMM))
	small := g.cells(f, cell)
	window := int(backgroundWindow*g.perMM/float64(cell)) | 1
	window = max(3, min(window, (min(small.W, small.H)-1)|1))
	med, err := medianOf(small, window)
	if err != nil {
		return nil, err
	}
	back, err := resizeLinear(med, small.W*cell, small.H*cell)
	if err != nil {
		return nil, err
	}
	out := NewPlane(g.w, g.h)
	for y := range g.h {
		copy(out.Row(y), back.Row(y)[:g.w])
	}
	return out, nil
}

// cells averages the ground over cells; a cell without ground takes the nearest
// ground in its row and column, weighed by the inverse of the distance.
func (g *ground) cells(f *Plane, cell int) *Plane {
	w, h := (g.w+cell-1)/cell, (g.h+cell-1)/cell
	sum, count := make([]float32, w*h), make([]float32, w*h)
	for y := range g.h {
		row := f.Row(y)
		to, left := y/cell*w, cell
		for x, v := range row {
			if left == 0 {
				to, left = to+1, cell
			}
			left--
			if i := y*g.w + x; !g.card[i] && !g.outside[i] {
				sum[to] += float32(v)
				count[to]++
			}
		}
	}
	out := NewPlane(w, h)
	near, weight := make([]float32, w*h), make([]float32, w*h)
	sweep := func(start, step, n int) {
		last, dist := float32(0), 0
		for k, i := 0, start; k < n; k, i = k+1, i+step {
			switch {
			case count[i] > 0:
				last, dist = sum[i]/count[i], 1
			case dist > 0:
				near[i] += last / float32(dist)
				weight[i] += 1 / float32(dist)
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
	for i := range out.Pix {
		switch {
		case count[i] > 0:
			out.Pix[i] = toByte32(sum[i] / count[i])
		case weight[i] > 0:
			out.Pix[i] = toByte32(near[i] / weight[i])
		}
	}
	return out
}
