package vision

/*
#cgo noescape tabulate_edge
#cgo nocallback tabulate_edge
#cgo noescape weigh
#cgo nocallback weigh
#include "edge.h"
*/
import "C"

import (
	"math"
	"unsafe"
)

// camera1D is what a photo does to a straight edge, across it, in px: blur by a
// Gaussian of standard deviation S in linear light, the tone curve, then
// sharpening by an unsharp mask of amount A and radius R (standard deviation) on
// luma. The witness bars give it for each photo.
//
// Chroma is not sharpened but smoothed, and halved: that is the mask with an amount of
// -1, and R then the standard deviation of this second blur, behind the tone curve.
type camera1D struct {
	S, A, R float64
	Tone    tone
	channel
}

// blur is the standard deviation of all that widens an edge, px.
func (c camera1D) blur() float64 {
	if c.isTint() {
		return math.Hypot(c.S, c.R)
	}
	return c.S
}

// edgeShape is the luma across one edge as a table: 0 on the metal far away, 1
// on the film far away, at offset u px towards the film from the true edge.
// Sharpening makes it overshoot.
type edgeShape struct {
	reach float64 // the table covers -reach..reach
	e, d  []float64
	halo  []float64 // what one unit of sharpening adds
	plain plainEdge
	table []float64 // in which all of these lie
}

// edgeTables are of edges that were closed.
var edgeTables pool[float64]

// close gives the edge's memory to edges made later; nothing of it may be used after that.
// To leave it out costs time only.
func (s *edgeShape) close() { edgeTables.put(s.table) }

// plainEdge is the edge before sharpening, on the table's grid and as far beyond
// it as the sharpening's mask reaches.
type plainEdge struct {
	camera camera1D
	shadow filmShadow
	mask   unsharp
	row    [C.EDGE_ROWS][]float64 // see edge.h
}

// edgeRates are the derivatives of an edgeShape's table by the camera's
// parameters: per px of blur, per px of radius, per unit of tone and of its bend.
type edgeRates struct{ blur, radius, tone, bend []float64 }

const (
	edgeStep = 0.1 // px between table entries
	edgeEnd  = 6.0 // blurs from an edge beyond which nothing of the other side is left
)

// newEdgeShape tabulates the edge between the two display-referred colours.
// False when their lumas, or tints, differ by less than minContrast, where an edge's
// shape is not defined.
func newEdgeShape(c camera1D, film, metal rgb) (*edgeShape, bool) {
	return newShadedEdge(c, film, metal, filmShadow{})
}

// newShadedEdge is newEdgeShape for a film with a shadow.
func newShadedEdge(c camera1D, film, metal rgb, shadow filmShadow) (*edgeShape, bool) {
	mix := newMixing(c.Tone, film, metal, c.channel)
	bare, full := mix.mixed(0, 1), mix.luma(1)
	if math.Abs(full-bare.luma) < minContrast {
		return nil, false
	}
	p := plainEdge{camera: c, shadow: shadow, mask: newUnsharp(c)}
	half := int((4*c.S + 3*c.R + 0.5 + shadow.end()) / edgeStep)
	n, m := 2*half+1, 2*(half+p.mask.reach())+1
	table := edgeTables.get(3*n + C.EDGE_ROWS*m)
	p.fill(mix, bare, full-bare.luma, table[3*n:])
	s := &edgeShape{reach: float64(half) * edgeStep, plain: p, table: table}
	s.e, s.d, s.halo = table[:n:n], table[n:2*n:2*n], table[2*n:3*n:3*n]
	p.mask.soften(p.row[C.EDGE_SEEN], p.mask.weight, s.halo)
	for i := range s.e {
		y := p.row[C.EDGE_SEEN][i+p.mask.reach()]
		s.halo[i] = y - s.halo[i]
		s.e[i] = y + c.A*s.halo[i]
	}
	for i := range s.d {
		a, b := max(i-1, 0), min(i+1, n-1)
		s.d[i] = (s.e[b] - s.e[a]) / (float64(b-a) * edgeStep)
	}
	return s, true
}

// fill tabulates the edge into the table, given what is seen of the bare metal and how
// much more of the film.
func (p *plainEdge) fill(mix mixing, bare mixed, gain float64, table []float64) {
	e := C.struct_edge{
		blur: C.double(p.camera.S), tone: C.double(p.camera.Tone.S), bend: C.double(p.camera.Tone.Bend),
		depth: C.double(p.shadow.depth), reach: C.double(p.shadow.reach), penumbra: penumbra,
		zero: C.double(bare.luma), gain: C.double(gain), end: edgeEnd, bare: C.double(bare.byMetal),
	}
	if p.shadow.form == ambientShadow {
		e.ambient = 1
	}
	channels := mix.channels()
	n := len(table) / C.EDGE_ROWS
	C.tabulate_edge(&e, (*C.struct_channel)(unsafe.Pointer(&channels[0])), C.int(len(channels)), C.int(n/2), edgeStep, cdoubles(table))
	for k := range p.row {
		p.row[k], table = table[:n:n], table[n:]
	}
}

// toneRate and bendRate are the derivatives by the tone curve's strength and bend.
func (p *plainEdge) toneRate() []float64 { return p.row[C.EDGE_TONE] }
func (p *plainEdge) bendRate() []float64 { return p.row[C.EDGE_BEND] }

// rates tabulates the derivatives.
func (s *edgeShape) rates() edgeRates {
	p := &s.plain
	return edgeRates{blur: s.blurRate(), radius: s.radiusRate(), tone: s.sharpened(p.toneRate()), bend: s.sharpened(p.bendRate())}
}

