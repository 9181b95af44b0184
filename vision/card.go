package vision

import (
	"math"

	"stripgap/calib"
)

// found is the card with the homography its marks gave.
type found struct {
	card *Card
	view *calib.View
	h    calib.Homography
	look *finder
}

const (
	markSamples = 1000   // pairs of places compared by one symmetry fit
	markFloor   = 0.015  // px, what the lens leaves of a mark's centre
	markJitter  = 0.0025 // mm, by which a print sets its marks; estimate, no source
	maxReproj   = 0.2    // px, or
	maxMisplace = 0.014  // mm on the card, whichever is more: what maxMisfit admits
)

// findCard finds the marks, refines them and fits the view.
func findCard(p *Photo, o Options) (*found, *Refusal) {
	look := newFinder(p.Luma, o.Print)
	all, err := look.marks()
	if err != nil {
		return nil, Refuse(CodeNoCard, "%v", err)
	}
	seen, h, ok := look.choose(all)
	if !ok {
		switch {
		case look.mirrored():
			return nil, Refuse(CodeMirrored, "")
		case look.tooBlurred():
			return nil, Refuse(CodeBlurred, "no edge in it is sharp")
		case len(seen) == 0:
			return nil, Refuse(CodeNoCard, "")
		case len(seen) >= minMarks:
			return nil, Refuse(CodeCardDistorted, "")
		case smallMarks(seen):
			return nil, Refuse(CodeTooSmall, "")
		}
		return nil, Refuse(CodeFewMarks, "%d of %d", len(seen), len(seen[0].layout.Marks)).at(unseen(seen)...)
	}
	l := seen[0].layout
	if twice(all, l) {
		return nil, Refuse(CodeTwoCards, "")
	}
	f := &found{card: &Card{Layout: l}, h: h, look: look}
	patches := cutMarks(p.Luma, f.h, l)
	defer func() {
		for _, k := range patches {
			k.spline.close()
		}
	}()
	// The second round rectifies by a homography of refined centres; a share of
	// the places is enough for the first.
	for _, every := range [2]int{4, 1} {
		f.card.Marks = refineAll(p.Luma, f.h, l, patches, every)
		if len(f.card.Marks) < minMarks && look.tooBlurred() {
			return f, Refuse(CodeBlurred, "no edge in it is sharp")
		}
		if len(f.card.Marks) < minMarks && smallMarks(seen) {
			return f, Refuse(CodeTooSmall, "")
		}
		if len(f.card.Marks) < minMarks {
			return f, Refuse(CodeFewMarks, "%d of %d", len(f.card.Marks), len(l.Marks)).at(f.unrefined()...)
		}
		card, img := f.card.places()
		if f.h, err = calib.FitHomography(card, img); err != nil {
			return f, Refuse(CodeCardDistorted, "%v", err)
		}
	}
	if f.h.Mirrored() {
		return f, Refuse(CodeMirrored, "")
	}
	return f, f.fitView(p, o)
}

// identify reads the serial and bearing in the card's code, and where the print
// of that sheet is known, reckons with the card as it was printed. It returns
// what is known of the print.
func (f *found) identify(p *Photo, o Options) (calib.PrintScale, *Refusal) {
	l := f.card.Layout
	f.card.Serial, f.card.Bearing, _ = readCardCode(p, f.h, l)
	print := o.Prints[f.card.Serial]
	if o.Print.Checked() || !print.Checked() {
		return o.Print, nil
	}
	f.card.Layout = l.Scaled(print)
	for i := range f.card.Marks {
		k := &f.card.Marks[i].Mark
		*k, _ = f.card.Layout.MarkByCode(k.Code)
	}
	o.Print = print
	return print, f.fitView(p, o)
}

// smallMarks reports whether the marks seen are so small that others may well not
// have been made out.
func smallMarks(seen []sighting) bool {
	_, _, radius := points(seen)
	return radius < fewMarkPixels
}

// fewMarkPixels is the radius in px of a mark's rim under which its teeth are
// hard to read.
const fewMarkPixels = 11.0

// fitMarks fits camera and pose to marks of a photo.
func fitMarks(p *Photo, marks []MarkFound, prior calib.Prior) (*calib.View, error) {
	c := Card{Marks: marks}
	card, img := c.places()
	return calib.FitView(card, img, markSigma(marks), p.Luma.W, p.Luma.H, prior)
}

