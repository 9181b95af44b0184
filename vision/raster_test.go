package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
)

// lookFrom is the tests' own pinhole, without distortion: it looks at the card's
// point Aim from straight above, leaning Tilt degrees towards the card direction
// Azimuth, the photo turned by Roll, at PX pixels per mm in the middle of a photo
// of W by H, cut from a larger one of focal length drawnFocal. Mirror flips the
// photo left to right.
type lookFrom struct {
	PX, Tilt, Azimuth, Roll float64
	Aim                     calib.CardPoint
	W, H                    int
	Mirror                  bool
}

// drawnFocal in px is 26 mm by the diagonal on 4000 x 3000 px (CIPA DCG-001).
const drawnFocal = 3004.63

// known is the camera prior of a drawn photo.
func (c lookFrom) known() calib.Prior { return calib.Prior{F: drawnFocal, FRel: 0.03, K1SD: 0.05} }

// project returns the map from the card's face to pixels.
func (c lookFrom) project() func(calib.CardPoint) calib.PixelPoint {
	st, ct := math.Sincos(c.Tilt * math.Pi / 180)
	sa, ca := math.Sincos(c.Azimuth * math.Pi / 180)
	sr, cr := math.Sincos(c.Roll * math.Pi / 180)
	const f = drawnFocal
	distance := f / c.PX
	return func(p calib.CardPoint) calib.PixelPoint {
		x, y := p.X-c.Aim.X, p.Y-c.Aim.Y
		// Away from the lean's axis, and along it: leaning foreshortens the first.
		u, v := x*ca+y*sa, y*ca-x*sa
		depth := distance - u*st
		u *= ct
		right, down := u*ca-v*sa, -(u*sa + v*ca)
		q := calib.PixelPoint{X: f * (cr*right - sr*down) / depth, Y: f * (sr*right + cr*down) / depth}
		if c.Mirror {
			q.X = -q.X
		}
		return q.Add(calib.PixelPoint{X: float64(c.W-1) / 2, Y: float64(c.H-1) / 2})
	}
}

// coverage returns the share of each pixel that lies inside the rings, by the
// even-odd rule: exact along each of eight lines a pixel.
func coverage(w, h int, rings [][]calib.PixelPoint) []float64 {
	const lines = 8
	out := make([]float64, w*h)
	crossings := make([][]float64, h*lines)
	for _, ring := range rings {
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if a.Y > b.Y {
				a, b = b, a
			}
			first := int(math.Ceil((a.Y+0.5)*lines - 0.5))
			for k := max(first, 0); k < h*lines; k++ {
				y := (float64(k)+0.5)/lines - 0.5
				if y >= b.Y {
					break
				}
				crossings[k] = append(crossings[k], a.X+(b.X-a.X)*(y-a.Y)/(b.Y-a.Y))
			}
		}
	}
	for k, at := range crossings {
		sortFloats(at)
		row := out[k/lines*w : (k/lines+1)*w]
		for i := 0; i+1 < len(at); i += 2 {
			lo, hi := max(at[i]+0.5, 0), min(at[i+1]+0.5, float64(w))
			for x := int(lo); x < w && float64(x) < hi; x++ {
				row[x] += (min(hi, float64(x+1)) - max(lo, float64(x))) / lines
			}
		}
	}
	return out
}