// radiusRate tabulates the derivative by the mask's radius.
func (s *edgeShape) radiusRate() []float64 {
	p := &s.plain
	rate := make([]float64, len(s.e))
	p.mask.soften(p.row[C.EDGE_SEEN], p.mask.rate, rate)
	for i := range rate {
		rate[i] *= -p.camera.A
	}
	return rate
}

// blurRate tabulates the derivative by the blur, which widens both the film's
// share of the light and its shadow.
func (s *edgeShape) blurRate() []float64 {
	row, depth := &s.plain.row, s.plain.shadow.depth
	film, metal, widened, shade := row[C.EDGE_FILM], row[C.EDGE_METAL], row[C.EDGE_WIDENED], row[C.EDGE_SHADE_BLUR]
	rate := make([]float64, len(film))
	for i := range rate {
		rate[i] = (film[i]-metal[i])*widened[i] - metal[i]*depth*shade[i]
	}
	return s.sharpened(rate)
}

// shadowRates tabulates the derivatives by the shadow's depth and by its reach.
func (s *edgeShape) shadowRates() (depth, reach []float64) {
	row := &s.plain.row
	metal, share, further := row[C.EDGE_METAL], row[C.EDGE_SHADE], row[C.EDGE_SHADE_REACH]
	depth, reach = make([]float64, len(metal)), make([]float64, len(metal))
	for i, m := range metal {
		depth[i], reach[i] = -m*share[i], -m*s.plain.shadow.depth*further[i]
	}
	return s.sharpened(depth), s.sharpened(reach)
}

// vividRate tabulates the derivative by how much more a tint's middle is turned up than
// its ends.
func (s *edgeShape) vividRate() []float64 {
	rate := make([]float64, len(s.e))
	for i, e := range s.e {
		rate[i] = e * (1 - e)
	}
	return rate
}

// likeShift is the shift of the edge, px, that looks most like a change of the table.
func (s *edgeShape) likeShift(change []float64) float64 {
	across, square := 0.0, 0.0
	for i, d := range s.d {
		across += d * change[i]
		square += d * d
	}
	return across / square
}

// sharpened is what the mask makes of a table on the plain edge's grid.
func (s *edgeShape) sharpened(plain []float64) []float64 {
	mask, amount := &s.plain.mask, s.plain.camera.A
	out := make([]float64, len(s.e))
	mask.soften(plain, mask.weight, out)
	for i, soft := range out {
		y := plain[i+mask.reach()]
		out[i] = y + amount*(y-soft)
	}
	return out
}

// minContrast is the least difference of film's and metal's luma, 0..1, or of their
// chroma: ten levels of a photo.
const minContrast = 0.04

// at returns the shape and its slope at offset u px, by linear interpolation.
func (s *edgeShape) at(u float64) (e, d float64) {
	i, f, ok := s.inside(u)
	switch {
	case ok:
		return lerp(s.e, i, f), lerp(s.d, i, f)
	case u > 0:
		return 1, 0
	}
	return 0, 0
}

// inside returns the table's cell that holds u px; false at its ends and beyond.
func (s *edgeShape) inside(u float64) (i int, frac float64, ok bool) {
	if u <= -s.reach || u >= s.reach {
		return 0, 0, false
	}
	x := (u + s.reach) / edgeStep
	i = min(int(x), len(s.e)-2)
	return i, x - float64(i), true
}

// lerp interpolates a table in its cell i.
func lerp(table []float64, i int, f float64) float64 {
	return table[i] + f*(table[i+1]-table[i])
}

func normalCDF(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

func normalPDF(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

// unsharp is a mask's Gaussian as an odd, normalised row of weights, stride table
// entries apart, and their derivatives per px of its radius.
type unsharp struct {
	weight, rate []float64
	stride       int
}

// newUnsharp samples the Gaussian out to five radii. A sum in place of the
// integral is off by less than exp(-2 pi^2 S^2 R^2 / (S^2+R^2) / h^2) with h px
// between samples, both the mask and the edge being Gaussian (Poisson's
// summation); the tone curve leaves some of that. At the stride taken it is e^-30.
func newUnsharp(c camera1D) unsharp {
	h := 0.8 * c.S * c.R / math.Hypot(c.S, c.R)
	k := unsharp{stride: max(1, int(h/edgeStep))}
	h = float64(k.stride) * edgeStep
	n := int(math.Ceil(5 * c.R / h))
	k.weight, k.rate = make([]float64, 2*n+1), make([]float64, 2*n+1)
	sum, square := 0.0, 0.0
	for i := range k.weight {
		x := float64(i-n) * h / c.R
		k.weight[i] = math.Exp(-x * x / 2)
		sum += k.weight[i]
		square += k.weight[i] * x * x
	}
	for i := range k.weight {
		x := float64(i-n) * h / c.R
		k.weight[i] /= sum
		k.rate[i] = k.weight[i] * (x*x - square/sum) / c.R
	}
	return k
}

// reach is how many table entries the mask reaches to either side.
func (k unsharp) reach() int { return len(k.weight) / 2 * k.stride }

// soften fills out with the weighted sums of v about its entries from reach on. It has
// as many more to both sides.
func (k unsharp) soften(v, weight, out []float64) {
	_ = v[len(out)+2*k.reach()-1]
	C.weigh(cdoubles(v), cdoubles(weight), C.int(k.reach()), C.int(k.stride), C.int(len(out)), cdoubles(out))
}
