package clearance

import (
	"errors"
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Verdict is what can be said of a reading against limits.
type Verdict string

// The three verdicts.
const (
	Inside     Verdict = "inside"      // within the limits, the uncertainty counted
	Outside    Verdict = "outside"     // beyond a limit, the uncertainty counted
	CannotTell Verdict = "cannot tell" // a limit lies within the uncertainty
)

// Decision is a verdict with what it rests on.
type Decision struct {
	Verdict Verdict
	// Conformity is the probability that the true value lies within the limits.
	Conformity float64
	// Accept are the limits drawn in by the guard band. Lo above Hi means that the
	// uncertainty is too large for these limits to find anything inside.
	Accept Limits
	// Guard is the width of the guard band in mm, the expanded uncertainty.
	Guard float64
}

// Decide judges an estimate in mm against limits. The rule is that of ISO 14253-1
// with the expanded uncertainty as guard band: inside when the estimate lies
// within the limits by at least guard, outside when it lies beyond one by more
// than guard, and otherwise it cannot be told. Guard 0 is simple acceptance
// (JCGM 106:2012 8.2), which always tells.
//
// It refuses limits that Check refuses, an estimate that is not finite, a standard
// uncertainty that is not positive, and a guard band that is negative.
func Decide(v quantity.Value, guard float64, l Limits) (Decision, error) {
	p, err := Conformity(v, l)
	if err != nil {
		return Decision{}, err
	}
	if !uncertainty(guard) {
		return Decision{}, fmt.Errorf("decision: guard band %v mm: must be finite and not negative", guard)
	}
	d := Decision{CannotTell, p, Limits{l.Lo + guard, l.Hi - guard}, guard}
	switch {
	case d.Accept.Contains(v.X):
		d.Verdict = Inside
	case v.X < l.Lo-guard || v.X > l.Hi+guard:
		d.Verdict = Outside
	}
	return d, nil
}

// Conformity returns the probability that a quantity known as v lies within the
// limits, taking what is known of it as a normal distribution (JCGM 106:2012 7.3
// for one limit, 7.4 for two). Errors are those of Decide.
func Conformity(v quantity.Value, l Limits) (float64, error) {
	if err := l.Check(); err != nil {
		return 0, fmt.Errorf("decision: limits: %w", err)
	}
	if !finite(v.X) || !positive(v.U) {
		return 0, fmt.Errorf("decision: %v mm with standard uncertainty %v mm cannot be judged; both must be finite, the second positive", v.X, v.U)
	}
	lo, hi := (l.Lo-v.X)/v.U, (l.Hi-v.X)/v.U
	if lo > 0 { // the same area in the other tail, where nothing cancels
		lo, hi = -hi, -lo
	}
	return below(hi) - below(lo), nil
}

// FlagEndOutside marks a reading or a bearing that is inside its limits by the mean and
// not by an end.
const FlagEndOutside = "end-outside"

// EndOutside reports whether an estimate at an end (mm, with its standard uncertainty)
// lies beyond a limit that the mean keeps, by more than k times its uncertainty.
func (d Decision) EndOutside(end quantity.Value, k float64, l Limits) bool {
	return d.Verdict == Inside && (end.X < l.Lo-k*end.U || end.X > l.Hi+k*end.U)
}

// below is the standard normal distribution function.
func below(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// ErrOutOfRange is wrapped by the refusal to judge a reading outside the range
// its strip is made for.
var ErrOutOfRange = errors.New("outside the strip's own range")

// Judge decides on the mean clearance with the guard band of a coverage. A reading
// with FlagOutOfRange is an error wrapping ErrOutOfRange: what a strip says beyond
// its own range is no ground for a verdict.
func (r Reading) Judge(l Limits, c quantity.Coverage) (Decision, error) {
	for _, f := range r.Flags {
		if f == FlagOutOfRange {
			return Decision{}, fmt.Errorf("clearance %.3f mm (%.3f and %.3f mm at the ends) is %w, %s; measure again with a strip whose range covers it",
				r.Clearance.X, r.Ends[0].Clearance.X, r.Ends[1].Clearance.X, ErrOutOfRange, r.Range.Format(quantity.MM, 3))
		}
	}
	e, err := r.Budget.Expand(c)
	if err != nil {
		return Decision{}, err
	}
	return Decide(r.Clearance, e.U, l)
}
