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
	quarry  quarry      // what is looked for
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
	n := g.w * g.h
	g.valid, g.card, g.outside = make([]bool, n), make([]bool, n), make([]bool, n)
	for k := range 3 {
		g.feature[k] = NewPlane(g.w, g.h)
	}
	from, err := newSources(p, f.look, pxPerMM/per)
	if err != nil {
		return nil, err
	}
	g.rectify(p, l, zone, from)
	return g, g.contrast()
}

// rectify looks up each place in the photo. Places on the card have features too,
// so that no step stands at its border which is not there.
func (g *ground) rectify(p *Photo, l *calib.Layout, zone *Zone, from [3]source) {
	const rim = 3 // px at the photo's border that the area average mixes with nothing
	right, bottom := float64(p.Luma.W-1-rim), float64(p.Luma.H-1-rim)
	h := g.image
	for y := range g.h {
		for x := range g.w {
			i := y*g.w + x
			c := g.cardAt(float64(x), float64(y))
			k := 1 / (h[6]*c.X + h[7]*c.Y + h[8])
			u, v := (h[0]*c.X+h[1]*c.Y+h[2])*k, (h[3]*c.X+h[4]*c.Y+h[5])*k
			if !(u >= rim && v >= rim && u <= right && v <= bottom) {
				g.outside[i] = true
				continue
			}
			g.card[i] = l.Contains(c, cardRim)
			g.valid[i] = !g.card[i] && (zone == nil || zone.holds(c))
			luma := from[0].at(u, v)
			g.feature[0].Pix[i] = logLuma[luma]
			g.feature[1].Pix[i] = toByte32(128 + overLuma[luma]*(float32(from[1].at(u, v))-128))
			g.feature[2].Pix[i] = toByte32(128 + overLuma[luma]*(float32(from[2].at(u, v))-128))
		}
	}
}

// source is a plane averaged down to about the ground's resolution: pixel x of
// the photo lies at x*kx + ox.
type source struct {
	*Plane
	kx, ky, ox, oy float64
}

// newSources reduces the photo by about factor.
func newSources(p *Photo, look *finder, factor float64) (from [3]source, err error) {
	quarter, err := look.reduced(4)
	if err != nil {
		return from, err
	}
	// The reduced plane's pixels are exactly these many of the photo's.
	qx, qy := float64(p.Luma.W)/float64(quarter.W), float64(p.Luma.H)/float64(quarter.H)
	if from[0], err = newSource(quarter, factor, qx, qy, 0, 0); err != nil {
		return from, err
	}
	for i, c := range [2]*Plane{p.Cb, p.Cr} {
		from[1+i], err = newSource(c, factor, float64(p.ChromaX), float64(p.ChromaY), float64(p.ShiftX), float64(p.ShiftY))
		if err != nil {
			return from, err
		}
	}
	return from, nil
}

// newSource averages a plane, one of whose pixels stands for fx by fy of the
// photo's and whose first one starts a shift outside it.
func newSource(p *Plane, factor, fx, fy, shiftX, shiftY float64) (source, error) {
	k := math.Max(1, math.Floor(factor/math.Max(fx, fy)))
	small, err := resizeArea(p, max(1, int(float64(p.W)/k)), max(1, int(float64(p.H)/k)))
	if err != nil {
		return source{}, err
	}
	if small.W < 2 || small.H < 2 {
		return source{}, errors.New("the photo is too small")
	}
	s := source{Plane: small, kx: float64(small.W) / (fx * float64(p.W)), ky: float64(small.H) / (fy * float64(p.H))}
	s.ox, s.oy = (shiftX+0.5)*s.kx-0.5, (shiftY+0.5)*s.ky-0.5
	return s, nil
}

// at interpolates at the photo's place (u, v), to 1/64 of a pixel: good for
// finding, not for measuring.
func (s *source) at(u, v float64) uint8 {
	const one = 64
	x := min(max(int(one*(u*s.kx+s.ox)), 0), one*(s.W-1)-1)
	y := min(max(int(one*(v*s.ky+s.oy)), 0), one*(s.H-1)-1)
	fx, fy := uint32(x%one), uint32(y%one)
	top := s.Pix[y/one*s.W+x/one:]
	bottom := top[s.W : s.W+2]
	a := uint32(top[0])*(one-fx) + uint32(top[1])*fx
	b := uint32(bottom[0])*(one-fx) + uint32(bottom[1])*fx
	return uint8((a*(one-fy) + b*fy + one*one/2) / (one * one))
}

