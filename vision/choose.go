package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// look lists the candidates on the ground at one closeness. What runs under the
// card and is no candidate is added to the ground's odd ones.
func (g *ground) look(fine bool) ([]candidate, error) {
	list := g.standingOut()
	if fine {
		more, err := g.smooth()
		if err != nil {
			return nil, err
		}
		for _, c := range more {
			if !repeated(list, c) {
				list = append(list, c)
			}
		}
	}
	bands, short := g.quarry.ranked(list)
	for _, c := range short {
		if c.underCard() {
			g.odd = append(g.odd, c)
		}
	}
	return bands, nil
}

// choice is what was made of the candidates.
type choice struct {
	good   []traced
	missed []missed
	odd    []candidate // what runs under the card and is no band
	ground *ground     // as last looked at
}

// missed is a candidate that is no strip, or could not be traced, and why.
type missed struct {
	candidate
	why   string
	first bool // the most prominent of its look but for what parts two grounds
}

// findStrip finds the one strip beside the card and traces it.
func findStrip(p *Photo, f *found, w *Witness, o Options) (*traced, *Refusal) {
	l := f.card.Layout
	traceOne := func(c candidate) (traced, string) {
		t, why := trace(p, f.view, l, w, o, f.straighten(c))
		t.found = c // as the ground has it
		return t, why
	}
	var all choice
	for i, perMM := range o.quarry.looks(l) {
		g, err := newGround(p, f, o.Zone, perMM)
		if err != nil {
			return nil, Refuse(CodeNoStrip, "%v", err)
		}
		g.quarry = o.quarry
		list, err := g.look(i > 0)
		if err != nil {
			return nil, Refuse(CodeNoStrip, "%v", err)
		}
		known := all.candidates()
		list = slices.DeleteFunc(list, func(c candidate) bool { return repeated(known, c) })
		look := choice{ground: g, odd: append(all.odd, g.odd...)}
		look.weigh(list[:min(len(list), closerLooks)], traceOne)
		all = all.with(look)
		if slices.ContainsFunc(all.good, func(t traced) bool { return t.plain(o.quarry) }) {
			break
		}
	}
	all.good = withinZone(clearest(all.good))
	if len(all.good) == 0 {
		r := all.refusal()
		if r.Code == CodeNoStrip && sliver(p, f.view, l, w) {
			reaches := Refuse(CodeStripReachesCard, "")
			reaches.tinted = r.tinted
			return nil, reaches
		}
		return nil, r
	}
	return &all.good[0], all.doubt(l)
}

// with adds what a closer look shows. Where something had been found, the rest of that
// look counts only when what it found is far clearer.
func (c choice) with(closer choice) choice {
	if len(c.good) > 0 && clearlyOther*mostClear(closer.good) <= mostClear(c.good) {
		c.good = append(c.good, closer.good...)
		return c
	}
	closer.missed = append(c.missed, closer.missed...)
	return closer
}

// weigh traces candidates, the most prominent first, and puts each among the good or
// the missed.
func (c *choice) weigh(list []candidate, trace func(candidate) (traced, string)) {
	first := true
	for _, one := range list {
		t, why := trace(one)
		if why == "" {
			why = t.unlike(c.ground.quarry)
		}
		switch {
		case why == "":
			c.good = append(c.good, t)
			first = false
			continue
		case why == dropContrast && t.oneColour():
			why = noBand
		case why == dropContrast && t.drawnFar():
			why = notSharp
		case why == dropContrast && t.unlikeSides():
			why = twoGrounds
		case why != dropContrast && t.softSide(), why == notClear && t.unevenEdges() >= alikeEdges:
			why = notSharp
		}
		c.missed = append(c.missed, missed{one, why, first})
		first = first && (why == twoGrounds || why == noBand)
	}
}

// plain reports whether what is found stands out so that no closer look need show
// whether something else does more: a machining line may pass for a faint strip.
func (t traced) plain(q quarry) bool {
	return !q.film || t.found.contrast >= clearlyThere && t.clearness() >= plainly*q.clear
}

// plainly is a plain strip's least clearness over the least of any.
const plainly = 2.0

// doubt refuses a strip that is not the only one, or not wholly seen.
func (c *choice) doubt(l *calib.Layout) *Refusal {
	t := &c.good[0]
	switch {
	case len(c.good) > 1:
		return Refuse(CodeTwoStrips, "%d long even bands lie beside the card", len(c.good)).at(c.ground.places(c.candidates()...)...)
	case t.reachesCard(l):
		return Refuse(CodeStripReachesCard, "").at(c.ground.places(t.found)...)
	case t.found.touches.border:
		return Refuse(CodeStripCutOff, "").at(c.ground.places(t.found)...)
	case t.found.touches.zone:
		return Refuse(CodeStripCutOff, "it reaches beyond what is looked at round the card; lay the card close beside its middle").
			at(c.ground.places(t.found)...)
	}
	if i := slices.IndexFunc(c.missed, func(m missed) bool { return m.rivals(t) }); i >= 0 {
		return Refuse(CodeTwoStrips, "something else beside the card looks like a strip, too").
			at(c.ground.places(t.found, c.missed[i].candidate)...)
	}
	if !c.ground.quarry.film {
		return nil
	}
	if i := slices.IndexFunc(c.missed, func(m missed) bool { return m.continues(t.found) }); i >= 0 {
		return Refuse(CodeStationsLost, "the strip goes on beyond what is clear of it").
			at(c.ground.places(c.missed[i].candidate)...)
	}
	if o := c.ground.repeats(t.found); len(o) > 0 {
		return Refuse(CodeTwoStrips, "there is more of the same film beside the card").at(c.ground.places(append(o, t.found)...)...)
	}
	return nil
}

