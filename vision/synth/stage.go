package synth

import (
	"math"

	"stripgap/calib"
)

// stage is a scene set up for the camera.
type stage struct {
	scene *Scene
	cam   *camera
	card  sight // of the camera in the card frame
	print *printed
	films []*film
	boxes []box // of the films in the photo, px
	metal *metal
	cloud *cloud
	pixel float64 // mm at the target
	reach float64 // mm over the surface from the strip's axis within which there is metal
	lamp  vec     // direction of the light in the card's plane, unit
	cast  vec     // the card shadow's displacement on what lies beneath, per mm of depth
	gloom float64 // mm from the card, on its plane, beyond which no ray meets its shadow
}

type box struct{ x0, y0, x1, y1 float64 }

func (b box) has(x, y float64) bool { return x >= b.x0 && x <= b.x1 && y >= b.y0 && y <= b.y1 }

func newStage(s *Scene) (*stage, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	st := &stage{scene: s, cam: newCamera(s.Camera, s.Pose)}
	st.card = st.cam.sight(vec{}, vec{1, 0, 0}, vec{0, 1, 0}, vec{0, 0, 1})
	var err error
	if st.print, err = newPrinted(s); err != nil {
		return nil, err
	}
	st.pixel = s.Pose.Distance / st.cam.f
	sin, cos := math.Sincos(s.Light.Azimuth * math.Pi / 180)
	st.lamp = vec{cos, sin, 0}
	st.cast = st.lamp.scale(-1 / math.Tan(s.Light.Elevation*math.Pi/180))
	ground := newFrame(&Strip{Height: -s.Card.Thickness}, &Surface{Kind: "flat"}, st.cam)
	if len(s.Strips) > 0 {
		ground = newFrame(&s.Strips[0], &s.Surface, st.cam)
	}
	st.metal = newMetal(&s.Surface, ground, s.Seed, st.pixel)
	st.cloud = st.metal.cloud
	st.reach = math.Inf(1)
	depth := s.Bench.Depth
	if ground.curve != 0 {
		st.reach = min(s.Surface.HalfWidth+1, 3/math.Abs(ground.curve)) // short of the far side
		depth = max(depth, -ground.at(0, st.reach)[2], -ground.at(0, -st.reach)[2])
	}
	// Slanting rays, up to 60 degrees off the card's normal, add to the shadow's way.
	st.gloom = 1 + depth*(math.Sqrt(st.cast.dot(st.cast))+math.Sqrt(3)+0.6)
	for i := range s.Strips {
		f := newFilm(&s.Strips[i], newFrame(&s.Strips[i], &s.Surface, st.cam), s.Seed, i)
		if i == 0 && !f.Round {
			f.bridge(st.metal)
		}
		f.lit(st)
		st.films = append(st.films, f)
		st.boxes = append(st.boxes, st.bounds(f))
	}
	return st, nil
}

// bounds returns the photo's box that holds the film and its shadow.
func (st *stage) bounds(f *film) box {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	side := f.reach()
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
	x, y := st.cam.normal(px, py)
	cx, cy := st.card.plane(x, y, 0)
	inside, gx, gy := st.print.cut(cx, cy)
	cover := st.cover(px, py, cx, cy, inside, gx, gy)
	var c RGB
	if cover < 1 {
		c = st.ground(px, py, x, y, inside > -st.gloom)
		c = st.overlays(c, px, py, x, y, true)
	}
	if cover > 0 {
		c = mix(c, st.face(px, py, cx, cy), cover)
	}
	c = st.overlays(c, px, py, x, y, false)
	if len(st.scene.Clutter) > 0 {
		c = st.clutter(c, x, y)
	}
	level := st.illumination(px, py)
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

// overlays lays the films that are under the card, or those that are not, over c.
func (st *stage) overlays(c RGB, px, py, x, y float64, under bool) RGB {
	for i, f := range st.films {
		if f.Fault.UnderCard != under || !st.boxes[i].has(px, py) {
			continue
		}
		h, ok := f.frame.meet(x, y, st.reach)
		if !ok || h.back {
			continue
		}
		if j, ok := st.jacobian(f.frame, h, px, py); ok {
			c = f.over(c, h.u, h.v, j)
		}
	}
	return c
}

// cover is the share of the pixel the card's paper covers: inside is the
// distance of the pixel's middle to the paper's edge.
func (st *stage) cover(px, py, x, y, inside, gx, gy float64) float64 {
	if inside > 8*st.pixel {
		return 1
	} else if inside < -8*st.pixel {
		return 0
	}
	j := st.cardJacobian(px, py, x, y)
	return edge(inside, gx*j.ux+gy*j.vx, gx*j.uy+gy*j.vy)
}

func (st *stage) cardJacobian(px, py, x, y float64) jacobian {
	x1, y1 := st.card.face(st.cam.normal(px+1, py))
	x2, y2 := st.card.face(st.cam.normal(px, py+1))
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
	d, gx, gy, near := st.print.field.at(st.print.drawing(x, y))
	d += st.print.ink
	var ink float64
	if !near || math.Abs(d) > 6*st.pixel {
		if d > 0 {
			ink = 1
		}
	} else {
		j := st.cardJacobian(px, py, x, y)
		gx, gy = gx/st.print.sx, gy/st.print.sy
		ink = edge(d, gx*j.ux+gy*j.vx, gx*j.uy+gy*j.vy)
	}
	return mix(paper, RGB{c.Ink, c.Ink, c.Ink}, ink)
}

// mix returns (1-t) a + t b.
func mix(a, b RGB, t float64) RGB {
	return RGB{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1]), a[2] + t*(b[2]-a[2])}
}

// markPixel is where the centre of a mark lies on the paper and in the photo.
func (st *stage) markPixel(m calib.Mark) (calib.CardPoint, calib.PixelPoint) {
	p := st.print.paper(m.Centre)
	return p, st.cam.project(vec{p.X, p.Y, 0})
}
