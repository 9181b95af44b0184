package quantity

import (
	"fmt"
	"math"
)

// Term is one line of an uncertainty budget.
type Term struct {
	Name string
	// U is the term's standard uncertainty carried through to the result, in the
	// result's unit: |sensitivity| times the input's standard uncertainty.
	U float64
	// Common terms are shared by all readings that are averaged and do not shrink.
	Common bool
	// DoF is the degrees of freedom behind U. 0 is "not limited" and counts as
	// infinite, as for a term from a bound that is surely known (JCGM 100 G.4.3).
	DoF float64
}

// Budget is a list of uncorrelated terms of one result. What two results share is
// told by the terms' Common mark. The zero Budget is empty.
type Budget struct{ terms []Term }

// NewBudget checks the terms: names present and used once, U finite and not
// negative, DoF 0 or at least 1.
func NewBudget(terms ...Term) (Budget, error) {
	seen := map[string]bool{}
	for i, t := range terms {
		switch {
		case t.Name == "":
			return Budget{}, fmt.Errorf("budget: term %d has no name", i+1)
		case seen[t.Name]:
			return Budget{}, fmt.Errorf("budget: term %q stands twice", t.Name)
		case !(t.U >= 0) || math.IsInf(t.U, 0):
			return Budget{}, fmt.Errorf("budget: term %q: uncertainty %v is not a finite positive number", t.Name, t.U)
		case t.DoF != 0 && !(t.DoF >= 1):
			return Budget{}, fmt.Errorf("budget: term %q: %v degrees of freedom; need at least 1, or 0 for unlimited", t.Name, t.DoF)
		}
		seen[t.Name] = true
	}
	return Budget{append([]Term(nil), terms...)}, nil
}

// Terms returns a copy of the budget's terms in the order given.
func (b Budget) Terms() []Term { return append([]Term(nil), b.terms...) }

// U returns the combined standard uncertainty, the root sum of squares
// (JCGM 100:2008 equation 10 with the sensitivities already applied).
func (b Budget) U() float64 { return b.rootSum(func(Term) bool { return true }) }

// CommonU returns the combined standard uncertainty of the common terms: what
// remains however many readings are averaged.
func (b Budget) CommonU() float64 { return b.rootSum(func(t Term) bool { return t.Common }) }

func (b Budget) rootSum(use func(Term) bool) float64 {
	var u float64
	for _, t := range b.terms {
		if use(t) {
			u = math.Hypot(u, t.U)
		}
	}
	return u
}

// DoF returns the effective degrees of freedom by the Welch-Satterthwaite formula
// (JCGM 100:2008 equation G.2b), +Inf where no term limits them.
func (b Budget) DoF() float64 {
	u := b.U()
	var sum float64
	for _, t := range b.terms {
		if t.DoF != 0 && t.U > 0 {
			r := t.U / u
			sum += r * r * r * r / t.DoF
		}
	}
	return 1 / sum
}

// Mean returns the budget of the mean of n >= 1 readings that each have this
// budget: terms that are not common shrink by sqrt(n), common ones stay. Degrees
// of freedom are kept as they are, which errs to the safe side.
func (b Budget) Mean(n int) (Budget, error) {
	if n < 1 {
		return Budget{}, fmt.Errorf("budget: mean of %d readings; need at least 1", n)
	}
	m := Budget{b.Terms()}
	for i := range m.terms {
		if !m.terms[i].Common {
			m.terms[i].U /= math.Sqrt(float64(n))
		}
	}
	return m, nil
}

// Expanded is an expanded uncertainty U = K u.
type Expanded struct{ K, U float64 }

// Expand returns the expanded uncertainty for a coverage.
func (b Budget) Expand(c Coverage) (Expanded, error) {
	k, err := c.Factor(b.DoF())
	if err != nil {
		return Expanded{}, err
	}
	return Expanded{k, k * b.U()}, nil
}
