package calib

import "math"

// Polygon is a filled black area of a drawing: the even-odd inside of its rings,
// in card millimetres. Curves are flattened to within 0.5 um. Outer rings run
// anticlockwise and holes clockwise, so the non-zero rule fills the same area.
type Polygon struct{ Rings [][]CardPoint }

// flatness is the largest distance in mm between a curve and its chords.
const flatness = 0.0005

// rectangle returns the upright rectangle with opposite corners (x0, y0) and
// (x1, y1), x0 < x1 and y0 < y1.
func rectangle(x0, y0, x1, y1 float64) []CardPoint {
	return []CardPoint{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// arc appends to ring the chords of the circular arc about centre from angle
// from to angle to (radians, anticlockwise from +x; from > to runs clockwise),
// both ends included.
func arc(ring []CardPoint, centre CardPoint, radius, from, to float64) []CardPoint {
	// A chord over the angle h stays within radius*(1-cos(h/2)) of its arc. An even
	// number of chords makes a full circle map onto itself turned by 180 degrees.
	step := 2 * math.Acos(1-flatness/radius)
	n := 2 * int(math.Ceil(math.Abs(to-from)/step/2))
	for i := range n + 1 {
		sin, cos := math.Sincos(from + (to-from)*float64(i)/float64(n))
		ring = append(ring, centre.Add(CardPoint{radius * cos, radius * sin}))
	}
	return ring
}

// markShape returns the mark's black area: the rim with its teeth as one toothed
// ring, and the two black quarters of the disc.
func markShape(m Mark, style MarkStyle) Polygon {
	var toothed []CardPoint
	sectors := 2 * style.Bits
	for s := range sectors {
		radius := style.Rim
		if m.Code>>(s%style.Bits)&1 == 1 {
			radius = style.Teeth
		}
		step := 2 * math.Pi / float64(sectors)
		toothed = arc(toothed, m.Centre, radius, float64(s)*step, float64(s+1)*step)
	}
	hole := arc(nil, m.Centre, style.Gap, 2*math.Pi, 0)
	upper := arc([]CardPoint{m.Centre}, m.Centre, style.Disc, 0, math.Pi/2)
	lower := arc([]CardPoint{m.Centre}, m.Centre, style.Disc, math.Pi, 3*math.Pi/2)
	return Polygon{[][]CardPoint{toothed, hole, upper, lower}}
}

// barShapes returns one rectangle per bar of the group.
func barShapes(b Bars) []Polygon {
	var out []Polygon
	for i := range b.Count {
		offset := float64(i) * b.Pitch
		x, y := b.Start.X, b.Start.Y
		if b.Vertical {
			out = append(out, Polygon{[][]CardPoint{rectangle(x+offset, y, x+offset+b.Width, y+b.Length)}})
		} else {
			out = append(out, Polygon{[][]CardPoint{rectangle(x, y+offset, x+b.Length, y+offset+b.Width)}})
		}
	}
	return out
}

// arrowShape returns the arrow: a head as long as it is wide on a shaft a third
// as wide.
func arrowShape(a Arrow) Polygon {
	tip, neck := a.Tail.X+a.Length, a.Tail.X+a.Length-a.Width
	half, shaft, y := a.Width/2, a.Width/6, a.Tail.Y
	return Polygon{[][]CardPoint{{
		{a.Tail.X, y - shaft}, {neck, y - shaft}, {neck, y - half}, {tip, y},
		{neck, y + half}, {neck, y + shaft}, {a.Tail.X, y + shaft},
	}}}
}
