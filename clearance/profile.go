package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Kind says how an error of the width acts along one strip.
type Kind int

const (
	// Own errors differ from station to station and shrink in the mean.
	Own Kind = iota
	// Offset errors are the same millimetres everywhere on the strip, as when an
	// edge is placed too far out.
	Offset
	// Scale errors are the same fraction of the width everywhere, as from a wrong
	// print scale or height.
	Scale
)

// WidthTerm is one line of the mean width's uncertainty budget.
type WidthTerm struct {
	Name string
	U    float64 // mm, standard uncertainty of the mean width from this term alone
	Kind Kind
	DoF  float64 // degrees of freedom, 0 for unlimited
}

// Station is the width at one place along the strip.
type Station struct {
	At      float64 // mm along the strip
	Width   float64 // mm
	U       float64 // mm, standard uncertainty from this station's own noise
	Dropped string  // why the station is not used; empty when it is
}

// End is the width at one end of the used part of the strip, read off the line
// fitted through all stations.
type End struct {
	Name  string // "front" and "rear", or "a" and "b" where no front is known
	Width float64
}

// WidthProfile is what one strip's photo tells, in plain millimetres. It is the
// outcome of a robust fit: Mean and the difference of the ends are taken as
// uncorrelated, as they are when stations lie evenly about the middle.
type WidthProfile struct {
	Stations []Station
	Mean     float64     // mm, mean width of the used part
	Terms    []WidthTerm // budget of Mean
	Ends     [2]End
	// TaperU is the standard uncertainty in mm of Ends[0].Width - Ends[1].Width
	// from all that does not act alike on both ends: edge noise, and a strip plane
	// pitched along the strip. What acts alike is in Terms.
	TaperU float64
	// Bow is the sagitta in mm of the quadratic through the stations: width at the
	// middle minus the mean of the widths at both ends.
	Bow quantity.Value
}

// Check reports the first number of the profile that cannot be one: widths not
// positive, uncertainties negative or not finite, ends without different names.
func (p WidthProfile) Check() error {
	if !positive(p.Mean) {
		return fmt.Errorf("width profile: mean width %v mm: must be a positive number", p.Mean)
	}
	if p.Ends[0].Name == "" || p.Ends[0].Name == p.Ends[1].Name {
		return fmt.Errorf("width profile: ends %q and %q need two different names", p.Ends[0].Name, p.Ends[1].Name)
	}
	for _, e := range p.Ends {
		if !positive(e.Width) {
			return fmt.Errorf("width profile: %s end %v mm wide: must be a positive number", e.Name, e.Width)
		}
	}
	if !uncertainty(p.TaperU) || !uncertainty(p.Bow.U) || !finite(p.Bow.X) {
		return fmt.Errorf("width profile: taper uncertainty %v mm, bow %v mm with %v mm: must be finite, uncertainties not negative", p.TaperU, p.Bow.X, p.Bow.U)
	}
	for _, t := range p.Terms {
		if !uncertainty(t.U) || t.Kind < Own || t.Kind > Scale {
			return fmt.Errorf("width profile: term %q: uncertainty %v mm of kind %d: must be finite, not negative and of a known kind", t.Name, t.U, t.Kind)
		}
	}
	for _, s := range p.Stations {
		if s.Dropped == "" && (!positive(s.Width) || !uncertainty(s.U) || !finite(s.At)) {
			return fmt.Errorf("width profile: station at %v mm: width %v mm with %v mm is not a measurement", s.At, s.Width, s.U)
		}
	}
	return nil
}

// NoLot says what a reading without a strip lot lacks and how to mend it.
const NoLot = "No strip lot is given, so only the width and its relative taper are known. " +
	"To get the clearance, learn the strip's section area once (strips crushed on feeler gauges, its sleeve's printed scale, " +
	"or an unused strand; see stripgap strip add --help) and name that lot."

// sum returns the combined standard uncertainty in mm of all terms of the kind.
func (p WidthProfile) sum(k Kind) float64 {
	var u float64
	for _, t := range p.Terms {
		if t.Kind == k {
			u = math.Hypot(u, t.U)
		}
	}
	return u
}

func finite(x float64) bool      { return !math.IsNaN(x) && !math.IsInf(x, 0) }
func uncertainty(u float64) bool { return u >= 0 && !math.IsInf(u, 1) }
