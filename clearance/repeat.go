package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// RepeatOutcome is what a second strip in the same bearing says of the first.
type RepeatOutcome string

// The outcomes of Repeated.
const (
	Confirmed   RepeatOutcome = "confirmed"          // both tell the same
	NotRepeated RepeatOutcome = "not repeated"       // they contradict each other
	ThirdNeeded RepeatOutcome = "third strip needed" // between the two
)

// Bounds of the repeat test, in standard uncertainties of the difference. Of two
// honest strips 91 % are confirmed, 8.4 % ask for a third and 0.5 % are not
// repeated: two normal differences, each within 2, or one beyond 3.
const (
	repeatAgree = 2.0
	repeatApart = 3.0
)

// Laying is an allowance for what two strips laid with care in one bearing differ
// by beyond all that is read, in mm: a standard uncertainty of each, 0.00005 in,
// half the finest step that limits are printed in. No source; who has laid many
// strips in one bearing should use what they found.
const Laying = 0.00127

// Repeat compares two strips of one bearing.
type Repeat struct {
	Outcome    RepeatOutcome
	Difference quantity.Value // mm, second clearance minus first, without what both share
	// TaperDifference in mm is the second taper minus the first; where Directed is
	// false, that of their sizes.
	TaperDifference quantity.Value
	// Directed reports whether both strips tell front from rear. Ends a and b of
	// two photos need not be the same ends, so then only sizes are compared.
	Directed bool
	// Turned reports that the tapers have one size and opposite directions.
	Turned bool
}

// Repeated compares a second strip laid in the same bearing with the first. The
// clearances and the tapers must each agree within 2 standard uncertainties of
// their difference to be confirmed; beyond 3 in either they are not repeated. The
// uncertainty of a difference leaves out what both strips share and takes in
// laying (mm, standard, not negative; see Laying) for each.
//
// It refuses readings that Check refuses.
func Repeated(first, second Gauged, laying float64) (Repeat, error) {
	for i, g := range []Gauged{first, second} {
		if err := g.Check(); err != nil {
			return Repeat{}, fmt.Errorf("repeat: strip %d: %w", i+1, err)
		}
	}
	if !uncertainty(laying) {
		return Repeat{}, fmt.Errorf("repeat: laying %v mm: must be finite and not negative", laying)
	}
	r := Repeat{Difference: second.Minus(first)}
	r.Difference.U = math.Hypot(r.Difference.U, math.Sqrt2*laying)

	t1, known1 := first.frontTaper()
	t2, known2 := second.frontTaper()
	r.Directed = known1 && known2
	u := math.Hypot(math.Hypot(t1.U, t2.U), math.Sqrt2*laying)
	sizes := quantity.Value{X: math.Abs(t2.X) - math.Abs(t1.X), U: u}
	r.TaperDifference = sizes
	if r.Directed {
		r.TaperDifference.X = t2.X - t1.X
	}
	z := max(score(r.Difference), score(r.TaperDifference))
	switch {
	case z <= repeatAgree:
		r.Outcome = Confirmed
	case z <= repeatApart:
		r.Outcome = ThirdNeeded
	default:
		r.Outcome = NotRepeated
	}
	r.Turned = r.Directed && score(r.TaperDifference) > repeatApart && score(sizes) <= repeatAgree
	return r, nil
}

func score(d quantity.Value) float64 { return math.Abs(d.X) / d.U }

// frontTaper returns the taper as front minus rear and whether it is known which
// end is which.
func (g Gauged) frontTaper() (quantity.Value, bool) {
	switch g.Ends {
	case [2]string{"front", "rear"}:
		return g.Taper, true
	case [2]string{"rear", "front"}:
		return quantity.Value{X: -g.Taper.X, U: g.Taper.U}, true
	}
	return g.Taper, false
}

// String says what the comparison means and what to do next.
func (r Repeat) String() string {
	s := fmt.Sprintf("%s: clearances differ by %s, tapers by %s", r.Outcome,
		quantity.Format(r.Difference.X, repeatAgree*r.Difference.U, quantity.MM),
		quantity.Format(r.TaperDifference.X, repeatAgree*r.TaperDifference.U, quantity.MM))
	if !r.Directed {
		s += " (sizes only: front and rear are not known of both)"
	}
	switch {
	case r.Turned:
		s += "; the taper turned round, so it belongs to how the strip or cap lay, or a card's arrow pointed the wrong way: clean both faces and measure again"
	case r.Outcome == NotRepeated:
		s += "; look for dirt, a cocked cap or a strip laid askew, clean both faces and lay another until two agree"
	case r.Outcome == ThirdNeeded:
		s += "; too far apart to agree and too near to contradict: lay a third"
	}
	return s
}
