package clearance

import (
	"fmt"

	"stripgap/calib/quantity"
)

// ParseBoth reads one specification given twice, as a page prints it in two units:
// "0.0010..0.0030in" and "0.0254..0.0762mm". Each side must agree within what
// rounding both figures explains; the limits are then the finer printed figures.
// Where a side does not agree, the error names what each figure would be if the
// other is right, and the likely slip: of the unit, the decimal point or a digit.
// Errors of ParseLimits hold for each.
func ParseBoth(first, second string) (Limits, error) {
	a, err := parseSides(first)
	if err != nil {
		return Limits{}, err
	}
	b, err := parseSides(second)
	if err != nil {
		return Limits{}, err
	}
	l := a.limits
	for _, side := range []struct {
		name       string
		one, other string
		mm         *float64
	}{{"lower", a.lo, b.lo, &l.Lo}, {"upper", a.hi, b.hi, &l.Hi}} {
		if (side.one == "") != (side.other == "") {
			return Limits{}, fmt.Errorf("limits %q and %q: only one of them has a limit on the %s side", first, second, side.name)
		}
		if side.one == "" {
			continue
		}
		agreement, err := quantity.Agree(side.one, side.other)
		if err != nil {
			return Limits{}, fmt.Errorf("limits %q and %q: %s: %w", first, second, side.name, err)
		}
		if !agreement.Agree {
			return Limits{}, fmt.Errorf("limits %q and %q: %s: %s; look at the page again", first, second, side.name, agreement)
		}
		*side.mm = agreement.Finer
	}
	if err := l.Check(); err != nil {
		return Limits{}, fmt.Errorf("limits %q and %q: %w", first, second, err)
	}
	return l, nil
}
