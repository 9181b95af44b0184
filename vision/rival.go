package vision

import "math"

// What another piece of the same film shows, as shares of the film's own
// difference from the metal.
const (
	sameFilm    = 0.3 // at most so far from the film's colour
	standsApart = 0.5 // at least so far from what lies round it
)

// repeats reports whether the ground shows another band of the film of c: of the
// same colour whatever lies round it, of about the same width, and long enough to
// be a strip. Something under the card does not count.
func (g *ground) repeats(c candidate) bool {
	film, metal, ok := g.filmAndMetal(c)
	if !ok {
		return false
	}
	far := 0.0
	for k := range 3 {
		far += (film[k] - metal[k]) * (film[k] - metal[k])
	}
	mask := NewPlane(g.w, g.h)
	for i := range mask.Pix {
		if !g.valid[i] {
			continue
		}
		d := 0.0
		for k := range 3 {
			off := float64(g.feature[k].Pix[i])/float64(g.noise[k]) - film[k]
			d += off * off
		}
		if d < sameFilm*sameFilm*far {
			mask.Pix[i] = 255
		}
	}
	bands, _ := g.quarry.ranked(g.shapes(mask, nil, g.ringed))
	for _, o := range bands {
		alike := o.width > 0.5*c.width && o.width < 2*c.width && o.length() > 0.3*c.length()
		if alike && o.contrast > standsApart*math.Sqrt(far) && !o.touches.card && !o.liesOn(c) && !c.liesOn(o) {
			return true
		}
	}
	return false
}

// filmAndMetal returns the typical features, in noise units, within a band and
// beside it. False when too little of either is seen.
func (g *ground) filmAndMetal(c candidate) (film, metal [3]float64, ok bool) {
	u := c.direction()
	mid, half := c.a.Add(c.b).Scale(0.5), c.length()/2
	var in, out []int32
	for i, v := range g.valid {
		if !v {
			continue
		}
		d := g.cardAt(float64(i%g.w), float64(i/g.w)).Sub(mid)
		s, off := math.Abs(d.Dot(u)), math.Abs(d.X*u.Y-d.Y*u.X)
		switch {
		case s > half-0.5 || off > c.width/2+beside:
		case off < 0.35*c.width:
			in = append(in, int32(i))
		case off > c.width/2+0.4:
			out = append(out, int32(i))
		}
	}
	if len(in) < 10 || len(out) < 10 {
		return film, metal, false
	}
	feature := func(k int, i int32) float32 { return float32(g.feature[k].Pix[i]) }
	return g.typical(in, feature), g.typical(out, feature), true
}

// beside is how much of the metal beside a band, in mm, tells what the metal is.
const beside = 1.5

// liesOn reports whether the middle of c lies within the band b.
func (c candidate) liesOn(b candidate) bool {
	d := c.a.Add(c.b).Scale(0.5).Sub(b.a)
	u := b.direction()
	s := d.Dot(u)
	return s > -0.5 && s < b.length()+0.5 && math.Abs(d.X*u.Y-d.Y*u.X) < math.Max(b.width, c.width)/2+0.3
}

// continues reports whether c goes on in line beyond an end of the band b, in the
// same colour.
func (c candidate) continues(b candidate) bool {
	d := c.a.Add(c.b).Scale(0.5).Sub(b.a.Add(b.b).Scale(0.5))
	u := b.direction()
	gap := math.Abs(d.Dot(u)) - (b.length()+c.length())/2
	return c.like(b) && gap > -1 && gap < maxGapAlong && math.Abs(d.X*u.Y-d.Y*u.X) < b.width
}

// like reports whether two bands differ from their surroundings in the same way.
func (c candidate) like(b candidate) bool {
	dot, cc, bb := 0.0, 0.0, 0.0
	for k := range 3 {
		dot += c.colour[k] * b.colour[k]
		cc += c.colour[k] * c.colour[k]
		bb += b.colour[k] * b.colour[k]
	}
	return dot > 0.9*math.Sqrt(cc*bb) && cc > 0.25*bb && bb > 0.25*cc
}
