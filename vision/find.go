package vision

// #include "ground.h"
import "C"

import (
	"math"
	"slices"
	"sort"

	"stripgap/calib"
)

// candidate is a long, even patch beside the card that may be the strip.
type candidate struct {
	a, b     calib.CardPoint // ends of its axis, mm
	width    float64         // mm
	contrast float64         // distance from the surroundings in noise units
	colour   [3]float64      // that distance by feature
	touches  touch
	even     bool // of one width, such as a strip may have, whatever its length
}

// touch tells what a candidate runs into.
type touch struct {
	border bool // the photo's
	zone   bool // the border of what is looked at
	card   bool
}

// sense tells whether the candidate is lighter (1) or darker (-1) than what lies
// round it, 0 when its luma hardly differs.
func (c candidate) sense() float64 {
	switch {
	case c.colour[0] > clearSense:
		return 1
	case c.colour[0] < -clearSense:
		return -1
	}
	return 0
}

// clearSense is the difference of log luma, in noise units, that tells lighter
// from darker.
const clearSense = 4

// underCard reports whether something clear and even runs under the card.
func (c candidate) underCard() bool {
	return c.touches.card && c.even && c.contrast > clearlyThere
}

func (c candidate) length() float64            { return c.b.Sub(c.a).Norm() }
func (c candidate) direction() calib.CardPoint { return c.b.Sub(c.a).Scale(1 / c.length()) }

// What a flattened strip can look like, in mm. Strands are sold from about 0.15
// to 1 mm thick and spread to at most some 5 mm (common practice, no source);
// the bounds leave room on both sides.
const (
	minStripLength = 5.0
	maxStripLength = 60.0 // longer than any bearing that is measured so: a cable, a pencil, a ruler's edge
	minStripWidth  = 0.3
	maxStripWidth  = 7.0
	foundContrast  = 4.5 // noise units at which a place stands out
)

// standingOut lists the long, even patches that differ from their surroundings.
func (g *ground) standingOut() []candidate { return g.shapes(g.stands(), nil, g.grow) }

// stands masks the ground that differs from its surroundings.
func (g *ground) stands() *Plane {
	mask := NewPlane(g.w, g.h)
	scale := [3]C.float{C.float(1 / g.noise[0]), C.float(1 / g.noise[1]), C.float(1 / g.noise[2])}
	C.stand_out(cshorts(g.diff[0]), cshorts(g.diff[1]), cshorts(g.diff[2]), cbytes(g.kind), C.size_t(len(g.kind)),
		&scale[0], foundContrast*foundContrast, cbytes(mask.Pix))
	return mask
}

// shapes adds the mask's regions that measure takes for long, even bands to those
// known. What stands out clearly and runs under the card, but is no band, is kept
// as odd.
func (g *ground) shapes(mask *Plane, known []candidate, measure func([]int32) (candidate, bool)) []candidate {
	for _, patch := range regions(mask, int(1.5*g.perMM*g.perMM)) {
		c, ok := measure(patch)
		switch {
		case ok && !repeated(known, c):
			known = append(known, c)
		case !ok && c.underCard():
			g.odd = append(g.odd, c)
		}
	}
	return known
}

// ranked joins pieces, sets apart what is too short for a strip, and puts the most
// prominent first.
func (q quarry) ranked(all []candidate) (kept, short []candidate) {
	if q.pieces {
		all = joined(all)
	}
	for _, c := range all {
		if c.length() >= minStripLength && c.length() >= q.elongation*c.width {
			kept = append(kept, c)
		} else {
			short = append(short, c)
		}
	}
	sort.SliceStable(kept, func(i, j int) bool { return kept[i].prominence() > kept[j].prominence() })
	return kept, short
}

func (c candidate) prominence() float64 { return math.Min(c.contrast, 30) * math.Min(c.length(), 30) }

// flood is a set of raster places that grows from neighbour to neighbour.
type flood struct {
	g     *ground
	front []int32
	met   uint8 // the kinds of place that neighbours of it are
}

func (g *ground) newFlood() *flood {
	if g.floods++; g.seen == nil {
		g.seen = newRaster[uint32](len(g.kind))
	}
	return &flood{g: g}
}

// touches tells what the places whose neighbours were looked at run into.
func (f *flood) touches() touch {
	return touch{border: f.met&outsidePhoto != 0, zone: f.met&offZone != 0, card: f.met&onCard != 0}
}

// add puts a place in; again is no change.
func (f *flood) add(i int32) {
	if f.g.seen[i] != f.g.floods {
		f.g.seen[i] = f.g.floods
		f.front = append(f.front, i)
	}
}

