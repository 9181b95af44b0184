package synth

import (
	"math"

	"stripgap/calib"
)

// diagonal35 is the diagonal of a 36 x 24 mm frame, mm.
var diagonal35 = math.Hypot(36, 24)

type vec [3]float64

func (a vec) add(b vec) vec           { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) sub(b vec) vec           { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) scale(s float64) vec     { return vec{a[0] * s, a[1] * s, a[2] * s} }
func (a vec) dot(b vec) float64       { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) unit() vec               { return a.scale(1 / math.Sqrt(a.dot(a))) }
func (a vec) point() calib.SpacePoint { return calib.SpacePoint{X: a[0], Y: a[1], Z: a[2]} }
func (a vec) cross(b vec) vec {
	return vec{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

// camera projects between the card frame and pixels. The rows of rot are the
// camera's axes (right, down, forward) in the card frame.
type camera struct {
	rot    [3]vec
	eye    vec // in the card frame
	f      float64
	cx, cy float64 // principal point, px
	k1, k2 float64
	invR2  float64   // table steps per unit of squared distorted radius
	undo   []float64 // undistorted over distorted radius
}

// FocalPixels returns the focal length in pixels of a camera whose 35 mm
// equivalent focal35 (mm) is defined by the diagonal, as CIPA DCG-001 does.
func FocalPixels(focal35 float64, width, height int) float64 {
	return focal35 * math.Hypot(float64(width), float64(height)) / diagonal35
}

func newCamera(c Camera, p Pose) *camera {
	sin, cos := math.Sincos(p.Tilt * math.Pi / 180)
	sa, ca := math.Sincos(p.Azimuth * math.Pi / 180)
	back := vec{sin * ca, sin * sa, cos}
	forward := back.scale(-1)
	right := vec{1, 0, 0}.sub(forward.scale(forward[0])).unit()
	down := forward.cross(right)
	sr, cr := math.Sincos(p.Roll * math.Pi / 180)
	cam := &camera{
		rot: [3]vec{
			right.scale(cr).sub(down.scale(sr)),
			right.scale(sr).add(down.scale(cr)),
			forward,
		},
		eye: vec{p.Target.X, p.Target.Y, 0}.add(back.scale(p.Distance)),
		f:   FocalPixels(c.Focal35, c.Width, c.Height),
		cx:  float64(c.Width-1)/2 + c.OffsetX,
		cy:  float64(c.Height-1)/2 + c.OffsetY,
		k1:  c.K1, k2: c.K2,
	}
	cam.tabulate(c.Width, c.Height)
	return cam
}

// tabulate fills the table that takes distortion out, out to a little beyond
// the corner farthest from the principal point.
func (c *camera) tabulate(width, height int) {
	const steps = 4096
	x := max(c.cx, float64(width)-c.cx) + 8
	y := max(c.cy, float64(height)-c.cy) + 8
	far := (x*x + y*y) / (c.f * c.f)
	c.invR2 = steps / far
	c.undo = make([]float64, steps+2)
	for i := range c.undo {
		rd := math.Sqrt(float64(i) / c.invR2)
		c.undo[i] = 1
		if rd > 0 {
			c.undo[i] = c.undistort(rd) / rd
		}
	}
}

// undistort solves rd = r (1 + k1 r^2 + k2 r^4) for r by Newton's rule.
func (c *camera) undistort(rd float64) float64 {
	r := rd
	for range 20 {
		r2 := r * r
		r -= (r*(1+r2*(c.k1+c.k2*r2)) - rd) / (1 + r2*(3*c.k1+5*c.k2*r2))
	}
	return r
}

// project returns the pixel of a place in the card frame, distortion included.
// The place must lie in front of the camera.
func (c *camera) project(p vec) calib.PixelPoint {
	d := p.sub(c.eye)
	z := c.rot[2].dot(d)
	x, y := c.rot[0].dot(d)/z, c.rot[1].dot(d)/z
	r2 := x*x + y*y
	s := c.f * (1 + r2*(c.k1+c.k2*r2))
	return calib.PixelPoint{X: c.cx + s*x, Y: c.cy + s*y}
}

// normal returns a pixel's normalised coordinates with the distortion taken out:
// the ray through it runs along (x, y, 1) in the camera frame.
func (c *camera) normal(px, py float64) (x, y float64) {
	x, y = (px-c.cx)/c.f, (py-c.cy)/c.f
	t := (x*x + y*y) * c.invR2
	i := min(int(t), len(c.undo)-2)
	s := c.undo[i] + (t-float64(i))*(c.undo[i+1]-c.undo[i])
	return x * s, y * s
}

// sight is the camera expressed in another frame: its eye and its axes.
type sight struct {
	eye              vec
	right, down, fwd vec
}

// sight expresses the camera in the frame with the given origin and axes.
func (c *camera) sight(origin, a, b, n vec) sight {
	in := func(v vec) vec { return vec{v.dot(a), v.dot(b), v.dot(n)} }
	return sight{in(c.eye.sub(origin)), in(c.rot[0]), in(c.rot[1]), in(c.rot[2])}
}

// ray returns the direction of the ray at normalised coordinates, not of unit
// length.
func (s *sight) ray(x, y float64) vec {
	return vec{
		s.right[0]*x + s.down[0]*y + s.fwd[0],
		s.right[1]*x + s.down[1]*y + s.fwd[1],
		s.right[2]*x + s.down[2]*y + s.fwd[2],
	}
}

// plane returns where the ray at (x, y) meets the plane at height z of the
// sight's frame. The plane must lie before the camera along the ray.
func (s *sight) plane(x, y, z float64) (u, v float64) {
	d := s.ray(x, y)
	t := (z - s.eye[2]) / d[2]
	return s.eye[0] + t*d[0], s.eye[1] + t*d[1]
}

// face is plane at height 0.
func (s *sight) face(x, y float64) (u, v float64) { return s.plane(x, y, 0) }

// homography returns ImageFromCard for the card plane of an ideal lens, scaled
// so that its last element is 1.
func (c *camera) homography() [3][3]float64 {
	t := c.translation()
	var h [3][3]float64
	k := [3]vec{{c.f, 0, c.cx}, {0, c.f, c.cy}, {0, 0, 1}}
	for i := range 3 {
		for j := range 2 {
			h[i][j] = k[i].dot(vec{c.rot[0][j], c.rot[1][j], c.rot[2][j]})
		}
		h[i][2] = k[i].dot(t)
	}
	w := h[2][2]
	for i := range 3 {
		for j := range 3 {
			h[i][j] /= w
		}
	}
	return h
}

// translation returns the card's origin in the camera frame, mm.
func (c *camera) translation() vec {
	return vec{-c.rot[0].dot(c.eye), -c.rot[1].dot(c.eye), -c.rot[2].dot(c.eye)}
}
