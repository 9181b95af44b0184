package vision

import (
	"math"

	"stripgap/calib"
)

// SurfaceKind is the form of the metal that strip and card lie on.
type SurfaceKind int

// The zero kind is a surface nobody described.
const (
	SurfaceUnknown SurfaceKind = iota
	SurfaceFlat                // one flat face under card and strip
	SurfaceShell               // concave, its axis along the strip
	SurfaceJournal             // convex, its axis along the strip
)

// Surface is what is known of the metal: its kind and, for a shell or journal,
// its radius in mm.
type Surface struct {
	Kind   SurfaceKind
	Radius float64
}

// PlaneU is the standard uncertainty of a strip's plane about the strip's
// middle: height in mm, and slope along and across the strip.
type PlaneU struct{ Height, Along, Across float64 }

// How well card and strip lie to one another, as standard uncertainties. Common
// practice and estimates, no source. Where nobody said how they lie, twice the
// figure must reach what is met: shells and caps on a bench some 5 mm above the
// card and 10 degrees off its plane, journals of 20 mm radius under a rider.
const (
	usualCard     = 0.1 // mm: a card's thickness where nobody told it, that of paper alone, which is the least
	flatHeightU   = 0.3 // mm: that thickness and how flat the card lies
	boardHeightU  = 0.1 // mm: the same where the thickness was told: callipers, glue, and how flat stiff board lies
	benchHeightU  = 2.5 // mm: a strip beside a bench card, nothing said
	riderHeightU  = 0.4 // mm: a strip right beside a rider, nothing said
	degree        = math.Pi / 180
	flatSlopeU    = 1 * degree
	unknownSlopeU = 5 * degree
	contactU      = 2.0  // mm: along which line a card rests on a journal, or how far from a shell's bottom the strip lies
	chordU        = 0.7  // mm: where a card's edges touch a shell
	typicalRadius = 30.0 // mm: one over the curvature's standard uncertainty, for an undescribed surface under a rider
)

// lie returns the plane of a strip whose middle line passes off mm beside the
// card's centre (positive along the axis' normal), in the axis' frame: height at
// the middle, slope across it, and how well both are known.
//
// A card on a journal touches it along the line under the card's middle, and a
// card in a shell rests on two edges; the strip lies on the tangent plane at its
// place. A bench card lies beside the part, not on it: its height must be stated.
// What touches the metal is the card's back, its thickness under its face.
func (s Surface) lie(l *calib.Layout, dir calib.CardPoint, off float64, thickness Height) (height, across float64, u PlaneU) {
	r := s.Radius
	back, heightU := -thickness.MM, thickness.U
	switch {
	case s.Kind == SurfaceFlat:
		return back, 0, PlaneU{heightU, flatSlopeU, flatSlopeU}
	case s.Kind == SurfaceUnknown && l.OnPart:
		return 0, 0, PlaneU{math.Hypot(riderHeightU, off*off/(2*typicalRadius)), flatSlopeU, math.Hypot(flatSlopeU, off/typicalRadius)}
	case s.Kind == SurfaceUnknown:
		return 0, 0, PlaneU{benchHeightU, unknownSlopeU, unknownSlopeU}
	case !l.OnPart:
		return 0, 0, PlaneU{benchHeightU, flatSlopeU, contactU / r}
	}
	off = math.Max(-farRound*r, math.Min(farRound*r, off)) // gateSurface refuses what lies beyond
	drop := r - math.Sqrt(r*r-off*off)
	slope := off / math.Sqrt(r*r-off*off)
	if s.Kind == SurfaceJournal {
		return back - drop, -slope, PlaneU{math.Hypot(heightU, slope*contactU), flatSlopeU, contactU / r}
	}
	half := math.Min(farRound*r, halfAcross(l, dir))
	sag := r - math.Sqrt(r*r-half*half)
	return back + (drop - sag), slope, PlaneU{math.Hypot(heightU, slope*chordU), flatSlopeU, chordU / r}
}

// halfAcross is half of how wide a card is, mm, across an axis of that direction.
func halfAcross(l *calib.Layout, dir calib.CardPoint) float64 {
	return (l.Height*math.Abs(dir.X) + l.Width*math.Abs(dir.Y)) / 2
}

