package synth

import "math"

// ground is the radiance of the part, or of the bench beyond it, in a pixel
// whose ray runs through the normalised coordinates (x, y). near tells that the
// card, and so its shadow, may be close.
func (st *stage) ground(px, py, x, y float64, near bool) RGB {
	m := st.metal
	h, ok := m.frame.meet(x, y, st.reach)
	if !ok {
		return st.benchTop(x, y, near)
	}
	d, gu, gv := m.inside(h.u, h.v)
	part := 1.0
	if d < -8*st.pixel {
		part = 0
	} else if d < 8*st.pixel {
		if j, ok := st.jacobian(m.frame, h, px, py); ok {
			part = edge(d, gu*j.ux+gv*j.vx, gu*j.uy+gv*j.vy)
		}
	}
	if part == 0 {
		return st.benchTop(x, y, near)
	}
	c := RGB{0.12 * m.Metal[0], 0.12 * m.Metal[1], 0.12 * m.Metal[2]}
	if !h.back {
		c = m.radiance(h)
		if d < 0.3 { // the broken edge catches light or turns from it
			side := gu*m.frame.a.dot(st.lamp) + gv*m.frame.b.dot(st.lamp)
			k := 1 - 0.5*side*math.Max(0, 1-max(d, 0)/0.3)
			c = RGB{c[0] * k, c[1] * k, c[2] * k}
		}
		if m.Chamfer > 0 {
			bevel := spread((m.Chamfer - d) / st.pixel)
			c = mix(c, RGB{c[0] * m.ChamferBy, c[1] * m.ChamferBy, c[2] * m.ChamferBy}, bevel)
		}
	}
	if st.scene.Light.Shadow > 0 && (near || len(st.scene.Clutter) > 0) {
		c = st.shadowed(c, m.frame.at(h.u, h.v))
	}
	if part < 1 {
		c = mix(st.benchTop(x, y, near), c, part)
	}
	return c
}

// jacobian differentiates surface coordinates at a hit by pixel coordinates. ok
// is false where a neighbouring pixel's ray misses the surface.
func (st *stage) jacobian(f *frame, h hit, px, py float64) (j jacobian, ok bool) {
	x, y := st.cam.normal(px+1, py)
	right, ok1 := f.meet(x, y, st.reach+1)
	x, y = st.cam.normal(px, py+1)
	below, ok2 := f.meet(x, y, st.reach+1)
	return jacobian{right.u - h.u, below.u - h.u, right.v - h.v, below.v - h.v}, ok1 && ok2
}

// benchTop is the radiance of the bench where a ray meets it.
func (st *stage) benchTop(x, y float64, near bool) RGB {
	b := &st.scene.Bench
	u, v := st.card.plane(x, y, -b.Depth)
	g := 1.0
	switch b.Kind {
	case "wood":
		ring := v/2.2 + 1.5*st.cloud.rough(u/60, v/12, 2)
		g += 0.12*math.Sin(ring) + 0.08*st.cloud.at(u/5, v/0.25)
	case "cloth":
		g += 0.10*math.Sin(u*9)*math.Sin(v*9) + 0.08*st.cloud.rough(u/3, v/3, 3)
	default:
		g += 0.03 * st.cloud.rough(u/10, v/10, 4)
	}
	g = max(g, 0.1)
	c := RGB{b.Colour[0] * g, b.Colour[1] * g, b.Colour[2] * g}
	if st.scene.Light.Shadow > 0 && (near || len(st.scene.Clutter) > 0) {
		c = st.shadowed(c, vec{u, v, -b.Depth})
	}
	return c
}

// shadowed dims c by the soft shadows of the card and of things at the place p.
func (st *stage) shadowed(c RGB, p vec) RGB {
	if len(st.scene.Clutter) > 0 {
		k := st.clutterShade(p)
		c = RGB{c[0] * k, c[1] * k, c[2] * k}
	}
	if p[2] >= 0 {
		return c
	}
	q := p.sub(st.cast.scale(-p[2]))
	d, _, _ := st.print.cut(q[0], q[1])
	soft := 0.15 - p[2]*0.6
	k := 1 - st.scene.Light.Shadow*smoothStep((d+soft)/(2*soft))
	return RGB{c[0] * k, c[1] * k, c[2] * k}
}

// smoothStep rises from 0 at 0 to 1 at 1 with level ends.
func smoothStep(x float64) float64 {
	x = min(1, max(0, x))
	return x * x * (3 - 2*x)
}
