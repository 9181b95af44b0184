package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Errors of fits to point pairs, to be matched with errors.Is.
var (
	ErrFewPoints  = errors.New("fewer than 4 points: show more of the card")
	ErrDegenerate = errors.New("points coincide or lie on one line: show marks of both rows")
	ErrBadPoint   = errors.New("point is not finite: leave that mark out")
	ErrHorizon    = errors.New("points lie on both sides of the horizon: check which mark is which")
)

// Homography is ImageFromCard, row by row: it takes card millimetres on the
// plane of the card's face to pixels, without lens distortion. Its overall sign
// is such that the third coordinate is positive in front of the camera.
type Homography [9]float64

// Image returns the pixel of a card point, or false when the point lies at or
// behind the camera's horizon.
func (h Homography) Image(p CardPoint) (PixelPoint, bool) {
	x, y, ok := transform(h, p.X, p.Y)
	return PixelPoint{x, y}, ok
}

// Mirrored reports that the photo shows the card's orientation reversed: it was
// taken by way of a mirror, or flipped afterwards. A card turned upside down is
// not mirrored. (The card's y runs up and the pixel's y down, so the Jacobian
// of a true photo has a negative determinant everywhere.)
func (h Homography) Mirrored() bool {
	a := adjugate(h)
	return h[0]*a[0]+h[1]*a[3]+h[2]*a[6] > 0
}

// FitHomography returns the homography with the least sum of squared pixel
// distances between img and the images of card, for at least 4 pairs of which 4
// have no three on a line. It starts from the direct linear transform in
// normalised coordinates (Hartley, "In defense of the eight-point algorithm",
// IEEE PAMI 19, 1997). A mirrored photo is not an error.
//
// Errors: ErrFewPoints, ErrDegenerate, ErrBadPoint, ErrHorizon, ErrNotConverged.
func FitHomography(card []CardPoint, img []PixelPoint) (Homography, error) {
	h, err := fitHomography(card, img)
	if err != nil {
		return Homography{}, fmt.Errorf("homography: %w", err)
	}
	return h, nil
}

func fitHomography(card []CardPoint, img []PixelPoint) (Homography, error) {
	if len(card) != len(img) {
		return Homography{}, fmt.Errorf("%d card points for %d pixels", len(card), len(img))
	}
	if len(card) < 4 {
		return Homography{}, ErrFewPoints
	}
	from, to := make([][2]float64, len(card)), make([][2]float64, len(card))
	for i := range card {
		from[i] = [2]float64{card[i].X, card[i].Y}
		to[i] = [2]float64{img[i].X, img[i].Y}
	}
	fromNorm, err := normalise(from)
	if err != nil {
		return Homography{}, err
	}
	toNorm, err := normalise(to)
	if err != nil {
		return Homography{}, err
	}
	h, err := linearTransform(from, to)
	if err != nil {
		return Homography{}, err
	}
	if h, err = refineTransform(h, from, to); err != nil {
		return Homography{}, err
	}
	return compose(toNorm.back(), compose(h, fromNorm.matrix())), nil
}

// similarity is v -> (v - (x, y)) * scale.
type similarity struct{ x, y, scale float64 }

func (s similarity) matrix() [9]float64 {
	return [9]float64{s.scale, 0, -s.scale * s.x, 0, s.scale, -s.scale * s.y, 0, 0, 1}
}

func (s similarity) back() [9]float64 {
	return [9]float64{1 / s.scale, 0, s.x, 0, 1 / s.scale, s.y, 0, 0, 1}
}

// normalise moves the points' centroid to the origin and their mean distance
// from it to sqrt(2), in place, and refuses sets that cannot carry a homography.
func normalise(p [][2]float64) (similarity, error) {
	var s similarity
	for _, v := range p {
		if math.IsNaN(v[0]+v[1]) || math.IsInf(v[0]+v[1], 0) {
			return s, ErrBadPoint
		}
		s.x += v[0] / float64(len(p))
		s.y += v[1] / float64(len(p))
	}
	spread := 0.0
	for _, v := range p {
		spread += math.Hypot(v[0]-s.x, v[1]-s.y) / float64(len(p))
	}
	if !(spread > 1e-12*math.Hypot(s.x, s.y)) {
		return s, ErrDegenerate
	}
	s.scale = math.Sqrt2 / spread
	for i, v := range p {
		p[i] = [2]float64{(v[0] - s.x) * s.scale, (v[1] - s.y) * s.scale}
	}
	// A set fixes a homography exactly when mapping it onto itself has no
	// solution besides the identity, whose equations' singular value is 0.
	_, values, ok := nullVector(p, p)
	if !ok || values[7] < 1e-4*values[0] {
		return s, ErrDegenerate
	}
	return s, nil
}