// sortFloats is insertion sort: lists of a few crossings.
func sortFloats(v []float64) {
	for i := 1; i < len(v); i++ {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
}

// drawing is a picture in linear light, 0..1.
type drawing struct {
	w, h int
	v    []float64
}

func newDrawing(w, h int, light float64) *drawing {
	d := &drawing{w, h, make([]float64, w*h)}
	for i := range d.v {
		d.v[i] = light
	}
	return d
}

// fill lays light over what the rings cover.
func (d *drawing) fill(light float64, project func(calib.CardPoint) calib.PixelPoint, rings ...[]calib.CardPoint) {
	var px [][]calib.PixelPoint
	for _, ring := range rings {
		var r []calib.PixelPoint
		for _, p := range ring {
			r = append(r, project(p))
		}
		px = append(px, r)
	}
	for i, c := range coverage(d.w, d.h, px) {
		d.v[i] += c * (light - d.v[i])
	}
}

// blurred returns the drawing behind a Gaussian of sigma px.
func (d *drawing) blurred(sigma float64) *drawing {
	n := int(4*sigma) + 1
	k := make([]float64, 2*n+1)
	sum := 0.0
	for i := range k {
		x := float64(i-n) / sigma
		k[i] = math.Exp(-x * x / 2)
		sum += k[i]
	}
	rows, out := make([]float64, len(d.v)), &drawing{d.w, d.h, make([]float64, len(d.v))}
	for y := range d.h {
		src, dst := d.v[y*d.w:(y+1)*d.w], rows[y*d.w:(y+1)*d.w]
		for x := range dst {
			for i, g := range k {
				dst[x] += g / sum * src[min(max(x+i-n, 0), d.w-1)]
			}
		}
	}
	for y := range d.h {
		dst := out.v[y*d.w : (y+1)*d.w]
		for i, g := range k {
			from := min(max(y+i-n, 0), d.h-1)
			for x, v := range rows[from*d.w : (from+1)*d.w] {
				dst[x] += g / sum * v
			}
		}
	}
	return out
}

// display codes the drawing as luma 0..1: IEC 61966-2-1, then an unsharp mask of
// that amount and radius.
func (d *drawing) display(amount, radius float64) *drawing {
	out := &drawing{d.w, d.h, make([]float64, len(d.v))}
	for i, v := range d.v {
		if i > 0 && v == d.v[i-1] { // most of a drawing is flat
			out.v[i] = out.v[i-1]
			continue
		}
		out.v[i] = slowCamera{}.display(v)
	}
	if amount > 0 {
		for i, s := range out.blurred(radius).v {
			out.v[i] += amount * (out.v[i] - s)
		}
	}
	return out
}

// plane rounds to bytes, with noise of standard deviation sigma of 0..1.
func (d *drawing) plane(rng *rand.Rand, sigma float64) *Plane {
	p := NewPlane(d.w, d.h)
	for i, v := range d.v {
		if sigma > 0 {
			v += sigma * rng.NormFloat64()
		}
		p.Pix[i] = uint8(math.Round(255 * min(1, max(0, v))))
	}
	return p
}

// drawCard draws a card of the layout with all its print on dull metal.
func drawCard(t testing.TB, l *calib.Layout, c lookFrom) *drawing {
	t.Helper()
	shapes, err := l.Shapes(testSerial(t), "")
	if err != nil {
		t.Fatal(err)
	}
	d := newDrawing(c.W, c.H, 0.3)
	project := c.project()
	x, y := l.Width/2, l.Height/2
	d.fill(0.8, project, []calib.CardPoint{{X: -x, Y: -y}, {X: x, Y: -y}, {X: x, Y: y}, {X: -x, Y: y}})
	var rings [][]calib.CardPoint
	for _, s := range shapes { // no two areas touch, so even-odd over all is right
		rings = append(rings, s.Rings...)
	}
	d.fill(0.05, project, rings...)
	return d
}

// photoOf makes a colourless photo of a plane.
func photoOf(p *Plane) *Photo {
	flat := func() *Plane {
		c := NewPlane((p.W+1)/2, (p.H+1)/2)
		for i := range c.Pix {
			c.Pix[i] = 128
		}
		return c
	}
	return &Photo{Name: "drawn", Luma: p, Cb: flat(), Cr: flat(), ChromaX: 2, ChromaY: 2}
}

// testSerial is a valid serial, always the same.
func testSerial(t testing.TB) string {
	t.Helper()
	s, err := calib.NewSerial(rand.NewChaCha8([32]byte{5}))
	if err != nil {
		t.Fatal(err)
	}
	return s
}
