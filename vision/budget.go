package vision

import (
	"math"

	"stripgap/calib"
)

// Standard uncertainties that no photo can tell.
const (
	residualEdge   = 0.05  // px of width: at least what blur, tone and sharpening leave when modelled
	printUnchecked = 0.005 // relative: a sheet whose check bars nobody measured
	// secondOrder times the square of the slope's standard uncertainty s is what a
	// slope about zero takes off the width relatively: 1 - cos has the mean s^2/2
	// and the standard deviation s^2/sqrt(2) (JCGM 100, 5.1.2, note).
	secondOrder = 0.866
)

// Terms that both photos of a pair have in common.
const (
	termDefinition = "edge definition"
	termShadow     = "strip's shadow"
	termTone       = "tone"
	termTexture    = "metal's texture"
	termEnds       = "strip's ends"
)

// budget fills the width's and the taper's uncertainty, term by term.
func (m *Measurement) budget(t *traced) (ok bool) {
	pr := m.Profile
	edge := pr.U
	perPx := 1 / m.PxPerMM
	pu := t.planeU
	marks, marksTaper := t.viewU(m.View)
	d, n := t.c.axis.Dir, t.c.axis.Normal()
	height, heightTaper := t.shift(calib.Plane{Height: pu.Height})
	along, alongTaper := t.shift(calib.Plane{SlopeX: pu.Along * d.X, SlopeY: pu.Along * d.Y})
	across, acrossTaper := t.shift(calib.Plane{SlopeX: pu.Across * n.X, SlopeY: pu.Across * n.Y})
	print := printUnchecked
	if m.Print.Checked() {
		print = m.Print.U
	}
	texture, textureTaper := t.textureU()
	pr.Budget = []Term{
		{"edge noise", edge, false},
		{termTexture, texture, false},
		{termEnds, pr.EndsU, false},
		{"edge processing", m.Bars.processingU() * perPx, true},
		{termDefinition, t.definition() * perPx, true},
		{termShadow, t.shadeU * perPx, true},
		{termTone, t.toneU(m.Bars) * perPx, true},
		{"marks and camera", marks, true},
		{"print scale", print * pr.Mean, true},
		{"height", height, true},
		{"plane tilt", math.Hypot(math.Hypot(along, across), secondOrder*pu.Across*pu.Across*pr.Mean), true},
	}
	pr.TaperBudget = []Term{
		{"edge noise", pr.TaperU, false},
		{termTexture, textureTaper, false},
		{termEnds, pr.EndsTaperU, false},
		{"marks and camera", marksTaper, true},
		{"print scale", print * math.Abs(pr.Taper), true},
		{"height", heightTaper, true},
		{"plane tilt", math.Hypot(alongTaper, acrossTaper), true},
	}
	pr.U, pr.TaperU = combined(pr.Budget), combined(pr.TaperBudget)
	return pr.U+pr.TaperU < math.Inf(1) // which NaN is not
}

// vagueEdge is the standard uncertainty of an edge's place over what its spread
// exceeds the camera's: a rounded, thin or drawn-out film edge lies somewhere
// within it. Estimate, no source.
const vagueEdge = 0.3

// definition is how well the strip's edges are edges, px of width. What softness
// the focus may make is not theirs.
func (t *traced) definition() float64 {
	s := 0.0
	focus := (1 + blurLikeness) * t.cam.S
	if t.cam.isTint() {
		focus = math.Hypot(focus, usualTintBlur)
	}
	for _, v := range t.spread {
		s += math.Max(0, v*v-focus*focus)
	}
	return vagueEdge * math.Sqrt(s)
}

// fittingBars is the bars' misfit, 1 is black to white, up to which the edge model leaves
// no more of a strip's width unknown than residualEdge.
const fittingBars = 0.002

