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
	far := float32(0)
	var off [3][256]float32 // squared distance from the film's feature
	for k := range 3 {
		far += float32((film[k] - metal[k]) * (film[k] - metal[k]))
		for v := range off[k] {
			d := float32(v)/g.noise[k] - float32(film[k])
			off[k][v] = d * d
		}
	}
	mask := NewPlane(g.w, g.h)
	f := g.feature
	for i, ok := range g.valid {
		if ok && off[0][f[0].Pix[i]]+off[1][f[1].Pix[i]]+off[2][f[2].Pix[i]] < sameFilm*sameFilm*far {
			mask.Pix[i] = 255
		}
	}
	bands, _ := g.quarry.ranked(g.shapes(mask, nil, g.ringed))
	for _, o := range bands {
		alike := o.width > 0.5*c.width && o.width < 2*c.width && o.length() > 0.3*c.length()
		if alike && o.contrast > standsApart*math.Sqrt(float64(far)) && !o.touches.card && !o.liesOn(c) && !c.liesOn(o) {
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
	x0, y0, x1, y1 := g.box(c, half+c.width/2+beside)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			i := y*g.w + x
			if !g.valid[i] {
				continue
			}
			d := g.cardAt(float64(x), float64(y)).Sub(mid)
			s, off := math.Abs(d.Dot(u)), math.Abs(d.X*u.Y-d.Y*u.X)
			switch {
			case s > half-0.5 || off > c.width/2+beside:
			case off < 0.35*c.width:
				in = append(in, int32(i))
			case off > c.width/2+0.4:
				out = append(out, int32(i))
			}
		}
	}
	if len(in) < 10 || len(out) < 10 {
		return film, metal, false
	}
	feature := func(k int, i int32) float32 { return float32(g.feature[k].Pix[i]) }
	return g.typical(in, feature), g.typical(out, feature), true
}

// box returns the rows and columns that hold all within reach mm of c's middle.
func (g *ground) box(c candidate, reach float64) (x0, y0, x1, y1 int) {
	mid := c.a.Add(c.b).Scale(0.5)
	x, y := (mid.X-g.corner.X)*g.perMM, (g.corner.Y-mid.Y)*g.perMM
	r := reach*g.perMM + 1
	return max(0, int(x-r)), max(0, int(y-r)), min(g.w, int(x+r)+1), min(g.h, int(y+r)+1)
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
