package vision

import (
	"math"
	"slices"
	"sort"

	"stripgap/calib"
)

// candidate is a long, even patch beside the card that may be the strip.
type candidate struct {
	a, b     calib.CardPoint // ends of its axis, mm
	width    float64         // mm
	contrast float64         // distance from the surroundings in noise units
	colour   [3]float64      // that distance by feature
	touches  touch
}

// touch tells what a candidate runs into.
type touch struct{ border, card bool }

func (c candidate) length() float64            { return c.b.Sub(c.a).Norm() }
func (c candidate) direction() calib.CardPoint { return c.b.Sub(c.a).Scale(1 / c.length()) }

// What a flattened strip can look like, in mm. Strands are sold from about 0.15
// to 1 mm thick and spread to at most some 5 mm (common practice, no source);
// the bounds leave room on both sides.
const (
	minStripLength = 5.0
	minStripWidth  = 0.3
	maxStripWidth  = 7.0
	minElongation  = 2.5
	foundContrast  = 4.5 // noise units at which a place stands out
)

// candidates lists what may be the strip, the most prominent first.
func (g *ground) candidates() ([]candidate, error) {
	mask := NewPlane(g.w, g.h)
	s := [3]float32{1 / g.noise[0], 1 / g.noise[1], 1 / g.noise[2]}
	for i := range mask.Pix {
		if !g.valid[i] {
			continue
		}
		a, b, c := g.diff[0][i]*s[0], g.diff[1][i]*s[1], g.diff[2][i]*s[2]
		if a*a+b*b+c*c > foundContrast*foundContrast {
			mask.Pix[i] = 255
		}
	}
	labels, n, err := regions(mask)
	if err != nil {
		return nil, err
	}
	var out []candidate
	for _, patch := range gather2(labels, n, int(1.5*g.perMM*g.perMM)) {
		c, ok := g.grow(patch)
		if !ok || repeated(out, c) {
			continue
		}
		out = append(out, c)
	}
	out = joined(out)
	kept := out[:0]
	for _, c := range out {
		if c.length() >= minStripLength && c.length() >= minElongation*c.width {
			kept = append(kept, c)
		}
	}
	sort.SliceStable(kept, func(i, j int) bool { return kept[i].prominence() > kept[j].prominence() })
	return kept, nil
}

func (c candidate) prominence() float64 { return math.Min(c.contrast, 30) * math.Min(c.length(), 30) }

// gather2 collects the raster places of each region of at least least pixels.
func gather2(labels []int32, n, least int) [][]int32 {
	count := make([]int, n+1)
	for _, l := range labels {
		count[l]++
	}
	out := make([][]int32, 0, 16)
	slot := make([]int, n+1)
	for l := 1; l <= n; l++ {
		slot[l] = -1
		if count[l] >= least {
			slot[l] = len(out)
			out = append(out, make([]int32, 0, count[l]))
		}
	}
	for i, l := range labels {
		if l > 0 && slot[l] >= 0 {
			out[slot[l]] = append(out[slot[l]], int32(i))
		}
	}
	return out
}

// grow takes a patch's own typical difference from the surroundings as the
// strip's, collects the connected places nearer to it than to the surroundings,
// and measures their shape.
func (g *ground) grow(patch []int32) (candidate, bool) {
	var m [3]float64
	for k := range 3 {
		v := make([]float32, len(patch))
		for i, j := range patch {
			v[i] = g.diff[k][j] / g.noise[k]
		}
		slices.Sort(v)
		m[k] = float64(v[len(v)/2])
	}
	mm := m[0]*m[0] + m[1]*m[1] + m[2]*m[2]
	if mm < foundContrast*foundContrast/2 {
		return candidate{}, false
	}
	like := func(i int32) bool {
		if !g.valid[i] {
			return false
		}
		dot, off := 0.0, 0.0
		for k := range 3 {
			d := float64(g.diff[k][i] / g.noise[k])
			dot += d * m[k]
			off += (d - m[k]) * (d - m[k])
		}
		return dot > 0.5*mm && off < mm
	}
	seen := make([]bool, len(g.valid))
	var stack, body []int32
	for _, i := range patch {
		if like(i) && !seen[i] {
			seen[i] = true
			stack = append(stack, i)
		}
	}
	var t touch
	w := int32(g.w)
	for len(stack) > 0 {
		i := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		body = append(body, i)
		x := i % w
		for _, j := range [4]int32{i - 1, i + 1, i - w, i + w} {
			if j < 0 || j >= int32(len(g.valid)) || (j == i-1 && x == 0) || (j == i+1 && x == w-1) {
				continue
			}
			t.border = t.border || g.outside[j]
			t.card = t.card || g.card[j]
			if !seen[j] && like(j) {
				seen[j] = true
				stack = append(stack, j)
			}
		}
	}
	c, ok := g.shape(body)
	c.contrast, c.colour, c.touches = math.Sqrt(mm), m, t
	return c, ok
}