// processingU is what the edge model leaves of the width unknown, px: where it misses the
// bars, in proportion (Birge's ratio, Physical Review 40 (1932) 207). That makes the ratio
// of error to u of photos by two renderers the same at any misfit; without it, those from
// 0.009 were 1.4 times as far off as those below 0.004.
func (w *Witness) processingU() float64 {
	return residualEdge * math.Max(1, w.Residual/fittingBars)
}

// vividU is the standard uncertainty of how much more, or less, a phone turns up pale
// colours than full ones: the tint at half of the step is off by a quarter of it.
// Common practice, no source.
const vividU = 0.1

// toneU is how well the photo's tone curve leaves the width known, px; of a tint also what is
// done to colours.
func (t *traced) toneU(w *Witness) float64 {
	curve, bend, vivid := 0.0, 0.0, 0.0
	for _, s := range [2]*edgeShape{t.c.shape.low, t.c.shape.high} {
		curve += s.likeShift(s.sharpened(s.plain.toneRate()))
		bend += s.likeShift(s.sharpened(s.plain.bendRate()))
		if t.cam.isTint() {
			vivid += s.likeShift(s.vividRate())
		}
	}
	c := w.toneCov
	return math.Sqrt(c[0]*curve*curve + c[1]*bend*bend + 2*c[2]*curve*bend + vividU*vividU*vivid*vivid)
}

func combined(b []Term) float64 {
	s := 0.0
	for _, t := range b {
		s += t.U * t.U
	}
	return math.Sqrt(s)
}

// endWidths carries the edges' pixels at both ends of the used length through a
// view and a plane: the widths there, in mm.
func (t *traced) endWidths(v *calib.View, pl calib.Plane) (w [2]float64, ok bool) {
	first, last := t.outer()
	for i, k := range [2]*cut{last, first} {
		var e [2]calib.SpacePoint
		for j, x := range k.fit.x {
			q, in := v.Card(k.frame.at(x), pl)
			if !in {
				return w, false
			}
			e[j] = q
		}
		w[i] = acrossWidth(e, t.c.axis.Dir, pl)
	}
	return w, true
}

// outer returns the first and the last used station.
func (t *traced) outer() (first, last *cut) {
	for i := range t.cuts {
		k := &t.cuts[i]
		if k.dropped != "" || math.Abs(k.s) > t.c.axis.Half {
			continue
		}
		if first == nil {
			first = k
		}
		last = k
	}
	return first, last
}

// viewU propagates the view's covariance to mean width and taper, mm.
func (t *traced) viewU(v *calib.View) (mean, taper float64) {
	if f, _ := t.outer(); f == nil {
		return 0, 0
	}
	f := func(w *calib.View) []float64 {
		e, ok := t.endWidths(w, t.c.plane)
		if !ok {
			return []float64{math.NaN(), math.NaN()}
		}
		return []float64{(e[0] + e[1]) / 2, e[0] - e[1]}
	}
	_, cov := v.PropagateJoint(f)
	return math.Sqrt(cov.At(0, 0)), math.Sqrt(cov.At(1, 1))
}

// shift returns how mean width and taper change with a change of the strip's
// plane, its slopes taken about the strip's middle; NaN where the camera would see the
// strip there from behind or along its edge.
func (t *traced) shift(d calib.Plane) (mean, taper float64) {
	if f, _ := t.outer(); f == nil {
		return 0, 0
	}
	c := t.c.axis.Middle
	moved := func(sign float64) calib.Plane {
		pl := t.c.plane
		pl.Height += sign * (d.Height - d.SlopeX*c.X - d.SlopeY*c.Y)
		pl.SlopeX += sign * d.SlopeX
		pl.SlopeY += sign * d.SlopeY
		return pl
	}
	a, ok1 := t.endWidths(t.c.v, moved(1))
	b, ok2 := t.endWidths(t.c.v, moved(-1))
	if !ok1 || !ok2 {
		return math.NaN(), math.NaN()
	}
	return math.Abs(a[0]+a[1]-b[0]-b[1]) / 4, math.Abs((a[0]-a[1])-(b[0]-b[1])) / 2
}
