package vision

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	"stripgap/calib"
)

// Inks. Light and dark differ in every pair that meets, so that the picture
// reads without colour too.
var (
	inkBlack  = color.RGBA{16, 18, 22, 255}
	inkWhite  = color.RGBA{255, 255, 255, 255}
	inkGrey   = color.RGBA{205, 210, 216, 255}
	inkBlue   = color.RGBA{0, 84, 166, 255}
	inkPale   = color.RGBA{176, 212, 244, 255}
	inkYellow = color.RGBA{255, 214, 10, 255}
	inkCyan   = color.RGBA{60, 230, 255, 255}
	inkRed    = color.RGBA{190, 20, 30, 255}
	inkAmber  = color.RGBA{255, 120, 0, 255}
)

// canvas is a raster with the few strokes an overlay needs. Places are pixels
// of the canvas, (0,0) the centre of the top-left one.
type canvas struct {
	img   *image.RGBA
	faces map[fontKey]font.Face
}

type fontKey struct {
	size float64
	bold bool
}

func newCanvas(w, h int) *canvas {
	c := &canvas{img: image.NewRGBA(image.Rect(0, 0, w, h)), faces: map[fontKey]font.Face{}}
	draw.Draw(c.img, c.img.Rect, image.NewUniform(inkWhite), image.Point{}, draw.Src)
	return c
}

// within returns a canvas on the same pixels that draws inside r only.
func (c *canvas) within(r image.Rectangle) *canvas {
	return &canvas{img: c.img.SubImage(r).(*image.RGBA), faces: c.faces}
}

// fill fills closed rings; rings that wind the same way add up.
func (c *canvas) fill(ink color.Color, rings ...[]calib.PixelPoint) {
	box := boundsOf(rings...).Intersect(c.img.Rect)
	if box.Empty() {
		return
	}
	r := vector.NewRasterizer(box.Dx(), box.Dy())
	for _, ring := range rings {
		for i, p := range ring {
			x := float32(p.X + 0.5 - float64(box.Min.X))
			y := float32(p.Y + 0.5 - float64(box.Min.Y))
			if i == 0 {
				r.MoveTo(x, y)
			} else {
				r.LineTo(x, y)
			}
		}
		r.ClosePath()
	}
	r.Draw(c.img, box, image.NewUniform(ink), image.Point{})
}

// boundsOf is the smallest rectangle of whole pixels that holds the points.
func boundsOf(lines ...[]calib.PixelPoint) image.Rectangle {
	lo := calib.PixelPoint{X: math.Inf(1), Y: math.Inf(1)}
	hi := lo.Scale(-1)
	for _, line := range lines {
		for _, p := range line {
			lo = calib.PixelPoint{X: math.Min(lo.X, p.X), Y: math.Min(lo.Y, p.Y)}
			hi = calib.PixelPoint{X: math.Max(hi.X, p.X), Y: math.Max(hi.Y, p.Y)}
		}
	}
	if lo.X > hi.X {
		return image.Rectangle{}
	}
	return image.Rect(int(math.Floor(lo.X+0.5)), int(math.Floor(lo.Y+0.5)),
		int(math.Ceil(hi.X+0.5)), int(math.Ceil(hi.Y+0.5)))
}

// stroke draws a line of the given width with round joins and ends.
func (c *canvas) stroke(ink color.Color, width float64, line ...calib.PixelPoint) {
	var rings [][]calib.PixelPoint
	for i, p := range line {
		rings = append(rings, circle(p, width/2))
		if i == 0 || line[i-1] == p {
			continue
		}
		q := line[i-1]
		d := p.Sub(q)
		n := calib.PixelPoint{X: -d.Y, Y: d.X}.Scale(width / 2 / d.Norm())
		rings = append(rings, []calib.PixelPoint{q.Add(n), p.Add(n), p.Sub(n), q.Sub(n)})
	}
	c.fill(ink, rings...)
}

