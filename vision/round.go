package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// round is a cylinder lying on even ground, lit from all sides and by one broad
// lamp, as fitted to the mean luma across a strand.
type round struct {
	radius float64 // px
	u      float64 // px, of the radius, by the fit's own covariance
	flat   float64 // px, the width of the same luma by the edges of a flat film
	misfit float64 // root mean square over the contrast
}

// The cylinder's unknowns. Light is told over the colours of ground and strand as
// the photo shows them.
const (
	rMiddle  = iota // px
	rRadius         // px
	rGround0        // light on the ground far away, on the low side
	rGround1        // and on the high side
	rTop            // light on the strand's top
	rEven           // the share of it that does not change over the strand: light inside it
	rLamp           // the lamp's share of all light
	rLean           // tangent of the lamp's lean across the strand, positive to the high side
	rGloss          // light of the gloss line
	rGlossAt        // its place, in radii
	roundUnknowns
)

type roundVector [roundUnknowns]float64

// roundPrior is what is expected, and the bounds of the search; a lamp hardly
// leans more than 60 degrees. Estimates, no source.
var roundPrior = [roundUnknowns]struct{ mean, sd, lo, hi float64 }{
	rMiddle: {0, 100, -50, 50}, rRadius: {0, 1e4, 1, 1e4},
	rGround0: {1, 10, 0.05, 5}, rGround1: {1, 10, 0.05, 5},
	rTop: {1, 0.5, 0, 10}, rEven: {0.15, 0.15, 0, 0.7},
	rLamp: {0.35, 0.25, 0, 0.95}, rLean: {0, 0.6, -2, 2},
	rGloss: {0, 0.3, 0, 3}, rGlossAt: {0, 0.25, -0.7, 0.7},
}

const (
	roundStep     = 0.125                // px of the grid on which the cylinder's luma is worked out
	roundNoise    = 0.004                // of the mean luma: what texture and the model leave
	glossWidth    = 0.15                 // standard deviation of the gloss line, radii; estimate, no source
	lampHalfAngle = 20.0 * math.Pi / 180 // half the lamp's angle; estimate, no source
)

// light is the linear light of strand, gloss and ground at x px, and the share of
// it that is the strand's. Of the light from all sides, q radii beside the middle
// 1/(1+q^2) is hidden by the strand, in the plane across it; a flank whose normal
// leans by the angle a has (1+cos a)/2 of it.
func (p *roundVector) light(x float64) (strand, gloss, ground, share float64) {
	q := (x - p[rMiddle]) / p[rRadius]
	side, lean := rGround0, p[rLean]
	if q > 0 {
		side, lean = rGround1, -lean // towards the strand
	}
	// The grid is fine, yet the rim must move smoothly.
	share = math.Max(0, math.Min(1, 0.5+(1-math.Abs(q))*p[rRadius]/roundStep))
	in, out := math.Max(-1, math.Min(1, q)), math.Max(1, math.Abs(q))
	up := math.Sqrt(1 - in*in)
	hidden := math.Pi/2 - 2*math.Atan(1/out) // from the vertical, where the strand's rim stands
	lit := rise01((hidden - math.Atan(lean) + lampHalfAngle) / (2 * lampHalfAngle))
	ground = p[side] * ((1-p[rLamp])*(1-1/(1+out*out)) + p[rLamp]*lit)
	flank := (1-p[rLamp])*(1+up)/2 + p[rLamp]*math.Max(0, in*p[rLean]+up)
	strand = p[rTop] * (p[rEven] + (1-p[rEven])*flank)
	d := (in - p[rGlossAt]) / glossWidth
	return strand, p[rGloss] * math.Exp(-d*d/2), ground, share
}

// rise01 rises from 0 at 0 to 1 at 1 with level ends.
func rise01(x float64) float64 {
	x = math.Max(0, math.Min(1, x))
	return x * x * (3 - 2*x)
}

