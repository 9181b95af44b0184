package vision

// #include "ground.h"
import "C"

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
	luma    *Plane          // as the photo has it
	feature [3]*Plane       // log luma, and two colour ratios
	diff    [3][]int16      // the features less their surroundings
	noise   [3]float32      // robust standard deviation of each
	kind    []uint8         // what each place is, 0 for ground that is looked at
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
	if g.w < 2 || g.h < 2 {
		return nil, errors.New("the photo is too small")
	}
	from, err := newSources(p, f.look, pxPerMM/per)
	if err != nil {
		return nil, err
	}
	g.lookUp(from, g.sort(p, zone))
	return g, g.contrast()
}

// What a place can be; 0 is ground.
const (
	outsidePhoto uint8 = C.PLACE_OUTSIDE // with a rim that the area average mixes with nothing
	onCard       uint8 = C.PLACE_CARD
	offZone      uint8 = C.PLACE_OFF_ZONE
)

// photoRim is that rim's width, px of the photo.
const photoRim = 3

// fromRaster maps the ground's columns and rows to the photo's pixels.
func (g *ground) fromRaster() calib.Homography { return rasterMap(g.image, g.cardAt(0, 0), 1/g.perMM) }

// sort tells what each place is, and returns the columns of each row that the
// photo shows.
func (g *ground) sort(p *Photo, zone *Zone) []columns {
	m := g.fromRaster()
	if g.image[8] < 0 { // what is seen has a positive denominator
		for i := range m {
			m[i] = -m[i]
		}
	}
	right, bottom := float64(p.Luma.W-1-photoRim), float64(p.Luma.H-1-photoRim)
	all := columns{0, int32(g.w)}
	l := g.layout
	card, inZone := g.columnsOf(-l.Width/2-cardRim, l.Width/2+cardRim), all
	if zone != nil {
		inZone = g.columnsOf(zone.Min.X, zone.Max.X)
	}
	g.kind = newRaster[uint8](g.w * g.h)
	seen := make([]columns, g.h)
	for y := range seen {
		// Inside the photo, each of these is at least 0: a + b x in column x.
		at := func(i int) (a, b float64) { return m[i+1]*float64(y) + m[i+2], m[i] }
		ua, ub := at(0)
		va, vb := at(3)
		ka, kb := at(6)
		in := all.where(ua-photoRim*ka, ub-photoRim*kb).where(right*ka-ua, right*kb-ub).
			where(va-photoRim*ka, vb-photoRim*kb).where(bottom*ka-va, bottom*kb-vb)
		seen[y] = in
		c := g.cardAt(0, float64(y))
		row := g.kind[y*g.w : (y+1)*g.w]
		if zone != nil {
			all.fill(row, offZone)
			if c.Y >= zone.Min.Y && c.Y <= zone.Max.Y {
				inZone.fill(row, 0)
			}
		}
		if math.Abs(c.Y) <= l.Height/2+cardRim {
			card.fill(row, onCard)
		}
		columns{0, in.from}.fill(row, outsidePhoto)
		columns{in.to, all.to}.fill(row, outsidePhoto)
	}
	return seen
}

// columnsOf are those whose places lie between two of the card's x.
func (g *ground) columnsOf(x0, x1 float64) columns {
	first := g.cardAt(0, 0).X
	return columns{0, int32(g.w)}.where((first-x0)*g.perMM, 1).where((x1-first)*g.perMM, -1)
}

// columns are a row's columns from one up to another.
type columns struct{ from, to int32 }

// where returns the columns x at which a + b x is not negative.
func (s columns) where(a, b float64) columns {
	held := func(x float64) int32 { // the native code relies on it: also when x is not a number
		if !(x > float64(s.from)) {
			return s.from
		}
		return int32(math.Min(float64(s.to), x))
	}
	switch {
	case b > 0:
		s.from = held(math.Ceil(-a / b))
	case b < 0:
		s.to = held(math.Floor(-a/b) + 1)
	case !(a >= 0):
		s.to = s.from
	}
	return s
}

func (s columns) fill(row []uint8, with uint8) {
	for x := s.from; x < s.to; x++ {
		row[x] = with
	}
}

// rasterAt returns where on the raster a card point lies: in the place of the whole parts.
func (g *ground) rasterAt(c calib.CardPoint) (x, y float64) {
	return (c.X - g.corner.X) * g.perMM, (g.corner.Y - c.Y) * g.perMM
}

// cardAt returns the card point of raster place (x, y).
func (g *ground) cardAt(x, y float64) calib.CardPoint {
	return calib.CardPoint{X: g.corner.X + (x+0.5)/g.perMM, Y: g.corner.Y - (y+0.5)/g.perMM}
}
