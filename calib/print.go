package calib

import "math"

// PrintScale is what is known of a sheet's print: its true length over the
// nominal one along the sheet's x and y, and the relative standard uncertainty
// of both. The zero value is a sheet whose check bars nobody measured. Thickness is
// that of its cards in mm, board, glue and paper; 0 where nobody told it.
type PrintScale struct{ X, Y, U, Thickness float64 }

// Checked reports whether the sheet's check bars were measured.
func (p PrintScale) Checked() bool { return p.X > 0 && p.Y > 0 }

// Scaled returns the layout as the print really is: every place and length along
// x multiplied by p.X and along y by p.Y, radii by their geometric mean. An
// unchecked print leaves the layout as it is.
func (l *Layout) Scaled(p PrintScale) *Layout {
	if !p.Checked() {
		return l
	}
	at := func(c CardPoint) CardPoint { return CardPoint{c.X * p.X, c.Y * p.Y} }
	mean := math.Sqrt(p.X * p.Y)
	s := *l
	s.Width, s.Height = l.Width*p.X, l.Height*p.Y
	for _, r := range []*float64{&s.Style.Disc, &s.Style.Gap, &s.Style.Rim, &s.Style.Teeth, &s.Style.Quiet} {
		*r *= mean
	}
	s.Marks = nil
	for _, m := range l.Marks {
		s.Marks = append(s.Marks, Mark{m.Code, at(m.Centre)})
	}
	s.Bars = nil
	for _, b := range l.Bars {
		across, along := p.Y, p.X
		if b.Vertical {
			across, along = p.X, p.Y
		}
		b.Start = at(b.Start)
		b.Width, b.Pitch, b.Length = b.Width*across, b.Pitch*across, b.Length*along
		s.Bars = append(s.Bars, b)
	}
	s.Code = Square{at(l.Code.Centre), l.Code.Side * mean}
	s.Front = Arrow{at(l.Front.Tail), l.Front.Length * p.X, l.Front.Width * p.Y}
	s.Labels = nil
	for _, t := range l.Labels {
		s.Labels = append(s.Labels, Label{at(t.Centre), t.Size * mean, t.Text})
	}
	return &s
}
