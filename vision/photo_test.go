package vision

import (
	"math"
	"testing"
)

// The inverse of RGB by its defining weights, 0.299, 0.587 and 0.114 (ITU-T
// T.871 section 7), must give the stored values back.
func TestRGBInvertsStorage(t *testing.T) {
	for _, c := range [][3]uint8{{128, 128, 128}, {100, 140, 120}, {150, 100, 160}, {90, 160, 110}} {
		p := newPhoto444(1, 1)
		p.Luma.Pix[0], p.Cb.Pix[0], p.Cr.Pix[0] = c[0], c[1], c[2]
		r, g, b := p.RGB(0, 0)
		luma := 0.299*r + 0.587*g + 0.114*b
		got := [3]float64{luma, (b-luma)/1.772 + 128, (r-luma)/1.402 + 128}
		for i := range got {
			if math.Abs(got[i]-float64(c[i])) > 1e-6 { // the constants' printed digits
				t.Errorf("%v comes back as %v", c, got)
			}
		}
	}
	p := newPhoto444(1, 1)
	p.Luma.Pix[0], p.Cb.Pix[0], p.Cr.Pix[0] = 250, 128, 250
	if r, g, _ := p.RGB(0, 0); r != 255 || g >= 250 {
		t.Errorf("red %g is not held at the display's white, or green is %g", r, g)
	}
}

// Chroma of half resolution sits midway between two luma samples, so the luma
// samples read it a quarter of a step to either side (JFIF 1.02, "spatial
// relationship of components").
func TestChromaBetweenSamples(t *testing.T) {
	p := &Photo{Luma: NewPlane(4, 1), Cb: NewPlane(2, 1), Cr: NewPlane(2, 1), ChromaX: 2, ChromaY: 1}
	copy(p.Luma.Pix, []uint8{128, 128, 128, 128})
	copy(p.Cb.Pix, []uint8{128, 128})
	copy(p.Cr.Pix, []uint8{128, 168})
	for x, cr := range []float64{0, 10, 30, 40} {
		if r, _, _ := p.RGB(x, 0); math.Abs(r-(128+1.402*cr)) > 1e-9 {
			t.Errorf("column %d: red %g, want %g", x, r, 128+1.402*cr)
		}
	}
}
