package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// TaperLimit is the end-to-end difference in mm worth a second strip unless the
// maker says otherwise: 0.0005 in. Public overhaul manuals allow journals 0.0002
// to 0.0006 in.
const TaperLimit = 0.0127

// Flags of readings by their taper.
const (
	FlagTaper       = "taper"        // TaperFound
	FlagTaperUnsure = "taper-unsure" // TaperUnsure
)

// TaperFinding is what can be said of the taper of one strip.
type TaperFinding string

// The findings of FindTaper.
const (
	TaperNone   TaperFinding = "none"   // smaller than the limit, the uncertainty counted
	TaperFound  TaperFinding = "found"  // may reach the limit and is no mere noise
	TaperUnsure TaperFinding = "unsure" // a taper of the limit could hide in the uncertainty
)

// Quantiles of the normal distribution that keep both errors of FindTaper to 1 %.
const (
	taperMiss  = 2.3263 // 1 % in one tail: a taper of the limit that is missed
	taperFalse = 2.5758 // 0.5 % in each tail: noise taken for a taper
)

// FindTaper judges a taper (mm, with standard uncertainty) against the limit that
// must be noticed. What it judges is the bearing's taper, so laying (mm, standard,
// not negative; see Laying) adds to the uncertainty: u below. The taper is found
// when its size exceeds both the limit drawn in by 2.33 u and 2.58 u: of strips
// with exactly the limit's taper at most 1 % are missed, and of even strips at most
// 1 % are flagged. Both cannot be kept when u is above the limit's fifth; then
// small tapers are not found, the finding is unsure, and only a surer reading
// helps.
//
// It refuses a limit or an uncertainty that is not positive.
func FindTaper(taper quantity.Value, limit, laying float64) (TaperFinding, error) {
	if !positive(limit) || !uncertainty(laying) {
		return "", fmt.Errorf("taper limit %v mm, laying %v mm: the first must be a positive number, the second not negative", limit, laying)
	}
	if !finite(taper.X) || !positive(taper.U) {
		return "", fmt.Errorf("taper %v mm with standard uncertainty %v mm: must be a number, its uncertainty positive", taper.X, taper.U)
	}
	u := math.Hypot(taper.U, laying)
	size, drawnIn, noise := math.Abs(taper.X), limit-taperMiss*u, taperFalse*u
	switch {
	case size > max(drawnIn, noise):
		return TaperFound, nil
	case drawnIn < noise:
		return TaperUnsure, nil
	}
	return TaperNone, nil
}
