package report

import "math"

// Measures of the small drawing in the summary, in units of its view box.
const standWidth, standHeight, standEdge = 150.0, 30.0, 5.0

// standPlot shows where one clearance lies between its limits, on one scale for
// all bearings of a group.
type standPlot struct {
	Width, Height    float64
	From, To         float64 // the allowed range for new parts, shaded
	HasRange         bool
	Service          []float64
	At, Left, Right  float64 // the reading and its uncertainty
	Middle, Low, Top float64
}

// standOf plans the drawing; nil where there is no reading or nothing to stand
// against.
func standOf(b RecordBearing, all []RecordBearing) *standPlot {
	if b.Clearance == nil || b.New == nil && b.Service == nil {
		return nil
	}
	lo, hi := standScale(b.Group, all)
	x := func(mm float64) float64 {
		return round1(standEdge + (mm-lo)/(hi-lo)*(standWidth-2*standEdge))
	}
	p := &standPlot{Width: standWidth, Height: standHeight, Middle: standHeight / 2, Low: standHeight - 5, Top: 5}
	if v := b.New; v != nil && (v.Lo != nil || v.Hi != nil) {
		p.HasRange, p.From, p.To = true, 0, standWidth
		if v.Lo != nil {
			p.From = x(*v.Lo)
		}
		if v.Hi != nil {
			p.To = x(*v.Hi)
		}
	}
	if v := b.Service; v != nil {
		for _, side := range []*float64{v.Lo, v.Hi} {
			if side != nil {
				p.Service = append(p.Service, x(*side))
			}
		}
	}
	c := *b.Clearance
	p.At, p.Left, p.Right = x(c.MM), x(c.MM-c.Expanded), x(c.MM+c.Expanded)
	return p
}

// standScale is the range in mm that holds all limits and readings of a group.
func standScale(group string, all []RecordBearing) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	see := func(mm float64) { lo, hi = min(lo, mm), max(hi, mm) }
	for _, b := range all {
		if b.Group != group {
			continue
		}
		if b.Clearance != nil {
			see(b.Clearance.MM - b.Clearance.Expanded)
			see(b.Clearance.MM + b.Clearance.Expanded)
		}
		for _, v := range []*RecordVerdict{b.New, b.Service} {
			if v == nil {
				continue
			}
			for _, side := range []*float64{v.Lo, v.Hi} {
				if side != nil {
					see(*side)
				}
			}
		}
	}
	pad := (hi - lo) / 12
	return lo - pad, hi + pad
}
