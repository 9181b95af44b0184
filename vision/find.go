package vision

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
	minStripWidth  = 0.3
	maxStripWidth  = 7.0
	foundContrast  = 4.5 // noise units at which a place stands out
)

// standingOut lists the long, even patches that differ from their surroundings.
func (g *ground) standingOut() []candidate {
	mask := NewPlane(g.w, g.h)
	s := [3]float32{1 / g.noise[0], 1 / g.noise[1], 1 / g.noise[2]}
	for i := range mask.Pix {
		if !g.valid[i] {
			continue
		}
		a, b, c := float32(g.diff[0][i])*s[0], float32(g.diff[1][i])*s[1], float32(g.diff[2][i])*s[2]
		if a*a+b*b+c*c > foundContrast*foundContrast {
			mask.Pix[i] = 255
		}
	}
	return g.shapes(mask, nil, g.grow)
}

// smoothLevels are the steps between neighbours, in feature levels over a pixel
// to both sides, that part one area from the next.
var smoothLevels = [4]float32{6, 10, 16, 26}

// smooth lists the long, even areas without steps inside. A film is smooth, and
// sharp edges part it from the metal, whatever lies round about: this finds a
// strip where the surroundings are not one ground but part, gap and bench top.
func (g *ground) smooth() ([]candidate, error) {
	step := make([]float32, g.w*g.h)
	for k := range 3 {
		f, err := blurGauss(g.feature[k], 0.8)
		if err != nil {
			return nil, err
		}
		for y := 1; y < g.h-1; y++ {
			for x := 1; x < g.w-1; x++ {
				i := y*g.w + x
				dx := float32(f.Pix[i+1]) - float32(f.Pix[i-1])
				dy := float32(f.Pix[i+g.w]) - float32(f.Pix[i-g.w])
				step[i] += dx*dx + dy*dy
			}
		}
	}
	var out []candidate
	for _, level := range smoothLevels {
		mask := NewPlane(g.w, g.h)
		for i := range mask.Pix {
			if g.valid[i] && step[i] < level*level {
				mask.Pix[i] = 255
			}
		}
		out = g.shapes(mask, out, g.ringed)
	}
	return out, nil
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
	t     touch
}

func (g *ground) newFlood() *flood {
	if g.floods++; g.seen == nil {
		g.seen = make([]uint32, len(g.valid))
	}
	return &flood{g: g}
}

// seen reports whether place i is in.
func (f *flood) seen(i int32) bool { return f.g.seen[i] == f.g.floods }

// add puts a place in; again is no change.
func (f *flood) add(i int32) {
	if !f.seen(i) {
		f.g.seen[i] = f.g.floods
		f.front = append(f.front, i)
	}
}

// spread adds the neighbours of the front that pass, and returns the old front.
func (f *flood) spread(pass func(int32) bool) []int32 {
	old := f.front
	f.front = nil
	w := int32(f.g.w)
	for _, i := range old {
		x := i % w
		for _, j := range [4]int32{i - 1, i + 1, i - w, i + w} {
			if j < 0 || j >= int32(len(f.g.seen)) || (j == i-1 && x == 0) || (j == i+1 && x == w-1) {
				f.t.zone = true
				continue
			}
			f.t.border = f.t.border || f.g.outside[j]
			f.t.card = f.t.card || f.g.card[j]
			f.t.zone = f.t.zone || !(f.g.valid[j] || f.g.outside[j] || f.g.card[j])
			if !f.seen(j) && pass(j) {
				f.add(j)
			}
		}
	}
	return old
}

// grow takes a patch's own typical difference from the surroundings as the
// strip's, collects the connected places nearer to it than to the surroundings,
// and measures their shape.
func (g *ground) grow(patch []int32) (candidate, bool) {
	m := g.typical(patch, func(k int, i int32) float32 { return float32(g.diff[k][i]) })
	mm := m[0]*m[0] + m[1]*m[1] + m[2]*m[2]
	if mm < foundContrast*foundContrast/2 {
		return candidate{}, false
	}
	like := func(i int32) bool {
		if !g.valid[i] {
			return false
		}
		dot, off := 0.0, 0.0
		for k := range 3 {
			d := float64(float32(g.diff[k][i]) / g.noise[k])
			dot += d * m[k]
			off += (d - m[k]) * (d - m[k])
		}
		return dot > 0.5*mm && off < mm
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
	c.contrast, c.colour, c.touches = math.Sqrt(mm), m, f.t
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
	valid := func(i int32) bool { return g.valid[i] }
	body := f.spread(valid)
	body = append(body, f.front...)
	touches := f.t
	f.spread(valid)
	f.spread(valid)
	ring := f.spread(valid)
	ring = append(ring, f.front...)
	c, ok := g.shape(body)
	if !ok || len(ring) < 20 {
		return candidate{}, false
	}
	feature := func(k int, i int32) float32 { return float32(g.feature[k].Pix[i]) }
	in, out := g.typical(body, feature), g.typical(ring, feature)
	mm := 0.0
	for k := range 3 {
		c.colour[k] = in[k] - out[k]
		mm += c.colour[k] * c.colour[k]
	}
	c.contrast, c.touches = math.Sqrt(mm), touches
	return c, true
}

// typical returns the medians of what of tells over the places, in noise units.
func (g *ground) typical(places []int32, of func(k int, i int32) float32) [3]float64 {
	var m [3]float64
	v := make([]float64, len(places))
	for k := range 3 {
		for n, i := range places {
			v[n] = float64(of(k, i) / g.noise[k])
		}
		m[k] = median(v)
	}
	return m
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
	c.even = spread < 1.9*width+0.6*g.perMM && c.width >= g.quarry.least && c.width <= maxStripWidth
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