// nullVector solves the direct linear transform's homogeneous equations and
// returns the right singular vector of the least singular value, and all nine
// singular values in falling order.
func nullVector(from, to [][2]float64) (h [9]float64, values [9]float64, ok bool) {
	a := mat.NewDense(2*len(from), 9, nil)
	for i := range from {
		x, y, u, v := from[i][0], from[i][1], to[i][0], to[i][1]
		a.SetRow(2*i, []float64{x, y, 1, 0, 0, 0, -u * x, -u * y, -u})
		a.SetRow(2*i+1, []float64{0, 0, 0, x, y, 1, -v * x, -v * y, -v})
	}
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDFullV) {
		return h, values, false
	}
	copy(values[:], svd.Values(nil)) // 4 points give 8; the ninth is 0
	var v mat.Dense
	svd.VTo(&v)
	for i := range h {
		h[i] = v.At(i, 8)
	}
	return h, values, true
}

// linearTransform returns the direct linear transform between normalised sets,
// scaled so that its last element, the third coordinate at the centroid, is 1.
func linearTransform(from, to [][2]float64) ([9]float64, error) {
	h, _, ok := nullVector(from, to)
	if !ok {
		return h, ErrNotConverged
	}
	if math.Abs(h[8]) < 1e-9 {
		return h, ErrHorizon
	}
	last := h[8]
	for i := range h {
		h[i] /= last
	}
	for _, p := range from {
		if _, _, ok := transform(h, p[0], p[1]); !ok {
			return h, ErrHorizon
		}
	}
	return h, nil
}

// refineTransform minimises the squared distances in the target plane over the
// eight elements other than the last.
func refineTransform(h [9]float64, from, to [][2]float64) ([9]float64, error) {
	m := model[[9]float64]{
		rows: 2 * len(from), params: 8,
		enough: 1e-24, // the sum is in squares of the set's size
		move: func(h [9]float64, d []float64) [9]float64 {
			for i, v := range d {
				h[i] += v
			}
			return h
		},
		linearise: func(h [9]float64, r, j []float64) bool {
			for i, p := range from {
				u, v, ok := transform(h, p[0], p[1])
				if !ok {
					return false
				}
				w := h[6]*p[0] + h[7]*p[1] + h[8]
				x, y := p[0]/w, p[1]/w
				r[2*i], r[2*i+1] = u-to[i][0], v-to[i][1]
				copy(j[16*i:], []float64{x, y, 1 / w, 0, 0, 0, -u * x, -u * y})
				copy(j[16*i+8:], []float64{0, 0, 0, x, y, 1 / w, -v * x, -v * y})
			}
			return true
		},
	}
	h, _, err := m.solve(h)
	return h, err
}

// transform applies a projective transform, or returns false at or behind its
// horizon.
func transform(m [9]float64, x, y float64) (float64, float64, bool) {
	w := m[6]*x + m[7]*y + m[8]
	if !(w > 1e-12*(math.Abs(m[6]*x)+math.Abs(m[7]*y)+math.Abs(m[8]))) {
		return 0, 0, false
	}
	return (m[0]*x + m[1]*y + m[2]) / w, (m[3]*x + m[4]*y + m[5]) / w, true
}

// compose returns the transform that applies b and then a.
func compose(a, b [9]float64) [9]float64 {
	var c [9]float64
	for i := range 3 {
		for j := range 3 {
			c[3*i+j] = a[3*i]*b[j] + a[3*i+1]*b[3+j] + a[3*i+2]*b[6+j]
		}
	}
	return c
}

// adjugate returns the matrix whose product with m is det(m) times the identity.
func adjugate(m [9]float64) [9]float64 {
	return [9]float64{
		m[4]*m[8] - m[5]*m[7], m[2]*m[7] - m[1]*m[8], m[1]*m[5] - m[2]*m[4],
		m[5]*m[6] - m[3]*m[8], m[0]*m[8] - m[2]*m[6], m[2]*m[3] - m[0]*m[5],
		m[3]*m[7] - m[4]*m[6], m[1]*m[6] - m[0]*m[7], m[0]*m[4] - m[1]*m[3],
	}
}
