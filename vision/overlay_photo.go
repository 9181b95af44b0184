package vision

import (
	"image"
	"image/color"
	"math"

	"github.com/disintegration/imaging"

	"stripgap/calib"
)

// pictureView is the part of a photo a picture shows, and where on the canvas.
type pictureView struct {
	crop   image.Rectangle // of the photo
	scale  float64         // canvas pixels per photo pixel
	height int             // of the picture's photo part
	on     image.Rectangle // of the canvas
}

// view cuts the photo down to what was found, with a margin for the labels, and
// fits it to the picture. Without the card it is the whole photo.
func (o *Overlay) view(p *Photo) *pictureView {
	whole := image.Rect(0, 0, p.Width(), p.Height())
	crop := whole
	if ps := o.places(); len(ps) > 0 && len(o.Marks) > 0 {
		found := boundsOf(ps)
		margin := max(found.Dx(), found.Dy()) / 6
		if o.LargeLabels {
			margin = margin * 4 / 3
		}
		if cut := found.Inset(-margin).Intersect(whole); !cut.Empty() {
			crop = cut
		}
	}
	scale := math.Min(pictureWidth/float64(crop.Dx()), maxPhotoHeight/float64(crop.Dy()))
	v := &pictureView{crop: crop, scale: scale, height: max(1, int(math.Round(float64(crop.Dy())*scale)))}
	w := max(1, int(math.Round(float64(crop.Dx())*scale)))
	v.on = image.Rect(0, 0, w, v.height).Add(image.Pt((pictureWidth-w)/2, o.bannerHeight()))
	return v
}

// point maps a place of the photo to the canvas.
func (v *pictureView) point(p calib.PixelPoint) calib.PixelPoint {
	return calib.PixelPoint{
		X: (p.X+0.5-float64(v.crop.Min.X))*v.scale - 0.5 + float64(v.on.Min.X),
		Y: (p.Y+0.5-float64(v.crop.Min.Y))*v.scale - 0.5 + float64(v.on.Min.Y),
	}
}

func (v *pictureView) points(ps []calib.PixelPoint) []calib.PixelPoint {
	out := make([]calib.PixelPoint, len(ps))
	for i, p := range ps {
		out[i] = v.point(p)
	}
	return out
}

// place draws the photo on the canvas.
func (v *pictureView) place(c *canvas, p *Photo) {
	w, top := v.on.Dx(), v.on.Min.Y
	c.rect(inkBlack, image.Rect(0, top, pictureWidth, top+v.height))
	luma := resized(p.Luma, v.crop, w, v.height)
	chroma := chromaCrop(p, v.crop)
	cb, cr := resized(p.Cb, chroma, w, v.height), resized(p.Cr, chroma, w, v.height)
	for y := range v.height {
		for x := range w {
			i := 4 * (y*w + x)
			r, g, b := color.YCbCrToRGB(luma[i], cb[i], cr[i])
			c.img.SetRGBA(v.on.Min.X+x, v.on.Min.Y+y, color.RGBA{r, g, b, 255})
		}
	}
}

// resized returns part of a plane at another size, four bytes a pixel. Planes
// are resized one by one: it spares the full-size colour picture.
func resized(p *Plane, crop image.Rectangle, w, h int) []uint8 {
	g := &image.Gray{Pix: p.Pix, Stride: p.W, Rect: image.Rect(0, 0, p.W, p.H)}
	return imaging.Resize(g.SubImage(crop), w, h, imaging.CatmullRom).Pix
}

// chromaCrop is crop in chroma samples, to the nearest: a picture's colour may
// be a pixel off, its edges are luma.
func chromaCrop(p *Photo, crop image.Rectangle) image.Rectangle {
	at := func(luma, shift, factor int) int { return (luma + shift + factor/2) / factor }
	r := image.Rect(at(crop.Min.X, p.ShiftX, p.ChromaX), at(crop.Min.Y, p.ShiftY, p.ChromaY),
		at(crop.Max.X, p.ShiftX, p.ChromaX), at(crop.Max.Y, p.ShiftY, p.ChromaY))
	r.Min.X, r.Min.Y = min(r.Min.X, p.Cb.W-1), min(r.Min.Y, p.Cb.H-1)
	r.Max.X, r.Max.Y = max(r.Max.X, r.Min.X+1), max(r.Max.Y, r.Min.Y+1)
	return r
}

// drawFindings draws what was found over the photo; ends last, on top.
func (o *Overlay) drawFindings(c *canvas, v *pictureView) {
	v.drawOutlines(c, inkYellow, 2, o.Bars)
	for _, m := range o.Marks {
		at, r := v.point(m.Centre), m.Radius*v.scale+3
		c.ring(inkWhite, 3, at, r)
	}
	o.drawStations(c, v)
	for _, edge := range o.Edges {
		if len(edge) > 0 {
			c.cased(inkCyan, 3, v.points(edge)...)
		}
	}
	v.drawOutlines(c, inkAmber, placeStroke, o.Places)
	o.drawEnds(c, v)
}

