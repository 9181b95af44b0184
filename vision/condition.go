package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// How a strip shows that it was not left in peace. Judged on rendered faults.
const (
	smearRise   = 3.0  // rise of the softer edge over the sharper one's
	smearRough  = 5.0  // waviness of the rougher edge over the smoother one's
	smearLeast  = 0.02 // mm of waviness, or this share of the width: below it an edge is not drawn out
	stepLeast   = 0.03 // share of the width that an edge must jump to be folded
	stepClear   = 8.0  // standard deviations
	gapLeast    = 0.5  // mm without film inside the strip
	lumaTexture = 0.06 // luma that machining lines and noise account for
	darkBeside  = 0.8  // of the metal's luma, below which a hole or groove lies beside the strip
	besideEdge  = 0.3  // mm beside an edge that are surely metal
	bareMetal   = 0.35 // contrasts by which a gap's luma may differ from the metal's and still be bare metal
)

// condition names what is wrong with a traced strip.
func (t *traced) condition() []string {
	var flags []string
	var s []float64
	var edge [2][]float64
	n := t.c.axis.Normal()
	for i, k := range t.cuts {
		if k.dropped != "" && k.dropped != dropApart || k.width == 0 || math.Abs(k.s) > t.c.axis.Half-endTrimLeast || t.bordersGap(i) {
			continue
		}
		s = append(s, k.s)
		for i, e := range k.edges {
			edge[i] = append(edge[i], e.Sub(t.c.axis.Middle).Dot(n))
		}
	}
	if len(s) >= 8 {
		switch {
		case t.jumps(s, edge) || t.goesOnOtherwise():
			flags = append(flags, FlagRolled)
		case t.drawnOut(s, edge) || t.hazy():
			flags = append(flags, FlagSmeared)
		}
	}
	for _, g := range t.missing {
		if !slices.Contains(flags, g.name) {
			flags = append(flags, g.name)
		}
	}
	return flags
}

// bordersGap reports whether station i stands apart because a place without
// edges is next to it.
func (t *traced) bordersGap(i int) bool {
	if t.cuts[i].dropped != dropApart {
		return false
	}
	for _, j := range [2]int{i - 1, i + 1} {
		if j >= 0 && j < len(t.cuts) && (t.cuts[j].dropped == dropNoEdges || t.cuts[j].dropped == dropContrast) {
			return true
		}
	}
	return false
}

// drawnOut reports whether one edge is far softer or wavier than the other.
func (t *traced) drawnOut(s []float64, edge [2][]float64) bool {
	var rough [2]float64
	for i := range edge {
		l, ok := fitRobust(s, edge[i], 2)
		if !ok {
			return false
		}
		rough[i] = l.scale
	}
	lo, hi := math.Min(rough[0], rough[1]), math.Max(rough[0], rough[1])
	floor := math.Max(smearLeast, 0.01*t.c.width)
	return t.unevenEdges() > smearRise || hi > floor && hi > smearRough*lo
}

// unevenEdges returns the softer edge's spread over the sharper one's. Chroma is
// smoothed alike at both, by what the sharper one shows: what the softer one has beyond
// that goes with the blur of the lens and of chroma's own samples alone.
func (t *traced) unevenEdges() float64 {
	soft, sharp := math.Max(t.spread[0], t.spread[1]), math.Min(t.spread[0], t.spread[1])
	if t.cam.isTint() {
		own := math.Hypot(t.cam.S, usualTintBlur)
		soft, sharp = math.Sqrt(own*own+soft*soft-sharp*sharp), own
	}
	return soft / sharp
}

