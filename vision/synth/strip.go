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
	wander      wave       // for the outlines of faults, on the edges' steps
	opens       []string   // per step: what the strip bridges there
	light       float64    // lean of the light across the strip, for the shading of its edges
	shade       [2]float64 // displacement of the film's own shadow, mm
	shadow      float64    // its depth
	grain       *cloud
	// Of a round strand: the lamp's share of all light, and its direction's parts
	// across (times light) and up.
	lampShare, lampAcross, lampUp float64
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
	f.wander = newWave(newRand(seed, streamFaults+uint64(index)<<8), n, 0.8/tableStep)
	f.fold()
	return f
}

// fold moves the left edge in by RollBy from RollFrom on, over half a mm.
func (f *film) fold() {
	if f.Fault.RollBy == 0 {
		return
	}
	for i := range f.left {
		u := f.u0 + float64(i)*tableStep
		f.left[i] -= f.Fault.RollBy * f.rolled(u)
	}
}

// rolled is 1 where the left edge is folded over, 0 where it is not.
func (f *film) rolled(u float64) float64 {
	if f.Fault.RollBy == 0 {
		return 0
	}
	return smoothStep((u + f.Length/2 - f.Fault.RollFrom) / 0.5)
}

// bridge lets the strip keep its round section where the metal is open beneath
// it: there nothing crushed it.
func (f *film) bridge(m *metal) {
	strand := 2 * math.Sqrt(f.SectionArea/math.Pi)
	open := make([]float64, len(f.left))
	f.opens = make([]string, len(f.left))
	found := false
	for i := range open {
		u := f.u0 + float64(i)*tableStep
		if f.opens[i] = m.open(u, f.nominal(u)/2); f.opens[i] != "" {
			open[i], found = 1, true
		}
	}
	if !found {
		return
	}
	for i, share := range smooth(open, 0.12/tableStep) {
		l, r := f.left[i], f.right[i]
		mid, half := (l+r)/2, (l-r)/2+share*(min(strand, l-r)-(l-r))/2
		f.left[i], f.right[i] = mid+half, mid-half
	}
}

// lit sets how the scene's lamp shades the film.
func (f *film) lit(st *stage) {
	f.light = st.lamp.dot(f.frame.b)
	f.grain = st.cloud
	f.shadow = 0.7 * st.scene.Light.Shadow
	f.lampShare = st.scene.Light.Shadow
	f.lampUp, f.lampAcross = math.Sincos(st.scene.Light.Elevation * math.Pi / 180)
	f.shade = [2]float64{st.cast.dot(f.frame.a) * f.thickness, st.cast.dot(f.frame.b) * f.thickness}
}

// reach is how far from its axis the film, its faults and its shadow may reach.
func (f *film) reach() float64 {
	return f.Width + math.Abs(f.Taper) + math.Abs(f.Sway) + 1 + 1.5*f.Fault.Smear
}

// note is what the strip meets at u: a hole, a groove or a fault, or "".
func (f *film) note(u float64) string {
	at := u + f.Length/2
	switch {
	case f.Fault.TornBy > 0 && math.Abs(at-f.Fault.TornAt) < f.Fault.TornBy/2+0.3:
		return "torn"
	case f.rolled(u) > 0:
		return "rolled"
	case f.opens != nil:
		for _, du := range [3]float64{-0.35, 0, 0.35} {
			if i := int((u + du - f.u0) / tableStep); i >= 0 && i < len(f.opens) && f.opens[i] != "" {
				return f.opens[i]
			}
		}
	}
	return ""
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

// rounding narrows the strip towards its ragged or round ends; it is 1 to within
// 1e-6 from twice Ragged, and from EndRound, on.
func (t *Strip) rounding(u float64) float64 {
	in := max(0, t.Length/2-math.Abs(u))
	narrow := 1.0
	if t.Ragged > 0 {
		x := in / (0.55 * t.Ragged)
		narrow = 1 - 0.3*math.Exp(-x*x)
	}
	if in < t.EndRound {
		x := 1 - in/t.EndRound
		narrow *= math.Sqrt(1 - x*x)
	}
	return narrow
}

// ragged is how much of each end the profile leaves out, mm.
func (t *Strip) ragged() float64 { return max(0.5, 2*t.Ragged, t.EndRound) }

// cutEnds makes the two ends, uneven by up to about Ragged.
func (f *film) cutEnds(seed uint64, index int) {
	half := f.reach()
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

// jacobian holds the derivatives of surface coordinates by pixel coordinates.
type jacobian struct{ ux, uy, vx, vy float64 }

func (t *Strip) direction() calib.CardPoint {
	sin, cos := math.Sincos(t.Angle * math.Pi / 180)
	return calib.CardPoint{X: cos, Y: sin}
}
