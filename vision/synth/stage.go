package synth

import (
	"math"

	"stripgap/calib"
)

// stage is a scene set up for the camera.
type stage struct {
	scene *Scene
	cam   *camera
	print *printed
	films []*film
	boxes []box // of the films in the photo, px
	metal *metal
	cloud *cloud
	pixel float64    // mm at the target
	cast  vec        // card shadow's displacement on what lies beneath, per mm of height
	lamp  [2]float64 // direction of the light in the plane, unit
}

type box struct{ x0, y0, x1, y1 float64 }

func (b box) has(x, y float64) bool { return x >= b.x0 && x <= b.x1 && y >= b.y0 && y <= b.y1 }

func newStage(s *Scene) (*stage, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	st := &stage{scene: s, cam: newCamera(s.Camera, s.Pose)}
	var err error
	if st.print, err = newPrinted(s); err != nil {
		return nil, err
	}
	st.pixel = s.Pose.Distance / st.cam.f
	sa, ca := math.Sincos(s.Light.Azimuth * math.Pi / 180)
	st.lamp = [2]float64{ca, sa}
	st.cast = vec{-ca, -sa, 0}.scale(1 / math.Tan(s.Light.Elevation*math.Pi/180))
	ground := newFrame(&Strip{Height: -s.Card.Thickness}, &Surface{Kind: "flat"})
	for i := range s.Strips {
		t := &s.Strips[i]
		fr := newFrame(t, &s.Surface)
		if i == 0 {
			ground = fr
		}
		f := newFilm(t, fr, s.Seed, i)
		f.light = st.lamp[0]*fr.b[0] + st.lamp[1]*fr.b[1]
		st.films = append(st.films, f)
		st.boxes = append(st.boxes, st.bounds(f))
	}
	st.metal = newMetal(&s.Surface, ground, s.Seed, st.pixel)
	st.cloud = st.metal.cloud
	return st, nil
}

// bounds returns the photo's box that holds the film and its shadow.
func (st *stage) bounds(f *film) box {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	side := f.Width + math.Abs(f.Taper) + math.Abs(f.Sway) + 1
	for i := range 9 {
		for _, v := range [2]float64{-side, side} {
			p := st.cam.project(f.frame.at((f.Length/2+1)*(float64(i)/4-1), v))
			b = box{min(b.x0, p.X), min(b.y0, p.Y), max(b.x1, p.X), max(b.y1, p.Y)}
		}
	}
	return b
}

// light fills a picture with the linear light that reaches the lens.
func (st *stage) light() *picture {
	c := &st.scene.Camera
	pic := newPicture(c.Width, c.Height)
	for y := range c.Height {
		for x := range c.Width {
			v := st.pixelLight(float64(x), float64(y))
			k := y*c.Width + x
			pic.c[0][k], pic.c[1][k], pic.c[2][k] = float32(v[0]), float32(v[1]), float32(v[2])
		}
	}
	return pic
}

// pixelLight lays the scene's layers over one another for one pixel.
func (st *stage) pixelLight(px, py float64) RGB {
	level := st.illumination(px, py)
	x, y := st.cam.card(px, py, 0)
	card := st.cardCover(px, py, x, y)
	var c RGB
	if card < 1 {
		c = st.ground(px, py)
	}
	for i, f := range st.films {
		if f.Fault.UnderCard && st.boxes[i].has(px, py) && card < 1 {
			c = st.overlay(c, f, px, py)
		}
	}
	if card > 0 {
		c = mix(c, st.face(px, py, x, y), card)
	}
	for i, f := range st.films {
		if !f.Fault.UnderCard && st.boxes[i].has(px, py) {
			c = st.overlay(c, f, px, py)
		}
	}
	for i := range c {
		c[i] *= level * st.scene.Light.Colour[i]
	}
	return c
}

// illumination is the lamp's level at a pixel, the lens's darker corners
// included.
func (st *stage) illumination(px, py float64) float64 {
	l, c := &st.scene.Light, &st.scene.Camera
	x, y := 2*(px+0.5)/float64(c.Width)-1, 2*(py+0.5)/float64(c.Height)-1
	return l.Level * max(0, 1+l.GradientX*x+l.GradientY*y) * (1 - st.scene.Optics.Vignetting*(x*x+y*y)/2)
}

// cardCover is the share of the pixel the card's paper covers.
func (st *stage) cardCover(px, py, x, y float64) float64 {
	d, gx, gy := st.print.cut(x, y)
	if d > 8*st.pixel {
		return 1
	} else if d < -8*st.pixel {
		return 0
	}
	j := st.cardJacobian(px, py, x, y)
	return edge(d, gx*j.ux+gy*j.vx, gx*j.uy+gy*j.vy)
}

func (st *stage) cardJacobian(px, py, x, y float64) jacobian {
	x1, y1 := st.cam.card(px+1, py, 0)
	x2, y2 := st.cam.card(px, py+1, 0)
	return jacobian{x1 - x, x2 - x, y1 - y, y2 - y}
}

