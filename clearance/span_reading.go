package clearance

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"stripgap/calib/quantity"
)

// SpansFor returns which of the spans that strips are made for hold all of a
// stretch of clearance, as indices, the one with the most room (as a ratio) on its
// tighter side first. None is an empty list. The stretch needs 0 <= Lo <= Hi, and
// spans must pass Check. RankSpans chooses before anything was read.
func SpansFor(stretch Limits, spans []Span) ([]int, error) {
	if !(0 <= stretch.Lo && stretch.Lo <= stretch.Hi) || math.IsInf(stretch.Hi, 1) {
		return nil, fmt.Errorf("strip: %v to %v mm is no stretch of clearance", stretch.Lo, stretch.Hi)
	}
	var fit []int
	for i, s := range spans {
		if err := s.Check(); err != nil {
			return nil, fmt.Errorf("strip %d: %w", i+1, err)
		}
		if s.Lo <= stretch.Lo && stretch.Hi <= s.Hi {
			fit = append(fit, i)
		}
	}
	room := func(i int) float64 { return min(stretch.Lo/spans[i].Lo, spans[i].Hi/stretch.Hi) }
	slices.SortStableFunc(fit, func(a, b int) int { return cmp.Compare(room(b), room(a)) })
	return fit, nil
}

// SpanAdvice says which of the spans to use for a stretch of clearance.
func SpanAdvice(stretch Limits, spans []Span) (string, error) {
	fit, err := SpansFor(stretch, spans)
	if err != nil {
		return "", err
	}
	if len(fit) == 0 {
		return fmt.Sprintf("no strip is made for all of %s (%s); measure this bearing another way",
			stretch.Format(quantity.MM, 3), stretch.Format(quantity.Inch, 4)), nil
	}
	best := Limits(spans[fit[0]])
	return fmt.Sprintf("use a strip made for %s (%s)", best.Format(quantity.MM, 3), best.Format(quantity.Inch, 4)), nil
}
