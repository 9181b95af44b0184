package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"stripgap/calib/quantity"
)

// AreaPoint is one strip crushed to a known gap, or one bar of a printed scale
// that stands for it.
type AreaPoint struct {
	Name       string         // photo or bar
	Width, Gap quantity.Value // mm; points of one gap share its error, all else is independent
}

// AreaResidual is a point against the fit: the section area that it alone gives,
// and its difference from the fit's over the standard uncertainty of its own.
type AreaResidual struct {
	AreaPoint
	Area quantity.Value // mm2, its own uncertainty alone
	Z    float64
}

// AreaFit is a strip's section area from several points.
type AreaFit struct {
	Area   quantity.Value // mm2
	Terms  []quantity.Term
	Points []AreaResidual
	// Intercept in mm of the line of width against 1/gap; the area law wants nought.
	// Its uncertainty is 0 where fewer than three points leave it untested.
	Intercept quantity.Value
	ChiSquare float64
	DoF       int
	Chance    float64 // that points which follow the law scatter as much or more
	Doubts    []string
}

// leastChance is the chance below which points are said to disagree.
const leastChance = 0.05

// edgeLack is how much area two half-round free edges lack against square ones,
// in units of the gap squared.
const edgeLack = 1 - math.Pi/4

// FitArea fits the section area A of a strip to widths w it takes at gaps c. The
// area is conserved, so w = A/c with square free edges and w = A/c + (1 - pi/4) c
// with half-round ones: a proportion of w, less that bulge, to 1/c with errors in
// both. The middle of both is taken, and half their difference is the half-width
// of the term "edge shape". common is the relative standard uncertainty that all
// widths share, such as the print scale's; commonMM in mm of width likewise.
//
// Points that disagree by more than their uncertainties explain (chi-square's
// chance under 5 %) widen the uncertainty by the root of chi-square per degree of
// freedom and are told in Doubts, as is a line that misses the origin and labels
// that seem to stand in the wrong order. Errors: no points, or figures that are
// not positive.
func FitArea(points []AreaPoint, common, commonMM float64) (AreaFit, error) {
	if err := checkAreaPoints(points); err != nil {
		return AreaFit{}, err
	}
	// Edges that are square, half as full as round ones, and half-round: the points
	// need to agree with one of them.
	var law [3]quantity.Line
	f := AreaFit{ChiSquare: math.Inf(1), DoF: len(points) - 1}
	for i := range law {
		var err error
		if law[i], err = fitAreaLaw(points, edgeLack*float64(i)/2); err != nil {
			return AreaFit{}, err
		}
		f.ChiSquare = math.Min(f.ChiSquare, law[i].ChiSquare)
	}
	square, round := law[0], law[2]
	f.Area.X = (square.Slope.X + round.Slope.X) / 2
	f.Chance = quantity.ChiSquareChance(f.ChiSquare, f.DoF)
	own := math.Max(square.Slope.U, round.Slope.U)
	if f.Chance < leastChance {
		own *= math.Sqrt(f.ChiSquare / float64(f.DoF))
	}
	f.Terms = []quantity.Term{
		{Name: "scatter of the points", U: own},
		{Name: "edge shape", U: quantity.Rectangular((square.Slope.X - round.Slope.X) / 2)},
		{Name: "scale common to all", U: common * f.Area.X, Common: true},
		{Name: "edges common to all", U: commonMM * meanGap(points), Common: true},
	}
	for _, t := range f.Terms {
		f.Area.U = math.Hypot(f.Area.U, t.U)
	}
	for _, p := range points {
		f.Points = append(f.Points, p.against(f.Area.X))
	}
	return f, f.test(points)
}

func checkAreaPoints(points []AreaPoint) error {
	if len(points) == 0 {
		return errors.New("no points to fit the section area to")
	}
	for _, p := range points {
		w, c := p.Width, p.Gap
		if !(w.X > 0 && c.X > 0 && w.U > 0 && c.U >= 0) || math.IsInf(w.X+c.X+w.U+c.U, 0) {
			return fmt.Errorf("%s: width %v and gap %v mm must be positive, with their uncertainties", p.Name, w, c)
		}
		if w.X <= c.X {
			return fmt.Errorf("%s: the width, %.3f mm, is not above the gap, %.3f mm: check the gap and its unit", p.Name, w.X, c.X)
		}
	}
	return nil
}

