package vision

import "math"

// A card contradicts its sheet's check where it is stretched by more than leastStretch,
// as a printer seldom does in one part of a sheet more than in the whole (common
// practice, no source), and by more than maxStretch standard deviations.
const (
	leastStretch = 0.005
	maxStretch   = 4.0
)

// gatePrint refuses a card that is not as wide for its height as its sheet's check
// says: the check is of another print, or a slip of the callipers. That it was printed
// larger or smaller all over no photo shows.
func (m *Measurement) gatePrint(p *Photo, f *found, o Options) *Refusal {
	if !m.Print.Checked() {
		return nil
	}
	off, u := f.stretch(p, o)
	limit := math.Max(leastStretch, maxStretch*u)
	if !m.check("width over height of the card as checked", 100*math.Abs(off), 100*limit, "%") {
		return Refuse(CodePrintMismatch, "off by %.1f %%", 100*math.Abs(off))
	}
	return nil
}

// stretch tells by how much more a checked card is stretched along x than its check
// says, as the marks show it when the check is not believed, with its standard
// uncertainty: how far off it is over the root of what that lowers the chi-square by.
// Where the marks scatter by more than their noise it is larger (Birge, as in fitView).
func (f *found) stretch(p *Photo, o Options) (off, u float64) {
	prior := o.prior(p)
	prior.AspectSD = looseAspect
	free, err := fitMarks(p, f.card.Marks, prior)
	if err != nil {
		return 0, 0 // the marks tell no more than with it
	}
	fall := f.view.ChiSquare - free.ChiSquare
	if !(fall > 0) {
		return 0, 0
	}
	off = float64(free.Aspect)
	return off, math.Abs(off) / math.Sqrt(fall/math.Max(1, misfit(free)))
}
