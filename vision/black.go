package vision

import (
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
	var seen colourSamples
	for _, b := range l.Bars {
		for i := 1; b.Count == 1 && i <= places; i++ {
			px, _ := v.Image(calib.Plane{}.At(barPoint(b, b.Width/2, b.Length*float64(i)/(places+1))))
			seen.add(p, px)
		}
	}
	if seen.count() == 0 {
		return ink, false
	}
	return seen.median(), true
}
