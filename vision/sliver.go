package vision

import (
	"math"

	"stripgap/calib"
)

// What a sliver of film that shows beside the card looks like, mm outwards from
// the card's edge unless said otherwise.
const (
	sliverNear  = 0.45 // up to here film is seen, or the card's shadow
	sliverMost  = 1.9  // its outer edge lies before this
	sliverFar   = 2.6  // and from 2 mm to here metal is seen
	sliverStep  = 0.5  // mm along the card between looks
	sliverLuma  = 0.06 // least difference from the metal
	sliverDrift = 0.25 // by which its edge may move from look to look
	sliverHue   = 0.04 // least difference of hue from the metal beyond and from the card
)

// sliver reports whether along some side of the card a narrow strip of something
// shows that has an outer edge as sharp as the card's bars and runs at least as
// far as the shortest strip: a strip most of whose width is under the card. The
// card's shadow and its own cut side show as much, but in the hue of the metal or
// of the card: film of such a hue is not told from them.
func sliver(p *Photo, v *calib.View, l *calib.Layout, w *Witness) bool {
	for _, side := range [4]calib.CardPoint{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
		along := calib.CardPoint{X: -side.Y, Y: side.X}
		out, half := l.Height/2, l.Width/2
		if side.X != 0 {
			out, half = l.Width/2, l.Height/2
		}
		var run sliverRun
		last := 0.0
		for s := -half; s <= half; s += sliverStep {
			rim := side.Scale(out).Add(along.Scale(s))
			at, ok := sliverEdge(p, v, rim, side, w.along(side).S)
			if !ok || math.Abs(at-last) >= sliverDrift {
				run = sliverRun{}
			}
			if !ok {
				continue
			}
			last = at
			inner := (0.2 + math.Min(sliverNear, math.Abs(at))) / 2
			run.add(p, v, rim.Add(side.Scale(inner)), rim.Add(side.Scale(sliverFar)), rim.Sub(side.Scale(inner)))
			if float64(run[0].count())*sliverStep >= minStripLength && run.ofOwnHue() {
				return true
			}
		}
	}
	return false
}

// sliverRun is what looks in a row show of the sliver, the metal beyond it and the
// card's border.
type sliverRun [3]colourSamples

func (r *sliverRun) add(p *Photo, v *calib.View, at ...calib.CardPoint) {
	for i, c := range at {
		px, _ := v.Image(calib.Plane{}.At(c))
		r[i].add(p, px)
	}
}

// ofOwnHue reports whether the sliver's hue is neither the metal's nor the card's, nor
// of light from both.
func (r *sliverRun) ofOwnHue() bool {
	var seen [3]rgb
	for i := range r {
		if r[i].count() == 0 {
			return false
		}
		seen[i] = r[i].median()
	}
	for share := 0.0; share <= 1; share += 0.25 {
		var mix rgb
		for k := range mix {
			mix[k] = seen[1][k] + share*(seen[2][k]-seen[1][k])
		}
		if seen[0].otherHue(mix) < sliverHue {
			return false
		}
	}
	return true
}

// sliverEdge looks outwards from a place on the card's edge and returns how far in
// mm film reaches, signed by whether it is lighter than the metal beyond.
func sliverEdge(p *Photo, v *calib.View, c, out calib.CardPoint, blur float64) (float64, bool) {
	along := calib.CardPoint{X: -out.Y, Y: out.X}
	f, perPx, ok := cardFrame(v, c, c.Sub(along.Scale(0.25)), calib.Plane{})
	if !ok {
		return 0, false
	}
	beyond, ok := v.Card(f.at(5), calib.Plane{})
	if !ok {
		return 0, false
	}
	if (calib.CardPoint{X: beyond.X, Y: beyond.Y}).Sub(c).Dot(out) < 0 {
		f.across = f.across.Scale(-1)
	}
	sl, ok := gather(p.Luma, f, sliverStep/2/perPx, cuts{lo: 0.2 / perPx, hi: sliverFar / perPx})
	if !ok {
		return 0, false
	}
	mean := func(from, to float64) (m float64) {
		n := 0.0
		for _, b := range sl.bins {
			if u := b.x * perPx; u >= from && u < to {
				m, n = m+b.n*b.y, n+b.n
			}
		}
		return m / n
	}
	near, far := mean(0.2, sliverNear), mean(2, sliverFar)
	if !(math.Abs(near-far) > sliverLuma) { // also when one is not seen
		return 0, false
	}
	from, to := 0.0, 0.0
	for _, b := range sl.bins {
		share := (b.y - near) / (far - near)
		if share < 0.2 {
			from = b.x
		}
		if share > 0.8 {
			to = b.x
			break
		}
	}
	// A Gaussian edge takes 1.68 standard deviations from a fifth to four fifths.
	sharp := to > from && to-from < 1.68*1.5*blur+1
	return math.Copysign(to*perPx, near-far), sharp && to*perPx < sliverMost
}
