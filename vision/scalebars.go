package vision

import (
	"math"
	"slices"
)

// maxScaleBars is the most bars of a printed scale that are looked at.
const maxScaleBars = 24

// MeasureBars measures the widths of a printed scale's dark bars beside the card,
// such as a strip's sleeve carries: each bar as a profile of its own, in one
// measurement each, by their middles from left to right along the card's x or,
// where they are spread more along its y, from the top down. What is dark, long
// and even within the zone counts as a bar. Refusals are those of Measure, and a
// bar that cannot be measured refuses the photo.
func MeasureBars(p *Photo, o Options) ([]*Measurement, error) {
	o.quarry = printedBar
	m := &Measurement{}
	f, r := m.prove(p, o)
	if r != nil {
		return nil, r
	}
	found, r := findBars(p, f, m.Bars, o)
	if r != nil {
		return nil, r
	}
	var out []*Measurement
	for i := range found {
		one := *m
		one.Checks, one.Flags = slices.Clone(m.Checks), nil
		one.describe(&found[i], o)
		if r := one.gateSize(); r != nil {
			return nil, r
		}
		if r := one.gateLost(&found[i], maxLost); r != nil {
			return nil, r
		}
		out = append(out, &one)
	}
	return out, nil
}

// findBars traces every dark bar, at the look that shows the most, in order.
func findBars(p *Photo, f *found, w *Witness, o Options) ([]traced, *Refusal) {
	l := f.card.Layout
	var best []traced
	for i, perMM := range o.quarry.looks(l) {
		g, err := newGround(p, f, o.Zone, perMM)
		if err != nil {
			return nil, Refuse(CodeNoBars, "%v", err)
		}
		g.quarry = o.quarry
		list, err := g.look(i > 0)
		if err != nil {
			return nil, Refuse(CodeNoBars, "%v", err)
		}
		var bars []traced
		for _, c := range list[:min(len(list), 2*maxScaleBars)] {
			t, why := trace(p, f.view, l, w, o, f.straighten(c))
			if why == "" && t.unlike(o.quarry) == "" && t.dark() && !t.among(bars) && !t.found.touches.border {
				bars = append(bars, t)
			}
		}
		if len(bars) > len(best) {
			best = bars
		}
	}
	if len(best) == 0 {
		return nil, Refuse(CodeNoBars, "")
	}
	inOrder(best)
	return best[:min(len(best), maxScaleBars)], nil
}

// dark reports whether the bar is darker than what lies on both its sides.
func (t *traced) dark() bool {
	return t.film.luma() < math.Min(t.metal[0].luma(), t.metal[1].luma())
}

// among reports whether one of the bars is this one, found again.
func (t *traced) among(bars []traced) bool {
	return slices.ContainsFunc(bars, func(b traced) bool {
		return b.c.axis.At(0).Sub(t.c.axis.At(0)).Norm() < math.Max(b.c.width, t.c.width)/2
	})
}

// inOrder sorts bars from left to right or from the top down.
func inOrder(bars []traced) {
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for i := range bars {
		c := bars[i].c.axis.At(0)
		x0, x1, y0, y1 = math.Min(x0, c.X), math.Max(x1, c.X), math.Min(y0, c.Y), math.Max(y1, c.Y)
	}
	slices.SortStableFunc(bars, func(a, b traced) int {
		p, q := a.c.axis.At(0), b.c.axis.At(0)
		d := p.X - q.X
		if y1-y0 > x1-x0 {
			d = q.Y - p.Y
		}
		switch {
		case d < 0:
			return -1
		case d > 0:
			return 1
		}
		return 0
	})
}
