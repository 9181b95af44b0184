package vision

// #include "ground.h"
import "C"

import (
	"math"

	"stripgap/calib"
)

// What another piece of the same film shows, as shares of the film's own
// difference from the metal.
const (
	sameFilm    = 0.3 // at most so far from the film's colour
	standsApart = 0.5 // at least so far from what lies round it
)

// repeats lists what else the ground shows of the film of c: bands of the same
// colour whatever lies round them, of about the same width, and long enough to be
// a strip. What runs under the card, along the photo's border or on beyond what is looked
// at, such as a cable, does not count.
func (g *ground) repeats(c candidate) (out []candidate) {
	mask, far, ok := g.likeFilm(c)
	if !ok {
		return nil
	}
	bands, _ := g.quarry.ranked(g.shapes(mask, nil, g.ringed))
	for _, o := range bands {
		alike := o.width > 0.5*c.width && o.width < 2*c.width && o.length() > 0.3*c.length()
		if alike && o.contrast > standsApart*far && !o.touches.card && !o.touches.zone && !o.liesOn(c) && !c.liesOn(o) && !g.cutAlong(o) {
			out = append(out, o)
		}
	}
	return out
}

// likeFilm masks the ground that is of a band's colour and tells how far, in noise units,
// that is from what lies beside the band. False when too little of either is seen.
func (g *ground) likeFilm(c candidate) (mask *Plane, far float64, ok bool) {
	film, metal, ok := g.filmAndMetal(c)
	if !ok {
		return nil, 0, false
	}
	for k := range film {
		far += (film[k] - metal[k]) * (film[k] - metal[k])
	}
	return g.resembles(film, sameFilm*sameFilm*far), math.Sqrt(far), true
}

// recurs reports whether as much again as what is seen of a band lies elsewhere in its
// colour: it is then ground, such as the part on which the card lies, or one stroke of
// writing, rather than film. So is what is like its own surroundings.
func (g *ground) recurs(c candidate) bool {
	mask, far, ok := g.likeFilm(c)
	switch {
	case !ok:
		return false
	case far < foundContrast:
		return true
	}
	u, mid := c.direction(), c.a.Add(c.b).Scale(0.5)
	elsewhere := 0.0
	for i, v := range mask.Pix {
		if v == 0 {
			continue
		}
		d := g.cardAt(float64(i%g.w), float64(i/g.w)).Sub(mid)
		if math.Abs(d.Dot(u)) > c.length()/2+beside || math.Abs(d.X*u.Y-d.Y*u.X) > c.width/2+beside {
			elsewhere++
		}
	}
	return elsewhere > again*c.width*c.length()*g.perMM*g.perMM
}

// again is the share of a band's area that makes up for its being seen in part only.
const again = 0.7

// cutAlong reports whether the photo ends along most of a band's length, so that how
// wide it is, and whether it is a band at all, is not seen.
func (g *ground) cutAlong(c candidate) bool {
	u := c.direction()
	n := calib.CardPoint{X: -u.Y, Y: u.X}.Scale(c.width/2 + 0.5)
	cut, all := 0, 0
	for s := 0.0; s < c.length(); s += 1 / g.perMM {
		at := c.a.Add(u.Scale(s))
		all++
		if g.kindAt(at.Add(n))&outsidePhoto != 0 || g.kindAt(at.Sub(n))&outsidePhoto != 0 {
			cut++
		}
	}
	return 2*cut > all
}

// kindAt is what the ground's place at a card point is.
func (g *ground) kindAt(c calib.CardPoint) uint8 {
	x, y := g.rasterAt(c)
	if !(x >= 0 && y >= 0 && x < float64(g.w) && y < float64(g.h)) {
		return offZone
	}
	return g.kind[int(y)*g.w+int(x)]
}

// resembles masks the ground whose features' squared distance from the film's, in
// noise units, is under most.
func (g *ground) resembles(film [3]float64, most float64) *Plane {
	mask := NewPlane(g.w, g.h)
	var from, scale [3]C.float
	for k := range film {
		from[k], scale[k] = C.float(film[k]), C.float(1/g.noise[k])
	}
	C.resemble(cbytes(g.feature[0].Pix), cbytes(g.feature[1].Pix), cbytes(g.feature[2].Pix), cbytes(g.kind),
		C.size_t(len(g.kind)), &scale[0], &from[0], C.float(most), cbytes(mask.Pix))
	return mask
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
			if g.kind[i] != 0 {
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
	return g.typicalFeatures(in), g.typicalFeatures(out), true
}

// box returns the rows and columns that hold all within reach mm of c's middle.
func (g *ground) box(c candidate, reach float64) (x0, y0, x1, y1 int) {
	x, y := g.rasterAt(c.a.Add(c.b).Scale(0.5))
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
