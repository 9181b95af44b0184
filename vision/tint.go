package vision

import "math"

// tintEdge is where the colour changes from metal to film at one edge of a strip.
// Chroma is half as fine as luma and blurred more, so that it places an edge worse;
// but a shadow leaves the metal its hue, and where it moves the luma's edge out, the
// colour's stays.
type tintEdge struct {
	seen    bool
	out     float64    // px outside the edge that the luma was fitted to
	u       float64    // standard uncertainty of out from noise, px
	blur    float64    // px
	towards [2]float64 // unit direction of the change, in Cb and Cr
}

const (
	tintStep  = 0.5 // px between a tint edge's cells
	tintReach = 16  // px to both sides
	tintCells = 4*tintReach + 1
	tintSteps = 30 // of the fit at most
	// leastTint is the difference of film and metal in Cb and Cr, 0..1, from which
	// their edge is worth fitting.
	leastTint = 0.02
)

// tintBlurs bounds the blur of a colour's edge, px.
var tintBlurs = [2]float64{0.7, 6}

// usualTintBlur is the standard deviation of what chroma is blurred by beside luma, px:
// samples of two by two pixels, and some smoothing. With tintSoft and more its edges
// are none of a film. Common practice, no source.
const (
	usualTintBlur = 1.0
	tintSoft      = 3.0
)

// How well a tint edge is known beside its noise: phones smooth colours, a film's rim
// is paler than its middle, and the tone curve, by which the tint's edge seems to move,
// is hardly known. Estimates, no source.
const (
	tintFloor = 0.2 // px
	tintDoubt = 1.0 // of what the tone curve moves it by, at both edges alike
)

// chroma is Cb and Cr of a display-referred colour, about 0, where luma is 0..1
// (ITU-T T.871 section 7).
func (c rgb) chroma() [2]float64 {
	y := c.luma()
	return [2]float64{(c[2] - y) / 1.772, (c[0] - y) / 1.402}
}

// along is a colour's chroma in the direction of the change.
func (e *tintEdge) along(cb, cr float64) float64 { return e.towards[0]*cb + e.towards[1]*cr }

// tintSum gathers the chroma across one edge of many stations: sums of the offset
// towards the film in px and of the chroma along the change, and how many.
type tintSum struct{ u, v, n [tintCells]float64 }

// tintEdges places the edges of the stations' tint. An edge is not seen where film
// and metal differ too little in colour.
func (t *traced) tintEdges(cuts []cut) (edges [2]tintEdge) {
	if t.cam.isTint() {
		return edges // the colour is what is measured
	}
	for side := range edges {
		var c channel
		c, edges[side].seen = tintOf(t.film, t.metal[side])
		edges[side].towards = c.towards
	}
	if !edges[0].seen && !edges[1].seen {
		return edges
	}
	var sum [2]tintSum
	for i := range cuts {
		t.layTint(&cuts[i], &edges, &sum)
	}
	for side := range edges {
		edges[side].seen = edges[side].seen && edges[side].fit(&sum[side])
	}
	return edges
}

// layTint adds one station's chroma samples, each at its own place.
func (t *traced) layTint(k *cut, edges *[2]tintEdge, sum *[2]tintSum) {
	p, f := t.c.p, k.frame
	half := t.c.step / 2 / k.perPx
	out := math.Min(tintReach, t.c.side+edgeSlack)
	lo, hi := k.fit.x[0]-out, k.fit.x[1]+out
	x0, y0, x1, y1 := f.box(half, lo, hi)
	cells := func(lo, hi float64, shift, factor, n int) (from, to int) {
		lo, hi = chromaCoord(lo, shift, factor), chromaCoord(hi, shift, factor)
		return max(0, int(math.Ceil(lo))), min(n-1, int(math.Floor(hi)))
	}
	fromX, toX := cells(x0, x1, p.ShiftX, p.ChromaX, p.Cb.W)
	fromY, toY := cells(y0, y1, p.ShiftY, p.ChromaY, p.Cb.H)
	mid := (k.fit.x[0] + k.fit.x[1]) / 2
	for j := fromY; j <= toY; j++ {
		dy := (float64(j)+0.5)*float64(p.ChromaY) - 0.5 - float64(p.ShiftY) - f.o.Y
		for i := fromX; i <= toX; i++ {
			dx := (float64(i)+0.5)*float64(p.ChromaX) - 0.5 - float64(p.ShiftX) - f.o.X
			a, c := dx*f.along.X+dy*f.along.Y, dx*f.across.X+dy*f.across.Y
			side, u := 0, c-k.fit.x[0]
			if c > mid {
				side, u = 1, k.fit.x[1]-c
			}
			cell := int(math.Round(u/tintStep)) + 2*tintReach
			if a < -half || a >= half || c < lo || c > hi || cell < 0 || cell >= tintCells {
				continue
			}
			s := &sum[side]
			s.u[cell] += u
			s.v[cell] += edges[side].along(float64(p.Cb.At(i, j))-128, float64(p.Cr.At(i, j))-128) / 255
			s.n[cell]++
		}
	}
}

