package vision

import "math"

// camera1D is what a photo does to a straight edge, across it, in px: blur by a
// Gaussian of standard deviation S in linear light, the tone curve, then
// sharpening by an unsharp mask of amount A and radius R (standard deviation) on
// luma. The witness bars give it for each photo.
type camera1D struct {
	S, A, R float64
	Tone    tone
}

// edgeShape is the luma across one edge as a table: 0 on the metal far away, 1
// on the film far away, at offset u px towards the film from the true edge.
// Sharpening makes it overshoot.
type edgeShape struct {
	reach float64 // the table covers -reach..reach
	e, d  []float64
	halo  []float64 // what one unit of sharpening adds
}

const edgeStep = 0.1 // px between table entries

// newEdgeShape tabulates the edge between the two display-referred colours.
// False when their lumas differ by less than minContrast, where an edge's shape
// on luma is not defined.
func newEdgeShape(c camera1D, film, metal rgb) (*edgeShape, bool) {
	m := newMixing(c.Tone, film, metal)
	y0, y1 := m.luma(0), m.luma(1)
	if math.Abs(y1-y0) < minContrast {
		return nil, false
	}
	reach := 4*c.S + 3*c.R + 0.5
	kernel := gaussKernel(c.R / edgeStep)
	k0 := len(kernel) / 2
	half := int(reach / edgeStep)
	n := half + k0
	raw := make([]float64, 2*n+1)
	for i := range raw {
		switch u := float64(i-n) * edgeStep / c.S; {
		case u < -6: // nothing of the film is left there
		case u > 6:
			raw[i] = 1
		default:
			raw[i] = (m.luma(normalCDF(u)) - y0) / (y1 - y0)
		}
	}
	s := &edgeShape{reach: float64(half) * edgeStep}
	s.e, s.d, s.halo = make([]float64, 2*half+1), make([]float64, 2*half+1), make([]float64, 2*half+1)
	for i := range s.e {
		window := raw[i : i+len(kernel)]
		soft := 0.0
		for k, w := range kernel {
			soft += w * window[k]
		}
		s.halo[i] = window[k0] - soft
		s.e[i] = window[k0] + c.A*s.halo[i]
	}
	for i := range s.d {
		a, b := max(i-1, 0), min(i+1, 2*half)
		s.d[i] = (s.e[b] - s.e[a]) / (float64(b-a) * edgeStep)
	}
	return s, true
}

// minContrast is the least difference of film's and metal's luma, 0..1.
const minContrast = 0.04

// at returns the shape and its slope at offset u px, by linear interpolation.
func (s *edgeShape) at(u float64) (e, d float64) {
	if u <= -s.reach {
		return 0, 0
	}
	if u >= s.reach {
		return 1, 0
	}
	i, f := s.cell(u)
	return s.e[i] + f*(s.e[i+1]-s.e[i]), s.d[i] + f*(s.d[i+1]-s.d[i])
}

// cell returns the table's cell that holds u, which lies inside the reach.
func (s *edgeShape) cell(u float64) (i int, frac float64) {
	x := (u + s.reach) / edgeStep
	i = min(int(x), len(s.e)-2)
	return i, x - float64(i)
}

// haloAt returns the sharpening's share at offset u px, for amount 1.
func (s *edgeShape) haloAt(u float64) float64 {
	if u <= -s.reach || u >= s.reach {
		return 0
	}
	i, f := s.cell(u)
	return s.halo[i] + f*(s.halo[i+1]-s.halo[i])
}

func normalCDF(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// gaussKernel returns a normalised odd kernel of standard deviation s samples
// out to three and a half of them.
func gaussKernel(s float64) []float64 {
	n := int(3.5*s) + 1
	k := make([]float64, 2*n+1)
	sum := 0.0
	for i := range k {
		x := float64(i-n) / s
		k[i] = math.Exp(-x * x / 2)
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	return k
}
