package calib

import (
	"errors"
	"fmt"
	"math"
)

// ErrNoConsensus reports that no homography agrees with 5 of the points.
var ErrNoConsensus = errors.New("no 5 points agree on one flat card: check focus and that the card lies flat")

// robustMost is the largest set searched exhaustively: 1820 subsets of 4.
const robustMost = 16

// FitHomographyRobust fits a homography to the pairs that agree within tolPx
// pixels and reports which those are. It tries every subset of 4 of at most 16
// pairs and keeps the one with the least sum of squared distances, each cut off
// at tolPx, so the answer does not depend on chance. With exactly 4 pairs
// nothing can be left out; with more, at least 5 must agree, since any 4 do.
//
// Lens distortion counts as disagreement: choose tolPx above it.
//
// Errors: those of FitHomography, and ErrNoConsensus.
func FitHomographyRobust(card []CardPoint, img []PixelPoint, tolPx float64) (Homography, []bool, error) {
	n := len(card)
	switch {
	case !(tolPx > 0) || math.IsInf(tolPx, 0):
		return Homography{}, nil, fmt.Errorf("robust homography: tolerance %g px: give a positive one", tolPx)
	case n > robustMost:
		return Homography{}, nil, fmt.Errorf("robust homography: %d points: give at most %d", n, robustMost)
	case n <= 4 || len(img) != n:
		h, err := FitHomography(card, img)
		if err != nil {
			return Homography{}, nil, err
		}
		return h, []bool{true, true, true, true}, nil
	}
	for i := range card {
		if v := card[i].X + card[i].Y + img[i].X + img[i].Y; math.IsNaN(v) || math.IsInf(v, 0) {
			return Homography{}, nil, fmt.Errorf("robust homography: pair %d: %w", i, ErrBadPoint)
		}
	}
	best, found := bestOfFour(card, img, tolPx)
	if !found {
		return Homography{}, nil, fmt.Errorf("robust homography: %w", ErrDegenerate)
	}
	return growConsensus(best, card, img, tolPx)
}

// bestOfFour returns the exact homography of the subset of 4 that the others
// agree with best.
func bestOfFour(card []CardPoint, img []PixelPoint, tol float64) (best Homography, found bool) {
	least := math.Inf(1)
	n := len(card)
	for a := 0; a < n; a++ {
		for b := a + 1; b < n; b++ {
			for c := b + 1; c < n; c++ {
				for d := c + 1; d < n; d++ {
					h, ok := exactHomography(
						[4]CardPoint{card[a], card[b], card[c], card[d]},
						[4]PixelPoint{img[a], img[b], img[c], img[d]})
					if !ok {
						continue
					}
					if _, cost := agree(h, card, img, tol); cost < least {
						best, least, found = h, cost, true
					}
				}
			}
		}
	}
	return best, found
}

// growConsensus refits to the agreeing pairs until they stay the same.
func growConsensus(h Homography, card []CardPoint, img []PixelPoint, tol float64) (Homography, []bool, error) {
	in, _ := agree(h, card, img, tol)
	for range 10 {
		var c []CardPoint
		var p []PixelPoint
		for i, ok := range in {
			if ok {
				c, p = append(c, card[i]), append(p, img[i])
			}
		}
		if len(c) < 5 {
			return Homography{}, nil, fmt.Errorf("robust homography: %w", ErrNoConsensus)
		}
		var err error
		if h, err = FitHomography(c, p); err != nil {
			return Homography{}, nil, err
		}
		next, _ := agree(h, card, img, tol)
		same := true
		for i := range in {
			same = same && in[i] == next[i]
		}
		if same {
			return h, in, nil
		}
		in = next
	}
	return Homography{}, nil, fmt.Errorf("robust homography: %w", ErrNoConsensus)
}

// agree reports which pairs h maps within tol, and the sum of squared distances
// cut off at tol.
func agree(h Homography, card []CardPoint, img []PixelPoint, tol float64) ([]bool, float64) {
	in, cost := make([]bool, len(card)), 0.0
	for i := range card {
		d := math.Inf(1)
		if p, ok := h.Image(card[i]); ok {
			d = p.Sub(img[i]).Norm()
		}
		in[i] = d <= tol
		cost += math.Min(d*d, tol*tol)
	}
	return in, cost
}

// exactHomography maps four points onto four by way of the projective frame in
// which they are the three axes and their sum, or returns false when three of
// either set lie on a line or the four are not seen from one side.
func exactHomography(card [4]CardPoint, img [4]PixelPoint) (Homography, bool) {
	var from, to [4][2]float64
	for i := range 4 {
		from[i] = [2]float64{card[i].X, card[i].Y}
		to[i] = [2]float64{img[i].X, img[i].Y}
	}
	a, wa, ok := frame(from)
	if !ok {
		return Homography{}, false
	}
	b, wb, ok := frame(to)
	if !ok {
		return Homography{}, false
	}
	// The third coordinate at a point is the ratio of its weights; all four
	// have one sign where the camera sees them from the front.
	for i := range wa {
		if wa[i]*wb[i]*(wa[0]*wb[0]) <= 0 {
			return Homography{}, false
		}
	}
	h := compose(b, adjugate(a))
	if w := h[6]*card[0].X + h[7]*card[0].Y + h[8]; w < 0 {
		for i := range h {
			h[i] = -h[i]
		}
	}
	return h, true
}

// frame returns the matrix whose columns are three of the points, weighted so
// that they sum to the fourth, and those weights. It refuses points of which
// three lie on a line to within a thousandth of the set's size.
func frame(p [4][2]float64) (m [9]float64, weights [3]float64, ok bool) {
	area := func(a, b, c [2]float64) float64 {
		return (b[0]-a[0])*(c[1]-a[1]) - (b[1]-a[1])*(c[0]-a[0])
	}
	all := area(p[0], p[1], p[2])
	weights = [3]float64{
		area(p[3], p[1], p[2]) / all, area(p[0], p[3], p[2]) / all, area(p[0], p[1], p[3]) / all,
	}
	size := 0.0
	for _, a := range p {
		for _, b := range p {
			size = math.Max(size, math.Hypot(a[0]-b[0], a[1]-b[1]))
		}
	}
	small := 1e-3 * size * size
	if !(math.Abs(all) > small) {
		return m, weights, false
	}
	for i, w := range weights {
		if !(math.Abs(w*all) > small) {
			return m, weights, false
		}
		m[i], m[3+i], m[6+i] = w*p[i][0], w*p[i][1], w
	}
	return m, weights, true
}
