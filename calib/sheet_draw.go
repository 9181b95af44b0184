package calib

import "fmt"

// Outline is a filled black area of a page: the even-odd inside of its rings.
// As in a Polygon, the non-zero rule fills the same area.
type Outline struct{ Rings [][]SheetPoint }

// Cutting ticks, mm. They stay outside the cards, so that nothing of them is left
// on a card cut too wide.
const (
	tickGap    = 1.0
	tickLength = 3.0
	tickWidth  = 0.15
)

// Outlines returns every black area of the page; no two touch. The errors are
// those of Layout.Shapes.
func (s *Sheet) Outlines() ([]Outline, error) {
	var out []Outline
	for _, bar := range s.CheckBars {
		out = append(out, bar.outline())
	}
	for _, card := range s.Cards {
		shapes, err := card.Layout.Shapes(s.Serial, card.Bearing)
		if err != nil {
			return nil, err
		}
		for _, p := range shapes {
			out = append(out, mapped(p, card.SheetFromCard))
		}
		if card.Layout.Width < s.Paper.Width { // else the page is the card
			out = append(out, card.ticks()...)
		}
	}
	for _, note := range s.Notes {
		outline, err := note.outline()
		if err != nil {
			return nil, fmt.Errorf("sheet: %w", err)
		}
		out = append(out, outline)
	}
	return out, nil
}

// mapped carries every point of p to the page.
func mapped(p Polygon, to func(CardPoint) SheetPoint) Outline {
	var out Outline
	for _, ring := range p.Rings {
		points := make([]SheetPoint, len(ring))
		for i, c := range ring {
			points[i] = to(c)
		}
		out.Rings = append(out.Rings, points)
	}
	return out
}

// block returns the upright rectangle with opposite corners (x0, y0), (x1, y1).
func block(x0, y0, x1, y1 float64) Outline {
	return Outline{[][]SheetPoint{{{x0, y1}, {x1, y1}, {x1, y0}, {x0, y0}}}}
}

func (b CheckBar) outline() Outline {
	half := b.Width / 2
	if b.From.Y == b.To.Y {
		return block(b.From.X, b.From.Y-half, b.To.X, b.To.Y+half)
	}
	return block(b.From.X-half, b.From.Y, b.To.X+half, b.To.Y)
}

// ticks returns the cutting ticks, two off each corner, in line with the edges.
func (p Placement) ticks() []Outline {
	var out []Outline
	const half = tickWidth / 2
	for _, sx := range []float64{-1, 1} {
		for _, sy := range []float64{-1, 1} {
			x, y := p.Centre.X+sx*p.Layout.Width/2, p.Centre.Y+sy*p.Layout.Height/2
			near, far := x+sx*tickGap, x+sx*(tickGap+tickLength)
			out = append(out, block(min(near, far), y-half, max(near, far), y+half))
			near, far = y+sy*tickGap, y+sy*(tickGap+tickLength)
			out = append(out, block(x-half, min(near, far), x+half, max(near, far)))
		}
	}
	return out
}

func (n Note) outline() (Outline, error) {
	line, _, err := textLine(n.Text, n.Size)
	if err != nil {
		return Outline{}, err
	}
	return mapped(line, func(c CardPoint) SheetPoint {
		if n.Upright {
			return SheetPoint{n.Start.X - c.Y, n.Start.Y - c.X}
		}
		return SheetPoint{n.Start.X + c.X, n.Start.Y - c.Y}
	}), nil
}