// fit places an edge blurred by a Gaussian of any width in the cells, by Gauss-Newton
// steps. False where none is seen or the fit does not settle.
func (e *tintEdge) fit(sum *tintSum) bool {
	var s superEdge
	for i, n := range sum.n {
		if n > 0 {
			s.u, s.y, s.w = append(s.u, sum.u[i]/n), append(s.y, sum.v[i]/n), append(s.w, n)
		}
	}
	if len(s.u) < 12 {
		return false
	}
	e.out, e.blur = 0, 2
	for range tintSteps {
		level, gain, ok := s.blurred(e.out, e.blur)
		if !ok || gain < leastTint/2 {
			return false
		}
		q := normal{n: 4}
		for i, u := range s.u {
			z := (u + e.out) / e.blur
			v, d := normalCDF(z), normalPDF(z)/e.blur
			j := [maxUnknowns]float64{gain * d, -gain * d * z, 1, v}
			q.add(&j, s.y[i]-level-gain*v, s.w[i])
		}
		f, ok := q.factorise()
		if !ok {
			return false
		}
		step := f.solve(q.b)
		e.out += math.Max(-1, math.Min(1, step[0]))
		e.blur = math.Max(tintBlurs[0], math.Min(tintBlurs[1], e.blur+math.Max(-0.5, math.Min(0.5, step[1]))))
		if math.Abs(e.out) > tintReach/2 {
			return false
		}
		if math.Abs(step[0]) < 0.01 && math.Abs(step[1]) < 0.05 {
			alike := math.Max(1, wrongTogether(e.blur)/tintStep)
			e.u = math.Sqrt(q.rr / float64(len(s.u)-4) * alike * f.inverse(0)[0])
			return true
		}
	}
	return false
}

// blurred is levels for an edge blurred by a Gaussian, out px outside the middle.
func (e *superEdge) blurred(out, blur float64) (level, gain float64, ok bool) {
	var sw, sv, sy, svv, svy float64
	for i, u := range e.u {
		v, w := normalCDF((u+out)/blur), e.w[i]
		sw, sv, sy = sw+w, sv+w*v, sy+w*e.y[i]
		svv, svy = svv+w*v*v, svy+w*v*e.y[i]
	}
	det := sw*svv - sv*sv
	if !(det > 1e-9*sw*sw) {
		return 0, 0, false
	}
	gain = (sw*svy - sv*sy) / det
	return (sy - gain*sv) / sw, gain, true
}

// bias returns how far outside its place the fit puts an edge of these
// display-referred colours as the camera shows it, blurred to the tint's blur: mixed
// light goes through the tone curve, and what comes out is not the mean of the
// colours.
func (e *tintEdge) bias(c camera1D, film, metal rgb, shadow filmShadow) (out float64, ok bool) {
	const finer = 2 // steps to a cell
	const n = finer*(tintCells-1) + 1
	const step = tintStep / finer
	mix := newMixing(c.Tone, film, metal, c.channel)
	var plain [n]float64
	for i := range plain {
		x := (float64(i) - (n-1)/2) * step
		f := normalCDF(x / c.S)
		at := mix.colour(f, 1-f-shadow.at(x, c.S)).chroma()
		plain[i] = e.along(at[0], at[1])
	}
	widen := math.Max(step/2, math.Sqrt(math.Max(0, e.blur*e.blur-c.S*c.S)))
	reach := int(math.Ceil(4 * widen / step))
	kernel, all := make([]float64, 2*reach+1), 0.0
	for i := range kernel {
		z := float64(i-reach) * step / widen
		kernel[i] = math.Exp(-z * z / 2)
		all += kernel[i]
	}
	var sum tintSum
	for k := range sum.n {
		sum.n[k], sum.u[k] = 1, float64(k-2*tintReach)*tintStep
		for i, w := range kernel {
			sum.v[k] += w / all * plain[min(max(finer*k+i-reach, 0), n-1)]
		}
	}
	seen := tintEdge{towards: e.towards}
	ok = seen.fit(&sum)
	return seen.out, ok
}
