package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// asBlack reports whether the film is as black as the card's ink, and as grey: a drawn or
// printed line, a dark groove or a cable may look just so. Of a colour, a film shows more.
func (t *traced) asBlack() bool {
	ink, ok := inkOf(t.c.p, t.c.v, t.layout)
	return ok && slices.Max(t.film[:]) < slices.Max(ink[:])+blackSlack && slices.Max(t.film[:])-slices.Min(t.film[:]) < blackSlack
}

// blackSlack is the least difference of display-referred colour, 0..1, that is not light
// and noise alone; estimate, no source.
const blackSlack = 0.06

// inkOf returns what the isolated bars' middles look like, display-referred 0..1. False
// where the photo shows none.
func inkOf(p *Photo, v *calib.View, l *calib.Layout) (ink rgb, ok bool) {
	const places = 9 // along a bar
	var seen [3][]float64
	for _, b := range l.Bars {
		for i := 1; b.Count == 1 && i <= places; i++ {
			px, _ := v.Image(calib.Plane{}.At(barPoint(b, b.Width/2, b.Length*float64(i)/(places+1))))
			x, y := int(math.Round(px.X)), int(math.Round(px.Y))
			if x < 0 || y < 0 || x >= p.Luma.W || y >= p.Luma.H {
				continue
			}
			red, green, blue := p.RGB(x, y)
			for k, value := range [3]float64{red, green, blue} {
				seen[k] = append(seen[k], value/255)
			}
		}
	}
	if len(seen[0]) == 0 {
		return ink, false
	}
	return rgb{median(seen[0]), median(seen[1]), median(seen[2])}, true
}
