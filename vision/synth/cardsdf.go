package synth

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"

	"stripgap/calib"
)

// band is how far from an ink outline, in mm, distances are kept; beyond it only
// the sign is right. It covers the largest ink spread and a coarse pixel.
const band = 0.6

// inkField is the signed distance to the ink's outline on a grid over a card,
// positive inside the ink.
type inkField struct {
	w, h   int
	step   float64 // mm
	x0, y0 float64 // of node (0, 0)
	d      []float32
}

// at returns the distance in mm at a place of the drawing, and its unit
// gradient. ok is false where no outline is near; then d has only a sign.
func (f *inkField) at(x, y float64) (d, gx, gy float64, ok bool) {
	u, v := (x-f.x0)/f.step, (y-f.y0)/f.step
	i, j := int(u), int(v)
	if u < 0 || v < 0 || i >= f.w-1 || j >= f.h-1 {
		return -band, 0, 0, false
	}
	k := j*f.w + i
	a, b := float64(f.d[k]), float64(f.d[k+1])
	c, e := float64(f.d[k+f.w]), float64(f.d[k+f.w+1])
	s, t := u-float64(i), v-float64(j)
	top, low := a+s*(b-a), c+s*(e-c)
	d = top + t*(low-top)
	gx, gy = (b-a)*(1-t)+(e-c)*t, low-top
	g := math.Hypot(gx, gy)
	if g == 0 {
		return d, 0, 0, false
	}
	return d, gx / g, gy / g, true
}

type segment struct{ a, b calib.CardPoint }

// newInkField draws a layout's ink into a field with nodes step mm apart.
func newInkField(l *calib.Layout, serial, bearing string, step float64) (*inkField, error) {
	shapes, err := l.Shapes(serial, bearing)
	if err != nil {
		return nil, fmt.Errorf("%w: card: %w", ErrScene, err)
	}
	// Nodes lie off every round coordinate, where outlines run and end.
	const off = 0.3717
	f := &inkField{step: step,
		w: int(math.Ceil(l.Width/step)) + 2, h: int(math.Ceil(l.Height/step)) + 2,
		x0: -l.Width/2 - off*step, y0: -l.Height/2 - off*step}
	f.d = make([]float32, f.w*f.h)
	for i := range f.d {
		f.d[i] = band
	}
	segs := outline(shapes)
	for _, s := range segs {
		f.stamp(s)
	}
	f.sign(segs)
	return f, nil
}

// outline returns the outline of the union of shapes that do not overlap but
// may share edges: shared pieces run both ways and cancel.
func outline(shapes []calib.Polygon) []segment {
	var segs, upright, level []segment
	for _, p := range shapes {
		for _, ring := range p.Rings {
			for i, a := range ring {
				s := segment{a, ring[(i+1)%len(ring)]}
				switch {
				case s.a == s.b:
				case s.a.X == s.b.X:
					upright = append(upright, s)
				case s.a.Y == s.b.Y:
					level = append(level, s)
				default:
					segs = append(segs, s)
				}
			}
		}
	}
	segs = append(segs, cancel(level)...)
	for _, s := range cancel(flipAll(upright)) {
		segs = append(segs, flip(s))
	}
	return segs
}

// flip swaps the axes, which lets cancel know one direction only.
func flip(s segment) segment {
	return segment{calib.CardPoint{X: s.a.Y, Y: s.a.X}, calib.CardPoint{X: s.b.Y, Y: s.b.X}}
}

func flipAll(segs []segment) []segment {
	out := make([]segment, len(segs))
	for i, s := range segs {
		out[i] = flip(s)
	}
	return out
}

