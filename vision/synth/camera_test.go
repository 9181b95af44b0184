package synth

import (
	"math"
	"testing"

	"stripgap/calib"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

// 26 mm by the diagonal definition of CIPA DCG-001 on 4000 x 3000 px:
// 26 x 5000 / hypot(36, 24).
func TestFocalPixels(t *testing.T) {
	near(t, "focal", FocalPixels(26, 4000, 3000), 3004.63, 0.005)
}

// Corners of ISO/IEC 7810 ID-1 (85.60 x 53.98 mm) by hand for a pinhole with f =
// 3004.626 px (26 mm, above) and the principal point at (1999.5, 1499.5):
//
//	straight above at 150 mm: 1999.5 +- 3004.626 x 42.8/150 = 1999.5 +- 857.31995
//	                          1499.5 +- 3004.626 x 26.99/150 = 1499.5 +- 540.63237
//	tilted 30 degrees towards +x: the eye is at (75, 0, 129.90381), the optical
//	axis (-0.5, 0, -0.8660254), right (0.8660254, 0, -0.5), down (0, -1, 0), so the
//	corner (42.8, 26.99) has depth 150 - 21.4 = 128.6, x 42.8 x 0.8660254 =
//	37.065887, y -26.99; pixel x 1999.5 + 3004.626 x 37.065887/128.6, pixel y
//	1499.5 - 3004.626 x 26.99/128.6. The corner (-42.8, 26.99) has depth 171.4.
func TestProjectionByHand(t *testing.T) {
	const f = 3004.626
	for _, c := range []struct {
		name   string
		tilt   float64
		corner calib.CardPoint
		x, y   float64
	}{
		{"above, top right", 0, calib.CardPoint{X: 42.8, Y: 26.99}, 1999.5 + 857.31995, 1499.5 - 540.63237},
		{"above, bottom left", 0, calib.CardPoint{X: -42.8, Y: -26.99}, 1999.5 - 857.31995, 1499.5 + 540.63237},
		{"tilted, top right", 30, calib.CardPoint{X: 42.8, Y: 26.99}, 1999.5 + f*37.065887/128.6, 1499.5 - f*26.99/128.6},
		{"tilted, top left", 30, calib.CardPoint{X: -42.8, Y: 26.99}, 1999.5 - f*37.065887/171.4, 1499.5 - f*26.99/171.4},
	} {
		cam := newCamera(Camera{Width: 4000, Height: 3000, Focal35: 26}, Pose{Distance: 150, Tilt: c.tilt})
		p := cam.project(vec{c.corner.X, c.corner.Y, 0})
		near(t, c.name+" x", p.X, c.x, 1e-3)
		near(t, c.name+" y", p.Y, c.y, 1e-3)
	}
}

// A quarter turn clockwise takes what was right of the middle to below it.
func TestRollTurnsClockwise(t *testing.T) {
	cam := newCamera(Camera{Width: 4000, Height: 3000, Focal35: 26}, Pose{Distance: 150, Roll: 90})
	p := cam.project(vec{10, 0, 0})
	near(t, "x", p.X, 1999.5, 1e-9)
	if p.Y < 1600 {
		t.Errorf("y: got %g, want well below the middle", p.Y)
	}
}

// wide is a camera with every parameter away from its rest.
func wide() *camera {
	return newCamera(Camera{Width: 4000, Height: 3000, Focal35: 24, OffsetX: 20, OffsetY: -15, K1: -0.08, K2: 0.03},
		Pose{Target: calib.CardPoint{X: 4, Y: -7}, Distance: 110, Tilt: 33, Azimuth: 205, Roll: 17})
}

// Projection and its inverse share only the distortion polynomial; together they
// must return the place they started from.
func TestRayInvertsProjection(t *testing.T) {
	cam := wide()
	eye := cam.sight(vec{}, vec{1, 0, 0}, vec{0, 1, 0}, vec{0, 0, 1})
	for x := -60.0; x <= 60; x += 15 {
		for y := -45.0; y <= 45; y += 15 {
			p := cam.project(vec{x, y, 1.5})
			if p.X < 0 || p.Y < 0 || p.X > 3999 || p.Y > 2999 {
				continue
			}
			nx, ny := cam.normal(p.X, p.Y)
			gx, gy := eye.plane(nx, ny, 1.5)
			near(t, "x", gx, x, 2e-5)
			near(t, "y", gy, y, 2e-5)
		}
	}
}

// The homography is the projection without distortion.
func TestHomographyAgreesWithProjection(t *testing.T) {
	cam := wide()
	cam.k1, cam.k2 = 0, 0
	h := cam.homography()
	for _, p := range []calib.CardPoint{{X: 0, Y: 0}, {X: 38.6, Y: 22.8}, {X: -38.6, Y: 22.8}, {X: 10, Y: -50}} {
		w := h[2][0]*p.X + h[2][1]*p.Y + h[2][2]
		want := cam.project(vec{p.X, p.Y, 0})
		near(t, "x", (h[0][0]*p.X+h[0][1]*p.Y+h[0][2])/w, want.X, 1e-9)
		near(t, "y", (h[1][0]*p.X+h[1][1]*p.Y+h[1][2])/w, want.Y, 1e-9)
	}
}

// Meeting a surface must undo placing a point on it, on every kind.
func TestMeetInvertsAt(t *testing.T) {
	cam := newCamera(Camera{Width: 4000, Height: 3000, Focal35: 26}, Pose{Distance: 150, Tilt: 12, Azimuth: 70})
	strip := &Strip{Centre: calib.CardPoint{X: 3, Y: 20}, Height: 1.2, Angle: 25, TiltAlong: 3, TiltAcross: -8}
	for _, kind := range []string{"flat", "shell", "journal"} {
		f := newFrame(strip, &Surface{Kind: kind, Radius: 25}, cam)
		for _, p := range [][2]float64{{0, 0}, {9, 2.5}, {-9, -6}, {4, 10}} {
			px := cam.project(f.at(p[0], p[1]))
			x, y := cam.normal(px.X, px.Y)
			h, ok := f.meet(x, y, 15)
			if !ok || h.back {
				t.Fatalf("%s %v: no hit on the face", kind, p)
			}
			near(t, kind+" u", h.u, p[0], 1e-5)
			near(t, kind+" v", h.v, p[1], 1e-5)
		}
	}
}

// On a cylinder of radius 25 mm a chord of two points 5 mm apart over the
// surface is 2 R sin(w / 2R), short by w^3 / 24 R^2.
func TestSurfaceWidthIsArc(t *testing.T) {
	f := newFrame(&Strip{}, &Surface{Kind: "shell", Radius: 25}, wide())
	d := f.at(0, 2.5).sub(f.at(0, -2.5))
	near(t, "chord", math.Sqrt(d.dot(d)), 50*math.Sin(0.1), 1e-12)
	near(t, "loss", 5-math.Sqrt(d.dot(d)), 125.0/(24*625), 1e-5)
}
