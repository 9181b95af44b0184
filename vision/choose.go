package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// looks are how closely the ground is looked at, px per mm: a coarse look finds
// what stands out, and when nothing there is a strip, a finer one also finds
// smooth bands.
func looks(l *calib.Layout) [2]float64 {
	if l.OnPart {
		return [2]float64{8, 12}
	}
	return [2]float64{2.5, 6}
}

// look lists candidates at one closeness.
func look(p *Photo, f *found, o Options, perMM float64, fine bool) ([]candidate, error) {
	g, err := newGround(p, f, o.Zone, perMM)
	if err != nil {
		return nil, err
	}
	list, err := g.standingOut()
	if err != nil || !fine {
		return ranked(list), err
	}
	more, err := g.smooth()
	for _, c := range more {
		if !repeated(list, c) {
			list = append(list, c)
		}
	}
	return ranked(list), err
}

// findStrip finds the one strip beside the card and traces it.
func findStrip(p *Photo, f *found, w *Witness, o Options) (*traced, *Refusal) {
	l := f.card.Layout
	var good []traced
	var first missed
	for i, perMM := range looks(l) {
		list, err := look(p, f, o, perMM, i > 0)
		if err != nil {
			return nil, Refuse(CodeNoStrip, "%v", err)
		}
		for n, c := range list[:min(len(list), closerLooks)] {
			t, ok := trace(p, f.view, l, w, o, f.straighten(c))
			if ok && t.evenEnough() {
				good = append(good, t)
			} else if n == 0 && c.contrast > clearlyThere {
				first = missed{c.touches, t.softSide()}
			}
		}
		if len(good) > 0 {
			break
		}
	}
	good = clearest(good)
	switch {
	case len(good) == 0:
		return nil, first.refusal()
	case len(good) > 1:
		return &good[0], Refuse(CodeTwoStrips, "%d long even bands lie beside the card", len(good))
	case good[0].runsInto(l):
		return &good[0], Refuse(CodeStripReachesCard, "")
	case good[0].touches.border:
		return &good[0], Refuse(CodeStripCutOff, "")
	}
	return &good[0], nil
}

// missed is the most prominent candidate that could not be traced: its plight
// says more than that there is no strip.
type missed struct {
	touches touch
	soft    bool
}

// clearlyThere is the contrast in noise units from which a candidate is taken for
// something a person laid there.
const clearlyThere = 8

func (m missed) refusal() *Refusal {
	switch {
	case m.touches.border:
		return Refuse(CodeStripCutOff, "")
	case m.touches.card:
		return Refuse(CodeStripReachesCard, "")
	case m.soft:
		return Refuse(CodeSmeared, "")
	}
	return Refuse(CodeNoStrip, "")
}

// softSide reports whether one edge rises sharply and the other far more slowly.
func (t *traced) softSide() bool {
	lo, hi := math.Min(t.rise[0], t.rise[1]), math.Max(t.rise[0], t.rise[1])
	return lo > 0 && lo < 3*t.cam.S+1 && hi > smearRise*lo && hi > 6*t.cam.S
}

// clearest leaves out what is far less clear than the clearest.
func clearest(good []traced) []traced {
	best := 0.0
	for i := range good {
		best = math.Max(best, good[i].clearness())
	}
	return slices.DeleteFunc(good, func(t traced) bool { return t.clearness() < clearlyOther*best })
}

// closerLooks is how many candidates are worth tracing.
const closerLooks = 6

// runsInto reports whether the strip's axis, carried on past its ends by what a
// card's edge and shadow can hide, meets the card, or an edge touches it.
func (t *traced) runsInto(l *calib.Layout) bool {
	a := t.c.axis
	past := a.Half + cardRim + 1
	return l.Contains(a.At(past), 0) || l.Contains(a.At(-past), 0) || gapTo(l, a, t.c.width) < minGap
}

// minGap is the least clear metal in mm between card and strip.
const minGap = 0.05

// What tells a film's two edges from a glare band, a shadow, a groove or a
// machining line.
const (
	sharpEnough  = 1.4  // edge spread over the bars', of the sharper edge
	clearEnough  = 4.0  // contrast over what is left of the luma beside the model
	leastWidth   = 0.45 // mm
	clearlyOther = 0.5  // share of the clearest candidate's clearness below which another is not meant
)

// evenEnough reports whether at least half of the traced length has two clear
// edges, the sharper about as sharp as the card's bars.
func (t *traced) evenEnough() bool {
	used, all := t.count()
	sharp := math.Min(t.spread[0], t.spread[1]) < sharpEnough*t.cam.S
	return sharp && all >= 6 && 2*used >= all && 2*t.c.axis.Half >= minStripLength &&
		t.c.width >= leastWidth && t.clearness() >= clearEnough
}

// clearness is the median over stations of the edges' contrast over the luma
// that the model leaves: texture, dirt, noise.
func (t *traced) clearness() float64 {
	var c []float64
	for _, k := range t.cuts {
		if k.dropped == "" {
			c = append(c, math.Min(math.Abs(k.fit.film-k.fit.metal[0]), math.Abs(k.fit.film-k.fit.metal[1]))/math.Max(k.fit.rms, 1e-4))
		}
	}
	if len(c) == 0 {
		return 0
	}
	return median(c)
}

// straighten moves a candidate's axis from the finding homography, which knows
// no lens distortion, to the view's own card plane.
func (f *found) straighten(c candidate) candidate {
	for _, q := range []*calib.CardPoint{&c.a, &c.b} {
		if px, ok := f.h.Image(*q); ok {
			if s, ok := f.view.Card(px, calib.Plane{}); ok {
				*q = calib.CardPoint{X: s.X, Y: s.Y}
			}
		}
	}
	return c
}
