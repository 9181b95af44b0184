package synth

import (
	"math"

	"stripgap/calib"
)

// tableStep is the spacing of a strip's edge tables, mm.
const tableStep = 0.01

// film is one strip ready to draw: its edges as tables along and across it.
type film struct {
	*Strip
	frame       *frame
	thickness   float64   // mm
	left, right []float64 // v of the edges, from u = u0
	u0          float64
	end         [2][]float64 // u of the two ends, from v = v0
	v0          float64
	light       float64 // lean of the light across the strip, for the shading of its edges
	under       *frame
}

// newFilm builds the edges of a strip; the seed is the scene's and index tells
// strips apart.
func newFilm(t *Strip, fr *frame, seed uint64, index int) *film {
	f := &film{Strip: t, frame: fr, thickness: t.SectionArea / t.Width}
	const margin = 1 // mm of table beyond the ends
	f.u0 = -t.Length/2 - margin
	n := int(math.Ceil((t.Length+2*margin)/tableStep)) + 2
	f.left, f.right = make([]float64, n), make([]float64, n)
	rng := newRand(seed, streamEdges+uint64(index)<<8)
	var rough [2]wave
	if t.RoughUM > 0 {
		for i := range rough {
			rough[i] = newWave(rng, n, t.RoughScale/tableStep)
		}
	}
	for i := range n {
		u := f.u0 + float64(i)*tableStep
		var l, r float64
		if t.RoughUM > 0 {
			l, r = t.RoughUM/1000*rough[0][i], t.RoughUM/1000*rough[1][i]
		}
		half := t.nominal(u) / 2 * t.rounding(u)
		centre, lean := t.centreline(u)
		q := math.Sqrt(1 + lean*lean)
		f.left[i], f.right[i] = centre+(half+l)*q, centre-(half+r)*q
	}
	f.cutEnds(seed, index)
	return f
}

// nominal returns the width at u before roughness and ends, mm.
func (t *Strip) nominal(u float64) float64 {
	x := u / t.Length
	return t.Width + t.Taper*x + t.Bow*(1.0/3-4*x*x)
}

// centreline returns the centreline's v at u and its slope.
func (t *Strip) centreline(u float64) (v, slope float64) {
	x := u / t.Length
	return t.Sway * (1 - 4*x*x), -8 * t.Sway * x / t.Length
}

// rounding narrows the strip towards its ragged ends; it is 1 to within 1e-6
// from twice Ragged on.
func (t *Strip) rounding(u float64) float64 {
	if t.Ragged == 0 {
		return 1
	}
	x := max(0, t.Length/2-math.Abs(u)) / (0.55 * t.Ragged)
	return 1 - 0.3*math.Exp(-x*x)
}

// ragged is how much of each end the profile leaves out, mm.
func (t *Strip) ragged() float64 { return max(0.5, 2*t.Ragged) }

// cutEnds makes the two ends, uneven by up to about Ragged.
func (f *film) cutEnds(seed uint64, index int) {
	half := f.Width + math.Abs(f.Taper) + math.Abs(f.Sway) + 1
	f.v0 = -half
	n := int(2*half/tableStep) + 2
	rng := newRand(seed, streamEnds+uint64(index)<<8)
	for e := range f.end {
		f.end[e] = make([]float64, n)
		var w wave
		if f.Ragged > 0 {
			w = newWave(rng, n, max(2, f.Width/6/tableStep))
		}
		for i := range n {
			u := f.Length / 2
			if f.Ragged > 0 {
				u -= f.Ragged * (0.5 + math.Atan(w[i])/math.Pi)
			}
			f.end[e][i] = u * float64(2*e-1)
		}
	}
}

// look returns a table's value and slope at x.
func look(table []float64, x0, x float64) (v, slope float64) {
	p := (x - x0) / tableStep
	i := min(max(int(p), 0), len(table)-2)
	step := table[i+1] - table[i]
	return table[i] + (min(max(p, 0), float64(len(table)-1))-float64(i))*step, step / tableStep
}

// cover returns the share of a pixel the strip covers and the mean distance in
// mm of the covered part to the nearest edge. j holds the pixel's derivatives.
func (f *film) cover(u, v float64, j jacobian) (share, inside, side float64) {
	l, ls := look(f.left, f.u0, u)
	r, rs := look(f.right, f.u0, u)
	a, as := look(f.end[0], f.v0, v)
	b, bs := look(f.end[1], f.v0, v)
	cl := edge(l-v, ls*j.ux-j.vx, ls*j.uy-j.vy)
	cr := edge(v-r, j.vx-rs*j.ux, j.vy-rs*j.uy)
	ca := edge(u-a, j.ux-as*j.vx, j.uy-as*j.vy)
	cb := edge(b-u, bs*j.vx-j.ux, bs*j.vy-j.uy)
	share = max(0, cl+cr-1) * max(0, ca+cb-1)
	dl, dr := (l-v)/math.Sqrt(1+ls*ls), (v-r)/math.Sqrt(1+rs*rs)
	side = 1
	if dr < dl {
		side = -1
	}
	d := min(dl, dr, u-a, b-u)
	px := math.Sqrt(math.Abs(j.ux*j.vy-j.uy*j.vx)) / 2
	return share, (max(0, d-px) + max(0, d+px)) / 2, side
}

// width returns the true width at u: between the edges, across the centreline.
func (f *film) width(u float64) float64 {
	l, _ := look(f.left, f.u0, u)
	r, _ := look(f.right, f.u0, u)
	_, lean := f.centreline(u)
	return (l - r) / math.Sqrt(1+lean*lean)
}

// axis returns the surface place of the strip's axis at u.
func (f *film) axis(u float64) vec {
	v, _ := f.centreline(u)
	return f.frame.at(u, v)
}

// tips returns where the two ends lie on the centreline.
func (f *film) tips() [2]float64 {
	var tip [2]float64
	for i := range tip {
		u := f.Length / 2 * float64(2*i-1)
		v, _ := f.centreline(u)
		tip[i], _ = look(f.end[i], f.v0, v)
	}
	return tip
}

// optics returns the film's opacity and brightness at a distance of d mm from
// its edge. The free edge is half a circle as high as the film: there the light
// goes through less of it, and its slope turns it to the light or away. Light
// passes the film down and up again, hence twice the chord.
func (f *film) optics(d, side float64) (alpha, shade float64) {
	r := f.thickness / 2
	chord, lean := f.thickness, 0.0
	if d < r {
		chord = 2 * math.Sqrt(d*(2*r-d))
		lean = (r - d) / r
	}
	return 1 - math.Exp(-2*f.Opacity*chord), 1 + f.Gloss*0.5*lean*side*f.light
}

// jacobian holds the derivatives of surface coordinates by pixel coordinates.
type jacobian struct{ ux, uy, vx, vy float64 }

func (t *Strip) direction() calib.CardPoint {
	sin, cos := math.Sincos(t.Angle * math.Pi / 180)
	return calib.CardPoint{X: cos, Y: sin}
}
