package synth

import "math"

// frame is a strip's own frame: u along its axis, v to the left over the
// surface, n out of it. The surface is a plane, or a cylinder about an axis
// along the strip; curve is its signed curvature per mm, positive for a shell,
// whose centre lies on the camera's side.
type frame struct {
	origin  vec
	a, b, n vec
	curve   float64
}

func newFrame(t *Strip, s *Surface) *frame {
	sin, cos := math.Sincos(t.Angle * math.Pi / 180)
	up := vec{0, 0, 1}
	sa, ca := math.Sincos(t.TiltAlong * math.Pi / 180)
	a := vec{cos, sin, 0}.scale(ca).add(up.scale(sa))
	n := up.scale(ca).sub(vec{cos, sin, 0}.scale(sa))
	sb, cb := math.Sincos(t.TiltAcross * math.Pi / 180)
	left := vec{-sin, cos, 0}
	f := &frame{
		origin: vec{t.Centre.X, t.Centre.Y, t.Height},
		a:      a,
		b:      left.scale(cb).add(n.scale(sb)),
		n:      n.scale(cb).sub(left.scale(sb)),
	}
	switch s.Kind {
	case "shell":
		f.curve = 1 / s.Radius
	case "journal":
		f.curve = -1 / s.Radius
	}
	return f
}

// at returns the place in the card frame of the surface point (u, v).
func (f *frame) at(u, v float64) vec {
	across, out := v, 0.0
	if f.curve != 0 {
		sin, cos := math.Sincos(v * f.curve)
		across, out = sin/f.curve, (1-cos)/f.curve
	}
	return f.origin.add(f.a.scale(u)).add(f.b.scale(across)).add(f.n.scale(out))
}

// slope returns by how much the surface's normal leans across the strip at v,
// radians, positive towards +v.
func (f *frame) slope(v float64) float64 { return -v * f.curve }

// hit is where a ray meets the surface.
type hit struct {
	u, v float64
	t    float64 // along the ray
	back bool    // the outside of a shell's wall, seen from beyond it
}

// meet returns the first place where the ray from eye along d meets the surface
// within reach mm (arc) on either side of the strip's axis.
func (f *frame) meet(eye, d vec, reach float64) (hit, bool) {
	o := eye.sub(f.origin)
	ou, du := o.dot(f.a), d.dot(f.a)
	ov, dv := o.dot(f.b), d.dot(f.b)
	on, dn := o.dot(f.n), d.dot(f.n)
	if f.curve == 0 {
		t := -on / dn
		return hit{u: ou + t*du, v: ov + t*dv, t: t}, t > 0 && math.Abs(ov+t*dv) <= reach
	}
	r := 1 / f.curve // the centre is at n = r
	on -= r
	a, b, c := dv*dv+dn*dn, ov*dv+on*dn, ov*ov+on*on-r*r
	disc := b*b - a*c
	if disc < 0 {
		return hit{}, false
	}
	root := math.Sqrt(disc)
	for _, t := range [2]float64{(-b - root) / a, (-b + root) / a} {
		if t <= 0 {
			continue
		}
		y, z := ov+t*dv, on+t*dn
		v := r * math.Atan2(y/r, -z/r)
		if math.Abs(v) > reach {
			continue
		}
		facing := (y*dv+z*dn)*f.curve > 0 // the ray runs from the centre's side
		return hit{u: ou + t*du, v: v, t: t, back: !facing}, true
	}
	return hit{}, false
}
