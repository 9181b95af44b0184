package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// ground is the neighbourhood of the card, rectified at low resolution, as how
// far each place differs from its own surroundings. It serves finding only; all
// measuring goes back to the photo's pixels.
type ground struct {
	w, h    int
	perMM   float64         // pixels per mm
	corner  calib.CardPoint // card point of the raster's top-left corner
	diff    [3][]float32    // log luma, and two colour ratios, less the surroundings, in noise units
	valid   []bool          // in the photo, off the card, in the zone
	card    []bool
	outside []bool // not in the photo
	image   calib.Homography
}

const (
	backgroundWindow = 12.0 // mm over which the surroundings' median is taken: over twice the widest strip
	cardRim          = 0.8  // mm round the card that count as the card: its cut edge and shadow
)

// newGround rectifies what lies within the layout's reach, or in the zone.
func newGround(p *Photo, h calib.Homography, l *calib.Layout, zone *Zone, pxPerMM float64) (*ground, error) {
	grow := l.Reach
	if l.Reach < 20 {
		grow = l.Reach + 14 // a strip beside a rider may be longer than the rider
	}
	z := Zone{calib.CardPoint{X: -l.Width/2 - grow, Y: -l.Height/2 - grow}, calib.CardPoint{X: l.Width/2 + grow, Y: l.Height/2 + grow}}
	per := math.Min(5, pxPerMM)
	if l.Reach < 20 {
		per = math.Min(12, pxPerMM)
	}
	g := &ground{perMM: per, corner: calib.CardPoint{X: z.Min.X, Y: z.Max.Y}, image: h}
	g.w, g.h = int((z.Max.X-z.Min.X)*per), int((z.Max.Y-z.Min.Y)*per)
	luma, err := g.rectify(p.Luma, pxPerMM, 1, 1, 0, 0)
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
	return g, g.contrast(features(luma, cb, cr))
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
	for y := range g.h {
		for x := range g.w {
			i := y*g.w + x
			c := g.cardAt(float64(x), float64(y))
			q, ok := g.image.Image(c)
			const rim = 3 // px at the photo's border that the area average mixes with nothing
			g.outside[i] = !ok || q.X < rim || q.Y < rim || q.X > float64(p.Luma.W-1-rim) || q.Y > float64(p.Luma.H-1-rim)
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
	for v := range logs {
		logs[v] = uint8(59 * (math.Log(float64(v)+4) - 1.38))
	}
	for i, v := range luma.Pix {
		out[0].Pix[i] = logs[v]
		k := 160 / (float64(v) + 16)
		out[1].Pix[i] = toByte(128 + k*(float64(cb.Pix[i])-128))
		out[2].Pix[i] = toByte(128 + k*(float64(cr.Pix[i])-128))
	}
	return out
}

func toByte(v float64) uint8 { return uint8(math.Max(0, math.Min(255, v+0.5))) }

// contrast subtracts each feature's surroundings and scales by its noise.
func (g *ground) contrast(f [3]*Plane) error {
	const coarse = 2.0 // px per mm for the surroundings
	cw, ch := max(4, int(float64(g.w)*coarse/g.perMM)), max(4, int(float64(g.h)*coarse/g.perMM))
	cw, ch = min(cw, g.w), min(ch, g.h)
	window := int(backgroundWindow*coarse) | 1
	for k := range 3 {
		filled := g.fillHoles(f[k])
		small, err := resizeArea(filled, cw, ch)
		if err != nil {
			return err
		}
		med, err := medianOf(small, min(window, (min(cw, ch)-1)|1))
		if err != nil {
			return err
		}
		back, err := resizeLinear(med, g.w, g.h)
		if err != nil {
			return err
		}
		g.diff[k] = make([]float32, g.w*g.h)
		var size []float64
		for i := range g.diff[k] {
			if !g.valid[i] {
				continue
			}
			d := float64(f[k].Pix[i]) - float64(back.Pix[i])
			g.diff[k][i] = float32(d)
			if i%7 == 0 {
				size = append(size, math.Abs(d))
			}
		}
		if len(size) < 50 {
			continue
		}
		slices.Sort(size)
		noise := float32(math.Max(1.4826*size[len(size)/2], 1.6))
		for i := range g.diff[k] {
			g.diff[k][i] /= noise
		}
	}
	return nil
}

// fillHoles replaces what is not ground (the card, the photo's outside) by the
// mean of the ground round it, so that the surroundings are not taken from it.
func (g *ground) fillHoles(p *Plane) *Plane {
	out := NewPlane(p.W, p.H)
	copy(out.Pix, p.Pix)
	hole := func(i int) bool { return g.card[i] || g.outside[i] }
	// Nearest ground to the left and right in the row, above and below in the
	// column, weighted by the inverse of the distance.
	sum, weight := make([]float32, len(p.Pix)), make([]float32, len(p.Pix))
	sweep := func(start, step, n int) {
		dist, last := -1, float32(0)
		for k, i := 0, start; k < n; k, i = k+1, i+step {
			if !hole(i) {
				dist, last = 0, 0.8*last+0.2*float32(p.Pix[i])
				if last == 0 || k == 0 || hole(i-step) {
					last = float32(p.Pix[i])
				}
				continue
			}
			if dist >= 0 {
				dist++
				sum[i] += last / float32(dist)
				weight[i] += 1 / float32(dist)
			}
		}
	}
	for y := range g.h {
		sweep(y*g.w, 1, g.w)
		sweep(y*g.w+g.w-1, -1, g.w)
	}
	for x := range g.w {
		sweep(x, g.w, g.h)
		sweep((g.h-1)*g.w+x, -g.w, g.h)
	}
	for i := range out.Pix {
		if hole(i) && weight[i] > 0 {
			out.Pix[i] = toByte(float64(sum[i] / weight[i]))
		}
	}
	return out
}
