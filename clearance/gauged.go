package clearance

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"stripgap/calib/quantity"
)

// TermPrintScale is the name by which readings carry the error of the card's print
// in their budget.
const TermPrintScale = "print scale"

// Gauged is what one strip told, as the checks over several strips need it.
type Gauged struct {
	Clearance quantity.Value  // mm
	Budget    quantity.Budget // of Clearance
	Taper     quantity.Value  // mm, clearance at the first end minus that at the second
	Ends      [2]string       // names of the first and the second end
	// Lot of strip and Sheet of printed cards. Readings of one lot share the error
	// of its section area, those of one sheet that of its print. Empty means not
	// known, and then nothing is taken to be shared.
	Lot, Sheet string
}

// Check reports figures that are none: a clearance or taper that is not finite, an
// uncertainty that is not positive, ends without two names.
func (g Gauged) Check() error {
	switch {
	case !positive(g.Clearance.X) || !positive(g.Clearance.U):
		return fmt.Errorf("clearance %v mm with standard uncertainty %v mm: both must be positive numbers", g.Clearance.X, g.Clearance.U)
	case !finite(g.Taper.X) || !positive(g.Taper.U):
		return fmt.Errorf("taper %v mm with standard uncertainty %v mm: must be a number, its uncertainty positive", g.Taper.X, g.Taper.U)
	case g.Ends[0] == "" || g.Ends[0] == g.Ends[1]:
		return fmt.Errorf("ends %q and %q need two different names", g.Ends[0], g.Ends[1])
	case math.Abs(g.Budget.U()-g.Clearance.U) > 1e-6*g.Clearance.U:
		return fmt.Errorf("the budget's terms combine to %v mm, but the clearance's standard uncertainty is %v mm", g.Budget.U(), g.Clearance.U)
	}
	return nil
}

// shares returns what a term is an error of: a lot, a sheet, or, empty, this one
// photo.
func (g Gauged) shares(term string) string {
	switch {
	case g.Lot != "" && (term == TermArea || term == TermEdgeShape || term == TermTemperature):
		return term + " of lot " + g.Lot
	case g.Sheet != "" && term == TermPrintScale:
		return term + " of sheet " + g.Sheet
	}
	return ""
}

// sumU returns the standard uncertainty in mm of the weighted sum of clearances.
// What strips share is one error, so its parts add with their signs before they
// are squared (JCGM 100:2008 5.2.2 with correlation 1).
func sumU(list []Gauged, weights []float64) float64 {
	shared := map[string]float64{}
	var square float64
	for i, g := range list {
		for _, t := range g.Budget.Terms() {
			part := weights[i] * t.U
			if key := g.shares(t.Name); key != "" {
				shared[key] += part
			} else {
				square += part * part
			}
		}
	}
	// In one order, so that the last digit is the same each time.
	for _, key := range slices.Sorted(maps.Keys(shared)) {
		part := shared[key]
		square += part * part
	}
	return math.Sqrt(square)
}

// Minus returns g's clearance less that of other, mm. What both share nearly
// cancels: of a shared error of the section area there remains the same fraction
// of the difference.
func (g Gauged) Minus(other Gauged) quantity.Value {
	return quantity.Value{
		X: g.Clearance.X - other.Clearance.X,
		U: sumU([]Gauged{g, other}, []float64{1, -1}),
	}
}

// OwnU returns the standard uncertainty in mm of the clearance without what it
// shares with other strips of its lot and sheet.
func (g Gauged) OwnU() float64 {
	var square float64
	for _, t := range g.Budget.Terms() {
		if g.shares(t.Name) == "" {
			square += t.U * t.U
		}
	}
	return math.Sqrt(square)
}

// SharedU is the rest: what strips of the same lot and sheet have in common, mm.
func (g Gauged) SharedU() float64 {
	own := g.OwnU()
	return math.Sqrt(max(0, g.Clearance.U*g.Clearance.U-own*own))
}

// sharedCovariance is the covariance in mm2 of two readings by what they share.
func sharedCovariance(a, b Gauged) float64 {
	parts := map[string]float64{}
	for _, t := range a.Budget.Terms() {
		if key := a.shares(t.Name); key != "" {
			parts[key] = t.U
		}
	}
	var c float64
	for _, t := range b.Budget.Terms() {
		if key := b.shares(t.Name); key != "" {
			c += parts[key] * t.U
		}
	}
	return c
}