// inLaw is the point as 1/c and w - lack c, which are proportional.
func (p AreaPoint) inLaw(lack float64) quantity.Pair {
	c := p.Gap
	q := quantity.Pair{
		X: quantity.Value{X: 1 / c.X, U: c.U / (c.X * c.X)},
		Y: quantity.Value{X: p.Width.X - lack*c.X, U: math.Hypot(p.Width.U, lack*c.U)},
	}
	if q.X.U > 0 { // a gap too large makes both too small
		q.Corr = lack * c.U / q.Y.U
	}
	return q
}

func inLaw(points []AreaPoint, lack float64) []quantity.Pair {
	var out []quantity.Pair
	for _, p := range points {
		out = append(out, p.inLaw(lack))
	}
	return out
}

// pooled returns a point for each gap: one gauge or label held all its strips, and its
// error with them, so that more of them make their mean width surer and not the gap.
// chi is what their widths differ by, the sum of squares over their own uncertainties.
func pooled(points []AreaPoint) (out []AreaPoint, chi float64) {
	at := map[float64]int{}
	for _, p := range points {
		i, ok := at[p.Gap.X]
		if !ok {
			at[p.Gap.X] = len(out)
			out = append(out, p)
			continue
		}
		q := &out[i]
		off, u := p.Width.X-q.Width.X, math.Hypot(p.Width.U, q.Width.U)
		chi += off * off / (u * u)
		share := q.Width.U / u
		q.Width = quantity.Value{X: q.Width.X + share*share*off, U: share * p.Width.U}
		q.Gap.U = math.Max(q.Gap.U, p.Gap.U)
	}
	return out, chi
}

// fitAreaLaw fits the area, with the chi-square of all points.
func fitAreaLaw(points []AreaPoint, lack float64) (quantity.Line, error) {
	each, chi := pooled(points)
	l, err := quantity.FitProportion(inLaw(each, lack))
	l.ChiSquare += chi
	l.DoF = len(points) - 1
	return l, err
}

// against compares the area that the point alone gives, between both edge shapes,
// with the fit's.
func (p AreaPoint) against(area float64) AreaResidual {
	w, c := p.Width, p.Gap
	a := quantity.Value{X: w.X*c.X - edgeLack/2*c.X*c.X, U: math.Hypot(c.X*w.U, (w.X-edgeLack*c.X)*c.U)}
	return AreaResidual{p, a, (a.X - area) / a.U}
}

// meanGap is the gap by which an error of all widths acts on the area: weighed as
// the points are.
func meanGap(points []AreaPoint) float64 {
	points, _ = pooled(points)
	var over, under float64
	for _, p := range points {
		u := p.against(0).Area.U
		over += p.Gap.X / (u * u)
		under += 1 / (u * u)
	}
	return over / under
}

// FarOut is the number of standard uncertainties beyond which one point is named.
const FarOut = 3.0

// test fills Doubts and Intercept.
func (f *AreaFit) test(points []AreaPoint) error {
	each, _ := pooled(points)
	if len(points) >= 3 {
		line, err := quantity.FitLine(inLaw(each, edgeLack/2))
		if err != nil && !errors.Is(err, quantity.ErrFit) {
			return err
		}
		f.Intercept = line.Intercept
	}
	if f.DoF == 0 {
		f.Doubts = append(f.Doubts, "one point cannot show whether it is right: add others at other gaps")
	} else if len(each) == 1 {
		f.Doubts = append(f.Doubts, "points of one gap cannot show whether that is right: add others at other gaps")
	}
	if f.Chance >= leastChance {
		return nil
	}
	f.Doubts = append(f.Doubts, fmt.Sprintf(
		"the points disagree with the area law: %s; the uncertainty is widened by %.1f",
		scatter(f.ChiSquare, f.DoF, f.Chance), math.Sqrt(f.ChiSquare/float64(f.DoF))))
	if i, ok := f.apart(points); ok {
		f.Doubts = append(f.Doubts, fmt.Sprintf("without %s the others agree: look at it first", points[i].Name))
	} else if reversed(points, f.ChiSquare) {
		f.Doubts = append(f.Doubts, "the gaps seem to stand in the reverse order: the widest strip or bar has the smallest gap")
	} else if z := f.Intercept.X / f.Intercept.U; math.Abs(z) > FarOut {
		f.Doubts = append(f.Doubts, fmt.Sprintf("the widths are off by about %+.3f mm at every gap: look at the edges with --pictures", f.Intercept.X))
	}
	return nil
}

