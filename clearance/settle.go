package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Settled is what several strips in one bearing say together.
type Settled struct {
	// Agreed reports whether more than half of the strips, and at least two, agree.
	Agreed bool
	// Members and Apart are indices into the strips: those that agree, and those
	// set aside. Nothing agreed leaves Members empty.
	Members, Apart []int
	Clearance      quantity.Value // mm, mean of the members; zero when nothing agreed
	Taper          quantity.Value // mm, mean of the members' tapers, front minus rear where Directed
	Directed       bool           // all members tell front from rear
}

// Settle brings two or more strips of one bearing together by majority. The strip
// that most others confirm (see Repeated), among equals the one nearest the
// median, stands with those that confirm it; they agree when they are more than
// half. Their mean is weighted by what each does not share with the others, and
// what they share does not shrink. Where the members' tapers have no known
// direction, the mean is that of their sizes.
func Settle(strips []Gauged, laying float64) (Settled, error) {
	n := len(strips)
	if n < 2 {
		return Settled{}, fmt.Errorf("settle: %d strips; need at least 2", n)
	}
	agrees := make([][]int, n) // by strip, those it agrees with and itself
	for i := range strips {
		for j := range strips {
			if i == j {
				agrees[i] = append(agrees[i], j)
				continue
			}
			r, err := Repeated(strips[i], strips[j], laying)
			if err != nil {
				return Settled{}, err
			}
			if r.Outcome == Confirmed {
				agrees[i] = append(agrees[i], j)
			}
		}
	}
	best := middle(strips, agrees)
	s := Settled{Agreed: 2*len(agrees[best]) > n}
	if !s.Agreed {
		for i := range strips {
			s.Apart = append(s.Apart, i)
		}
		return s, nil
	}
	s.Members = agrees[best]
	member := map[int]bool{}
	for _, i := range s.Members {
		member[i] = true
	}
	for i := range strips {
		if !member[i] {
			s.Apart = append(s.Apart, i)
		}
	}
	s.mean(strips, laying)
	return s, nil
}

// middle returns the strip with the longest list, among equals the one nearest
// the median clearance.
func middle(strips []Gauged, agrees [][]int) int {
	var all []float64
	for _, g := range strips {
		all = append(all, g.Clearance.X)
	}
	m := median(all)
	best := 0
	for i := range strips {
		longer := len(agrees[i]) - len(agrees[best])
		nearer := math.Abs(all[i]-m) < math.Abs(all[best]-m)
		if longer > 0 || longer == 0 && nearer {
			best = i
		}
	}
	return best
}

// mean fills clearance and taper from the members.
func (s *Settled) mean(strips []Gauged, laying float64) {
	var members []Gauged
	var weights, tapers []float64
	var sum, square float64
	s.Directed = true
	for _, i := range s.Members {
		g := strips[i]
		own := math.Hypot(g.OwnU(), laying)
		members, weights = append(members, g), append(weights, 1/(own*own))
		sum += 1 / (own * own)
		t, known := g.frontTaper()
		tapers = append(tapers, t.X)
		s.Directed = s.Directed && known
	}
	for k, g := range members {
		weights[k] /= sum
		s.Clearance.X += weights[k] * g.Clearance.X
		square += weights[k] * weights[k] * laying * laying
		t := tapers[k]
		if !s.Directed {
			t = math.Abs(t)
		}
		s.Taper.X += weights[k] * t
		u := math.Hypot(g.Taper.U, laying)
		s.Taper.U = math.Hypot(s.Taper.U, weights[k]*u)
	}
	s.Clearance.U = math.Hypot(sumU(members, weights), math.Sqrt(square))
}