// cased draws a line with a dark border, to be seen on bright metal and on
// shadow alike.
func (c *canvas) cased(ink color.Color, width float64, line ...calib.PixelPoint) {
	c.stroke(inkBlack, width+4, line...)
	c.stroke(ink, width, line...)
}

// dashed draws a straight dashed line.
func (c *canvas) dashed(ink color.Color, width float64, from, to calib.PixelPoint) {
	const on, period = 18, 30
	d := to.Sub(from)
	length := d.Norm()
	for s := 0.0; s < length; s += period {
		c.stroke(ink, width, from.Add(d.Scale(s/length)), from.Add(d.Scale(math.Min(s+on, length)/length)))
	}
}

// cross draws an upright X of the given arm length.
func (c *canvas) cross(ink color.Color, at calib.PixelPoint, arm float64) {
	u, v := calib.PixelPoint{X: arm, Y: arm}, calib.PixelPoint{X: arm, Y: -arm}
	for _, d := range []calib.PixelPoint{u, v} {
		c.stroke(inkWhite, 9, at.Sub(d), at.Add(d))
	}
	for _, d := range []calib.PixelPoint{u, v} {
		c.stroke(ink, 5, at.Sub(d), at.Add(d))
	}
}

// ring draws a cased circle line.
func (c *canvas) ring(ink color.Color, width float64, at calib.PixelPoint, radius float64) {
	line := circle(at, radius)
	c.cased(ink, width, append(line, line[0])...)
}

// circle is a ring of straight pieces, each within 0.1 px of the circle, wound
// like the quadrangles of stroke.
func circle(at calib.PixelPoint, radius float64) []calib.PixelPoint {
	n := 8 + int(8*math.Sqrt(radius))
	ring := make([]calib.PixelPoint, n)
	for i := range ring {
		sin, cos := math.Sincos(-2 * math.Pi * float64(i) / float64(n))
		ring[i] = at.Add(calib.PixelPoint{X: cos, Y: sin}.Scale(radius))
	}
	return ring
}

// rect fills an upright rectangle.
func (c *canvas) rect(ink color.Color, r image.Rectangle) {
	draw.Draw(c.img, r, image.NewUniform(ink), image.Point{}, draw.Src)
}

// Where a text's anchor lies across it.
const (
	anchorLeft   = 0.0
	anchorMiddle = 0.5
	anchorRight  = 1.0
)

// text writes s so that the anchor (left, middle or right) of its capitals'
// middle line is at the place.
func (c *canvas) text(ink color.Color, f fontKey, at calib.PixelPoint, anchor float64, s string) {
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(ink), Face: c.face(f)}
	x := at.X - anchor*c.measure(f, s)
	y := at.Y + capHeight*f.size/2
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round(x * 64)), Y: fixed.Int26_6(math.Round(y * 64))}
	d.DrawString(s)
}

// capHeight is the height of the Go fonts' capitals, in sizes.
const capHeight = 0.72

// measure returns the width of s.
func (c *canvas) measure(f fontKey, s string) float64 {
	return float64(font.MeasureString(c.face(f), s)) / 64
}

func (c *canvas) face(f fontKey) font.Face {
	if face, ok := c.faces[f]; ok {
		return face
	}
	parsed := regularFont
	if f.bold {
		parsed = boldFont
	}
	face, err := opentype.NewFace(parsed(), &opentype.FaceOptions{Size: f.size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic("vision: font face: " + err.Error()) // a size of our own making
	}
	c.faces[f] = face
	return face
}

var regularFont = sync.OnceValue(func() *opentype.Font { return parseFont(goregular.TTF) })
var boldFont = sync.OnceValue(func() *opentype.Font { return parseFont(gobold.TTF) })

func parseFont(ttf []byte) *opentype.Font {
	f, err := opentype.Parse(ttf)
	if err != nil {
		panic("vision: built-in font: " + err.Error())
	}
	return f
}
