package clearance

import (
	"fmt"
	"math"
	"slices"

	"stripgap/calib/quantity"
)

// About returns the clearances in mm that a strip told, at both ends and in the
// mean, widened by the expanded uncertainty: what another strip's range has to
// hold. Of a reading outside its strip's own range it is a rough guide only.
func (r Reading) About(c quantity.Coverage) (Limits, error) {
	e, err := r.Budget.Expand(c)
	if err != nil {
		return Limits{}, err
	}
	l := Limits{r.Clearance.X, r.Clearance.X}
	for _, end := range r.Ends {
		l.Lo, l.Hi = min(l.Lo, end.Clearance.X), max(l.Hi, end.Clearance.X)
	}
	return Limits{max(0, l.Lo-e.U), l.Hi + e.U}, nil
}

// RangesFor returns which of the strip ranges hold all of a span of clearance,
// as indices, the one with the most room (as a ratio) on its tighter side first.
// None is an empty list. The span needs 0 <= Lo <= Hi, ranges 0 < Lo < Hi.
func RangesFor(span Limits, ranges []Limits) ([]int, error) {
	if !(0 <= span.Lo && span.Lo <= span.Hi) || math.IsInf(span.Hi, 1) {
		return nil, fmt.Errorf("strip range: %v to %v mm is no span of clearance", span.Lo, span.Hi)
	}
	var fit []int
	for i, r := range ranges {
		if !positive(r.Lo) || !positive(r.Hi) || r.Lo >= r.Hi {
			return nil, fmt.Errorf("strip range %d: %v to %v mm: need 0 < low < high", i+1, r.Lo, r.Hi)
		}
		if r.Contains(span.Lo) && r.Contains(span.Hi) {
			fit = append(fit, i)
		}
	}
	slices.SortStableFunc(fit, func(a, b int) int {
		switch ra, rb := room(span, ranges[a]), room(span, ranges[b]); {
		case ra > rb:
			return -1
		case ra < rb:
			return 1
		}
		return 0
	})
	return fit, nil
}

// room is how many times the span's nearer end stands from the range's.
func room(span, r Limits) float64 { return min(span.Lo/r.Lo, r.Hi/span.Hi) }

// RangeAdvice says which of the strip ranges to use for a span of clearance.
func RangeAdvice(span Limits, ranges []Limits) (string, error) {
	fit, err := RangesFor(span, ranges)
	if err != nil {
		return "", err
	}
	if len(fit) == 0 {
		return fmt.Sprintf("none of the strip ranges holds %s; measure this bearing another way", span.Format(quantity.MM, 3)), nil
	}
	best := ranges[fit[0]]
	return fmt.Sprintf("use a strip for %s (%s)", best.Format(quantity.MM, 3), best.Format(quantity.Inch, 4)), nil
}