// spread adds the neighbours of the front that pass, and returns the old front.
func (f *flood) spread(pass func(int32) bool) []int32 {
	old := f.front
	f.front = nil
	kind, seen := f.g.kind, f.g.seen
	w := uint32(f.g.w)
	for _, i := range old {
		x := uint32(i) % w
		for _, j := range [4]int32{i - 1, i + 1, i - int32(w), i + int32(w)} {
			if uint(j) >= uint(len(kind)) || (j == i-1 && x == 0) || (j == i+1 && x == w-1) {
				f.met |= offZone
				continue
			}
			f.met |= kind[j]
			if seen[j] != f.g.floods && pass(j) {
				seen[j] = f.g.floods
				f.front = append(f.front, j)
			}
		}
	}
	return old
}

// grow takes a patch's own typical difference from the surroundings as the
// strip's, collects the connected places nearer to it than to the surroundings,
// and measures their shape.
func (g *ground) grow(patch []int32) (candidate, bool) {
	m := typical(patch, g.diff, g.noise)
	mm := m[0]*m[0] + m[1]*m[1] + m[2]*m[2]
	if mm < foundContrast*foundContrast/2 {
		return candidate{}, false
	}
	var strip, scale [3]float32
	for k := range strip {
		strip[k], scale[k] = float32(m[k]), 1/g.noise[k]
	}
	half, most := float32(0.5*mm), float32(mm)
	like := func(i int32) bool {
		if g.kind[i] != 0 {
			return false
		}
		a, b, c := float32(g.diff[0][i])*scale[0], float32(g.diff[1][i])*scale[1], float32(g.diff[2][i])*scale[2]
		p, q, r := a-strip[0], b-strip[1], c-strip[2]
		return a*strip[0]+b*strip[1]+c*strip[2] > half && p*p+q*q+r*r < most
	}
	f := g.newFlood()
	for _, i := range patch {
		if like(i) {
			f.add(i)
		}
	}
	var body []int32
	for len(f.front) > 0 {
		body = append(body, f.spread(like)...)
	}
	c, ok := g.shape(body)
	c.contrast, c.colour, c.touches = math.Sqrt(mm), m, f.touches()
	c.touches.card = c.touches.card && g.standsClear(body)
	return c, ok
}

// standsClear reports whether a square millimetre of a body that touches the card
// lies further from it than the card's shadow does.
func (g *ground) standsClear(body []int32) bool {
	n := 0.0
	for _, i := range body {
		if !g.layout.Contains(g.cardAt(float64(int(i)%g.w), float64(int(i)/g.w)), cardRim+shadowReach) {
			n++
		}
	}
	return n > g.perMM*g.perMM
}

// shadowReach is how far beyond the rim, in mm, a card that lies flat casts its
// shadow.
const shadowReach = 0.5

// ringed measures a patch as it is, one pixel wider (its own steps are not in
// it), and how it differs from the ring of ground some pixels round it.
func (g *ground) ringed(patch []int32) (candidate, bool) {
	if c, ok := g.shape(patch); !ok || c.length() < minStripLength {
		return candidate{}, false
	}
	f := g.newFlood()
	for _, i := range patch {
		f.add(i)
	}
	valid := func(i int32) bool { return g.kind[i] == 0 }
	body := f.spread(valid)
	body = append(body, f.front...)
	touches := f.touches()
	f.spread(valid)
	f.spread(valid)
	ring := f.spread(valid)
	ring = append(ring, f.front...)
	c, ok := g.shape(body)
	if !ok || len(ring) < 20 {
		return candidate{}, false
	}
	in, out := g.typicalFeatures(body), g.typicalFeatures(ring)
	mm := 0.0
	for k := range 3 {
		c.colour[k] = in[k] - out[k]
		mm += c.colour[k] * c.colour[k]
	}
	c.contrast, c.touches = math.Sqrt(mm), touches
	return c, true
}

// typical returns the medians of three values over the places, in noise units.
func typical[T uint8 | int16](places []int32, values [3][]T, noise [3]float32) (m [3]float64) {
	for k, v := range values {
		const zero = 256
		var count [2 * zero]int
		for _, i := range places {
			count[zero+int(v[i])]++
		}
		m[k] = (medianOfCounts(count[:], len(places)) - zero) / float64(noise[k])
	}
	return m
}

// typicalFeatures is typical of the ground's features.
func (g *ground) typicalFeatures(places []int32) [3]float64 {
	return typical(places, [3][]uint8{g.feature[0].Pix, g.feature[1].Pix, g.feature[2].Pix}, g.noise)
}