// fitView fits camera and pose to the refined marks. One mark that alone does
// not fit (dirt, a finger) is left out while five remain.
func (f *found) fitView(p *Photo, o Options) *Refusal {
	fit := func(prior calib.Prior) (*calib.View, error) { return fitMarks(p, f.card.Marks, prior) }
	v, err := fit(o.prior(p))
	if err != nil {
		return Refuse(CodeCardDistorted, "%v", err)
	}
	if misfit(v) > maxMisfit && o.cutUnseen(p, fit) {
		p.cut = true
		if v, err = fit(o.prior(p)); err != nil {
			return Refuse(CodeCardDistorted, "%v", err)
		}
	}
	if v.RMS > maxReproj && len(f.card.Marks) > minMarks {
		for i := range f.card.Marks {
			less := append(append([]MarkFound(nil), f.card.Marks[:i]...), f.card.Marks[i+1:]...)
			if w, err := fitMarks(p, less, o.prior(p)); err == nil && w.RMS < maxReproj/2 && w.RMS < v.RMS/3 {
				v, f.card.Marks = w, less
				break
			}
		}
	}
	if off := misfit(v); off > maxMarksNoise {
		// What moves marks by more than their noise (print, a curled card) is not known
		// better than they show (Birge, Physical Review 40 (1932) 207).
		v.Cov.ScaleSym(off, v.Cov)
	}
	f.view = v
	for i := range f.card.Marks {
		f.card.Marks[i].Residual = v.Residuals[i]
	}
	card, img := f.card.places()
	if f.h, err = calib.FitHomography(card, img); err != nil {
		return Refuse(CodeCardDistorted, "%v", err)
	}
	return nil
}

// misfit is the view's chi-square over its degrees of freedom.
func misfit(v *calib.View) float64 { return v.ChiSquare / float64(v.Freedom) }

// maxMarksNoise is the misfit above which marks show more than noise: the 95 % point
// for 6 degrees of freedom.
const maxMarksNoise = 2.1

// places splits the marks into card and photo points.
func (c *Card) places() ([]calib.CardPoint, []calib.PixelPoint) {
	var card []calib.CardPoint
	var img []calib.PixelPoint
	for _, m := range c.Marks {
		card, img = append(card, m.Mark.Centre), append(img, m.Pixel)
	}
	return card, img
}

// markSigma is the marks' common standard uncertainty per axis, px.
func markSigma(m []MarkFound) float64 {
	s := 0.0
	for _, k := range m {
		s += k.U * k.U / float64(len(m))
	}
	return math.Sqrt(s)
}

// cutMarks cuts a patch for every mark of the layout where the homography
// expects it, seen before or not.
func cutMarks(luma *Plane, h calib.Homography, l *calib.Layout) []*markPatch {
	var out []*markPatch
	for _, m := range l.Marks {
		if k, ok := newMarkPatch(luma, h, m, l.Style, markSamples); ok {
			out = append(out, k)
		}
	}
	return out
}

// refineAll keeps the patches' centres that settle and bear their own code. Every
// so many of the places are compared.
func refineAll(luma *Plane, h calib.Homography, l *calib.Layout, patches []*markPatch, every int) []MarkFound {
	var out []MarkFound
	scale, ok := localScale(h, calib.CardPoint{})
	if !ok {
		return nil
	}
	jitter := markJitter * scale
	for _, k := range patches {
		r, ok := k.refine(h, every)
		if !ok || !bearsCode(luma, h, k.mark, l.Style, r.at) {
			continue
		}
		out = append(out, MarkFound{Mark: k.mark, Pixel: r.at, U: math.Sqrt(r.u*r.u + markFloor*markFloor + jitter*jitter)})
	}
	return out
}

// bearsCode reads the code round a refined centre.
func bearsCode(luma *Plane, h calib.Homography, m calib.Mark, s calib.MarkStyle, at calib.PixelPoint) bool {
	a, ok1 := h.Image(m.Centre.Add(calib.CardPoint{X: s.Gap}))
	b, ok2 := h.Image(m.Centre.Add(calib.CardPoint{X: -s.Gap}))
	c, ok3 := h.Image(m.Centre.Add(calib.CardPoint{Y: s.Gap}))
	d, ok4 := h.Image(m.Centre.Add(calib.CardPoint{Y: -s.Gap}))
	if !ok1 || !ok2 || !ok3 || !ok4 {
		return false
	}
	// The shape matrix J J' of the local affine map, and its symmetric root.
	x, y := a.Sub(b).Scale(0.5), c.Sub(d).Scale(0.5)
	xx, xy, yy := x.X*x.X+y.X*y.X, x.X*x.Y+y.X*y.Y, x.Y*x.Y+y.Y*y.Y
	r := math.Sqrt(math.Max(0, xx*yy-xy*xy))
	t := math.Sqrt(xx + yy + 2*r)
	if t == 0 {
		return false
	}
	code, ok := readCode(luma, ellipse{at, (xx + r) / t, xy / t, (yy + r) / t}, s, false)
	return ok && code == m.Code
}

// mirrored reports whether the card is seen as in a mirror.
func (f *finder) mirrored() bool {
	m := *f
	m.mirror = true
	all, err := m.marks()
	if err != nil {
		return false
	}
	_, h, ok := m.choose(all)
	return ok && h.Mirrored()
}
