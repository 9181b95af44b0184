package vision

import (
	"slices"

	"stripgap/calib"
)

// barPlaces are the outlines of the card's bars that pass.
func (m *Measurement) barPlaces(pass func(calib.Bars) bool) (out [][]calib.PixelPoint) {
	for _, b := range m.Card.Layout.Bars {
		if corners := b.Corners(); pass(b) {
			out = append(out, m.View.On(calib.Plane{}).Line(corners[:]...))
		}
	}
	return out
}

// missingMarks are squares round where the marks of the layout lie that are not
// seen.
func missingMarks(image calib.ImageOf, l *calib.Layout, seen func(calib.Mark) bool) (out [][]calib.PixelPoint) {
	r := l.Style.Quiet
	for _, m := range l.Marks {
		if !seen(m) {
			c := m.Centre
			out = append(out, image.Line(c.Add(calib.CardPoint{X: -r, Y: -r}), c.Add(calib.CardPoint{X: r, Y: -r}),
				c.Add(calib.CardPoint{X: r, Y: r}), c.Add(calib.CardPoint{X: -r, Y: r})))
		}
	}
	return out
}

// unseen are squares round where the marks lie that were not sighted; none where
// the others are too few to tell.
func unseen(sighted []sighting) [][]calib.PixelPoint {
	card, img, _ := points(sighted)
	h, err := calib.FitHomography(card, img)
	if err != nil {
		return nil
	}
	return missingMarks(h.Image, sighted[0].layout, func(m calib.Mark) bool {
		return slices.ContainsFunc(sighted, func(s sighting) bool { return s.mark.Code == m.Code })
	})
}

// unrefined are the same of the marks that could not be refined.
func (f *found) unrefined() [][]calib.PixelPoint {
	return missingMarks(f.h.Image, f.card.Layout, func(m calib.Mark) bool {
		return slices.ContainsFunc(f.card.Marks, func(k MarkFound) bool { return k.Mark.Code == m.Code })
	})
}

// placeMargin is how far outside a band its outline is drawn, mm.
const placeMargin = 0.7

// places are the outlines of bands on the ground.
func (g *ground) places(bands ...candidate) (out [][]calib.PixelPoint) {
	for _, c := range bands {
		u := c.direction().Scale(placeMargin)
		n := calib.CardPoint{X: -u.Y, Y: u.X}.Scale(1 + c.width/2/placeMargin)
		a, b := c.a.Sub(u), c.b.Add(u)
		out = append(out, calib.ImageOf(g.image.Image).Line(a.Sub(n), b.Sub(n), b.Add(n), a.Add(n)))
	}
	return out
}