// placeStroke is the width of the line round what to look at.
const placeStroke = 7

// drawOutlines draws closed outlines of the photo.
func (v *pictureView) drawOutlines(c *canvas, ink color.Color, width float64, outlines [][]calib.PixelPoint) {
	for _, outline := range outlines {
		if len(outline) > 0 {
			line := v.points(outline)
			c.cased(ink, width, append(line, line[0])...)
		}
	}
}

// drawStations draws used stations as ticks outside the edges, so that the
// strip itself stays in sight, and dropped ones as crosses on it. Where
// stations are dense only some of a kind are drawn.
func (o *Overlay) drawStations(c *canvas, v *pictureView) {
	const apart, tick = 14, 14
	var last [2]*calib.PixelPoint // of the used and of the dropped
	for _, s := range o.Stations {
		a, b := v.point(s.Edges[0]), v.point(s.Edges[1])
		kind := 0
		if s.Dropped {
			kind = 1
		}
		centre := a.Add(b).Scale(0.5)
		if last[kind] != nil && centre.Sub(*last[kind]).Norm() < apart {
			continue
		}
		last[kind] = &centre
		across := b.Sub(a)
		if n := across.Norm(); s.Dropped || n == 0 {
			c.cross(inkRed, centre, 9)
		} else {
			u := across.Scale(1 / n)
			c.cased(inkCyan, 2, a.Sub(u.Scale(6)), a.Sub(u.Scale(6+tick)))
			c.cased(inkCyan, 2, b.Add(u.Scale(6)), b.Add(u.Scale(6+tick)))
		}
	}
}

// drawEnds labels both ends, each label beyond its end of the strip or, where
// the photo ends too soon, beside it on the side away from the card.
func (o *Overlay) drawEnds(c *canvas, v *pictureView) {
	for i, e := range o.Ends {
		at, other := v.point(e.At), v.point(o.Ends[1-i].At)
		out := at.Sub(other)
		if n := out.Norm(); n > 0 {
			out = out.Scale(1 / n)
		}
		aside := calib.PixelPoint{X: -out.Y, Y: out.X}
		if to := v.point(o.marksCentre()).Sub(at); to.X*aside.X+to.Y*aside.Y > 0 {
			aside = aside.Scale(-1)
		}
		c.endLabel(e, o.labelScale(), at, out, aside, aside.Scale(-1))
	}
}

// marksCentre is the mean of the marks' centres, (0,0) without any.
func (o *Overlay) marksCentre() (mean calib.PixelPoint) {
	for _, m := range o.Marks {
		mean = mean.Add(m.Centre.Scale(1 / float64(len(o.Marks))))
	}
	return mean
}

// labelScale is how much larger than labelSize the ends' labels are.
func (o *Overlay) labelScale() float64 {
	if o.LargeLabels {
		return 1.6
	}
	return 1
}

// endLabel draws a dot at an end, and name and value in a box off it, in letters
// scaled: in the first of the directions in which the box fits.
func (c *canvas) endLabel(e OverlayEnd, scale float64, at calib.PixelPoint, directions ...calib.PixelPoint) {
	bold, plain := fontKey{math.Round(scale * (labelSize + 4)), true}, fontKey{math.Round(scale * labelSize), false}
	w := math.Max(c.measure(bold, e.Name), c.measure(plain, e.Value)) + 28*scale
	h := scale * (2*labelSize + 30)
	in := c.img.Rect.Inset(6)
	lo := calib.PixelPoint{X: float64(in.Min.X) + w/2, Y: float64(in.Min.Y) + h/2}
	hi := calib.PixelPoint{X: float64(in.Max.X) - w/2, Y: float64(in.Max.Y) - h/2}
	var centre calib.PixelPoint
	for _, d := range directions {
		centre = at.Add(d.Scale(44*scale + math.Abs(d.X)*w/2 + math.Abs(d.Y)*h/2))
		if centre.X >= lo.X && centre.X <= hi.X && centre.Y >= lo.Y && centre.Y <= hi.Y {
			break
		}
	}
	centre.X = math.Min(math.Max(centre.X, lo.X), hi.X)
	centre.Y = math.Min(math.Max(centre.Y, lo.Y), hi.Y)
	c.cased(inkWhite, 4, at, centre)
	c.panel(centre, w, h)
	c.ring(inkWhite, 5, at, 9)
	c.text(inkBlack, bold, centre.Sub(calib.PixelPoint{Y: 20 * scale}), anchorMiddle, e.Name)
	c.text(inkBlack, plain, centre.Add(calib.PixelPoint{Y: 22 * scale}), anchorMiddle, e.Value)
}

// panel is a white box with a dark border.
func (c *canvas) panel(centre calib.PixelPoint, w, h float64) {
	r := image.Rect(int(centre.X-w/2), int(centre.Y-h/2), int(centre.X+w/2), int(centre.Y+h/2))
	c.rect(inkBlack, r.Inset(-3))
	c.rect(inkWhite, r)
}
