package clearance

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"stripgap/calib/quantity"
)

// Limits is a pair of limits in millimetres, both inclusive. A side without a
// limit is infinite: Lo -Inf or Hi +Inf.
type Limits struct{ Lo, Hi float64 }

// ParseLimits reads the specification of a clearance, such as "0.020..0.050mm",
// "0.8..2.0thou" or "0.0010..0.0030 in". One side may be left out, as in
// "..0.0045 in" for a service limit. The unit behind the upper figure holds for
// the lower one too unless that carries its own. A missing unit, a negative
// figure and limits that are equal or reversed are errors.
//
// Where a page prints both units, both may be given, the second behind an equals
// sign or in brackets: "0.0010..0.0030in = 0.0254..0.0762mm". See ParseBoth.
func ParseLimits(s string) (Limits, error) {
	first, second, both := strings.Cut(s, "=")
	if !both {
		if first, second, both = strings.Cut(s, "("); both {
			var closed bool
			if second, closed = strings.CutSuffix(strings.TrimSpace(second), ")"); !closed {
				return Limits{}, fmt.Errorf("limits %q: no closing bracket behind the second unit", s)
			}
		}
	}
	if both {
		return ParseBoth(first, second)
	}
	p, err := parseSides(s)
	return p.limits, err
}

// sides are limits and how they were written, each figure with its unit; empty
// where a side has no limit.
type sides struct {
	limits Limits
	lo, hi string
}

func parseSides(s string) (sides, error) {
	lo, hi, ok := strings.Cut(s, "..")
	if !ok {
		return sides{}, fmt.Errorf("limits %q: write low..high with a unit, as in 0.020..0.050mm", s)
	}
	lo, hi = strings.TrimSpace(lo), strings.TrimSpace(hi)
	l := Limits{math.Inf(-1), math.Inf(1)}
	var err error
	if hi != "" {
		if l.Hi, err = limit(hi); err != nil {
			return sides{}, fmt.Errorf("limits %q: upper: %w", s, err)
		}
	}
	if lo != "" {
		if strings.Trim(lo, figureRunes) == "" {
			lo += strings.TrimLeft(hi, figureRunes)
		}
		if l.Lo, err = limit(lo); err != nil {
			return sides{}, fmt.Errorf("limits %q: lower: %w", s, err)
		}
	}
	if err := l.Check(); err != nil {
		return sides{}, fmt.Errorf("limits %q: %w", s, err)
	}
	return sides{l, lo, hi}, nil
}

// figureRunes are what a plain decimal is written with.
const figureRunes = "+-.0123456789"

func limit(s string) (float64, error) {
	x, err := quantity.ParseLength(s)
	if err == nil && x < 0 {
		err = errors.New("negative; a strip measures no interference")
	}
	return x, err
}

// Check reports limits that bound nothing, are equal or reversed, or not numbers.
func (l Limits) Check() error {
	switch {
	case math.IsInf(l.Lo, -1) && math.IsInf(l.Hi, 1):
		return errors.New("no limit on either side")
	case math.IsNaN(l.Lo) || math.IsNaN(l.Hi) || math.IsInf(l.Lo, 1) || math.IsInf(l.Hi, -1):
		return fmt.Errorf("%v and %v mm are not limits", l.Lo, l.Hi)
	case l.Lo > l.Hi:
		return errors.New("reversed; write the smaller one first")
	case l.Lo == l.Hi:
		return errors.New("both are the same; nothing measured would lie between them")
	}
	return nil
}

// Contains reports whether x lies within the limits, on them included. Limits
// with Lo above Hi contain nothing.
func (l Limits) Contains(x float64) bool { return l.Lo <= x && x <= l.Hi }

// Format prints the limits in the unit, with a fixed number of decimals, as
// ParseLimits reads them: "0.020..0.050 mm".
func (l Limits) Format(unit quantity.Unit, decimals int) string {
	text := func(x float64) string {
		if math.IsInf(x, 0) {
			return ""
		}
		return strings.TrimSuffix(quantity.FormatLength(x, unit, decimals), " "+unit.String())
	}
	if math.IsInf(l.Hi, 1) { // the unit must not stand alone behind the dots
		return text(l.Lo) + " " + unit.String() + ".."
	}
	return text(l.Lo) + ".." + text(l.Hi) + " " + unit.String()
}
