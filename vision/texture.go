package vision

import (
	"math"

	"stripgap/calib"
)

// Metal is not even: machining lines, scratches and stains lie beside the strip, and
// what of them lies within an edge's blur moves the edge. Lines along the strip move
// it alike at all stations, so that the stations' differences do not show it. The bare
// metal further out does: it tells by how much it would move an edge that were there.

const (
	textureGrid  = 0.5 // px between an edge's weights
	textureApart = 1.5 // blurs between the places that are looked at
	// texturePlaces is how many places are looked at beside each edge, and
	// textureLeast how many tell of its texture.
	texturePlaces, textureLeast = 10, 4
)

// edgeWeights are by how many px the metal's luma, over the contrast, moves an edge
// outwards: that at from px towards the film, and on from there every textureGrid px.
type edgeWeights struct {
	from float64
	w    []float64
}

// last is the place of the last weight.
func (w *edgeWeights) last() float64 { return w.from + float64(len(w.w)-1)*textureGrid }

// weights works them out of the fit that places an edge by side px of metal and
// inside px of film: least squares for the edge and a straight line of luma on either
// side of it. The film hides the metal under it.
func (s *edgeShape) weights(side, inside float64) (edgeWeights, bool) {
	rows := make([][maxUnknowns]float64, int((side+inside)/textureGrid)+1)
	w := edgeWeights{-side, make([]float64, len(rows))}
	q := normal{n: 5}
	for i := range rows {
		u := w.from + float64(i)*textureGrid
		e, d := s.at(u)
		rows[i] = [maxUnknowns]float64{d, 1 - e, (1 - e) * u, e, e * (u - inside)}
		q.add(&rows[i], 0, 1)
	}
	f, ok := q.factorise()
	if !ok {
		return w, false
	}
	c := f.inverse(0)
	for i, row := range rows {
		for k, v := range row[:q.n] {
			w.w[i] += c[k] * v
		}
		w.w[i] *= math.Max(0, math.Min(1, row[1])) // a halo bares no more than all
	}
	return w, true
}

// textureU is how well the metal's texture leaves mean width and taper known, mm,
// beyond what differs between neighbouring stations; what of it lies beside one edge
// where only that shows enough bare metal, and none where neither does.
func (t *traced) textureU() (mean, taper float64) {
	sides := 0.0
	for side := range 2 {
		if m, p, ok := t.textureBeside(side); ok {
			mean, taper, sides = mean+m, taper+p, sides+1
		}
	}
	if sides == 0 {
		return 0, 0
	}
	return math.Sqrt(mean * 2 / sides), math.Sqrt(taper * 2 / sides)
}

// textureBeside returns the variances of mean width and taper, mm squared, that the
// texture beside an edge makes. False where too little of it is seen.
func (t *traced) textureBeside(side int) (mean, taper float64, ok bool) {
	shape := [2]*edgeShape{t.c.shape.low, t.c.shape.high}[side]
	var w edgeWeights
	known, worked := 0.0, false // the film's px that w is for; a wide strip's stations share it
	var s, y [texturePlaces][]float64
	for i := range t.cuts {
		k := &t.cuts[i]
		if k.dropped != "" || math.Abs(k.s) > t.c.axis.Half {
			continue
		}
		if inside := math.Min(t.c.side, (k.fit.x[1]-k.fit.x[0])/2); inside != known {
			known = inside
			w, worked = shape.weights(t.c.side, inside)
		}
		if !worked {
			continue
		}
		for place, moved := range t.falseShifts(k, side, &w) {
			s[place], y[place] = append(s[place], k.s), append(y[place], moved)
		}
	}
	places := 0.0
	for i := range s {
		if m, p, ok := inCommon(s[i], y[i], t.c.axis.Half+t.c.step/2); ok {
			mean, taper, places = mean+m, taper+p, places+1
		}
	}
	return math.Max(0, mean/places), math.Max(0, taper/places), places >= textureLeast
}

// falseShifts returns by how many mm the bare metal beside a station would move an
// edge that were there, at places further and further out.
func (t *traced) falseShifts(k *cut, side int, w *edgeWeights) (moved []float64) {
	sign := float64(2*side - 1) // outwards
	at := func(place int, u float64) float64 {
		first := 2.5*t.cam.S + 1.5*t.cam.R + ownShadow/k.perPx + w.last() // clear of blur, halo and shadow
		return k.fit.x[side] + sign*(first+float64(place)*textureApart*t.cam.blur()-u)
	}
	places := texturePlaces
	for ; places > 0 && !t.bare(k.frame.at(at(places-1, w.from))); places-- {
	}
	if places == 0 {
		return nil
	}
	near, far := at(0, w.last())-sign, at(places-1, w.from)+sign
	sl, ok := t.c.p.gather(t.c.seen, k.frame, t.c.step/2/k.perPx, cuts{lo: math.Min(near, far), hi: math.Max(near, far)})
	if !ok || sl.saturated > 0.05 {
		return nil
	}
	for place := range places {
		sum := 0.0
		for i, weight := range w.w {
			sum += weight * sl.at(at(place, w.from+float64(i)*textureGrid))
		}
		moved = append(moved, sum/(k.fit.film-k.fit.metal[side])*k.perPx)
	}
	return moved
}

// bare reports whether a place of the photo is neither on the card nor at its border.
func (t *traced) bare(q calib.PixelPoint) bool {
	at, ok := t.c.v.Card(q, t.c.plane)
	return ok && !t.layout.Contains(calib.CardPoint{X: at.X, Y: at.Y}, minGap)
}

// at is the slice's luma x px across, by linear interpolation between its bins.
func (s slice) at(x float64) float64 {
	last := len(s.bins) - 1
	i := max(1, min(int((x-s.bins[0].x)/binWidth), last)) // or nearly: empty bins are left out
	for i > 1 && s.bins[i-1].x >= x {
		i--
	}
	for i < last && s.bins[i].x < x {
		i++
	}
	a, b := s.bins[i-1], s.bins[i]
	return a.y + (x-a.x)/(b.x-a.x)*(b.y-a.y)
}

// inCommon returns the squares of the mean of y and of how much its straight line
// changes over half mm to either side, less what neighbours' differences account for.
func inCommon(s, y []float64, half float64) (mean, change float64, ok bool) {
	line, ok := fitRobust(s, y, 1)
	if !ok {
		return 0, 0, false
	}
	sw, sy := 0.0, 0.0
	for i, w := range line.weight {
		sw, sy = sw+w, sy+w*y[i]
	}
	noise := successive(y, line)
	slope, slopeU := straight(s, y, line.weight)
	square := func(value, noise float64) float64 { return value*value - noise*noise }
	return square(sy/sw, noise/math.Sqrt(sw)), square(2*half*slope, 2*half*slopeU*noise), true
}
