package synth

import (
	"math"
	"math/rand/v2"

	"stripgap/calib"
)

// printed is a card as it came out of the printer: its ink field and the warp
// from the drawing to the paper, which is a scale and a smooth jitter.
type printed struct {
	layout *calib.Layout
	field  *inkField
	sx, sy float64
	ink    float64 // mm outward
	jitter *jitter // nil: none
}

func newPrinted(s *Scene) (*printed, error) {
	l, err := layoutNamed(s.Card.Layout)
	if err != nil {
		return nil, err
	}
	f, err := inkFieldFor(l, s.Card.Serial, s.Card.Bearing)
	if err != nil {
		return nil, err
	}
	p := &printed{layout: l, field: f, sx: s.Card.ScaleX, sy: s.Card.ScaleY, ink: s.Card.InkUM / 1000}
	if s.Card.JitterUM > 0 {
		p.jitter = newJitter(newRand(s.Seed, streamJitter), l, s.Card.JitterUM/1000)
	}
	return p, nil
}

// paper returns where a place of the drawing lies on the paper, true mm.
func (p *printed) paper(q calib.CardPoint) calib.CardPoint {
	r := calib.CardPoint{X: q.X * p.sx, Y: q.Y * p.sy}
	if p.jitter != nil {
		dx, dy := p.jitter.at(q.X, q.Y)
		r = r.Add(calib.CardPoint{X: dx, Y: dy})
	}
	return r
}

// drawing is paper's inverse. The jitter's slope is under 1e-3, so taking it at
// the unjittered place is right to a few nanometres.
func (p *printed) drawing(x, y float64) (float64, float64) {
	if p.jitter != nil {
		dx, dy := p.jitter.at(x/p.sx, y/p.sy)
		x, y = x-dx, y-dy
	}
	return x / p.sx, y / p.sy
}

// cut returns the signed distance in mm to the paper's edge, positive inside,
// and its gradient.
func (p *printed) cut(x, y float64) (d, gx, gy float64) {
	dx := p.layout.Width/2*p.sx - math.Abs(x)
	dy := p.layout.Height/2*p.sy - math.Abs(y)
	if dx < dy {
		return dx, -math.Copysign(1, x), 0
	}
	return dy, 0, -math.Copysign(1, y)
}

// jitter is a smooth displacement of the print, mm, on nodes 1 mm apart.
type jitter struct {
	w, h   int
	x0, y0 float64
	dx, dy []float32
}

// newJitter sums random plane waves 8 to 60 mm long: feed rollers and heads
// wander over such lengths, not within a mark.
func newJitter(rng *rand.Rand, l *calib.Layout, sd float64) *jitter {
	const waves = 12
	j := &jitter{w: int(l.Width) + 6, h: int(l.Height) + 6}
	j.x0, j.y0 = -float64(j.w-1)/2, -float64(j.h-1)/2
	j.dx, j.dy = make([]float32, j.w*j.h), make([]float32, j.w*j.h)
	for _, field := range [][]float32{j.dx, j.dy} {
		for range waves {
			k := 2 * math.Pi / (8 + 52*rng.Float64())
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			phase := 2 * math.Pi * rng.Float64()
			for i := range field {
				x, y := j.x0+float64(i%j.w), j.y0+float64(i/j.w)
				field[i] += float32(sd * math.Sqrt(2.0/waves) * math.Cos(k*(x*cos+y*sin)+phase))
			}
		}
	}
	return j
}

func (j *jitter) at(x, y float64) (dx, dy float64) {
	u := min(max(x-j.x0, 0), float64(j.w)-1.001)
	v := min(max(y-j.y0, 0), float64(j.h)-1.001)
	i, k := int(u), int(v)
	s, t := float32(u-float64(i)), float32(v-float64(k))
	n := k*j.w + i
	lerp := func(f []float32) float64 {
		top := f[n] + s*(f[n+1]-f[n])
		low := f[n+j.w] + s*(f[n+j.w+1]-f[n+j.w])
		return float64(top + t*(low-top))
	}
	return lerp(j.dx), lerp(j.dy)
}
