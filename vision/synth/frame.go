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
	sight   sight // of the camera
}

func newFrame(t *Strip, s *Surface, cam *camera) *frame {
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
	f.sight = cam.sight(f.origin, f.a, f.b, f.n)
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
	ray  vec     // in the frame, not of unit length
	t    float64 // along the ray
	back bool    // the outside of a shell's wall, seen from beyond it
}

// meet returns the first place where the ray at normalised image coordinates
// (x, y) meets the surface within reach mm (arc) on either side of its axis.
func (f *frame) meet(x, y, reach float64) (hit, bool) {
	o, d := &f.sight.eye, f.sight.ray(x, y)
	if f.curve == 0 {
		t := -o[2] / d[2]
		v := o[1] + t*d[1]
		return hit{u: o[0] + t*d[0], v: v, ray: d, t: t}, t > 0 && math.Abs(v) <= reach
	}
	r := 1 / f.curve // the centre is at n = r
	on := o[2] - r
	a, b, c := d[1]*d[1]+d[2]*d[2], o[1]*d[1]+on*d[2], o[1]*o[1]+on*on-r*r
	disc := b*b - a*c
	if disc < 0 {
		return hit{}, false
	}
	root := math.Sqrt(disc)
	for _, t := range [2]float64{(-b - root) / a, (-b + root) / a} {
		if t <= 0 {
			continue
		}
		y, z := o[1]+t*d[1], on+t*d[2]
		v := r * math.Atan2(y/r, -z/r)
		if math.Abs(v) > reach {
			continue
		}
		facing := (y*d[1]+z*d[2])*f.curve > 0 // the ray runs from the centre's side
		return hit{u: o[0] + t*d[0], v: v, ray: d, t: t, back: !facing}, true
	}
	return hit{}, false
}