// shape measures a patch's axis, length and width, and tells whether it is a
// straight, even band.
func (g *ground) shape(body []int32) (candidate, bool) {
	n := float64(len(body))
	if n < 1.2*g.perMM*g.perMM {
		return candidate{}, false
	}
	var mx, my, xx, xy, yy float64
	for _, i := range body {
		x, y := float64(int(i)%g.w), float64(int(i)/g.w)
		mx += x / n
		my += y / n
	}
	for _, i := range body {
		x, y := float64(int(i)%g.w)-mx, float64(int(i)/g.w)-my
		xx += x * x / n
		xy += x * y / n
		yy += y * y / n
	}
	a := 0.5 * math.Atan2(2*xy, xx-yy)
	ux, uy := math.Cos(a), math.Sin(a)
	along, across := make([]float64, len(body)), make([]float64, len(body))
	for k, i := range body {
		x, y := float64(int(i)%g.w)-mx, float64(int(i)/g.w)-my
		along[k], across[k] = x*ux+y*uy, y*ux-x*uy
	}
	slices.Sort(along)
	slices.Sort(across)
	lo, hi := along[int(0.005*n)], along[int(0.995*(n-1))]
	length := (hi - lo) + 1
	width := n / length
	spread := across[int(0.98*(n-1))] - across[int(0.02*n)] + 1
	c := candidate{
		a:     g.cardAt(mx+lo*ux, my+lo*uy),
		b:     g.cardAt(mx+hi*ux, my+hi*uy),
		width: width / g.perMM,
	}
	even := spread < 1.9*width+0.6*g.perMM
	return c, even && length > 1.2*spread && c.width >= minStripWidth && c.width <= maxStripWidth
}

// repeated reports whether c lies on a candidate already found.
func repeated(all []candidate, c candidate) bool {
	mid := c.a.Add(c.b).Scale(0.5)
	for _, o := range all {
		d := mid.Sub(o.a)
		u := o.direction()
		s := d.Dot(u)
		off := math.Abs(d.X*u.Y - d.Y*u.X)
		if s > -0.5 && s < o.length()+0.5 && off < math.Max(o.width, c.width)/2 {
			return true
		}
	}
	return false
}

// maxGapAlong is the widest interruption (an oil hole, a groove, a glare line)
// over which two pieces are taken for one strip, mm.
const maxGapAlong = 7.0

// joined merges pieces that lie in one line with one width and one colour.
func joined(all []candidate) []candidate {
	for again := true; again; {
		again = false
		for i := 0; i < len(all) && !again; i++ {
			for j := i + 1; j < len(all) && !again; j++ {
				if m, ok := join(all[i], all[j]); ok {
					all[i] = m
					all = slices.Delete(all, j, j+1)
					again = true
				}
			}
		}
	}
	return all
}

func join(p, q candidate) (candidate, bool) {
	big, small := p, q
	if small.length() > big.length() {
		big, small = small, big
	}
	u := big.direction()
	mid := big.a.Add(big.b).Scale(0.5)
	place := func(c calib.CardPoint) (s, off float64) {
		d := c.Sub(mid)
		return d.Dot(u), math.Abs(d.X*u.Y - d.Y*u.X)
	}
	s0, o0 := place(small.a)
	s1, o1 := place(small.b)
	half := big.length() / 2
	gap := math.Min(math.Abs(s0), math.Abs(s1)) - half
	dot, pp, qq := 0.0, 0.0, 0.0
	for k := range 3 {
		dot += p.colour[k] * q.colour[k]
		pp += p.colour[k] * p.colour[k]
		qq += q.colour[k] * q.colour[k]
	}
	reach := 0.4*big.width + 0.3
	if gap > maxGapAlong || o0 > reach || o1 > reach || small.width > 1.6*big.width || big.width > 1.6*small.width || dot < 0.8*math.Sqrt(pp*qq) {
		return candidate{}, false
	}
	lo, hi := math.Min(-half, math.Min(s0, s1)), math.Max(half, math.Max(s0, s1))
	out := big
	out.a, out.b = mid.Add(u.Scale(lo)), mid.Add(u.Scale(hi))
	out.touches.border = p.touches.border || q.touches.border
	out.touches.card = p.touches.card || q.touches.card
	return out, true
}