// cardAt returns the card point of raster place (x, y).
func (g *ground) cardAt(x, y float64) calib.CardPoint {
	return calib.CardPoint{X: g.corner.X + (x+0.5)/g.perMM, Y: g.corner.Y - (y+0.5)/g.perMM}
}

func (z *Zone) holds(c calib.CardPoint) bool {
	return c.X >= z.Min.X && c.X <= z.Max.X && c.Y >= z.Min.Y && c.Y <= z.Max.Y
}

// logLuma and overLuma turn luma and chroma into three features that illumination
// shifts but does not scale: log luma, and the two colour differences over luma.
var logLuma, overLuma = lumaTables()

func lumaTables() (logs [256]uint8, over [256]float32) {
	for v := range logs {
		logs[v] = uint8(59 * (math.Log(float64(v)+4) - 1.38))
		over[v] = 160 / (float32(v) + 16)
	}
	return logs, over
}

func toByte(v float64) uint8   { return uint8(max(0, min(255, v+0.5))) }
func toByte32(v float32) uint8 { return uint8(max(0, min(255, v+0.5))) }

// featureFloor is the least noise of a feature, grey levels: rounding and JPEG.
const featureFloor = 1.6

// contrast subtracts each feature's surroundings, the median over
// backgroundWindow of cells of about a millimetre, and finds its noise.
func (g *ground) contrast() error {
	cell := int(math.Ceil(g.perMM))
	for k, small := range g.cells(cell) {
		window := int(backgroundWindow*g.perMM/float64(cell)) | 1
		window = max(3, min(window, (min(small.W, small.H)-1)|1))
		med, err := medianOf(small, window)
		if err != nil {
			return err
		}
		back, err := resizeLinear(med, small.W*cell, small.H*cell)
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
	g.diff[k] = make([]float32, g.w*g.h)
	size := make([]float64, 0, g.w*g.h/29+1)
	for y := range g.h {
		row, from, here := g.diff[k][y*g.w:(y+1)*g.w], back.Row(y)[:g.w], g.feature[k].Row(y)
		for x, ok := range g.valid[y*g.w : (y+1)*g.w] {
			if !ok {
				continue
			}
			row[x] = float32(here[x]) - float32(from[x])
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

// cells averages the ground's features over cells, leaving out the card and what
// lies outside the photo; a cell without ground takes the nearest ground in its
// row and column, weighed by the inverse of the distance.
func (g *ground) cells(cell int) [3]*Plane {
	w, h := (g.w+cell-1)/cell, (g.h+cell-1)/cell
	sum, count := make([][3]float32, w*h), make([]float32, w*h)
	for y := range g.h {
		to, left := y/cell*w, cell
		for i := y * g.w; i < (y+1)*g.w; i++ {
			if left == 0 {
				to, left = to+1, cell
			}
			left--
			if g.card[i] || g.outside[i] {
				continue
			}
			for k := range 3 {
				sum[to][k] += float32(g.feature[k].Pix[i])
			}
			count[to]++
		}
	}
	near := filled(sum, count, w, h)
	var out [3]*Plane
	for k := range 3 {
		out[k] = NewPlane(w, h)
		for i := range near {
			out[k].Pix[i] = toByte32(near[i][k])
		}
	}
	return out
}

// filled returns each cell's mean, or that of the nearest cells that have one.
func filled(sum [][3]float32, count []float32, w, h int) [][3]float32 {
	near, weight := make([][3]float32, w*h), make([]float32, w*h)
	sweep := func(start, step, n int) {
		var last [3]float32
		dist := float32(0)
		for k, i := 0, start; k < n; k, i = k+1, i+step {
			switch {
			case count[i] > 0:
				for c := range last {
					last[c] = sum[i][c] / count[i]
				}
				near[i], weight[i] = last, 1
				dist = 1
			case dist > 0:
				for c := range last {
					near[i][c] += last[c] / dist
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
			for c := range near[i] {
				near[i][c] /= s
			}
		}
	}
	return near
}