// scatter tells a chi-square in words.
func scatter(chi float64, dof int, chance float64) string {
	words := fmt.Sprintf("chi-square %.1f for %d degrees of freedom", chi, dof)
	if dof == 1 {
		words = fmt.Sprintf("chi-square %.1f for 1 degree of freedom", chi)
	}
	if chance < 1e-4 {
		return words + ", chance under 0.0001"
	}
	return words + fmt.Sprintf(", chance %.2g", chance)
}

// apart returns the one point without which the others agree.
func (f *AreaFit) apart(points []AreaPoint) (int, bool) {
	if len(points) < 4 {
		return 0, false
	}
	far := 0
	for i, r := range f.Points {
		if math.Abs(r.Z) > math.Abs(f.Points[far].Z) {
			far = i
		}
	}
	rest := slices.Delete(slices.Clone(points), far, far+1)
	l, err := fitAreaLaw(rest, edgeLack/2)
	return far, err == nil && quantity.ChiSquareChance(l.ChiSquare, l.DoF) >= leastChance
}

// reversed reports whether the same gaps in reverse order fit far better.
func reversed(points []AreaPoint, chi float64) bool {
	turned := slices.Clone(points)
	for i := range turned {
		turned[i].Gap = points[len(points)-1-i].Gap
	}
	l, err := fitAreaLaw(turned, edgeLack/2)
	return err == nil && len(points) > 1 && l.ChiSquare < chi/10
}

// MeanDiameter is a strand's diameter from several readings of it.
type MeanDiameter struct {
	Mean      quantity.Value
	Z         []float64 // of each reading, over its own uncertainty
	ChiSquare float64
	DoF       int
	Chance    float64
	Doubts    []string
}

// FitDiameter takes the mean of one strand's diameters in mm, weighed by the
// readings' own uncertainties. common is the standard uncertainty in mm that all
// share. Readings that disagree are handled as in FitArea.
func FitDiameter(readings []quantity.Value, common float64) (MeanDiameter, error) {
	if len(readings) == 0 {
		return MeanDiameter{}, errors.New("no readings of the diameter")
	}
	var over, under float64
	for i, r := range readings {
		if !(r.X > 0 && r.U > 0) || math.IsInf(r.X+r.U, 0) {
			return MeanDiameter{}, fmt.Errorf("reading %d: %v mm must be positive, with its uncertainty", i+1, r)
		}
		over += r.X / (r.U * r.U)
		under += 1 / (r.U * r.U)
	}
	d := MeanDiameter{Mean: quantity.Value{X: over / under}, DoF: len(readings) - 1}
	for _, r := range readings {
		z := (r.X - d.Mean.X) / r.U
		d.Z = append(d.Z, z)
		d.ChiSquare += z * z
	}
	own := math.Sqrt(1 / under)
	d.Chance = quantity.ChiSquareChance(d.ChiSquare, d.DoF)
	if d.Chance < leastChance {
		wider := math.Sqrt(d.ChiSquare / float64(d.DoF))
		own *= wider
		d.Doubts = append(d.Doubts, fmt.Sprintf(
			"the photos disagree: %s; the uncertainty is widened by %.1f; take them in even light, and look whether they show one strand, not bent nor squeezed",
			scatter(d.ChiSquare, d.DoF, d.Chance), wider))
	}
	if d.DoF == 0 {
		d.Doubts = append(d.Doubts, "one reading cannot show whether it is right: take others, the strand and the light turned")
	}
	d.Mean.U = math.Hypot(own, common)
	return d, nil
}