// candidates are what the good were traced from.
func (c *choice) candidates() (out []candidate) {
	for i := range c.good {
		out = append(out, c.good[i].found)
	}
	return out
}

// rivals reports whether something else, which stands out more but could not be
// measured, may be the strip that is meant. Beside a strip that is not as strips are, that
// may also be the most prominent band, where it is in shadow or out of focus.
func (m missed) rivals(t *traced) bool {
	if m.contrast <= clearlyThere || m.liesOn(t.found) || m.prominence() <= t.found.prominence() {
		return false
	}
	soft := m.why == notSharp || m.why == softEdges
	return m.hidden() || m.first && soft && t.odd()
}

// odd reports whether a traced strip shows a fault.
func (t *traced) odd() bool { return len(t.condition()) > 0 || t.unevenEdges() > notableUneven }

// hidden reports whether a band was not measured for what the photo did to it,
// so that it may be a strip all the same.
func (m missed) hidden() bool {
	switch m.why {
	case dropSaturated, dropContrast, dropOnCard, dropOutside:
		return true
	}
	return false
}

// refusal is none's, and tells whether a band was missed for its luma alone.
func (c *choice) refusal() *Refusal {
	r := c.none()
	r.tinted = slices.ContainsFunc(c.missed, missed.alike)
	return r
}

// alike reports whether a band that stands out by its colour was missed because its
// luma is too much that of what lies beside it, or of its shadow.
func (m missed) alike() bool {
	switch m.why {
	case dropContrast, notClear, twoGrounds:
		return m.tinted()
	case notSharp, softEdges:
		return m.contrast >= clearlyThere && m.tinted()
	}
	return false
}

// none tells why there is no strip: what became of the most prominent bands says more
// than that there is none.
func (c *choice) none() *Refusal {
	for _, m := range c.missed {
		if r := m.refusal(c.ground.quarry); r != nil && m.contrast >= clearlyThere && !m.isGround(c.ground) {
			return r.at(c.ground.places(m.candidate)...)
		}
	}
	c.odd = slices.DeleteFunc(c.odd, c.ground.recurs)
	switch {
	case len(c.odd) > 0:
		return Refuse(CodeStripReachesCard, "").at(c.ground.places(c.odd...)...)
	case len(c.missed) > 0 && c.missed[0].why == dropContrast && c.missed[0].tinted():
		return Refuse(CodeLowContrast, "").at(c.ground.places(c.missed[0].candidate)...)
	}
	return Refuse(CodeNoStrip, "")
}

// isGround reports whether a band that runs to the card or the photo's border is of the
// ground round it, such as what shows of a part there.
func (m missed) isGround(g *ground) bool {
	return m.why != dropOutside && m.why != dropOnCard && (m.touches.border || m.touches.card) && g.recurs(m.candidate)
}

// refusal tells why a band that stands out is no strip; nil where that says little
// of the photo.
func (m missed) refusal(q quarry) *Refusal {
	switch {
	case m.first && m.touches.border, m.why == dropOutside:
		return Refuse(CodeStripCutOff, "")
	case m.touches.card && m.why != noBand, m.why == dropOnCard:
		return Refuse(CodeStripReachesCard, "")
	case m.why == dropSaturated:
		return Refuse(CodeSaturated, "the metal beside the strip")
	case (m.why == dropContrast || m.why == notClear) && m.tinted():
		return Refuse(CodeLowContrast, "")
	case m.why == tooNarrow:
		return Refuse(CodeNarrowStrip, "%.2f mm, at least %.2f", m.width, q.traced)
	case m.first && m.why == notSharp:
		return Refuse(CodeSmeared, "")
	case m.first && m.why == softEdges:
		return Refuse(CodeSoftEdges, "")
	}
	return nil
}

// tinted reports whether a band's colour differs from what lies round it, and not
// only its lightness, as that of machining lines does.
func (c candidate) tinted() bool { return math.Hypot(c.colour[1], c.colour[2]) > clearTint }

// clearTint is a difference of colour in noise units that is no chance.
const clearTint = 3

// clearlyThere is the contrast in noise units from which a candidate is taken for
// something a person laid there.
const clearlyThere = 8

// withinZone leaves out what runs on past what is looked at, such as a cable or a groove,
// when something does not.
func withinZone(good []traced) []traced {
	whole := slices.DeleteFunc(slices.Clone(good), func(t traced) bool { return t.found.touches.zone })
	if len(whole) == 0 {
		return good
	}
	return whole
}

// clearest leaves out what is far less clear than the clearest.
func clearest(good []traced) []traced {
	best := mostClear(good)
	return slices.DeleteFunc(good, func(t traced) bool { return t.clearness() < clearlyOther*best })
}

// mostClear is the largest clearness, 0 of none.
func mostClear(good []traced) (best float64) {
	for i := range good {
		best = math.Max(best, good[i].clearness())
	}
	return best
}

// closerLooks is how many candidates are worth tracing.
const closerLooks = 6

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
