package vision

import (
	"math"

	"stripgap/calib"
)

// Judged on rendered smears.
const (
	ownShadow = 0.15 // mm beside an edge that the film's own shadow may darken
	hazeReach = 0.8  // mm beyond it, or a width, over which a smear thins out
	hazeLeast = 0.15 // of the contrast, that a smear shows nearest to the edge
	hazeClear = 3.0  // standard deviations of the bare metal
)

// hazy reports whether something like the film lies thinly beside one edge only,
// thinning outwards. A slope of the light over the metal brightens one side as
// much as it darkens the other, and cancels. Machining lines along the strip may look
// so: what the metal on the other side varies by tells how much.
func (t *traced) hazy() bool {
	reach := t.clearBeside(math.Max(hazeReach, t.c.width))
	if reach < hazeReach {
		return false
	}
	haze, rough, ok := t.haze(reach)
	side := 0
	if haze[1] > haze[0] {
		side = 1
	}
	more, less := haze[side], haze[1-side]
	return ok && more+less > hazeLeast && more > 2*less && more-less > hazeClear*rough[1-side] && t.likeFilm(side, reach, more)
}

// likeFilm reports whether what luma shows beside an edge, this share of the film's
// contrast, may be film by its colour: not where at least half of it is the metal's own
// colour in another light.
func (t *traced) likeFilm(side int, reach, share float64) bool {
	near, ok := t.colourBeside(side, 0)
	far, ok2 := t.colourBeside(side, reach/2)
	if !ok || !ok2 || t.c.seen.isTint() {
		return true
	}
	film, ok := filmShare(near, far, t.film)
	return !ok || film > share/2
}

// ownHue is the sine of the angle, between the colours' step from metal to film and the
// metal's, from which light and film are told apart.
const ownHue = 0.3

// filmShare parts a colour's step from far to near into a share of the film's step, which
// it returns, and other light on the metal, by least squares. False where the two are
// alike.
func filmShare(near, far, film rgb) (share float64, ok bool) {
	q := normal{n: 2}
	var steps, light, both float64
	for i := range near {
		step := film[i] - far[i]
		q.add(&[maxUnknowns]float64{step, far[i]}, near[i]-far[i], 1)
		steps, light, both = steps+step*step, light+far[i]*far[i], both+step*far[i]
	}
	f, ok := q.factorise()
	if !ok || both*both > (1-ownHue*ownHue)*steps*light {
		return 0, false
	}
	return f.solve(q.b)[0], true
}

// colourBeside is the display-referred colour, 0..1, of the metal mm beyond what beside
// leaves out, all along an edge. False where too little of it is seen.
func (t *traced) colourBeside(side int, mm float64) (c rgb, ok bool) {
	var seen [3][]float64
	t.alongBeside(side, mm, func(x, y int) {
		r, g, b := t.c.p.RGB(x, y)
		seen[0], seen[1], seen[2] = append(seen[0], r/255), append(seen[1], g/255), append(seen[2], b/255)
	})
	if len(seen[0]) < fewestBeside {
		return c, false
	}
	for i := range c {
		c[i] = middleMean(seen[i])
	}
	return c, true
}

// fewestBeside is how many stations must show the metal at a place beside an edge.
const fewestBeside = 5

// alongBeside calls f with the photo's pixel mm beyond what beside leaves out, at each
// station that was used where it lies in the photo.
func (t *traced) alongBeside(side int, mm float64, f func(x, y int)) {
	for i := range t.cuts {
		k := &t.cuts[i]
		if k.dropped != "" {
			continue
		}
		q := t.beside(k, side, mm)
		if x, y := int(math.Round(q.X)), int(math.Round(q.Y)); x >= 0 && y >= 0 && x < t.c.p.Luma.W && y < t.c.p.Luma.H {
			f(x, y)
		}
	}
}

// haze returns the share of the film's contrast that the metal shows right beside
// each edge, over the metal further out, up to reach mm; and the standard deviation, of
// the contrast too, by which the metal there strays from an even slope. False when that
// is not seen.
func (t *traced) haze(reach float64) (haze, rough [2]float64, ok bool) {
	const places = 8
	for side := range haze {
		var seen [places][]float64
		for i := range seen {
			t.alongBeside(side, reach*float64(i)/(places-1), func(x, y int) {
				seen[i] = append(seen[i], t.c.p.seen(t.c.seen, x, y))
			})
			if len(seen[i]) < fewestBeside {
				return haze, rough, false
			}
		}
		far := (middleMean(seen[places/2-1]) + middleMean(seen[places/2])) / 2 // most has thinned out by there
		contrast := t.seenOfFilm() - far
		haze[side] = (middleMean(seen[0]) - far) / contrast
		rough[side] = straying(seen[:]) / math.Abs(contrast)
	}
	return haze, rough, true
}

// straying is the standard deviation of the middle means of v about a straight line.
func straying(v [][]float64) float64 {
	q := normal{n: 2}
	for i := range v {
		q.add(&[maxUnknowns]float64{1, float64(i)}, middleMean(v[i]), 1)
	}
	f, ok := q.factorise()
	if !ok {
		return 0
	}
	return math.Sqrt(q.fitted(f.solve(q.b)) / float64(len(v)-2))
}

// beside is the photo's place mm beyond what an edge's blur, its halo and the film's
// own shadow reach beside a station.
func (t *traced) beside(k *cut, side int, mm float64) calib.PixelPoint {
	near := 2.5*t.cam.S + 1.5*t.cam.R + ownShadow/k.perPx
	return k.frame.at(k.fit.x[side] + float64(2*side-1)*(near+mm/k.perPx))
}

// clearBeside returns how many mm, up to most, of what lies beside the strip is clear of
// the card all along both edges.
func (t *traced) clearBeside(most float64) float64 {
	less := most / 20
	for i := range t.cuts {
		k := &t.cuts[i]
		for side := 0; k.dropped == "" && side < 2; side++ {
			for most > 0 && !t.bare(t.beside(k, side, most)) {
				most -= less
			}
		}
	}
	return most
}
