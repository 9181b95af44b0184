package vision

import (
	"math"

	"stripgap/calib"
)

// What tells a flattened film from a glare band, a shadow, a groove, a wire, a
// bevel or a machining line. Judged on rendered photos of such things.
const (
	sharpEnough  = 1.4  // edge spread over the bars', of the sharper edge
	faintEdge    = 0.25 // luma, a third of what bars usually have
	faintSoft    = 1.0  // px that a faint edge may be softer in quadrature; estimate, no source
	alikeEdges   = 1.2  // the softer edge's spread over the sharper one's, below which neither is drawn out
	clearlyOther = 0.5  // share of the clearest candidate's clearness below which another is not meant
	evenInside   = 0.4  // of the contrast, by which the film's own colour may vary across it
	alikeSides   = 0.4  // the fainter edge's contrast over the stronger one's
)

// Reasons, beside those for which stations are dropped, why a band is no strip.
const (
	tooNarrow  = "too narrow"
	tooShort   = "too short"
	tooLarge   = "too long or too wide"
	notSharp   = "one of its edges is not sharp"
	softEdges  = "its edges are softer than the card's bars"
	notClear   = "its edges do not stand out from what is round them"
	notEven    = "its inside is not even"
	twoGrounds = "it parts two grounds"
	noBand     = "what lies beside it is its own colour"
)

// unlike tells why a traced band is not what is looked for, "" when it is: at least
// half of its length has two clear edges, the sharper about as sharp as the card's
// bars, and of a film the same metal lies on both sides, and its inside is even.
func (t *traced) unlike(q quarry) string {
	used, all := t.count()
	switch {
	case all < 6 || 2*t.c.axis.Half < minStripLength:
		return tooShort
	case q.film && (2*t.c.axis.Half > maxStripLength || t.c.width > maxStripWidth):
		return tooLarge
	case 2*used < all:
		return t.mostDropped(dropApart)
	case math.Min(t.spread[0], t.spread[1]) >= t.softest():
		if t.unevenEdges() <= maxUneven { // a smear draws out one edge
			return softEdges
		}
		return notSharp
	case t.clearness() < q.clear:
		return notClear
	case q.film && t.unlikeSides():
		return twoGrounds
	case q.film && t.unevenInside():
		return notEven
	case t.c.width < q.traced:
		return tooNarrow
	}
	return ""
}

// softest is the spread of an edge, px, from which it is none of a film. Phones' noise
// reduction smooths a faint edge more than the bars'.
func (t *traced) softest() float64 {
	beside := 0.0
	switch {
	case t.cam.isTint():
		beside = tintSoft
	case t.faint() > 0:
		beside = faintSoft
	}
	return math.Hypot(sharpEnough*t.cam.S, beside)
}

// faint is how much of the way from the contrast of a clear edge to none the film's
// luma is to the metal's, 0..1: noise reduction takes faint edges for noise.
func (t *traced) faint() float64 {
	return math.Max(0, 1-math.Abs(t.seenOfFilm()-t.seenOfMetal())/faintEdge)
}

// faintBlur is by how many px the strip's edges may well be softer than the card's for
// that.
func (t *traced) faintBlur() float64 {
	if t.cam.isTint() {
		return 0
	}
	return t.faint() * (math.Hypot(t.cam.S, faintSoft) - t.cam.S)
}

// unlikeSides reports whether the band stands out from one side far less than
// from the other, or the sides differ by more than light does: a part's bevel or edge
// does, and so does the metal between a strip and the part's border. A strip lies on
// one metal.
func (t *traced) unlikeSides() bool {
	a, b := t.film.apart(t.metal[0]), t.film.apart(t.metal[1])
	least, most := math.Min(a, b), math.Max(a, b)
	return least < alikeSides*most || t.metal[0].otherHue(t.metal[1]) > otherMetal*most
}

// oneColour reports whether what lies on both sides of a traced band is of its own
// colour: it lies inside something wider.
func (t *traced) oneColour() bool {
	a, b := t.film.apart(t.metal[0]), t.film.apart(t.metal[1])
	return math.Max(a, b) < ownColour*t.film.luma()
}

// ownColour is how far in its luma a colour may be from another and be the same.
const ownColour = 0.05

// otherMetal is the difference of hue over the film's contrast from which two sides
// are not one metal.
const otherMetal = 0.5

// otherHue is the distance between two display-referred colours once the lighter is
// dimmed to the other's luma.
func (c rgb) otherHue(d rgb) float64 {
	if c.luma() > d.luma() {
		c, d = d, c
	}
	k := c.luma() / math.Max(d.luma(), 1.0/255)
	return c.apart(rgb{k * d[0], k * d[1], k * d[2]})
}

// apart is the distance between two display-referred colours.
func (c rgb) apart(d rgb) float64 {
	return math.Sqrt((c[0]-d[0])*(c[0]-d[0]) + (c[1]-d[1])*(c[1]-d[1]) + (c[2]-d[2])*(c[2]-d[2]))
}

