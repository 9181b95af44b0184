package vision

import (
	"image"
	"math"
	"math/bits"
	"sort"

	"stripgap/calib"
)

// sighting is one decoded mark in the full photo's pixels.
type sighting struct {
	layout *calib.Layout
	mark   calib.Mark
	at     calib.PixelPoint
	radius float64 // mean radius of the rim's inner edge, px
}

// ellipse is a centre and the symmetric root that maps the unit circle to it.
type ellipse struct {
	c          calib.PixelPoint
	xx, xy, yy float64
}

// at returns the image of the point at radius r and angle a of the unit circle,
// anticlockwise as on the card: the photo's y runs down, the card's up.
func (e ellipse) at(r, a float64) calib.PixelPoint {
	u, v := r*math.Cos(a), -r*math.Sin(a)
	return calib.PixelPoint{X: e.c.X + e.xx*u + e.xy*v, Y: e.c.Y + e.xy*u + e.yy*v}
}

func (e ellipse) radius() float64 { return math.Sqrt(math.Abs(e.xx*e.yy - e.xy*e.xy)) }

// finder looks for cards in one photo's luma, and keeps what it averaged down.
type finder struct {
	luma    *Plane
	layouts []*calib.Layout // as printed, largest first
	mirror  bool            // look for cards as seen in a mirror
	small   map[int]*Plane
}

func newFinder(luma *Plane, print calib.PrintScale) *finder {
	f := &finder{luma: luma, small: map[int]*Plane{1: luma, 4: luma.fourth}}
	for _, l := range calib.Layouts() {
		f.layouts = append(f.layouts, l.Scaled(print))
	}
	return f
}

// reduced returns the luma averaged over k by k pixels.
func (f *finder) reduced(k int) (*Plane, error) {
	if p := f.small[k]; p != nil {
		return p, nil
	}
	if k == 4 && f.luma.canHalve(2) {
		f.small[k] = quarter(f.luma)
		return f.small[k], nil
	}
	p, err := resizeArea(f.luma, max(1, f.luma.W/k), max(1, f.luma.H/k))
	if err == nil {
		f.small[k] = p
	}
	return p, err
}

// marks looks for every layout's marks at a quarter and at half scale, and when
// no card is seen there at full scale after a sigma-1 blur (an unblurred noisy
// photo makes outlines explode in number).
func (f *finder) marks() ([]sighting, error) {
	var found []sighting
	for _, k := range [2]int{4, 2} {
		small, err := f.reduced(k)
		if err != nil {
			return nil, err
		}
		if found, err = f.marksAt(small); err != nil {
			return nil, err
		}
		sx, sy := float64(f.luma.W)/float64(small.W), float64(f.luma.H)/float64(small.H)
		for i := range found {
			s := &found[i]
			s.at = calib.PixelPoint{X: (s.at.X+0.5)*sx - 0.5, Y: (s.at.Y+0.5)*sy - 0.5}
			s.radius *= (sx + sy) / 2
		}
		if best, _, ok := f.choose(found); ok && len(best) >= minMarks {
			return found, nil
		}
	}
	if len(found) >= minMarks {
		return found, nil
	}
	full, err := blurGauss(f.luma, 1)
	if err != nil {
		return nil, err
	}
	return f.marksAt(full)
}

// marksAt finds and decodes marks in one raster. A mark's tree of outlines is a
// dark ring, the white gap in it, and the disc's black quarters in the gap.
func (f *finder) marksAt(p *Plane) ([]sighting, error) {
	var found []sighting
	block := p.W/24 | 1
	if block < 3 {
		return nil, nil
	}
	err := contourTree(p, block, 7, func(tree []contour, points func(int) []image.Point) {
		for i, ring := range tree {
			if !isGap(tree, i) || ring.parent < 0 {
				continue
			}
			e, ok := fitEllipse(points(i))
			if !ok {
				continue
			}
			found = append(found, f.decode(p, e)...)
		}
	})
	return found, err
}

// isGap reports whether outline i can be a mark's white gap: a hole in a dark
// ring that holds one or two dark quarters, or a few scraps.
func isGap(tree []contour, i int) bool {
	depth := 0
	for j := tree[i].parent; j >= 0; j = tree[j].parent {
		depth++
	}
	if depth%2 == 0 { // outlines at even depth surround dark, at odd depth holes
		return false
	}
	inside := 0
	for j := tree[i].child; j >= 0; j = tree[j].next {
		inside++
	}
	return inside >= 1 && inside <= 6
}

