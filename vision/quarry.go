package vision

import "stripgap/calib"

// quarry is what is looked for beside the card: a crushed strip, or one of the
// things by which a strip's section area is learnt.
type quarry struct {
	look       [2]float64 // px per mm at which the ground is looked at, coarse and fine, beside a bench card
	onPart     [2]float64 // the same on the part, beside a rider
	least      float64    // mm of width, as the rough search sees it
	traced     float64    // mm of width, once traced
	clear      float64    // least contrast over what is left of the luma beside the edges' model
	elongation float64    // least length over width
	film       bool       // flat, even and alone of its kind
	pieces     bool       // pieces in one line are one strip
}

var (
	crushedStrip = quarry{look: [2]float64{2.5, 6}, onPart: [2]float64{6, 12}, least: minStripWidth, traced: 0.45, clear: 4,
		elongation: 2.5, film: true, pieces: true}
	unusedStrand = quarry{look: [2]float64{8, 16}, onPart: [2]float64{14, 24}, least: 0.1, traced: 0.1, clear: 1.5,
		elongation: 8, pieces: true}
	printedBar = quarry{look: [2]float64{4, 8}, onPart: [2]float64{8, 12}, least: minStripWidth, traced: minStripWidth, clear: 4,
		elongation: 1.3}
)

// looks are how closely the ground is looked at, px per mm: a coarse look finds
// what stands out, and when nothing there is meant, a finer one also finds smooth
// bands.
func (q quarry) looks(l *calib.Layout) [2]float64 {
	if l.OnPart {
		return q.onPart
	}
	return q.look
}
