package clearance

import (
	"errors"
	"fmt"
	"math"
)

// ErrNotCrushed is wrapped by errors about a width smaller than the uncrushed
// strand's: no gap crushes a strip to it.
var ErrNotCrushed = errors.New("strip narrower than its own strand, so not crushed")

// bulge is how much area two half-round free edges lack against square ones, in
// units of the gap squared: 1 - pi/4.
const bulge = 1 - math.Pi/4

// edge is one model of the strip's free edges: a gap with its partial derivatives
// by width and by section area.
type edge struct {
	gap     float64 // mm
	byWidth float64 // mm per mm, negative
	byArea  float64 // mm per mm2, positive
}

// Gap is the clearance for one width and section area, between both models of the
// free edges.
type Gap struct {
	Mm         float64 // mm, the middle of both models
	ByWidth    float64 // dc/dw, mm per mm, negative
	ByArea     float64 // dc/dA, mm per mm2, positive
	EdgeSpread float64 // mm, half the difference half-round minus square, positive
}

// FromWidth returns the gap in millimetres that crushes a strip of section area
// area (mm2) to a width w (mm). With square free edges A = w c; with half-round
// ones of radius c/2 inside the width, A = w c - (1 - pi/4) c^2, whose smaller
// root is the gap. The truth lies between; the middle is returned and half the
// difference is the half-width of the edge-shape uncertainty.
//
// It refuses widths and areas that are not positive and finite, and a width below
// the strand's diameter, beyond which neither model is a crushed strip (the
// quadratic keeps a real root a little further, down to 0.82 diameters).
func FromWidth(w, area float64) (Gap, error) {
	switch {
	case !positive(w):
		return Gap{}, fmt.Errorf("clearance: width %v mm: must be a positive number", w)
	case !positive(area):
		return Gap{}, fmt.Errorf("clearance: section area %v mm2: must be a positive number", area)
	case w*w < 4/math.Pi*area*(1-1e-12): // the slack lets w = d itself through
		return Gap{}, fmt.Errorf("clearance: width %.4g mm against a strand of %.4g mm2: %w", w, area, ErrNotCrushed)
	}
	sq, hr := square(w, area), halfRound(w, area)
	return Gap{
		Mm:         (sq.gap + hr.gap) / 2,
		ByWidth:    (sq.byWidth + hr.byWidth) / 2,
		ByArea:     (sq.byArea + hr.byArea) / 2,
		EdgeSpread: (hr.gap - sq.gap) / 2,
	}, nil
}

func square(w, area float64) edge {
	c := area / w
	return edge{gap: c, byWidth: -c / w, byArea: 1 / w}
}

// halfRound solves bulge c^2 - w c + A = 0 for the smaller root, written so that
// nothing cancels for thin strips.
func halfRound(w, area float64) edge {
	root := math.Sqrt(w*w - 4*bulge*area) // = w - 2 bulge c
	c := 2 * area / (w + root)
	return edge{gap: c, byWidth: -c / root, byArea: 1 / root}
}
