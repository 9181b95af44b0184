package clearance

import (
	"fmt"
	"math"
	"slices"

	"stripgap/calib/quantity"
)

// ApartLimit in mm is how far one bearing's clearance may stand from the others of
// its shaft unless the maker says otherwise: 0.001 in, which a public overhaul
// manual (TM 5-6115-593-34) gives for adjacent main bearings.
const ApartLimit = 0.0254

// Reasons why a bearing stands apart from its group.
const (
	ApartByScatter = "scatter" // far beyond how the others scatter
	ApartByLimit   = "limit"   // further from the others than the limit
)

// Standing is how one bearing stands in its group.
type Standing struct {
	// Difference in mm from the median of the others, with the standard uncertainty
	// of this bearing's own reading: without what all share.
	Difference quantity.Value
	Score      float64 // size of the difference in units of the others' scatter
	Critical   float64 // score beyond which it stands apart
	Apart      string  // one of the reasons, or empty
}

// FindApart tells for each bearing of a group, such as the mains of one shaft,
// whether it stands apart from the others. The test is robust: the others' median
// is the centre, their median absolute deviation with this reading's own
// uncertainty the scatter. In a group whose clearances are all from one normal
// distribution, at most 5 % of groups of any size have a bearing called apart by
// scatter. Three bearings show little of their scatter, so only a gross difference
// is found among them; what is further off than limit (mm; see ApartLimit), and by
// more than its expanded uncertainty, is always named.
//
// A group has at least 3 bearings; clearances must pass Check, the limit must be
// positive.
func FindApart(group []Gauged, limit float64, c quantity.Coverage) ([]Standing, error) {
	if len(group) < 3 {
		return nil, fmt.Errorf("group of %d bearings: at least 3 are needed to tell whether one stands apart", len(group))
	}
	if !positive(limit) {
		return nil, fmt.Errorf("group: limit %v mm: must be a positive number", limit)
	}
	k, err := c.Factor(math.Inf(1))
	if err != nil {
		return nil, err
	}
	for i, g := range group {
		if err := g.Check(); err != nil {
			return nil, fmt.Errorf("group: bearing %d: %w", i+1, err)
		}
	}
	out := make([]Standing, len(group))
	for i := range group {
		out[i] = standing(group, i)
		s := &out[i]
		switch {
		case s.Score > s.Critical:
			s.Apart = ApartByScatter
		case math.Abs(s.Difference.X) > limit && math.Abs(s.Difference.X) > k*s.Difference.U:
			s.Apart = ApartByLimit
		}
	}
	return out, nil
}

func standing(group []Gauged, i int) Standing {
	var others []float64
	for j, g := range group {
		if j != i {
			others = append(others, g.Clearance.X)
		}
	}
	centre := median(others)
	for j := range others {
		others[j] = math.Abs(others[j] - centre)
	}
	own := group[i].OwnU()
	d := quantity.Value{X: group[i].Clearance.X - centre, U: own}
	scatter := math.Hypot(normalMAD*median(others), own)
	return Standing{Difference: d, Score: math.Abs(d.X) / scatter, Critical: criticalScore(len(group))}
}

// normalMAD makes a median absolute deviation the standard deviation of a large
// normal sample: 1 over the normal quantile of 3/4.
const normalMAD = 1.482602218505602

// critical holds, from 3 bearings on, the score that the largest of a group of
// normal clearances exceeds in 5 % of groups.
var critical = [...]float64{3: 40}

func criticalScore(n int) float64 { return critical[min(n, len(critical)-1)] }

// median of at least one number; it does not change the slice.
func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