// fitEllipse fits the outline by the moments of its area, and tells whether the
// outline is an ellipse of usable size and shape.
func fitEllipse(pts []image.Point) (ellipse, bool) {
	if len(pts) < 6 {
		return ellipse{}, false
	}
	var a, sx, sy, sxx, sxy, syy float64
	ox, oy := float64(pts[0].X), float64(pts[0].Y)
	for i, p := range pts {
		q := pts[(i+1)%len(pts)]
		x0, y0, x1, y1 := float64(p.X)-ox, float64(p.Y)-oy, float64(q.X)-ox, float64(q.Y)-oy
		w := x0*y1 - x1*y0
		a += w
		sx += w * (x0 + x1)
		sy += w * (y0 + y1)
		sxx += w * (x0*x0 + x0*x1 + x1*x1)
		syy += w * (y0*y0 + y0*y1 + y1*y1)
		sxy += w * (x0*y1 + 2*x0*y0 + 2*x1*y1 + x1*y0)
	}
	if math.Abs(a) < 2*60 { // under about 4.4 px radius the teeth cannot be read
		return ellipse{}, false
	}
	cx, cy := sx/(3*a), sy/(3*a)
	// Four times the area covariance of an ellipse is its shape matrix E E'.
	mxx, myy, mxy := 4*(sxx/(6*a)-cx*cx), 4*(syy/(6*a)-cy*cy), 4*(sxy/(12*a)-cx*cy)
	det := mxx*myy - mxy*mxy
	if det <= 0 {
		return ellipse{}, false
	}
	// Symmetric root of a 2 x 2 matrix: (M + sqrt(det) I) / sqrt(tr + 2 sqrt(det)).
	s := math.Sqrt(det)
	t := math.Sqrt(mxx + myy + 2*s)
	e := ellipse{calib.PixelPoint{X: cx + ox, Y: cy + oy}, (mxx + s) / t, mxy / t, (myy + s) / t}
	tr, d := e.xx+e.yy, e.xx*e.yy-e.xy*e.xy
	big := tr/2 + math.Sqrt(math.Max(0, tr*tr/4-d))
	if small := d / big; small < 3 || small < 0.45*big {
		return ellipse{}, false
	}
	allow := 0.08 + 1.2/e.radius()
	for _, p := range pts {
		x, y := float64(p.X)-e.c.X, float64(p.Y)-e.c.Y
		u, v := (e.yy*x-e.xy*y)/d, (e.xx*y-e.xy*x)/d
		if math.Abs(math.Hypot(u, v)-1) > allow {
			return ellipse{}, false
		}
	}
	return e, true
}

// decode reads the teeth round the gap's ellipse as a mark of each layout. Both
// halves of the code must agree.
func (f *finder) decode(p *Plane, e ellipse) []sighting {
	var out []sighting
	for _, l := range f.layouts {
		if code, ok := readCode(p, e, l.Style, f.mirror); ok {
			if m, ok := l.MarkByCode(code); ok {
				out = append(out, sighting{l, m, e.c, e.radius()})
			}
		}
	}
	return out
}

// readCode samples the quartered disc for the mark's turn (known up to half a
// turn, under which the mark is the same) and the teeth for the code. With
// mirror it reads the mark as seen in a mirror.
func readCode(p *Plane, e ellipse, s calib.MarkStyle, mirror bool) (uint8, bool) {
	sign := 1.0
	if mirror {
		sign = -1
	}
	sample := func(r, a float64) float64 {
		q := e.at(r/s.Gap, sign*a)
		return p.bilinear(q.X, q.Y)
	}
	if !inside(p, e, s.Quiet/s.Gap) {
		return 0, false
	}
	const turns = 96
	var re, im, mean float64
	for i := range turns {
		a := 2 * math.Pi * float64(i) / turns
		v := sample(0.65*s.Disc, a)
		re -= v * math.Cos(2*a) / turns
		im -= v * math.Sin(2*a) / turns
		mean += v / turns
	}
	turn := (math.Atan2(im, re) - math.Pi/2) / 2
	white, black := 0.0, 0.0
	for i := range turns {
		a := 2 * math.Pi * float64(i) / turns
		white += sample((s.Disc+s.Gap)/2, a) / turns
		black += sample((s.Gap+s.Rim)/2, a) / turns
	}
	if white-black < 12 || math.Hypot(re, im) < 0.12*(white-black) {
		return 0, false
	}
	level := (white + black) / 2
	sector := math.Pi / float64(s.Bits)
	var halves [2]uint8
	for i := range 2 * s.Bits {
		v := 0.0
		for _, da := range [3]float64{0.3, 0.5, 0.7} {
			for _, fr := range [3]float64{0.4, 0.55, 0.7} {
				v += sample(s.Rim+fr*(s.Teeth-s.Rim), turn+(float64(i)+da)*sector) / 9
			}
		}
		if v < level {
			halves[i/s.Bits] |= 1 << (i % s.Bits)
		}
	}
	return halves[0], halves[0] == halves[1]
}

