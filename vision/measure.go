package vision

import (
	"math"
	"slices"

	"stripgap/calib"
)

// Limits within which a photo proves itself; beyond them it is refused.
const (
	maxTiltDeg = 35.0
	// maxMisfit is of the marks' chi-square over its degrees of freedom. Print jitter
	// counts as noise of 2.5 um (markJitter); this admits 14 um. Of 40 rendered photos
	// with jitter to 10 um one reached 20, and a print stretched by 3.6 % 26.
	maxMisfit      = 30.0
	maxBlur        = 2.3 // px, as the bars show it: optics, pixel and demosaicing
	minWidthPixels = 8.0
	minWidthBlurs  = 6.0
	maxUneven      = 1.6   // spread of the softer edge over the other's: sound strips show at most 1.4
	notableUneven  = 1.25  // of the same; from here errors of some per cent were seen
	maxLost        = 0.4   // share of stations
	maxBarsMisfit  = 0.015 // root mean square, 1 is black to white: beyond it widths were up to 6 u off, sound photos show at most 0.0145
	maxScaleError  = 1e-3  // relative, of all pitches in one direction, beyond twice its own noise
)

// Measure reads the strip in one photo. A refusal comes with what was measured
// up to it, never nil.
func Measure(p *Photo, o Options) (*Measurement, error) {
	m := &Measurement{}
	if _, r := m.run(p, o); r != nil {
		return m, r
	}
	return m, nil
}

// run fills m and returns the traced strip, which the two-photo reading needs.
func (m *Measurement) run(p *Photo, o Options) (t *traced, r *Refusal) {
	defer func() {
		if r != nil {
			m.Places = r.places
		}
	}()
	o.quarry = crushedStrip
	f, r := m.prove(p, o)
	if r != nil {
		return nil, r
	}
	o.Print, o.Surface = m.Print, o.surfaceOf(f.card.Bearing)
	byColour := *m
	byColour.Checks = slices.Clone(m.Checks)
	if t, r = m.strip(p, f, o); r == nil || !r.tinted {
		return t, r
	}
	o.byColour = true
	coloured, why := byColour.strip(p, f, o)
	if why != nil || !coloured.wouldShow(r.Code) {
		return t, r // what luma shows says more
	}
	*m = byColour
	m.flag(FlagByColour)
	return coloured, nil
}

// strip finds and traces the strip beside a proven card. Nil where there is none.
func (m *Measurement) strip(p *Photo, f *found, o Options) (*traced, *Refusal) {
	t, r := findStrip(p, f, m.Bars, o)
	if t == nil {
		return nil, m.hiddenBySurface(p, f, o, r)
	}
	m.describe(t, o)
	if r != nil {
		return nil, r
	}
	if r := m.gateSurface(t.c.axis, o); r != nil {
		return nil, r
	}
	return t, m.gateStrip(t)
}

// prove finds the card and has the photo prove its scale and sharpness.
func (m *Measurement) prove(p *Photo, o Options) (*found, *Refusal) {
	f, r := findCard(p, o)
	if f != nil {
		m.Card, m.View = f.card, f.view
	}
	if r != nil {
		return nil, r
	}
	if m.Print, r = f.identify(p, o); r != nil {
		return nil, r
	}
	m.View = f.view
	if r := m.gatePrint(p, f, o); r != nil {
		return nil, r
	}
	l := f.card.Layout
	if r := m.gateView(); r != nil {
		return nil, r
	}
	// The marks tell the print's aspect; the bars are to prove the photo, not it.
	m.Bars, r = measureBars(p, f.view, l.Stretched(f.view.Aspect))
	if r != nil {
		return nil, r
	}
	return f, m.gateBars()
}

// check records a proof and reports whether it holds.
func (m *Measurement) check(name string, value, limit float64, unit string) bool {
	ok := value <= limit
	m.Checks = append(m.Checks, Check{name, ok, value, limit, unit})
	return ok
}

func (m *Measurement) gateView() *Refusal {
	if r := m.gateMarks(); r != nil {
		return r
	}
	tilt := m.View.Tilt() * 180 / math.Pi
	if !m.check("tilt", tilt, maxTiltDeg, "deg") {
		return Refuse(CodeTilted, "%.0f degrees, at most %.0f", tilt, maxTiltDeg)
	}
	return nil
}