// roundModel draws a cylinder's luma as this photo shows it.
type roundModel struct {
	cam            camera1D
	strand, ground rgb // linear
	n              int // grid places to both sides of 0
	blur, soft     []float64
}

// fitRound fits a cylinder to the mean luma across the used stations. The lamp may
// stand on either side, and shadow may have passed for strand: all are tried.
func (t *traced) fitRound() (round, bool) {
	e, flat := t.across()
	if len(e.u) < 4*roundUnknowns || !(flat > 0) {
		return round{}, false
	}
	m := &roundModel{cam: t.cam, blur: gaussKernel(t.cam.S / roundStep), soft: gaussKernel(t.cam.R / roundStep)}
	for i := range 3 {
		m.strand[i] = t.cam.Tone.toLinear(t.film[i])
		m.ground[i] = t.cam.Tone.toLinear((t.metal[0][i] + t.metal[1][i]) / 2)
	}
	m.n = int(math.Max(-e.u[0], e.u[len(e.u)-1])/roundStep) + 2
	best := math.Inf(1)
	var p roundVector
	var u float64
	for i := range 4 {
		lean, wide := [2]float64{-0.4, 0.4}[i%2], [2]float64{0.95, 0.75}[i/2]
		q := roundVector{rRadius: wide * flat / 2, rGround0: 1, rGround1: 1, rTop: 1, rEven: 0.15, rLamp: 0.35, rLean: lean, rGloss: 0.02, rGlossAt: lean / 2}
		if sum, uq, ok := m.solve(&e, &q); ok && sum < best {
			best, p, u = sum, q, uq
		}
	}
	if math.IsInf(best, 1) {
		return round{}, false
	}
	contrast := math.Abs(t.film.luma() - (t.metal[0].luma()+t.metal[1].luma())/2)
	rms := roundNoise * math.Sqrt(best/float64(len(e.u)))
	return round{radius: p[rRadius], u: math.Max(1, rms/roundNoise) * u, flat: flat, misfit: rms / contrast}, true
}

// across lays the used stations' luma over one another by their middles, and
// returns the mean width that the edges of a flat film gave them, px.
func (t *traced) across() (superEdge, float64) {
	const reach = 400 // cells to both sides
	var y, n [2*reach + 1]float64
	var width []float64
	for _, k := range t.cuts {
		if k.dropped != "" || math.Abs(k.s) > t.c.axis.Half-endTrimLeast {
			continue
		}
		width = append(width, k.fit.x[1]-k.fit.x[0])
		mid := (k.fit.x[0] + k.fit.x[1]) / 2
		for _, b := range k.slice.bins {
			if i := int(math.Round((b.x-mid)/superStep)) + reach; i >= 0 && i < len(n) {
				y[i] += b.n * b.y
				n[i] += b.n
			}
		}
	}
	var e superEdge
	if len(width) == 0 {
		return e, 0
	}
	most := 0.0
	for _, v := range n {
		most = math.Max(most, v)
	}
	for i, v := range n {
		if v > most/4 { // the outermost are of few stations
			e.u = append(e.u, float64(i-reach)*superStep)
			e.y = append(e.y, y[i]/v)
		}
	}
	return e, median(width)
}

// luma draws the cylinder on the grid.
func (m *roundModel) luma(p *roundVector) []float64 {
	n := m.n + len(m.blur)/2 + len(m.soft)/2
	strand, gloss, ground := make([]float64, 2*n+1), make([]float64, 2*n+1), make([]float64, 2*n+1)
	for i := range strand {
		s, g, under, share := p.light(float64(i-n) * roundStep)
		strand[i], gloss[i], ground[i] = share*s, share*g, (1-share)*under
	}
	strand, gloss, ground = convolve(strand, m.blur), convolve(gloss, m.blur), convolve(ground, m.blur)
	y := make([]float64, len(strand))
	for i := range y {
		for c := range 3 {
			y[i] += lumaWeights[c] * m.cam.Tone.fromLinear(m.strand[c]*strand[i]+gloss[i]+m.ground[c]*ground[i])
		}
	}
	soft := convolve(y, m.soft)
	cut := (len(y) - len(soft)) / 2
	for i, v := range soft {
		soft[i] = y[i+cut] + m.cam.A*(y[i+cut]-v)
	}
	return soft
}

