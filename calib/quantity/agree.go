package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Slip names how a printed figure probably went wrong.
type Slip string

// The slips Agree looks for, in this order.
const (
	NoSlip    Slip = ""              // none found, or nothing wrong
	UnitSlip  Slip = "unit"          // the number stands with the wrong unit
	PointSlip Slip = "decimal point" // the decimal point is one or two places off
	DigitSlip Slip = "digit"         // one digit is wrong, missing or too many, or two neighbours are swapped
)

// Agreement is the outcome of comparing two printed figures of one length.
type Agreement struct {
	Agree bool
	// Finer is the length in mm as printed with the smaller step, the first where
	// the steps are equal: the better of two figures that agree.
	Finer      float64
	Difference float64 // mm, first minus second
	Rounding   float64 // mm, the largest difference that printing both rounded explains
	Slip       Slip    // how they may have come to disagree
	// Suspect is "first" or "second" when the slip explains the disagreement by a
	// fault in only that figure, and empty when it may be either.
	Suspect string
	// FirstShould is what the first figure would read if the second is right;
	// SecondShould the other way round. Both are empty when the figures agree.
	FirstShould, SecondShould string
}

// printed is a decimal figure as it stands on a page.
type printed struct {
	number string
	x      float64 // in its unit
	unit   Unit
	step   float64 // one unit of the last decimal, in its unit
}

func (p printed) mm() float64   { return p.x * p.unit.MM() }
func (p printed) half() float64 { return p.step / 2 * p.unit.MM() }

// in is the same number read in another unit, times f.
func (p printed) in(u Unit, f float64) printed {
	return printed{p.number, p.x * f, u, p.step * f}
}

// Agree compares two printed figures, such as "3.4980 in" and "88.749 mm", that
// should be one length. Each stands for anything that rounds to its last decimal;
// they agree when the two intervals meet. Where they do not, it looks for the
// likely slip. A figure ParseLength refuses is an error.
func Agree(first, second string) (Agreement, error) {
	a, err := parsePrinted(first)
	if err != nil {
		return Agreement{}, err
	}
	b, err := parsePrinted(second)
	if err != nil {
		return Agreement{}, err
	}
	r := Agreement{Agree: meet(a, b), Finer: a.mm(), Difference: a.mm() - b.mm(), Rounding: a.half() + b.half()}
	if b.half() < a.half() {
		r.Finer = b.mm()
	}
	if r.Agree {
		return r, nil
	}
	aNumber, bNumber := reprint(b, a), reprint(a, b)
	r.FirstShould = aNumber + " " + a.unit.String()
	r.SecondShould = bNumber + " " + b.unit.String()
	for _, try := range []struct {
		slip Slip
		a, b bool // whether a fault in that figure alone explains it
	}{
		{UnitSlip, relabels(a, b), relabels(b, a)},
		{PointSlip, shifts(a, b), shifts(b, a)},
		{DigitSlip, oneSlip(a.number, aNumber), oneSlip(b.number, bNumber)},
	} {
		if !try.a && !try.b {
			continue
		}
		r.Slip = try.slip
		if !try.b {
			r.Suspect = "first"
		} else if !try.a {
			r.Suspect = "second"
		}
		break
	}
	return r, nil
}

func parsePrinted(s string) (printed, error) {
	x, unit, err := parseLength(s)
	if err != nil {
		return printed{}, err
	}
	t := strings.TrimLeft(strings.TrimSpace(s), "+-")
	number := t[:len(t)-len(strings.TrimLeft(t, ".0123456789"))]
	_, fraction, _ := strings.Cut(number, ".")
	return printed{number, x, unit, math.Pow10(-len(fraction))}, nil
}

// meet allows for the rounding of the conversion itself, which is far below any
// printed digit.
func meet(a, b printed) bool {
	return math.Abs(a.mm()-b.mm()) <= (a.half()+b.half())*(1+1e-9)
}

// relabels reports whether a's number, read in another unit, agrees with b.
func relabels(a, b printed) bool {
	for u := range units {
		if Unit(u) != a.unit && meet(a.in(Unit(u), 1), b) {
			return true
		}
	}
	return false
}

// shifts reports whether a agrees with b after moving its decimal point.
func shifts(a, b printed) bool {
	for _, f := range []float64{0.01, 0.1, 10, 100} {
		if meet(a.in(a.unit, f), b) {
			return true
		}
	}
	return false
}

// reprint writes the length from in like's unit with like's decimals, or as many
// as from's own last digit is worth.
func reprint(from, like printed) string {
	worth := math.Round(-math.Log10(from.step * from.unit.MM() / like.unit.MM()))
	decimals := max(int(math.Round(-math.Log10(like.step))), int(worth))
	return strconv.FormatFloat(math.Abs(from.mm())/like.unit.MM(), 'f', decimals, 64)
}

// oneSlip reports whether one slip of the pen turns right into wrong: a digit
// replaced, left out or added, or two neighbours swapped.
func oneSlip(wrong, right string) bool {
	if wrong == right {
		return false
	}
	i := 0
	for i < len(wrong) && i < len(right) && wrong[i] == right[i] {
		i++
	}
	w, r := wrong[i:], right[i:]
	switch {
	case len(w) == len(r):
		return w[1:] == r[1:] || len(w) > 1 && w[0] == r[1] && w[1] == r[0] && w[2:] == r[2:]
	case len(w)+1 == len(r):
		return w == r[1:]
	case len(w) == len(r)+1:
		return w[1:] == r
	}
	return false
}

// String tells the outcome in a sentence.
func (a Agreement) String() string {
	if a.Agree {
		return "the figures agree within their rounding"
	}
	s := fmt.Sprintf("the figures differ by %.4g mm where rounding explains %.4g mm: the first should be %s or the second %s",
		math.Abs(a.Difference), a.Rounding, a.FirstShould, a.SecondShould)
	if a.Suspect != "" {
		return s + fmt.Sprintf("; probably a slip of the %s in the %s", a.Slip, a.Suspect)
	}
	if a.Slip != NoSlip {
		return s + fmt.Sprintf("; probably a slip of the %s", a.Slip)
	}
	return s
}
