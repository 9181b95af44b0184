package clearance

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"stripgap/calib/quantity"
)

// SwapKind is what two bearings may have exchanged.
type SwapKind string

// The exchanges FindSwap looks for. A rod takes its big-end bore with it, cap
// included; a cap takes half of the bore; shells take their wall.
const (
	SwapCaps   SwapKind = "caps"
	SwapShells SwapKind = "shells"
	SwapRods   SwapKind = "rods"
)

// Listed is one bearing with the parts that the listing says are in it, and what
// a strip read there.
type Listed struct {
	Name  string
	Parts Parts
	Read  Gauged
}

// Candidate is one explanation of the readings.
type Candidate struct {
	Kind SwapKind // empty for the listing as it stands
	A, B int      // indices of the two bearings
	// LogRatio is the natural logarithm of its likelihood over the listing's.
	LogRatio float64
	// Probability among all candidates, with the prior that FindSwap states.
	Probability float64
	// Chance is the probability of residuals as large as these if it is true.
	Chance float64
}

// SwapSearch is what FindSwap found.
type SwapSearch struct {
	Listing    Candidate   // the parts where they are listed
	Candidates []Candidate // every swap, likeliest first
	// Hint reports that the listing does not fit the readings, a swap does, and
	// all swaps together are likelier than 95 %.
	Hint bool
	// Likely counts the leading candidates that are at least a twentieth as likely as
	// the first. Above 1 the readings do not say which of them it was.
	Likely int
}

// What FindSwap assumes.
const (
	// Nine builds in ten have every part where it is listed; the rest is shared
	// alike by the kinds, and within a kind by the pairs. Our choice.
	priorListed = 0.9
	// A cap on the wrong housing changes the bore, by an unknown amount that the
	// other housing loses: standard deviation in mm. An allowance, no source.
	capSpread = 0.02
	// An error that all bearings have in common, as of a setting standard, is left
	// nearly free, mm: a swap shows in the differences.
	commonOffset = 0.05
	// Bounds of the hint.
	listingMisfit, swapFit, hintProbability = 0.01, 0.01, 0.95
)

// FindSwap compares readings with the parts listed for each bearing and looks for
// the one exchange of two bearings' caps, shells or rods that explains the
// readings better. Each explanation predicts bore - 2 x wall - journal; the
// differences from the readings are taken as normal, with the uncertainties of the
// parts and of the readings and laying (mm, standard; see Laying), and with what
// the readings share. Where a cap went is seen only as one bearing gaining what
// another loses.
//
// What it finds is a hint to look at the numbers stamped on the parts, no more: an
// exchange of parts of one size cannot be seen, and exchanges with like effects
// cannot be told apart. It needs two bearings or more, kinds without repeats, and
// refuses parts and readings that their Check refuses.
func FindSwap(list []Listed, kinds []SwapKind, laying float64) (SwapSearch, error) {
	if err := checkListed(list, kinds, laying); err != nil {
		return SwapSearch{}, fmt.Errorf("swap search: %w", err)
	}
	n := len(list)
	covariance := readingCovariance(list, laying)
	listing, err := explain(list, Candidate{}, covariance)
	if err != nil {
		return SwapSearch{}, err
	}
	base := listing.LogRatio
	s := SwapSearch{Listing: listing}
	s.Listing.LogRatio = 0
	for _, kind := range kinds {
		for a := range n {
			for b := a + 1; b < n; b++ {
				c, err := explain(list, Candidate{Kind: kind, A: a, B: b}, covariance)
				if err != nil {
					return SwapSearch{}, err
				}
				c.LogRatio -= base
				s.Candidates = append(s.Candidates, c)
			}
		}
	}
	s.weigh(float64(len(kinds)*n*(n-1)) / 2)
	return s, nil
}

func checkListed(list []Listed, kinds []SwapKind, laying float64) error {
	if len(list) < 2 {
		return fmt.Errorf("%d bearings with parts and a reading; need at least 2", len(list))
	}
	if !uncertainty(laying) {
		return fmt.Errorf("laying %v mm: must be finite and not negative", laying)
	}
	for i, b := range list {
		if err := b.Parts.Check(); err != nil {
			return fmt.Errorf("bearing %q: %w", b.Name, err)
		}
		if err := b.Read.Check(); err != nil {
			return fmt.Errorf("bearing %q: %w", b.Name, err)
		}
		if (b.Parts.Wall == quantity.Value{}) != (list[0].Parts.Wall == quantity.Value{}) {
			return fmt.Errorf("bearing %q: shell wall given for some bearings only, which is bearing %d of the list", b.Name, i+1)
		}
	}
	if len(kinds) == 0 {
		return errors.New("no kind of exchange to look for")
	}
	seen := map[SwapKind]bool{}
	for _, k := range kinds {
		if k != SwapCaps && k != SwapShells && k != SwapRods || seen[k] {
			return fmt.Errorf("kind %q: unknown or named twice", k)
		}
		if k == SwapShells && (list[0].Parts.Wall == quantity.Value{}) {
			return errors.New("an exchange of shells cannot be seen without their walls")
		}
		seen[k] = true
	}
	return nil
}

