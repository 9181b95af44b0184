package vision

import (
	"cmp"
	"math"
	"slices"

	"stripgap/calib"
)

// Limits within which two photos prove themselves as a pair.
const (
	// minParallaxDeg is the least angle between the two views, across the strip.
	// At 10 degrees a millimetre of height moves the strip by 0.17 mm, so that
	// every error is six times as large in height.
	minParallaxDeg = 10.0
	maxTurnDeg     = 20.0 // between the strip's directions as the photos alone give them
	minShared      = 0.6  // share of the strip's length that both photos show
	maxSolvedSlope = 35.0 // degrees; a strip beside a rider on a thin journal reaches 25
	maxSolvedRise  = 15.0 // mm
	maxDisagree    = 3.5  // standard deviations
)

// SolvedPlane is where two photos found the strip: the height of its middle
// above the card's face in mm, and its slope along the strip (positive: the
// first end is higher) and across it (positive: the side 90 degrees
// anticlockwise of the first end's direction is higher). It is the plane of the
// strip's two edges: on a curved surface that of their chords.
type SolvedPlane struct {
	Height, Along, Across float64
	U                     PlaneU // standard uncertainties
}

// MeasurePair reads one strip beside one card from two photos taken from
// different sides of the strip, and solves height and tilt of the strip from
// them. What o says of the strip's plane is only where the search starts. Which
// photo is first makes no difference but for the pixels, which are those of a.
//
// The two edges that each photo shows are triangulated against the card: both
// views, the strip's plane and its edges are fitted together (a bundle
// adjustment) to the marks and edges of both photos. The profile is the weighted
// mean of both photos' widths on that plane.
//
// Errors are refusals: those of Measure for each photo, pair-mismatch and
// pair-too-alike. The measurement is never nil; where the second photo alone is
// refused it is that photo's (see Measurement.OfSecond).
func MeasurePair(a, b *Photo, o Options) (*Measurement, error) {
	s := &stereo{photo: [2]*Photo{a, b}}
	if r := s.run(o); r != nil {
		return s.measurement(), r
	}
	return s.measurement(), nil
}

// stereo is a pair of photos on the way to one measurement.
type stereo struct {
	photo  [2]*Photo
	alone  [2]*Measurement
	trace  [2]*traced
	model  stereoModel
	state  stereoState
	eq     *stereoEquations
	faulty int     // the photo that a refusal is about
	own    []Check // proofs that only a pair can give
	join   *Measurement
}

func (s *stereo) run(o Options) *Refusal {
	if r := s.eachAlone(o); r != nil {
		return r
	}
	if r := s.gateSame(); r != nil {
		return r
	}
	if r := s.samePrint(o); r != nil {
		return r
	}
	o.Print = s.alone[0].Print
	first, second := s.alone[0].Card, s.alone[1].Card
	first.Serial, first.Bearing = cmp.Or(first.Serial, second.Serial), cmp.Or(first.Bearing, second.Bearing)
	s.begin(o)
	if r := s.gateParallax(); r != nil {
		return r
	}
	if r := s.solve(); r != nil {
		return r
	}
	if r := s.gateSolved(); r != nil {
		return r
	}
	return s.combine()
}

// gateSame refuses two photos that do not show the same card and strip.
func (s *stereo) gateSame() *Refusal {
	a, b := s.alone[0].Card, s.alone[1].Card
	differ := func(x, y string) bool { return x != "" && y != "" && x != y }
	switch {
	case a.Layout.Name != b.Layout.Name:
		return Refuse(CodePairMismatch, "a %s card and a %s card", a.Layout.Name, b.Layout.Name)
	case differ(a.Serial, b.Serial):
		return Refuse(CodePairMismatch, "cards %s and %s", a.Serial, b.Serial)
	case differ(a.Bearing, b.Bearing):
		return Refuse(CodePairMismatch, "bearings %s and %s", a.Bearing, b.Bearing)
	}
	d := s.alone[0].Strip.Axis.Dir.Dot(s.alone[1].Strip.Axis.Dir)
	turn := math.Acos(math.Min(1, math.Abs(d))) * 180 / math.Pi
	if !s.check("turn between the strip's directions", turn, maxTurnDeg, "deg") {
		return Refuse(CodePairMismatch, "the strip lies turned by %.0f degrees", turn)
	}
	return nil
}

// begin lays the base along the mean of both axes and starts every unknown from
// what the photos alone give.
func (s *stereo) begin(o Options) {
	a, b := s.alone[0].Strip.Axis, s.alone[1].Strip.Axis
	d := b.Dir
	if a.Dir.Dot(d) < 0 { // nearly square to the front arrow, where up and down can part
		d = d.Scale(-1)
	}
	sum := a.Dir.Add(d)
	s.model.base = Axis{
		Middle: a.Middle.Add(b.Middle).Scale(0.5), Dir: sum.Scale(1 / sum.Norm()),
		Half: (a.Half + b.Half) / 2,
	}.oriented()
	s.model.tied = sameCamera(s.photo[0], s.photo[1])
	s.state.view = oneCard(s.alone[0].View, s.alone[1].View)
	for i, m := range s.alone {
		s.model.side[i] = stereoSide{
			prior: o.prior(s.photo[i]), w: s.photo[i].Width(), h: s.photo[i].Height(), turn: s.photo[i].turn(),
			marks: m.Card.Marks, markU: markSigma(m.Card.Marks), biasU: m.edgeBias() * m.PxPerMM,
		}
	}
	base := s.model.base
	for _, t := range s.trace {
		p := t.c.plane
		s.state.plane[0] += p.At(base.Middle).Z / 2
		s.state.plane[1] += (p.SlopeX*base.Dir.X + p.SlopeY*base.Dir.Y) / 2
		s.state.plane[2] += (p.SlopeX*base.Normal().X + p.SlopeY*base.Normal().Y) / 2
	}
	s.model.curve, s.model.curveU = o.surfaceOf(s.alone[0].Card.Bearing).curve()
	s.state.curve = s.model.curve
	s.model.curlU = curlU(s.alone[0].Card.Layout)
	w := (s.alone[0].Strip.Width + s.alone[1].Strip.Width) / 2
	s.state.edge = [2][3]float64{{-w / 2}, {w / 2}}
}