// shape measures a patch's axis, length and width, and tells whether it is a
// straight, even band.
func (g *ground) shape(body []int32) (candidate, bool) {
	n := float64(len(body))
	if n < 1.2*g.perMM*g.perMM {
		return candidate{}, false
	}
	var mx, my, xx, xy, yy float64
	for _, i := range body {
		x, y := float64(int(i)%g.w), float64(int(i)/g.w)
		mx += x / n
		my += y / n
	}
	for _, i := range body {
		x, y := float64(int(i)%g.w)-mx, float64(int(i)/g.w)-my
		xx += x * x / n
		xy += x * y / n
		yy += y * y / n
	}
	a := 0.5 * math.Atan2(2*xy, xx-yy)
	ux, uy := math.Cos(a), math.Sin(a)
	along, across := make([]float64, len(body)), make([]float64, len(body))
	for k, i := range body {
		x, y := float64(int(i)%g.w)-mx, float64(int(i)/g.w)-my
		along[k], across[k] = x*ux+y*uy, y*ux-x*uy
	}
	lo, hi := nth(along, int(0.005*n)), nth(along, int(0.995*(n-1)))
	length := (hi - lo) + 1
	width := n / length
	spread := nth(across, int(0.98*(n-1))) - nth(across, int(0.02*n)) + 1
	c := candidate{
		a:     g.cardAt(mx+lo*ux, my+lo*uy),
		b:     g.cardAt(mx+hi*ux, my+hi*uy),
		width: width / g.perMM,
	}
	c.even = spread < 1.9*width+0.6*g.perMM && c.width >= g.quarry.least && c.width <= maxStripWidth && length <= maxStripLength*g.perMM
	return c, c.even && length > 1.2*spread
}

// repeated reports whether c lies on a candidate already found.
func repeated(all []candidate, c candidate) bool {
	mid := c.a.Add(c.b).Scale(0.5)
	for _, o := range all {
		d := mid.Sub(o.a)
		u := o.direction()
		s := d.Dot(u)
		off := math.Abs(d.X*u.Y - d.Y*u.X)
		alike := c.width < 2*o.width && o.width < 2*c.width
		if alike && s > -0.5 && s < o.length()+0.5 && off < math.Max(o.width, c.width)/2 {
			return true
		}
	}
	return false
}

// maxGapAlong is the widest interruption (an oil hole, a groove, a glare line)
// over which two pieces are taken for one strip, mm.
const maxGapAlong = 7.0

// joined merges pieces that lie in one line with one width and one colour.
func joined(all []candidate) []candidate {
	for again := true; again; {
		again = false
		for i := 0; i < len(all) && !again; i++ {
			for j := i + 1; j < len(all) && !again; j++ {
				if m, ok := join(all[i], all[j]); ok {
					all[i] = m
					all = slices.Delete(all, j, j+1)
					again = true
				}
			}
		}
	}
	return all
}

func join(p, q candidate) (candidate, bool) {
	big, small := p, q
	if small.length() > big.length() {
		big, small = small, big
	}
	u := big.direction()
	mid := big.a.Add(big.b).Scale(0.5)
	place := func(c calib.CardPoint) (s, off float64) {
		d := c.Sub(mid)
		return d.Dot(u), math.Abs(d.X*u.Y - d.Y*u.X)
	}
	s0, o0 := place(small.a)
	s1, o1 := place(small.b)
	half := big.length() / 2
	gap := math.Min(math.Abs(s0), math.Abs(s1)) - half
	dot, pp, qq := 0.0, 0.0, 0.0
	for k := range 3 {
		dot += p.colour[k] * q.colour[k]
		pp += p.colour[k] * p.colour[k]
		qq += q.colour[k] * q.colour[k]
	}
	reach := 0.4*big.width + 0.3
	if gap > maxGapAlong || o0 > reach || o1 > reach || small.width > 1.6*big.width || big.width > 1.6*small.width || dot < 0.8*math.Sqrt(pp*qq) {
		return candidate{}, false
	}
	lo, hi := math.Min(-half, math.Min(s0, s1)), math.Max(half, math.Max(s0, s1))
	out := big
	out.a, out.b = mid.Add(u.Scale(lo)), mid.Add(u.Scale(hi))
	out.touches.border = p.touches.border || q.touches.border
	out.touches.zone = p.touches.zone || q.touches.zone
	out.touches.card = p.touches.card || q.touches.card
	return out, true
}