// face is the card's reflectance in a pixel: paper with its grain, and ink.
func (st *stage) face(px, py, x, y float64) RGB {
	c := &st.scene.Card
	paper := c.Paper
	if c.Grain > 0 {
		g := 1 + c.Grain*(0.8*st.cloud.at(x/0.11, y/0.11)+0.6*st.cloud.at(x/0.43+9.1, y/0.43+3.3))
		for i := range paper {
			paper[i] *= g
		}
	}
	qx, qy := st.print.drawing(x, y)
	d, gx, gy, near := st.print.field.at(qx, qy)
	// The field is in drawing millimetres; at scales near 1 the ink's spread in
	// them differs from true ones by less than the spread itself is known.
	d += st.print.ink
	var ink float64
	switch {
	case !near || d > 6*st.pixel || d < -6*st.pixel:
		if d > 0 {
			ink = 1
		}
	default:
		j := st.cardJacobian(px, py, x, y)
		gx, gy = gx/st.print.sx, gy/st.print.sy
		ink = edge(d, gx*j.ux+gy*j.vx, gx*j.uy+gy*j.vy)
	}
	return mix(paper, RGB{c.Ink, c.Ink, c.Ink}, ink)
}

// overlay lays a film and its shadow over what is under it.
func (st *stage) overlay(under RGB, f *film, px, py float64) RGB {
	const reach = 30
	meet := func(px, py float64) (hit, bool) {
		return f.frame.meet(st.cam.eye, st.cam.ray(px, py), reach)
	}
	h, ok := meet(px, py)
	if !ok || h.back {
		return under
	}
	hx, okx := meet(px+1, py)
	hy, oky := meet(px, py+1)
	if !okx || !oky {
		return under
	}
	j := jacobian{hx.u - h.u, hy.u - h.u, hx.v - h.v, hy.v - h.v}
	share, d, side := f.cover(h.u, h.v, j)
	if share == 0 {
		return under
	}
	alpha, shade := f.optics(d, side)
	return mix(under, RGB{f.Colour[0] * shade, f.Colour[1] * shade, f.Colour[2] * shade}, share*alpha)
}

// ground is the radiance of the part or of the bench beyond it.
func (st *stage) ground(px, py float64) RGB {
	ray := st.cam.ray(px, py)
	m := st.metal
	reach := m.HalfWidth + 2
	if m.frame.curve != 0 {
		reach = min(reach, math.Pi/math.Abs(m.frame.curve))
	}
	h, ok := m.frame.meet(st.cam.eye, ray, reach)
	if !ok {
		return st.benchTop(ray)
	}
	d, gu, gv := m.inside(h.u, h.v)
	if d < -8*st.pixel {
		return st.benchTop(ray)
	}
	var c RGB
	if h.back {
		c = RGB{0.12 * m.Metal[0], 0.12 * m.Metal[1], 0.12 * m.Metal[2]}
	} else {
		c = m.radiance(h, ray.unit())
	}
	part := 1.0
	if d < 8*st.pixel {
		hx, okx := m.frame.meet(st.cam.eye, st.cam.ray(px+1, py), reach+1)
		hy, oky := m.frame.meet(st.cam.eye, st.cam.ray(px, py+1), reach+1)
		if okx && oky {
			part = edge(d, gu*(hx.u-h.u)+gv*(hx.v-h.v), gu*(hy.u-h.u)+gv*(hy.v-h.v))
		}
	}
	if part < 1 {
		c = mix(st.benchTop(ray), c, part)
	}
	return st.shadowed(c, m.frame.at(h.u, h.v))
}

// benchTop is the radiance of the bench where a ray meets it.
func (st *stage) benchTop(ray vec) RGB {
	b := &st.scene.Bench
	t := (-b.Depth - st.cam.eye[2]) / ray[2]
	p := st.cam.eye.add(ray.scale(t))
	g := 1.0
	switch b.Kind {
	case "wood":
		ring := p[1]/2.2 + 1.5*st.cloud.rough(p[0]/60, p[1]/12, 2)
		g += 0.12*math.Sin(ring) + 0.08*st.cloud.at(p[0]/5, p[1]/0.25)
	case "cloth":
		g += 0.10*math.Sin(p[0]*9)*math.Sin(p[1]*9) + 0.08*st.cloud.rough(p[0]/3, p[1]/3, 3)
	default:
		g += 0.03 * st.cloud.rough(p[0]/10, p[1]/10, 4)
	}
	return st.shadowed(RGB{b.Colour[0] * g, b.Colour[1] * g, b.Colour[2] * g}, p)
}

// shadowed dims c by the card's soft shadow at the place p beneath the card.
func (st *stage) shadowed(c RGB, p vec) RGB {
	if st.scene.Light.Shadow == 0 || p[2] >= 0 {
		return c
	}
	q := p.sub(st.cast.scale(-p[2]))
	d, _, _ := st.print.cut(q[0], q[1])
	soft := 0.15 - p[2]*0.6
	if d <= -soft {
		return c
	}
	x := min(1, (d+soft)/(2*soft))
	k := 1 - st.scene.Light.Shadow*x*x*(3-2*x)
	return RGB{c[0] * k, c[1] * k, c[2] * k}
}

// mix returns (1-t) a + t b.
func mix(a, b RGB, t float64) RGB {
	return RGB{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1]), a[2] + t*(b[2]-a[2])}
}

// markPixel is where the centre of a mark is imaged.
func (st *stage) markPixel(m calib.Mark) (calib.CardPoint, calib.PixelPoint) {
	p := st.print.paper(m.Centre)
	return p, st.cam.project(vec{p.X, p.Y, 0})
}