// inside reports whether the ellipse grown by k lies in the raster.
func inside(p *Plane, e ellipse, k float64) bool {
	rx, ry := k*math.Hypot(e.xx, e.xy), k*math.Hypot(e.xy, e.yy)
	return e.c.X-rx >= 0 && e.c.Y-ry >= 0 && e.c.X+rx <= float64(p.W-1) && e.c.Y+ry <= float64(p.H-1)
}

// minMarks is how many of a card's six marks a reading needs: five leave two
// residuals more than a homography has unknowns.
const minMarks = 5

// choose picks one layout's sightings, one for each mark, that agree with
// one homography. The larger card wins when both are seen whole. ok is false when
// no layout's sightings give one, as when few are seen or all but one lie in a
// line; best are then the most that are seen of one layout.
func (f *finder) choose(all []sighting) (best []sighting, h calib.Homography, ok bool) {
	for _, l := range f.layouts {
		var mine []sighting
		for _, s := range all {
			if s.layout.Name == l.Name {
				mine = append(mine, s)
			}
		}
		kept, hl, agree := agreeing(distinct(mine))
		if agree && !ok || agree == ok && len(kept) > len(best) {
			best, h, ok = kept, hl, agree
		}
	}
	return best, h, ok
}

// agreeing returns the sightings that agree with one homography, or all of them
// and false when there is none.
func agreeing(mine []sighting) ([]sighting, calib.Homography, bool) {
	if len(mine) < 4 {
		return mine, calib.Homography{}, false
	}
	card, img, scale := points(mine)
	h, in, err := calib.FitHomographyRobust(card, img, math.Max(1.5, 0.08*scale))
	if err != nil {
		return mine, calib.Homography{}, false
	}
	var kept []sighting
	for i, ok := range in {
		if ok {
			kept = append(kept, mine[i])
		}
	}
	return kept, h, true
}

// twice reports whether two or more of the layout's marks are seen at two
// places each: there are two cards of that layout in the photo.
func twice(all []sighting, l *calib.Layout) bool {
	again := map[uint8]bool{}
	for i, a := range all {
		for _, b := range all[:i] {
			if a.layout.Name == l.Name && b.layout.Name == l.Name && a.mark.Code == b.mark.Code &&
				a.at.Sub(b.at).Norm() > 3*math.Max(a.radius, b.radius) {
				again[a.mark.Code] = true
			}
		}
	}
	return len(again) >= 2
}

// points splits sightings into card and photo places, with their mean radius.
func points(s []sighting) (card []calib.CardPoint, img []calib.PixelPoint, radius float64) {
	for _, m := range s {
		card = append(card, m.mark.Centre)
		img = append(img, m.at)
		radius += m.radius / float64(len(s))
	}
	return card, img, radius
}

// distinct keeps one sighting for each code: the largest (an outline may be
// seen twice, once for each side of a thin ring).
func distinct(s []sighting) []sighting {
	sort.SliceStable(s, func(i, j int) bool { return s[i].radius > s[j].radius })
	var seen [4]uint64
	var out []sighting
	for _, m := range s {
		w, b := m.mark.Code/64, uint(m.mark.Code%64)
		if bits.OnesCount64(seen[w]&(1<<b)) == 0 {
			seen[w] |= 1 << b
			out = append(out, m)
		}
	}
	return out
}
