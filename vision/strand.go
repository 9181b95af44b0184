package vision

import (
	"math"
	"slices"
)

// MeasureStrand measures the diameter of an unused strand lying beside the card:
// the profile's widths are diameters. The strand's flanks turn from the light and
// it keeps light from the ground beside it, so that no edge stands between two
// even levels; the whole strand is therefore modelled as a cylinder (see round) and
// what that takes off or adds goes into the widths, with the term "shading". A
// refusal comes with what was measured up to it, never nil.
func MeasureStrand(p *Photo, o Options) (*Measurement, error) {
	m := &Measurement{}
	o.quarry = unusedStrand
	if r := m.strand(p, o); r != nil {
		return m, r
	}
	return m, nil
}

func (m *Measurement) strand(p *Photo, o Options) *Refusal {
	f, r := m.prove(p, o)
	if r != nil {
		return r
	}
	t, r := findStrip(p, f, m.Bars, o)
	if t == nil {
		return r
	}
	m.describe(t, o)
	if r != nil {
		return r
	}
	if r := m.gateLost(t, maxLostStrand); r != nil {
		if small := m.gateSize(); small != nil {
			return small // which is why
		}
		return r
	}
	cylinder, ok := t.fitRound()
	if !ok {
		return Refuse(CodeNotRound, "")
	}
	if !m.check("strand looks like a cylinder", cylinder.misfit, maxRoundMisfit, "of the contrast") {
		return Refuse(CodeNotRound, "the luma is off by %.0f %% of the contrast", 100*cylinder.misfit)
	}
	m.unshade(cylinder)
	return m.gateSize()
}

const (
	// maxLostStrand is the share of stations that may be lost: a flat film's edges
	// now and then settle on the shadow's border, and the cylinder is fitted to the
	// mean over those that agree.
	maxLostStrand = 0.7
	// maxRoundMisfit is the largest root mean square, over the contrast, by which
	// a strand's luma may be off the cylinder's. Rendered ones reach 0.03.
	maxRoundMisfit = 0.05
	// What light round a strand leaves unknown of its diameter: shadingBlur of the
	// photo's blur, which hides where the dark flank ends and the shadow begins,
	// and not less than shadingLeast of the diameter. Judged on rendered strands.
	shadingBlur  = 0.25
	shadingLeast = 0.0125
)

// unshade puts the cylinder's width in the place of the flat film's.
func (m *Measurement) unshade(c round) {
	pr := m.Profile
	k := 2 * c.radius / c.flat
	m.Strip.Width *= k
	pr.Mean *= k
	for i := range pr.Stations {
		s := &pr.Stations[i]
		s.Width *= k
		middle, centre := s.Pixels[0].Add(s.Pixels[1]).Scale(0.5), s.Edges[0].Add(s.Edges[1]).Scale(0.5)
		for e := range s.Edges {
			s.Pixels[e] = middle.Add(s.Pixels[e].Sub(middle).Scale(k))
			s.Edges[e] = centre.Add(s.Edges[e].Sub(centre).Scale(k))
		}
	}
	for i := range pr.Ends {
		pr.Ends[i].Width *= k
	}
	pr.Taper *= k
	pr.Bow *= k
	perPx := 1 / m.PxPerMM
	// Soft flanks and shadow are no vagueness of the edges: the cylinder tells them.
	pr.Budget = slices.DeleteFunc(pr.Budget, func(t Term) bool { return t.Name == "edge definition" || t.Name == "strip's shadow" })
	pr.Budget = append(pr.Budget,
		Term{"cylinder's fit", 2 * c.u * perPx, false},
		Term{"shading", math.Max(shadingBlur*m.Strip.Camera.S, shadingLeast*2*c.radius) * perPx, true})
	pr.U = combined(pr.Budget)
}
