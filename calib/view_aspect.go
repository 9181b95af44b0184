package calib

import "math"

// Aspect is how much more a print is stretched along the card's x than along its
// y: ln of true over nominal length along x, less the same along y. 0 is a print
// that is true to the layout, or enlarged evenly.
type Aspect float64

// Place returns where a print of mean scale 1 puts a place of the layout, in true
// millimetres.
func (a Aspect) Place(p CardPoint) CardPoint {
	s := math.Exp(float64(a) / 2)
	return CardPoint{p.X * s, p.Y / s}
}

// Stretched returns the layout as a print of mean scale 1 shows it: every place
// as by Aspect.Place, radii unchanged.
func (l *Layout) Stretched(a Aspect) *Layout {
	s := math.Exp(float64(a) / 2)
	return l.Scaled(PrintScale{X: s, Y: 1 / s})
}
