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
	diff    [3][]int16      // the features less their surroundings
	noise   [3]float32      // robust standard deviation of each
	valid   []bool          // in the photo, off the card, in the zone
	card    []bool
	outside []bool // not in the photo
	image   calib.Homography
	layout  *calib.Layout
	odd     []candidate // what runs under the card and is no band
	quarry  quarry      // what is looked for
	seen    []uint32    // the last flood that each place was in
	floods  uint32      // so far, the one in hand included
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
	return g, g.contrast(g.rectify(p, l, zone, from))
}

// rectify looks up each place in the photo. Places on the card have features too,
// so that no step stands at its border which is not there. It returns the features
// summed up over cells, the card left out.
func (g *ground) rectify(p *Photo, l *calib.Layout, zone *Zone, from [3]source) *cells {
	const rim = 3 // px at the photo's border that the area average mixes with nothing
	right, bottom := float64(p.Luma.W-1-rim), float64(p.Luma.H-1-rim)
	h, step := g.image, 1/g.perMM
	sums := newCells(g)
	for y := range g.h {
		line := sums.row(y)
		c := g.cardAt(0, float64(y))
		u, v, k := h[0]*c.X+h[1]*c.Y+h[2], h[3]*c.X+h[4]*c.Y+h[5], h[6]*c.X+h[7]*c.Y+h[8]
		valid, card, outside := g.valid[y*g.w:(y+1)*g.w], g.card[y*g.w:(y+1)*g.w], g.outside[y*g.w:(y+1)*g.w]
		bright, blue, red := g.feature[0].Row(y), g.feature[1].Row(y), g.feature[2].Row(y)
		meetsCard := l.Contains(calib.CardPoint{Y: c.Y}, cardRim)
		for x := range valid {
			near := 1 / k
			px, py := u*near, v*near
			if px >= rim && py >= rim && px <= right && py <= bottom {
				card[x] = meetsCard && l.Contains(c, cardRim)
				valid[x] = !card[x] && (zone == nil || zone.holds(c))
				luma := from[0].spot(px, py).in(from[0].Plane)
				bright[x] = logLuma[luma]
				s := from[1].spot(px, py) // both chroma planes are alike
				cb, cr := s.inBoth(from[1].Plane, from[2].Plane)
				blue[x], red[x] = overLuma(cb, luma), overLuma(cr, luma)
				if !card[x] {
					line[sums.column[x]].add(bright[x], blue[x], red[x])
				}
			} else {
				outside[x] = true
			}
			c.X += step
			u, v, k = u+h[0]*step, v+h[3]*step, k+h[6]*step
		}
	}
	return sums
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
// photo's and whose first one starts a shift outside it, by a power of two of at
// most factor: by twos is far quicker.
func newSource(p *Plane, factor, fx, fy, shiftX, shiftY float64) (source, error) {
	small := p
	for k := factor / math.Max(fx, fy); k >= 2; k /= 2 {
		if small.canHalve(1) {
			small = halve(small)
			continue
		}
		var err error
		if small, err = resizeArea(small, max(1, small.W/2), max(1, small.H/2)); err != nil {
			return source{}, err
		}
	}
	if small.W < 2 || small.H < 2 {
		return source{}, errors.New("the photo is too small")
	}
	s := source{Plane: small, kx: float64(small.W) / (fx * float64(p.W)), ky: float64(small.H) / (fy * float64(p.H))}
	s.ox, s.oy = (shiftX+0.5)*s.kx-0.5, (shiftY+0.5)*s.ky-0.5
	return s, nil
}

// spot is a place between four pixels of a plane: the first, and how far to the
// others in 1/64.
type spot struct {
	at     int
	fx, fy uint32
}

// spot returns the photo's place (u, v): good for finding, not for measuring.
func (s *source) spot(u, v float64) spot {
	const bits, one = 6, 1 << 6
	x := uint(min(max(int(one*(u*s.kx+s.ox)), 0), one*(s.W-1)-1))
	y := uint(min(max(int(one*(v*s.ky+s.oy)), 0), one*(s.H-1)-1))
	return spot{int(y>>bits)*s.W + int(x>>bits), uint32(x % one), uint32(y % one)}
}

func (s spot) in(p *Plane) uint8 {
	top, bottom := (*[2]uint8)(p.Pix[s.at:]), (*[2]uint8)(p.Pix[s.at+p.W:])
	a := uint32(top[0])<<6 + s.fx*(uint32(top[1])-uint32(top[0])) // modulo 2^32
	b := uint32(bottom[0])<<6 + s.fx*(uint32(bottom[1])-uint32(bottom[0]))
	return uint8((a<<6 + s.fy*(b-a) + 1<<11) >> 12)
}

// inBoth is in for two planes of one size, at once: each sum is well under 2^32, so
// that two fit into 64 bits.
func (s spot) inBoth(p, q *Plane) (uint8, uint8) {
	pt, pb := (*[2]uint8)(p.Pix[s.at:]), (*[2]uint8)(p.Pix[s.at+p.W:])
	qt, qb := (*[2]uint8)(q.Pix[s.at:]), (*[2]uint8)(q.Pix[s.at+q.W:])
	right, below := uint64(s.fx), uint64(s.fy)
	left, above := 64-right, 64-below
	a := left*(uint64(pt[0])|uint64(qt[0])<<32) + right*(uint64(pt[1])|uint64(qt[1])<<32)
	b := left*(uint64(pb[0])|uint64(qb[0])<<32) + right*(uint64(pb[1])|uint64(qb[1])<<32)
	v := above*a + below*b + (1<<11 | 1<<43)
	return uint8(v >> 12), uint8(v >> 44)
}

// cardAt returns the card point of raster place (x, y).
func (g *ground) cardAt(x, y float64) calib.CardPoint {
	return calib.CardPoint{X: g.corner.X + (x+0.5)/g.perMM, Y: g.corner.Y - (y+0.5)/g.perMM}
}

func (z *Zone) holds(c calib.CardPoint) bool {
	return c.X >= z.Min.X && c.X <= z.Max.X && c.Y >= z.Min.Y && c.Y <= z.Max.Y
}

// logLuma is a feature that illumination shifts but does not scale.
var logLuma = func() (t [256]uint8) {
	for v := range t {
		t[v] = uint8(59 * (math.Log(float64(v)+4) - 1.38))
	}
	return t
}()

// overLuma is another: a chroma value over luma, 128 where there is no colour.
func overLuma(chroma, luma uint8) uint8 {
	return uint8(min(max(128+(int32(chroma)-128)*inverseLuma[luma]>>8, 0), 255))
}

// inverseLuma is 256 times what overLuma multiplies by.
var inverseLuma = func() (t [256]int32) {
	for v := range t {
		t[v] = int32(256*160/(float64(v)+16) + 0.5)
	}
	return t
}()

func toByte(v float64) uint8   { return uint8(max(0, min(255, v+0.5))) }
func toByte32(v float32) uint8 { return uint8(max(0, min(255, v+0.5))) }
