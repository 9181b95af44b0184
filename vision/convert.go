package vision

import (
	"image"
	"image/color"
	"math"
)

// fromImage turns a picture decoded by Go into a photo. The picture is 8-bit
// red, green and blue, or the YCbCr of a lossy WebP.
func fromImage(img image.Image) *Photo {
	switch m := img.(type) {
	case *image.YCbCr:
		return fromStudio(m)
	case *image.NYCbCrA:
		return fromStudio(&m.YCbCr)
	}
	b := img.Bounds()
	p := newPhoto444(b.Dx(), b.Dy())
	rgb := rgbReader(img)
	for y := range b.Dy() {
		luma, cb, cr := p.Luma.Row(y), p.Cb.Row(y), p.Cr.Row(y)
		for x := range luma {
			luma[x], cb[x], cr[x] = color.RGBToYCbCr(rgb(b.Min.X+x, b.Min.Y+y))
		}
	}
	return p
}

func newPhoto444(w, h int) *Photo {
	return &Photo{Luma: NewPlane(w, h), Cb: NewPlane(w, h), Cr: NewPlane(w, h), ChromaX: 1, ChromaY: 1}
}

func newPhoto420(w, h int) *Photo {
	return &Photo{Luma: NewPlane(w, h), Cb: NewPlane((w+1)/2, (h+1)/2), Cr: NewPlane((w+1)/2, (h+1)/2), ChromaX: 2, ChromaY: 2}
}

// rgbReader returns how to read a pixel's colour, transparency left aside. The
// first two cases are the third made fast.
func rgbReader(img image.Image) func(x, y int) (r, g, b uint8) {
	switch m := img.(type) {
	case *image.NRGBA:
		return func(x, y int) (r, g, b uint8) {
			i := m.PixOffset(x, y)
			return m.Pix[i], m.Pix[i+1], m.Pix[i+2]
		}
	case *image.RGBA: // a PNG without transparency: nothing is premultiplied
		return func(x, y int) (r, g, b uint8) {
			i := m.PixOffset(x, y)
			return m.Pix[i], m.Pix[i+1], m.Pix[i+2]
		}
	}
	return func(x, y int) (r, g, b uint8) {
		c := color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA)
		return c.R, c.G, c.B
	}
}

// fromStudio takes over the planes of a lossy WebP. VP8 stores BT.601 in studio
// range (RFC 6386 section 9.2: luma 16 to 235, chroma 16 to 240), which Go's
// decoder passes on as it is; it is stretched to full range here.
func fromStudio(m *image.YCbCr) *Photo {
	w, h := m.Rect.Dx(), m.Rect.Dy()
	p := newPhoto420(w, h)
	paste(p.Luma, 0, 0, m.Y, m.YStride, w, h)
	paste(p.Cb, 0, 0, m.Cb, m.CStride, p.Cb.W, p.Cb.H)
	paste(p.Cr, 0, 0, m.Cr, m.CStride, p.Cr.W, p.Cr.H)
	p.stretchStudio()
	return p
}

// paste copies a raster of w by h to (x, y), as much of it as lies on the plane.
func paste(p *Plane, x, y int, src []uint8, stride, w, h int) {
	w, h = min(w, p.W-x), min(h, p.H-y)
	for r := range h {
		copy(p.Row(y + r)[x:x+w], src[r*stride:r*stride+w])
	}
}

// stretchStudio turns studio range into full range in place.
func (p *Photo) stretchStudio() {
	stretch(p.Luma.Pix, stretchTable(16, 0, 219))
	stretch(p.Cb.Pix, stretchTable(128, 128, 224))
	stretch(p.Cr.Pix, stretchTable(128, 128, 224))
}

// stretchTable maps studio values to full range: from goes to to, and a span of
// steps to 255. Values beyond the studio's ends saturate, as the standard's
// foot- and headroom is no part of the picture.
func stretchTable(from, to, span float64) (t [256]uint8) {
	for i := range t {
		t[i] = uint8(math.Round(display(to + (float64(i)-from)*255/span)))
	}
	return t
}

func stretch(pix []uint8, table [256]uint8) {
	for i, v := range pix {
		pix[i] = table[v]
	}
}