// gateMarks refuses marks that no flat card can show.
func (m *Measurement) gateMarks() *Refusal {
	off := misfit(m.View)
	if !m.check("marks agree with one another", off, maxMisfit, "") {
		return Refuse(CodeCardDistorted, "they disagree by %.0f times what their noise allows", math.Sqrt(off))
	}
	x, y, _ := m.View.PixelsPerMM(calib.CardPoint{})
	limit := math.Max(maxReproj, maxMisplace*math.Sqrt(x*y))
	if !m.check("marks fit a flat card", m.View.RMS, limit, "px") {
		return Refuse(CodeCardDistorted, "off by %.2f px, at most %.2f", m.View.RMS, limit)
	}
	return nil
}

func (m *Measurement) gateBars() *Refusal {
	blur := math.Max(m.Bars.BlurX, m.Bars.BlurY)
	if !m.check("blur", blur, maxBlur, "px") {
		return Refuse(CodeBlurred, "edges spread over %.1f px, at most %.1f", blur, maxBlur)
	}
	if !m.check("bars' edges fit the edge model", 100*m.Bars.Residual, 100*maxBarsMisfit, "%") {
		return Refuse(CodeOverProcessed, "").at(m.barPlaces(func(b calib.Bars) bool { return b.Count == 1 })...)
	}
	if r := m.scaleShown(); r != nil {
		return r
	}
	for _, d := range m.Bars.Scale() {
		limit := maxScaleError + 2*d.U
		if !m.check("bars' pitch along "+d.Axis, 100*math.Abs(d.Error), 100*limit, "%") {
			return Refuse(CodeScaleGate, "off by %.2f %% along the card's %s, at most %.2f", 100*math.Abs(d.Error), d.Axis, 100*limit).
				at(m.barPlaces(func(b calib.Bars) bool { return b.Count > 1 && b.Vertical == (d.Axis == "x") })...)
		}
	}
	return nil
}

// scaleShown refuses a photo whose groups of bars cannot be measured in a
// direction in which the card has some: it does not prove its scale.
func (m *Measurement) scaleShown() *Refusal {
	for _, vertical := range [2]bool{true, false} {
		printed := func(b calib.Bars) bool { return b.Count > 1 && b.Vertical == vertical }
		shown := func(g BarGroup) bool { return g.Vertical == vertical }
		if slices.ContainsFunc(m.Card.Layout.Bars, printed) && !slices.ContainsFunc(m.Bars.Groups, shown) {
			return Refuse(CodeFewMarks, "a group of the card's bars is not seen clearly").at(m.barPlaces(printed)...)
		}
	}
	return nil
}

// count returns the stations used and those of the strip's whole length.
func (t *traced) count() (used, all int) {
	for _, k := range t.cuts {
		if math.Abs(k.s) <= t.c.axis.Half {
			all++
			if k.dropped == "" {
				used++
			}
		}
	}
	return used, all
}

// describe fills the strip and, when it can be reduced, the profile.
func (m *Measurement) describe(t *traced, o Options) {
	t.orient()
	m.Strip = &Strip{Axis: t.c.axis, Plane: t.c.plane, Width: t.c.width, Film: t.film, Metal: [2][3]float64{t.metal[0], t.metal[1]}, Camera: t.cam, Spread: t.spread}
	mid := t.c.axis.At(0)
	if _, perPx, ok := cardFrame(m.View, mid, mid.Sub(t.c.axis.Dir.Scale(0.25)), t.c.plane); ok {
		m.Strip.PxPerMM = 1 / perPx
		m.PxPerMM = 1 / perPx
	}
	if !t.byHand { // what lies beyond was left out
		t.beyond = [2]float64{t.filmBeyond(-1), t.filmBeyond(1)}
	}
	t.missing = t.gaps()
	pr, ok := t.profile()
	if !ok {
		return
	}
	m.Profile = pr
	pr.Ends[0].Name, pr.Ends[1].Name = t.endNames()
	for i := range pr.Ends {
		pr.Ends[i].Pixel, _ = m.View.Image(t.c.plane.At(pr.Ends[i].Card))
	}
	if !m.budget(t) {
		m.Profile = nil
		return
	}
	m.Thickness = o.thickness(m.Card.Layout)
	if o.PlaneU == nil && o.Surface.Kind == SurfaceUnknown && (o.Height == nil || m.Card.Layout.OnPart) {
		m.flag(FlagSurfaceAssumed)
	}
	if o.Ends != nil {
		m.flag(FlagEndsByHand)
	}
}