// cancel adds up level segments lying on one another, counting each by its
// direction, and returns what is left.
func cancel(level []segment) []segment {
	const grain = 1e-6 // mm; ends closer than this are one
	key := func(v float64) int { return int(math.Round(v / grain)) }
	lines := map[int]map[int]int{} // y -> x -> change of the count there
	for _, s := range level {
		line := lines[key(s.a.Y)]
		if line == nil {
			line = map[int]int{}
			lines[key(s.a.Y)] = line
		}
		line[key(s.a.X)]++
		line[key(s.b.X)]--
	}
	var out []segment
	for y, line := range lines {
		var xs []int
		for x := range line {
			xs = append(xs, x)
		}
		slices.Sort(xs)
		count := 0
		for i, x := range xs[:len(xs)-1] {
			count += line[x]
			a := calib.CardPoint{X: float64(x) * grain, Y: float64(y) * grain}
			b := calib.CardPoint{X: float64(xs[i+1]) * grain, Y: a.Y}
			if count > 0 {
				out = append(out, segment{a, b})
			} else if count < 0 {
				out = append(out, segment{b, a})
			}
		}
	}
	return out
}

// stamp lowers the distance of every node within band of a segment.
func (f *inkField) stamp(s segment) {
	node := func(v, v0 float64) int { return int(math.Round((v - v0) / f.step)) }
	i0 := max(0, node(min(s.a.X, s.b.X)-band, f.x0))
	i1 := min(f.w-1, node(max(s.a.X, s.b.X)+band, f.x0))
	j0 := max(0, node(min(s.a.Y, s.b.Y)-band, f.y0))
	j1 := min(f.h-1, node(max(s.a.Y, s.b.Y)+band, f.y0))
	e := s.b.Sub(s.a)
	inv := 1 / e.Dot(e)
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			p := calib.CardPoint{X: f.x0 + float64(i)*f.step, Y: f.y0 + float64(j)*f.step}.Sub(s.a)
			r := p.Sub(e.Scale(min(1, max(0, p.Dot(e)*inv))))
			if d := float32(math.Sqrt(r.Dot(r))); d < f.d[j*f.w+i] {
				f.d[j*f.w+i] = d
			}
		}
	}
}

// sign makes the distance negative outside the ink, by counting the outlines
// crossed along each row of nodes.
func (f *inkField) sign(segs []segment) {
	type crossing struct {
		x   float64
		dir int
	}
	rows := make([][]crossing, f.h)
	for _, s := range segs {
		lo, hi, dir := s.a, s.b, 1
		if lo.Y > hi.Y {
			lo, hi, dir = hi, lo, -1
		}
		for j := max(0, int(math.Ceil((lo.Y-f.y0)/f.step))); j < f.h; j++ {
			y := f.y0 + float64(j)*f.step
			if y >= hi.Y {
				break
			}
			rows[j] = append(rows[j], crossing{lo.X + (y-lo.Y)/(hi.Y-lo.Y)*(hi.X-lo.X), dir})
		}
	}
	for j, row := range rows {
		slices.SortFunc(row, func(a, b crossing) int { return cmp.Compare(a.x, b.x) })
		winding, next := 0, 0
		for i := range f.w {
			for ; next < len(row) && row[next].x <= f.x0+float64(i)*f.step; next++ {
				winding += row[next].dir
			}
			if winding == 0 {
				f.d[j*f.w+i] = -f.d[j*f.w+i]
			}
		}
	}
}

// fields keeps the last few ink fields: drawing one takes as long as a good part
// of a photo, and a run of photos shows few different cards.
var fields = struct {
	sync.Mutex
	keys []string
	m    map[string]*inkField
}{m: map[string]*inkField{}}

const fieldsKept = 6

func inkFieldFor(l *calib.Layout, serial, bearing string) (*inkField, error) {
	key := l.Name + "\x00" + serial + "\x00" + bearing
	fields.Lock()
	defer fields.Unlock()
	if f, ok := fields.m[key]; ok {
		return f, nil
	}
	step := 0.025
	if l.Width < 40 {
		step = 0.0125 // a rider is photographed from closer by
	}
	f, err := newInkField(l, serial, bearing, step)
	if err != nil {
		return nil, err
	}
	if len(fields.keys) == fieldsKept {
		delete(fields.m, fields.keys[0])
		fields.keys = fields.keys[1:]
	}
	fields.keys = append(fields.keys, key)
	fields.m[key] = f
	return f, nil
}
