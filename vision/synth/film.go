package synth

import "math"

// over lays the film, its smear and its shadow over c in a pixel with its middle
// at (u, v). j holds the pixel's derivatives.
func (f *film) over(c RGB, u, v float64, j jacobian) RGB {
	if f.Round {
		return f.overRound(c, u, v, j)
	}
	if f.shadow > 0 {
		// The film's thickness is a few pixels at most; so is its penumbra.
		soft := 0.5*f.thickness + f.pixelSize(j)
		d, _, _ := f.depth(u-f.shade[0], v-f.shade[1], j)
		if k := f.shadow * smoothStep((d+soft)/(2*soft)); k > 0 {
			c = RGB{c[0] * (1 - k), c[1] * (1 - k), c[2] * (1 - k)}
		}
	}
	if f.Fault.Smear > 0 {
		c = mix(c, f.Colour, f.smear(u, v))
	}
	share := f.cover(u, v, j)
	if share == 0 {
		return c
	}
	// The film is judged at the middle of the part of the pixel it covers.
	d, px, side := f.depth(u, v, j)
	d = innerDepth(d, finest*px)
	alpha, bright := f.optics(d, side)
	bright *= 1 + 0.012*f.grain.rough(u/0.6, v/0.6, 3)
	if f.rolled(u) > 0 {
		bright *= f.crease(u, v)
	}
	return mix(c, RGB{f.Colour[0] * bright, f.Colour[1] * bright, f.Colour[2] * bright}, share*alpha)
}

// pixelSize is the side in mm of a square as large as the pixel.
func (f *film) pixelSize(j jacobian) float64 { return math.Sqrt(math.Abs(j.ux*j.vy - j.uy*j.vx)) }

// cover returns the share of a pixel that lies between the strip's edges.
func (f *film) cover(u, v float64, j jacobian) float64 {
	l, ls := look(f.left, f.u0, u)
	r, rs := look(f.right, f.u0, u)
	a, as := look(f.end[0], f.v0, v)
	b, bs := look(f.end[1], f.v0, v)
	cl := edge(l-v, ls*j.ux-j.vx, ls*j.uy-j.vy)
	cr := edge(v-r, j.vx-rs*j.ux, j.vy-rs*j.uy)
	ca := edge(u-a, j.ux-as*j.vx, j.uy-as*j.vy)
	cb := edge(b-u, bs*j.vx-j.ux, bs*j.vy-j.uy)
	share := max(0, cl+cr-1) * max(0, ca+cb-1)
	if f.Fault.TornBy > 0 {
		d, lean := f.tear(u, v)
		share *= edge(d, j.ux-lean*j.vx, j.uy-lean*j.vy) // the sign of the gradient does not matter
	}
	return share
}

// tear returns the distance in mm along the strip to the ragged gap of a torn
// strip, negative inside it, and the slope of the gap's border in v.
func (f *film) tear(u, v float64) (d, slope float64) {
	w, s := look(f.wander, f.v0, v)
	return math.Abs(u+f.Length/2-f.Fault.TornAt-0.1*w) - f.Fault.TornBy/2, 0.1 * s
}

// depth returns the distance in mm to the nearest edge or end, positive inside,
// the mm per px square to it where the pixel has derivatives j, and +1 when that
// is the left edge, -1 when it is the right one, 0 for an end.
func (f *film) depth(u, v float64, j jacobian) (d, px, side float64) {
	l, ls := look(f.left, f.u0, u)
	r, rs := look(f.right, f.u0, u)
	a, _ := look(f.end[0], f.v0, v)
	b, _ := look(f.end[1], f.v0, v)
	size := func(du, dv float64) float64 { return math.Hypot(du*j.ux+dv*j.vx, du*j.uy+dv*j.vy) }
	ql, qr := math.Sqrt(1+ls*ls), math.Sqrt(1+rs*rs)
	dl, dr, de := (l-v)/ql, (v-r)/qr, min(u-a, b-u)
	if f.Fault.TornBy > 0 {
		tear, _ := f.tear(u, v)
		de = min(de, tear)
	}
	switch {
	case de < dl && de < dr:
		return de, size(1, 0), 0
	case dl < dr:
		return dl, size(ls/ql, -1/ql), 1
	}
	return dr, size(-rs/qr, 1/qr), -1
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

// smear is the share of light the film drawn out beyond the left edge holds
// back: it thins to nothing over a length that varies along the strip.
func (f *film) smear(u, v float64) float64 {
	l, _ := look(f.left, f.u0, u)
	w, _ := look(f.wander, f.u0, u)
	reach := f.Fault.Smear * (1 + 0.5*math.Tanh(w))
	x := (v - l) / reach
	if x <= 0 || x >= 1 || math.Abs(u) > f.Length/2-f.Ragged {
		return 0
	}
	return 1 - math.Exp(-2*f.Opacity*f.thickness*0.3*(1-x)*(1-x))
}

// crease darkens the line where a folded-over edge ends on the film.
func (f *film) crease(u, v float64) float64 {
	l, _ := look(f.left, f.u0, u)
	x := (l - v - f.Fault.RollBy) / (0.05 + f.thickness)
	return 1 - 0.35*f.rolled(u)*math.Exp(-x*x)
}
