package calib

import (
	"math"
	"testing"
)

// A label's size is its capitals' height, and its centre theirs.
func TestTextHasItsSizeAndPlace(t *testing.T) {
	for _, size := range []float64{0.7, 2.2, 10} {
		centre := CardPoint{3, -4}
		p, err := textShape("H", centre, size)
		if err != nil {
			t.Fatal(err)
		}
		b := bounds(p)
		if math.Abs(b.y1-b.y0-size) > slack || math.Abs((b.y0+b.y1)/2-centre.Y) > slack {
			t.Errorf("size %g: H reaches from %g to %g", size, b.y0, b.y1)
		}
		if off := (b.x0+b.x1)/2 - centre.X; math.Abs(off) > 0.02*size { // side bearings differ a little
			t.Errorf("size %g: H stands %g mm off its centre", size, off)
		}
	}
}

func TestTextWithoutInk(t *testing.T) {
	for _, text := range []string{"", "  "} {
		if p, err := textShape(text, CardPoint{}, 2); err != nil || len(p.Rings) > 0 {
			t.Errorf("%q: %d rings, %v", text, len(p.Rings), err)
		}
	}
	if _, err := textShape("\u4e00", CardPoint{}, 2); err == nil {
		t.Error("a character the face lacks was drawn")
	}
}

// Outer rings run anticlockwise, holes clockwise and none overlap: then the sum
// of the rings' signed areas is the inked area, whichever fill rule draws it.
func TestGlyphsFillAlikeByBothRules(t *testing.T) {
	const scale, side = 20, 40 // pixels per mm, mm
	for r := '!'; r <= '~'; r++ {
		p, err := textShape(string(r), CardPoint{}, 14)
		if err != nil {
			t.Fatal(err)
		}
		signed, _ := areaAndCentroid(p.Rings)
		o := mapped(p, func(c CardPoint) SheetPoint { return SheetPoint{side/2 + c.X, side/2 - c.Y} })
		page := newBands([]Outline{o}, scale, side*scale, side*scale)
		var inked float64
		for y := range side * scale {
			for _, k := range page.row(y) {
				inked += float64(k) / 255 / (scale * scale)
			}
		}
		// Half a level lost in each pixel along the edge is far below 0.5 %.
		if math.Abs(signed-inked) > 0.005*inked {
			t.Errorf("%q: rings sum to %.3f mm2, ink covers %.3f", r, signed, inked)
		}
	}
}