// unevenInside reports whether the colour across the film, taken along its whole
// length, varies: a groove, a wire and anything else that is not flat is shaded,
// and a part has things on it.
func (t *traced) unevenInside() bool {
	const places = 15
	var seen [places]colourSamples
	for _, k := range t.cuts {
		if k.dropped != "" {
			continue
		}
		edge := 2.5*t.cam.S + 1.5*t.cam.R // what an edge's own shape covers
		if k.fit.x[1]-k.fit.x[0] < 3*edge {
			continue
		}
		for i := range places {
			seen[i].add(t.c.p, k.frame.at(k.fit.x[0]+edge+(k.fit.x[1]-k.fit.x[0]-2*edge)*float64(i)/(places-1)))
		}
	}
	contrast := math.Min(t.film.apart(t.metal[0]), t.film.apart(t.metal[1]))
	var across []rgb
	for i := range seen {
		if seen[i].count() >= 5 {
			across = append(across, seen[i].median())
		}
	}
	for i, a := range across {
		for _, b := range across[:i] {
			if a.apart(b) > evenInside*contrast {
				return true
			}
		}
	}
	return shadedRound(across, contrast)
}

// shadedRound reports whether the luma at even places across a band falls from its
// middle to both sides alike, as on a cable that does not shine. Phones' sharpening
// and a lens' veil shade a film less.
func shadedRound(across []rgb, contrast float64) bool {
	q := normal{n: 3}
	for i, c := range across {
		x := 2*float64(i)/float64(len(across)-1) - 1
		q.add(&[maxUnknowns]float64{1, x, x * x}, c.luma(), 1)
	}
	f, ok := q.factorise()
	if !ok || len(across) < 5 {
		return false
	}
	p := f.solve(q.b)
	stray := math.Sqrt(q.fitted(p) / float64(len(across)))
	return -p[2] > roundOfFilm*p[0] && -p[2] > roundOfStep*contrast && -p[2] > 4*math.Max(math.Abs(p[1]), stray)
}

// The fall from the middle to the sides, as shares of the middle's luma and of the
// contrast, from which a band is round. Matte cables drawn by this project's renderer
// show up to 0.3 and 0.2, films of either renderer at most 0.09 and 0.07.
const (
	roundOfFilm = 0.15
	roundOfStep = 0.1
)

// softSide reports whether one edge rises sharply and the other far more slowly.
func (t *traced) softSide() bool {
	lo, hi := math.Min(t.rise[0], t.rise[1]), math.Max(t.rise[0], t.rise[1])
	return lo > 0 && lo < 3*t.cam.blur()+1 && hi > smearRise*lo && hi > 6*t.cam.blur()
}

// drawnFar reports whether one edge rises so slowly that what lies right beside it is
// still film, and the metal is one beyond it and beside the other edge.
func (t *traced) drawnFar() bool {
	if !t.softSide() {
		return false
	}
	wide := t.c
	wide.side = 1.5 * math.Max(t.rise[0], t.rise[1]) / 0.4 // colours looks at metal from 0.4 of it on
	film, metal, ok := wide.colours(t.roughly())
	if !ok {
		return false
	}
	contrast := math.Min(math.Abs(film.luma()-metal[0].luma()), math.Abs(film.luma()-metal[1].luma()))
	return contrast > faintEdge/2 && metal[0].apart(metal[1]) < alikeSides*contrast
}

// clearness is the median over stations of the edges' contrast over the luma
// that the model leaves: texture, dirt, noise.
func (t *traced) clearness() float64 {
	var c []float64
	for _, k := range t.cuts {
		if k.dropped == "" {
			c = append(c, math.Min(math.Abs(k.fit.film-k.fit.metal[0]), math.Abs(k.fit.film-k.fit.metal[1]))/math.Max(k.fit.rms, 1e-4))
		}
	}
	if len(c) == 0 {
		return 0
	}
	return median(c)
}

// minGap is the least clear metal in mm between card and strip.
const minGap = 0.3

// reachesCard reports whether the film comes so near to the card that some of it
// may lie under the card: along its own length and as far beyond as film is
// seen, with its edges, or, past its ends by what a card's edge and shadow can
// hide, with its middle line.
func (t *traced) reachesCard(l *calib.Layout) bool {
	const step = 0.25 // mm
	a := t.c.axis
	n := a.Normal().Scale(t.c.width / 2)
	from, to := -a.Half-t.filmBeyond(-1), a.Half+t.filmBeyond(1)
	hidden := cardRim + 1
	for s := from - hidden; s <= to+hidden; s += step {
		c := a.At(s)
		if l.Contains(c, 0) {
			return true
		}
		if s > from-step && s < to+step && (l.Contains(c.Add(n), minGap) || l.Contains(c.Sub(n), minGap)) {
			return true
		}
	}
	return false
}