// orient turns the axis so that it runs towards the first end: the front, or
// where the strip lies nearly square to the front arrow, the end further up.
func (t *traced) orient() {
	d := t.c.axis.Dir
	forward := d.X > 0
	if math.Abs(d.X) < math.Sin(squareToArrow*math.Pi/180) {
		forward = d.Y > 0
	}
	if forward {
		return
	}
	a := &t.c.axis
	a.Dir = d.Scale(-1)
	a.Bend[0], a.Bend[2] = -a.Bend[0], -a.Bend[2]
	for i, j := 0, len(t.cuts)-1; i <= j; i, j = i+1, j-1 {
		t.cuts[i], t.cuts[j] = t.cuts[j], t.cuts[i]
	}
	for i := range t.cuts {
		t.cuts[i].s = -t.cuts[i].s
	}
}

// squareToArrow is how near to square (degrees) a strip may lie to the front
// arrow before its ends have no front.
const squareToArrow = 30.0

func (t *traced) endNames() (first, second string) {
	if math.Abs(t.c.axis.Dir.X) < math.Sin(squareToArrow*math.Pi/180) {
		return "a", "b"
	}
	return "front", "rear"
}

func (m *Measurement) gateStrip(t *traced) *Refusal {
	if r := m.gateSize(); r != nil {
		return r
	}
	for _, f := range t.condition() {
		m.flag(f)
	}
	switch {
	case slices.Contains(m.Flags, FlagSmeared):
		return Refuse(CodeSmeared, "").unlessByColour()
	case slices.Contains(m.Flags, FlagRolled):
		return Refuse(CodeRolled, "").unlessByColour()
	}
	uneven, most := t.unevenEdges(), maxUneven
	if t.cam.isTint() {
		most = notableUneven // chroma shows what is drawn out less well
	}
	if !m.check("edges alike in sharpness", uneven, most, "") {
		return Refuse(CodeUnevenEdges, "%.1f times", uneven).unlessByColour()
	}
	if uneven > notableUneven {
		m.flag(FlagUnevenEdges)
	}
	if t.asBlack() {
		m.flag(FlagAsBlack)
	}
	return m.gateLost(t, maxLost)
}

// gateSize refuses what is too narrow in the photo or too far from the card.
func (m *Measurement) gateSize() *Refusal {
	s := m.Strip
	l := m.Card.Layout
	wpx := s.Width * s.PxPerMM
	if ok := m.atLeast("strip width", wpx, minWidthPixels, "px"); !ok {
		return Refuse(CodeNarrowStrip, "%.1f px, at least %.0f", wpx, minWidthPixels)
	}
	if ok := m.atLeast("strip width over blur", wpx/s.Camera.blur(), minWidthBlurs, ""); !ok {
		return Refuse(CodeNarrowStrip, "%.1f blur widths, at least %.0f", wpx/s.Camera.blur(), minWidthBlurs)
	}
	gap := gapTo(l, s.Axis, s.Width)
	if !m.check("gap to the card", gap, l.MaxGap, "mm") {
		return Refuse(CodeRiderGap, "%.1f mm, at most %.0f", gap, l.MaxGap)
	}
	return nil
}

// gateLost refuses a strip of whose stations more than the share most are lost.
func (m *Measurement) gateLost(t *traced, most float64) *Refusal {
	lost := t.lost()
	if !m.check("stations lost", 100*lost, 100*most, "%") {
		r := Refuse(mostLost(t), "%.0f %% of the strip's length", 100*lost)
		r.tinted = r.Code == CodeLowContrast
		return r
	}
	if m.Profile == nil {
		return Refuse(CodeStationsLost, "too few stations are left")
	}
	return nil
}

// atLeast records a proof whose value must not fall under its limit.
func (m *Measurement) atLeast(name string, value, limit float64, unit string) bool {
	ok := value >= limit
	m.Checks = append(m.Checks, Check{name, ok, value, limit, unit})
	return ok
}

// mostLost names the refusal for the commonest reason stations were dropped.
func mostLost(t *traced) string {
	switch t.mostDropped("") {
	case dropSaturated:
		return CodeSaturated
	case dropContrast:
		return CodeLowContrast
	case dropOnCard:
		return CodeStripReachesCard
	case dropOutside:
		return CodeStripCutOff
	}
	return CodeStationsLost
}

// gapTo returns the distance in mm between the card's outline and the strip's
// nearer edge, taken over the strip's middle line.
func gapTo(l *calib.Layout, a Axis, width float64) float64 {
	best := math.Inf(1)
	for i := -20; i <= 20; i++ {
		c := a.At(a.Half * float64(i) / 20)
		dx := math.Max(0, math.Abs(c.X)-l.Width/2)
		dy := math.Max(0, math.Abs(c.Y)-l.Height/2)
		best = math.Min(best, math.Hypot(dx, dy))
	}
	return math.Max(0, best-width/2)
}
