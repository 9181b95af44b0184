package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Names of the terms of a predicted clearance.
const (
	TermBore    = "housing bore"
	TermWall    = "shell walls"
	TermJournal = "journal"
)

// Parts are the measured parts of one bearing, mm, each with its standard
// uncertainty. Bore is the housing's without shells, cap torqued; Wall is that of
// one shell at its crown. A Wall of zero with no uncertainty means that Bore was
// measured over the fitted shells.
type Parts struct{ Bore, Wall, Journal quantity.Value }

// Check reports parts that are none.
func (p Parts) Check() error {
	for _, part := range []struct {
		name string
		v    quantity.Value
	}{{TermBore, p.Bore}, {"shell wall", p.Wall}, {TermJournal, p.Journal}} {
		if part.name == "shell wall" && part.v == (quantity.Value{}) {
			continue
		}
		if !positive(part.v.X) || !positive(part.v.U) {
			return fmt.Errorf("%s %v mm with standard uncertainty %v mm: both must be positive numbers", part.name, part.v.X, part.v.U)
		}
	}
	return nil
}

// Predict returns the clearance the parts give, bore - 2 x wall - journal, in mm,
// which may be negative. Both shells have one wall, so its uncertainty counts
// twice. The three uncertainties are taken as independent; where one instrument
// measured all, what it is wrong by alike in bore and journal cancels and the
// result is surer than stated.
func (p Parts) Predict() (quantity.Value, quantity.Budget, error) {
	if err := p.Check(); err != nil {
		return quantity.Value{}, quantity.Budget{}, fmt.Errorf("micrometer route: %w", err)
	}
	b, err := quantity.NewBudget(
		quantity.Term{Name: TermBore, U: p.Bore.U},
		quantity.Term{Name: TermWall, U: 2 * p.Wall.U},
		quantity.Term{Name: TermJournal, U: p.Journal.U},
	)
	return quantity.Value{X: p.Bore.X - 2*p.Wall.X - p.Journal.X, U: b.U()}, b, err
}

// Match compares two independent results for one clearance.
type Match struct {
	Difference float64 // mm, first minus second
	Rooted     float64 // mm, root sum of squares of both expanded uncertainties
	En         float64 // normalised error, Difference over Rooted
	Agree      bool    // |En| <= 1
}

// NormalisedError compares two results that share no error, such as the clearance
// read from a strip and that predicted from the parts, by the normalised error
// E_n = (x1 - x2)/sqrt(U1^2 + U2^2) of ISO/IEC 17043, with expanded uncertainties
// of one coverage factor, usually 2.
func NormalisedError(first, second quantity.Value, c quantity.Coverage) (Match, error) {
	k, err := c.Factor(math.Inf(1))
	if err != nil {
		return Match{}, err
	}
	for _, v := range []quantity.Value{first, second} {
		if !finite(v.X) || !positive(v.U) {
			return Match{}, fmt.Errorf("normalised error: %v mm with standard uncertainty %v mm: must be finite, the uncertainty positive", v.X, v.U)
		}
	}
	m := Match{Difference: first.X - second.X, Rooted: k * math.Hypot(first.U, second.U)}
	m.En = m.Difference / m.Rooted
	m.Agree = math.Abs(m.En) <= 1
	return m, nil
}