// jumps reports whether an edge runs straight, jumps, and runs on: a straight line
// with a step explains it far better than a parabola.
func (t *traced) jumps(s []float64, edge [2][]float64) bool {
	for _, e := range edge {
		best, step, sigma := math.Inf(1), 0.0, 0.0
		for i := 3; i <= len(s)-3; i++ {
			q := normal{n: 3}
			for j := range s {
				row := [maxUnknowns]float64{1, s[j]}
				if j >= i {
					row[2] = 1
				}
				q.add(&row, e[j], 1)
			}
			f, ok := q.factorise()
			if !ok {
				continue
			}
			x := f.solve(q.b)
			if rr := q.fitted(x); rr < best {
				best, step = rr, math.Abs(x[2])
				sigma = math.Sqrt(rr / float64(len(s)-3) * f.inverse(2)[2])
			}
		}
		q := normal{n: 3}
		for j := range s {
			row := [maxUnknowns]float64{1, s[j], s[j] * s[j]}
			q.add(&row, e[j], 1)
		}
		f, ok := q.factorise()
		if !ok {
			continue
		}
		if smooth := q.fitted(f.solve(q.b)); step > stepLeast*t.c.width && step > stepClear*sigma && best < 0.5*smooth {
			return true
		}
	}
	return false
}

// goesOnOtherwise reports whether the strip goes on beyond an end of its measured
// length with another width. Its own ends are round: there the width falls to
// nothing within about half of it.
func (t *traced) goesOnOtherwise() bool {
	wider := 0
	film := map[bool]float64{false: t.filmBeyond(-1), true: t.filmBeyond(1)}
	for _, k := range t.cuts {
		out := math.Abs(k.s) - t.c.axis.Half
		beyond := out > 0 && out < film[k.s > 0]-t.c.width/2
		if beyond && k.dropped == dropApart && math.Abs(k.width/t.c.widthAt(k.s)-1) > 2*stepLeast {
			wider++
		}
	}
	return wider >= 2 && t.filmLength() > 2*t.c.axis.Half+3*t.c.step
}

// filmLength returns how far in mm film is seen along the axis: the measured
// length and what of the film's own luma runs on beyond its ends.
func (t *traced) filmLength() float64 {
	return 2*t.c.axis.Half + t.filmBeyond(-1) + t.filmBeyond(1)
}

// filmBeyond returns how far in mm film is seen past the end of the measured
// length, towards the axis' end when dir is 1, away from it when -1. The light falls
// off along a strip, and what the stations show of that goes on.
func (t *traced) filmBeyond(dir float64) float64 {
	const step, most = 0.25, 15.0 // mm
	var idx []int
	var s []float64
	for i, k := range t.cuts {
		if k.dropped == "" && math.Abs(k.s) <= t.c.axis.Half {
			idx, s = append(idx, i), append(s, k.s)
		}
	}
	film, contrast, ok := t.usual(idx, s)
	if !ok {
		return 0
	}
	d := step
	for ; d < most; d += step {
		at := dir * (t.c.axis.Half + d)
		seen, ok := t.seenAt(t.c.seen, t.c.axis.At(at))
		if !ok || math.Abs(seen-film.at(at)) > bareMetal*contrast {
			break
		}
	}
	return d - step
}

// lost returns the share of the film's length that was not measured.
func (t *traced) lost() float64 {
	used, _ := t.count()
	film := t.filmLength()
	if t.byHand { // what lies beyond was left out, not lost
		film = math.Min(film, 2*t.c.axis.Half)
	}
	return math.Max(0, 1-float64(used)*t.c.step/math.Max(film, t.c.step))
}

// gapFound is a place inside the strip where film is missing or lies on no metal.
type gapFound struct {
	name     string
	from, to float64 // mm along the axis
}

// gaps finds them.
func (t *traced) gaps() []gapFound {
	var found []gapFound
	from := -1
	for i := 0; i <= len(t.cuts); i++ {
		inside := i < len(t.cuts) && math.Abs(t.cuts[i].s) < t.c.axis.Half
		if inside && slices.Contains([]string{dropNoEdges, dropContrast, dropApart}, t.cuts[i].dropped) {
			if from < 0 {
				from = i
			}
			continue
		}
		if from >= 0 && inside {
			a, b := t.cuts[from].s, t.cuts[i-1].s
			if name := t.gap(a-t.c.step, b+t.c.step); name != "" {
				found = append(found, gapFound{name, a - t.c.step/2, b + t.c.step/2})
			}
		}
		from = -1
	}
	return found
}