// convolve returns the sums where the kernel lies wholly on v.
func convolve(v, kernel []float64) []float64 {
	out := make([]float64, len(v)-len(kernel)+1)
	for i := range out {
		for k, w := range kernel {
			out[i] += w * v[i+k]
		}
	}
	return out
}

// read interpolates the grid at u px.
func (m *roundModel) read(grid []float64, u float64) float64 {
	x := u/roundStep + float64(len(grid)/2)
	i := max(0, min(int(x), len(grid)-2))
	f := x - float64(i)
	return grid[i] + f*(grid[i+1]-grid[i])
}

// solve is Levenberg-Marquardt over the cylinder's unknowns, in units of
// roundNoise and the priors. It returns the sum of squares and the standard
// deviation of the radius.
func (m *roundModel) solve(e *superEdge, p *roundVector) (sum, u float64, ok bool) {
	lambda := 1e-3
	a, b, sum := m.equations(e, p)
	var f mat.Cholesky
	for range 40 {
		damped := mat.NewSymDense(roundUnknowns, nil)
		damped.CopySym(a)
		for k := range roundUnknowns {
			damped.SetSym(k, k, a.At(k, k)*(1+lambda))
		}
		var step mat.VecDense
		if !f.Factorize(damped) || f.SolveVecTo(&step, b) != nil {
			return 0, 0, false
		}
		next := *p
		for k := range next {
			next[k] = math.Max(roundPrior[k].lo, math.Min(roundPrior[k].hi, p[k]+step.AtVec(k)))
		}
		if na, nb, nsum := m.equations(e, &next); nsum < sum {
			gain := (sum - nsum) / sum
			*p, a, b, sum, lambda = next, na, nb, nsum, lambda/5
			if gain < 1e-5 {
				break
			}
		} else if lambda *= 6; lambda > 1e6 {
			break
		}
	}
	if !f.Factorize(a) {
		return 0, 0, false
	}
	var cov mat.SymDense
	if f.InverseTo(&cov) != nil {
		return 0, 0, false
	}
	return sum, math.Sqrt(cov.At(rRadius, rRadius)), true
}

// equations returns the normal equations at p and the sum of squares.
func (m *roundModel) equations(e *superEdge, p *roundVector) (*mat.SymDense, *mat.VecDense, float64) {
	const h = 1e-3
	here := m.luma(p)
	var moved [roundUnknowns][]float64
	for k := range moved {
		pk := *p
		pk[k] += h
		moved[k] = m.luma(&pk)
	}
	a, b, sum := mat.NewSymDense(roundUnknowns, nil), mat.NewVecDense(roundUnknowns, nil), 0.0
	var j roundVector
	add := func(r float64) {
		for i, v := range j {
			for k := i; k < roundUnknowns; k++ {
				a.SetSym(i, k, a.At(i, k)+v*j[k])
			}
			b.SetVec(i, b.AtVec(i)+v*r)
		}
		sum += r * r
	}
	for i, u := range e.u {
		v := m.read(here, u)
		for k := range moved {
			j[k] = (m.read(moved[k], u) - v) / h / roundNoise
		}
		add((e.y[i] - v) / roundNoise)
	}
	for k, c := range roundPrior {
		j = roundVector{}
		j[k] = 1 / c.sd
		add((c.mean - p[k]) / c.sd)
	}
	return a, b, sum
}

// gaussKernel returns a normalised odd kernel of standard deviation s samples out
// to three and a half of them.
func gaussKernel(s float64) []float64 {
	n := int(3.5*s) + 1
	k := make([]float64, 2*n+1)
	sum := 0.0
	for i := range k {
		x := float64(i-n) / s
		k[i] = math.Exp(-x * x / 2)
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	return k
}
