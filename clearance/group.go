package clearance

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

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
	// Difference in mm from the mean of the others, each weighted by scatter and own
	// uncertainty; its uncertainty holds the scatter, too, but not what all share.
	Difference quantity.Value
	// FromMedian in mm is the difference from the median of the others, with the
	// standard uncertainty of this reading alone.
	FromMedian quantity.Value
	// Chance is the probability that some bearing of a group of this size stands as
	// far apart when all are of one kind; at most 1.
	Chance float64
	Apart  string // one of the reasons, or empty
}

// apartChance is the share of groups of one kind in which a bearing may be called
// apart by its scatter.
const apartChance = 0.05

// FindApart tells for each bearing of a group, such as the mains of one shaft,
// whether it stands apart from the others.
//
// By scatter: the bearing is left out, the others' scatter is found beyond their
// own uncertainties (Paule and Mandel, J. Res. NBS 87 (1982) 377), and the
// difference from their mean over its uncertainty is judged by Student's t with the
// others' degrees of freedom, for as many bearings as there are (Bonferroni). Where
// scatter rules this is the test of Grubbs (Technometrics 11 (1969) 1), and at most
// 5 % of groups of one kind have a bearing called apart. Leaving out guards against
// one odd bearing, not against two. A median absolute deviation would, but in
// groups of 3 to 7 it needs differences twice as large for the same false alarms.
// Three bearings show little of their scatter, so among them only gross differences
// are found.
//
// By limit: the bearing is further from the others' median than limit (mm; see
// ApartLimit) and than the expanded uncertainty of its own reading.
//
// A group has at least 3 bearings; clearances must pass Check, the limit must be
// positive. Laying is the allowance for laying a strip (mm, standard, not
// negative; see Laying).
func FindApart(group []Gauged, limit, laying float64, c quantity.Coverage) ([]Standing, error) {
	k, err := c.Factor(math.Inf(1))
	if err != nil {
		return nil, err
	}
	switch {
	case len(group) < 3:
		return nil, fmt.Errorf("group of %d bearings: at least 3 are needed to tell whether one stands apart", len(group))
	case !positive(limit) || !uncertainty(laying):
		return nil, fmt.Errorf("group: limit %v mm, laying %v mm: the first must be a positive number, the second not negative", limit, laying)
	}
	x, u := make([]float64, len(group)), make([]float64, len(group))
	for i, g := range group {
		if err := g.Check(); err != nil {
			return nil, fmt.Errorf("group: bearing %d: %w", i+1, err)
		}
		x[i], u[i] = g.Clearance.X, math.Hypot(g.OwnU(), laying)
	}
	out := make([]Standing, len(group))
	for i := range group {
		s := standing(x, u, i)
		off := math.Abs(s.FromMedian.X)
		switch {
		case s.Chance < apartChance:
			s.Apart = ApartByScatter
		case off > limit && off > k*s.FromMedian.U:
			s.Apart = ApartByLimit
		}
		out[i] = s
	}
	return out, nil
}

// standing compares bearing i with the others.
func standing(x, u []float64, i int) Standing {
	n := len(x)
	ox, ou := slices.Delete(slices.Clone(x), i, i+1), slices.Delete(slices.Clone(u), i, i+1)
	scatter := betweenScatter(ox, ou)
	for j := range ou {
		ou[j] = math.Hypot(ou[j], scatter)
	}
	d := quantity.Value{
		X: x[i] - weightedMean(ox, ou),
		U: math.Hypot(math.Hypot(u[i], scatter), weightedU(ou)),
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 2)}
	return Standing{
		Difference: d,
		FromMedian: quantity.Value{X: x[i] - median(ox), U: u[i]},
		Chance:     min(1, 2*float64(n)*t.Survival(math.Abs(d.X)/d.U)),
	}
}

// betweenScatter returns the standard deviation s that explains how x scatter
// beyond their uncertainties u: with weights 1/(u^2+s^2) the weighted sum of
// squares about the weighted mean is the degrees of freedom; 0 where even s = 0
// gives less. It needs two values or more.
func betweenScatter(x, u []float64) float64 {
	sum := func(s float64) float64 {
		w := make([]float64, len(u))
		for j := range u {
			w[j] = math.Hypot(u[j], s)
		}
		mean, q := weightedMean(x, w), 0.0
		for j := range x {
			q += (x[j] - mean) * (x[j] - mean) / (w[j] * w[j])
		}
		return q
	}
	want := float64(len(x) - 1)
	if sum(0) <= want {
		return 0
	}
	lo, hi := 0.0, spanOf(x) // at s = range each square is below 1
	for range 60 {
		s := (lo + hi) / 2
		if sum(s) > want {
			lo = s
		} else {
			hi = s
		}
	}
	return (lo + hi) / 2
}

// median of at least one number; it does not change the slice.
func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