// readingCovariance is that of the readings, mm2, with the common offset.
func readingCovariance(list []Listed, laying float64) *mat.SymDense {
	n := len(list)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			c := commonOffset * commonOffset
			if i == j {
				c += laying*laying + list[i].Read.Clearance.U*list[i].Read.Clearance.U
			} else {
				c += sharedCovariance(list[i].Read, list[j].Read)
			}
			v.SetSym(i, j, c)
		}
	}
	return v
}

// explain gives a candidate its log likelihood, in LogRatio, and its fit.
func explain(list []Listed, c Candidate, readings *mat.SymDense) (Candidate, error) {
	n := len(list)
	v := mat.NewSymDense(n, nil)
	v.CopySym(readings)
	e := mat.NewVecDense(n, nil)
	for i := range list {
		p, _, err := swapped(list, c, i).Predict()
		if err != nil {
			return c, err
		}
		e.SetVec(i, list[i].Read.Clearance.X-p.X)
		v.SetSym(i, i, v.At(i, i)+p.U*p.U)
	}
	if c.Kind == SwapCaps {
		const s2 = capSpread * capSpread
		v.SetSym(c.A, c.A, v.At(c.A, c.A)+s2)
		v.SetSym(c.B, c.B, v.At(c.B, c.B)+s2)
		v.SetSym(c.A, c.B, v.At(c.A, c.B)-s2)
	}
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return c, errors.New("swap search: uncertainties too small beside the common offset")
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, e); err != nil {
		return c, fmt.Errorf("swap search: %w", err)
	}
	chi := mat.Dot(e, &x)
	c.LogRatio = -(chi + chol.LogDet()) / 2
	c.Chance = quantity.ChiSquareChance(chi, n-1) // the free common offset takes one
	return c, nil
}

// swapped returns the parts in bearing i if the candidate is true.
func swapped(list []Listed, c Candidate, i int) Parts {
	p, from := list[i].Parts, i
	switch i {
	case c.A:
		from = c.B
	case c.B:
		from = c.A
	}
	switch c.Kind {
	case SwapShells:
		p.Wall = list[from].Parts.Wall
	case SwapRods:
		p.Bore = list[from].Parts.Bore
	}
	return p
}

// weigh turns likelihoods into probabilities and decides on the hint.
func (s *SwapSearch) weigh(number float64) {
	slices.SortStableFunc(s.Candidates, func(a, b Candidate) int {
		switch {
		case a.LogRatio > b.LogRatio:
			return -1
		case a.LogRatio < b.LogRatio:
			return 1
		}
		return 0
	})
	// Relative to the best, so that nothing overflows.
	top := max(0, s.Candidates[0].LogRatio)
	listing := priorListed * math.Exp(-top)
	sum := listing
	for i := range s.Candidates {
		c := &s.Candidates[i]
		c.Probability = (1 - priorListed) / number * math.Exp(c.LogRatio-top)
		sum += c.Probability
	}
	s.Listing.Probability = listing / sum
	best := s.Candidates[0].LogRatio
	for i := range s.Candidates {
		c := &s.Candidates[i]
		c.Probability /= sum
		if c.LogRatio >= best-math.Log(20) {
			s.Likely++
		}
	}
	s.Hint = s.Listing.Chance < listingMisfit && s.Candidates[0].Chance > swapFit &&
		s.Listing.Probability < 1-hintProbability
}

// Describe says the hint in a sentence, empty where there is none.
func (s SwapSearch) Describe(list []Listed) string {
	if !s.Hint {
		return ""
	}
	var each []string
	for _, c := range s.Candidates[:min(s.Likely, 4)] {
		each = append(each, fmt.Sprintf("the %s of %s and %s (%.0f %%)", c.Kind, list[c.A].Name, list[c.B].Name, 100*c.Probability))
	}
	more := ""
	if s.Likely > 4 {
		more = fmt.Sprintf(" or one of %d more", s.Likely-4)
	}
	return fmt.Sprintf("the readings fit better if two parts are exchanged: %s%s; the listing as it stands %.1g %%. A hint only: look at the numbers on the parts",
		strings.Join(each, ", or "), more, 100*s.Listing.Probability)
}