// gap names what the strip meets between two places along its axis: a tear,
// where metal shows across most of its width, a hole or groove, where something
// else does or where what lies beside the strip is dark, or nothing.
func (t *traced) gap(from, to float64) string {
	const step = 0.1 // mm
	film, metal := t.seenOfFilm(), t.seenOfMetal()
	far := bareMetal * math.Abs(film-metal)
	if !t.c.seen.isTint() {
		far = math.Max(far, lumaTexture)
	}
	luma := (t.metal[0].luma() + t.metal[1].luma()) / 2
	bare, other, dark := 0, 0, 0
	for s := from; s <= to; s += step {
		c, n := t.c.axis.At(s), t.c.axis.Normal()
		missing, likeMetal := 0, 0
		for _, x := range [4]float64{-0.35, -0.15, 0.15, 0.35} {
			seen, ok := t.seenAt(t.c.seen, c.Add(n.Scale(x*t.c.width)))
			if ok && math.Abs(seen-film) > far {
				missing++
				if math.Abs(seen-metal) < far {
					likeMetal++
				}
			}
		}
		switch {
		case missing >= 3 && likeMetal >= 3:
			bare++
		case missing >= 2:
			other++
		}
		for _, side := range [2]float64{-1, 1} {
			if seen, ok := t.seenAt(channel{}, c.Add(n.Scale(side*(t.c.width/2+besideEdge)))); ok && seen < darkBeside*luma {
				dark++
				break
			}
		}
	}
	least := int(gapLeast / step)
	switch {
	case other >= least || dark >= least:
		return FlagOverGap
	case bare >= least:
		return FlagTorn
	}
	return ""
}

// seenOfFilm and seenOfMetal are what the traced channel shows of them.
func (t *traced) seenOfFilm() float64 { return t.c.seen.of(t.film) }

func (t *traced) seenOfMetal() float64 {
	return (t.c.seen.of(t.metal[0]) + t.c.seen.of(t.metal[1])) / 2
}

// seenAt returns the median of what a channel shows of a few pixels about a place of
// the strip's plane.
func (t *traced) seenAt(in channel, c calib.CardPoint) (float64, bool) {
	px, ok := t.c.v.Image(t.c.plane.At(c))
	if !ok {
		return 0, false
	}
	var v []float64
	x0, y0 := int(math.Round(px.X)), int(math.Round(px.Y))
	for dy := -2; dy <= 2; dy++ {
		for dx := -2; dx <= 2; dx++ {
			if x, y := x0+dx, y0+dy; x >= 0 && y >= 0 && x < t.c.p.Luma.W && y < t.c.p.Luma.H {
				v = append(v, t.c.p.seen(in, x, y))
			}
		}
	}
	if len(v) == 0 {
		return 0, false
	}
	return median(v), true
}

// rise returns how many px each edge of a wide slice takes from a fifth to four
// fifths of the way from film to metal, outwards from between x0 and x1.
func (s slice) rise(x0, x1 float64) (low, high float64, ok bool) {
	var film, below, above []float64
	mid, half := (x0+x1)/2, (x1-x0)/2
	lo, hi := s.bins[0].x, s.bins[len(s.bins)-1].x
	for _, b := range s.bins {
		switch {
		case math.Abs(b.x-mid) < 0.3*half:
			film = append(film, b.y)
		case b.x < lo+0.25*(x0-lo):
			below = append(below, b.y)
		case b.x > hi-0.25*(hi-x1):
			above = append(above, b.y)
		}
	}
	if len(film) == 0 || len(below) == 0 || len(above) == 0 {
		return 0, 0, false
	}
	f := median(film)
	walk := func(dir int, metal float64) float64 {
		near, far := math.NaN(), math.NaN()
		start, _ := slices.BinarySearchFunc(s.bins, mid, func(b bin, x float64) int {
			if b.x < x {
				return -1
			}
			return 1
		})
		for i := start; i > 0 && i < len(s.bins)-1; i += dir {
			share := ((s.bins[i-1].y+s.bins[i].y+s.bins[i+1].y)/3 - f) / (metal - f)
			if share > 0.2 && math.IsNaN(near) {
				near = s.bins[i].x
			}
			if share > 0.8 {
				far = s.bins[i].x
				break
			}
		}
		return math.Abs(far - near)
	}
	low, high = walk(-1, median(below)), walk(1, median(above))
	return low, high, !math.IsNaN(low) && !math.IsNaN(high)
}