// farRound is how far round a surface, in radii beside its middle, a strip or a card's
// edge may lie: there the metal stands 64 degrees steep. A card beside the strip does not
// lie so.
const farRound = 0.9

// round reports whether strip and card are told to lie on a round surface that says how.
func (o Options) round(l *calib.Layout) bool {
	return o.Surface.Radius != 0 && l.OnPart && o.PlaneU == nil
}

// gateSurface refuses a strip or a card that does not fit on the round surface that was
// told: the radius is of something else.
func (m *Measurement) gateSurface(a Axis, o Options) *Refusal {
	l, s := m.Card.Layout, o.Surface
	if !o.round(l) {
		return nil
	}
	far := math.Abs(a.At(0).Dot(a.Normal()))
	if s.Kind == SurfaceShell {
		far = math.Max(far, halfAcross(l, a.Dir))
	}
	if !m.check("way round the surface", far, farRound*s.Radius, "mm") {
		return Refuse(CodeSurfaceMismatch, "%.0f mm beside its middle, and the radius %.4g mm", far, s.Radius)
	}
	return nil
}

// hiddenBySurface is the refusal r of a strip that was not found, or that of the told
// radius where the strip is found without it and does not fit on it.
func (m *Measurement) hiddenBySurface(p *Photo, f *found, o Options, r *Refusal) *Refusal {
	if !o.round(m.Card.Layout) {
		return r
	}
	flat := o
	flat.Surface = Surface{Kind: SurfaceFlat}
	if t, _ := findStrip(p, f, m.Bars, flat); t != nil {
		if why := m.gateSurface(t.c.axis, o); why != nil {
			return why
		}
	}
	return r
}

// thickness is the card's as told, mm, where the strip's height follows from it, else 0:
// the film must lie on the metal that the card lies on, and nobody measured its
// height. A strand's edges lie above the metal by its radius, which is not known.
func (o Options) thickness(l *calib.Layout) float64 {
	if o.quarry != crushedStrip || o.PlaneU != nil || o.Height != nil ||
		o.Surface.Kind == SurfaceUnknown || o.Surface.Kind != SurfaceFlat && !l.OnPart {
		return 0
	}
	return o.Print.Thickness
}

// card is how thick the card is taken to be, with how flat it lies. A strand's edges lie
// about as far above the metal as the face does, and printed bars beside the card are
// on paper too.
func (o Options) card(l *calib.Layout) Height {
	switch told := o.thickness(l); {
	case told > 0:
		return Height{told, boardHeightU}
	case o.quarry != crushedStrip:
		return Height{0, flatHeightU}
	}
	return Height{usualCard, flatHeightU}
}

// plane returns where a strip lies whose middle line would be the axis seen if it
// lay in the card's plane, and how well that is known.
func (o Options) plane(v *calib.View, l *calib.Layout, a Axis) (calib.Plane, PlaneU) {
	if o.PlaneU != nil {
		return o.Plane, *o.PlaneU
	}
	n := a.Normal()
	middle := a.At(0)
	px, ok := v.Image(middle.At(0))
	var pl calib.Plane
	var u PlaneU
	for range 8 { // where the ray meets the tangent plane moves the plane a little
		off := middle.Dot(n)
		var height, across float64
		height, across, u = o.Surface.lie(l, a.Dir, off, o.card(l))
		if o.Height != nil {
			height, u.Height = o.Height.MM, o.Height.U
		}
		pl = calib.Plane{Height: height - across*off, SlopeX: across * n.X, SlopeY: across * n.Y}
		q, met := v.Card(px, pl)
		if !ok || !met {
			return pl, u
		}
		middle = calib.CardPoint{X: q.X, Y: q.Y}
	}
	return pl, u
}

// onto moves a candidate or axis end from the card's plane to another plane along
// the ray that shows it.
func onto(v *calib.View, c calib.CardPoint, pl calib.Plane) calib.CardPoint {
	if px, ok := v.Image(c.At(0)); ok {
		if q, ok := v.Card(px, pl); ok {
			return calib.CardPoint{X: q.X, Y: q.Y}
		}
	}
	return c
}