// curlU is the standard deviation of how a card is curled along its long side, 1/mm: ends
// that stand up or hang down by a 120th of its half length, 0.1 mm of a rider and 0.36
// mm of a bench card. Common practice, no source.
func curlU(l *calib.Layout) float64 {
	half := math.Max(l.Width, l.Height) / 2
	return 2 / (120 * half)
}

// curve returns one over the radius, positive in a shell, and its standard
// uncertainty, 1/mm. A told radius is the metal's to a few per cent: common practice,
// no source.
func (s Surface) curve() (curve, u float64) {
	const told = 0.03
	switch s.Kind {
	case SurfaceShell:
		return 1 / s.Radius, told / s.Radius
	case SurfaceJournal:
		return -1 / s.Radius, told / s.Radius
	case SurfaceFlat:
		return 0, told / typicalRadius
	}
	return 0, 1 / typicalRadius
}

// oneCard returns two views with one aspect, for they show the same card.
func oneCard(a, b *calib.View) [2]*calib.View {
	x, y := *a, *b
	x.Aspect = (a.Aspect + b.Aspect) / 2
	y.Aspect = x.Aspect
	return [2]*calib.View{&x, &y}
}

// oriented returns the axis turned so that it runs towards the first end, as a
// single photo's does.
func (a Axis) oriented() Axis {
	t := traced{c: cutter{axis: a}}
	t.orient()
	return t.c.axis
}

// sameCamera reports whether both photos say that one camera and lens took them.
func sameCamera(a, b *Photo) bool {
	x, y := a.Exif, b.Exif
	known := x.Make+x.Model != "" && x.Focal35MM+x.FocalMM > 0
	size := a.Width() == b.Width() && a.Height() == b.Height() || a.Width() == b.Height() && a.Height() == b.Width()
	whole := !a.cropped() && !b.cropped() // else each has a place in the frame of its own
	return known && size && whole && x.Make == y.Make && x.Model == y.Model && x.FocalMM == y.FocalMM && x.Focal35MM == y.Focal35MM
}

// gateParallax refuses photos from so nearly the same side that they say little
// of the height. Only the angle across the strip counts: moving along a straight
// edge does not change its picture.
func (s *stereo) gateParallax() *Refusal {
	var lean [2]float64
	n, mid := s.model.base.Normal(), s.model.base.Middle
	for i, v := range s.state.view {
		c := v.Pose.Centre()
		lean[i] = math.Atan2((calib.CardPoint{X: c.X, Y: c.Y}).Sub(mid).Dot(n), c.Z) * 180 / math.Pi
	}
	angle := math.Abs(lean[1] - lean[0])
	ok := angle >= minParallaxDeg
	s.own = append(s.own, Check{"angle between the photos", ok, angle, minParallaxDeg, "deg"})
	if !ok {
		return Refuse(CodePairTooAlike, "%.0f degrees across the strip, at least %.0f", angle, minParallaxDeg)
	}
	return nil
}

// gateSolved refuses a solution that two photos of one strip do not have.
func (s *stereo) gateSolved() *Refusal {
	slope := math.Atan(math.Hypot(s.state.plane[1], s.state.plane[2])) * 180 / math.Pi
	rise := math.Abs(s.state.plane[0])
	if !s.check("solved tilt of the strip", slope, maxSolvedSlope, "deg") {
		return Refuse(CodePairMismatch, "the strip would lie %.0f degrees off the card", slope)
	}
	if !s.check("solved height of the strip", rise, maxSolvedRise, "mm") {
		return Refuse(CodePairMismatch, "the strip would lie %.0f mm off the card", rise)
	}
	apart, ok := s.disagreement()
	if !ok {
		return Refuse(CodePairMismatch, "")
	}
	z := math.Max(math.Abs(apart[0]), math.Abs(apart[1]))
	if !s.check("both photos agree", z, maxDisagree, "") {
		return Refuse(CodePairMismatch, "their widths differ by %.1f standard deviations, at most %.1f", z, maxDisagree)
	}
	return nil
}

// check records a proof of the pair and reports whether it holds.
func (s *stereo) check(name string, value, limit float64, unit string) bool {
	ok := value <= limit
	s.own = append(s.own, Check{name, ok, value, limit, unit})
	return ok
}

// measurement returns the joint measurement, or as far as the photo alone got that
// a refusal is about, with the proofs of both.
func (s *stereo) measurement() *Measurement {
	out := s.join
	if out == nil {
		alone := *s.alone[s.faulty]
		alone.Profile = nil // its width is not the pair's
		alone.OfSecond = s.faulty == 1
		out = &alone
	}
	out.Checks, out.Flags = nil, nil
	for i, m := range s.alone {
		if m == nil {
			continue
		}
		for _, c := range m.Checks {
			c.Name += ", " + photoNames[i]
			out.Checks = append(out.Checks, c)
		}
		for _, f := range m.Flags {
			if f != FlagSurfaceAssumed && !slices.Contains(out.Flags, f) { // the pair has solved how the strip lies
				out.Flags = append(out.Flags, f)
			}
		}
	}
	out.Checks = append(out.Checks, s.own...)
	return out
}
