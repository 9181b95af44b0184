package calib

import (
	"math"
	"testing"
)

// TestRotationValues: a quarter turn about z takes x to y; a third of a turn
// about (1,1,1) moves the axes round.
func TestRotationValues(t *testing.T) {
	third := 2 * math.Pi / 3 / math.Sqrt(3)
	cases := []struct {
		w    [3]float64
		want [3][3]float64
	}{
		{[3]float64{0, 0, math.Pi / 2}, [3][3]float64{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}},
		{[3]float64{third, third, third}, [3][3]float64{{0, 0, 1}, {1, 0, 0}, {0, 1, 0}}},
		{[3]float64{}, [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
		{[3]float64{1e-5, 0, 0}, [3][3]float64{{1, 0, 0}, {0, math.Cos(1e-5), -math.Sin(1e-5)}, {0, math.Sin(1e-5), math.Cos(1e-5)}}},
	}
	for _, c := range cases {
		got := rotation(c.w)
		for i := range 3 {
			for j := range 3 {
				if math.Abs(got[i][j]-c.want[i][j]) > 1e-15 {
					t.Errorf("rotation(%v) = %v, want %v", c.w, got, c.want)
				}
			}
		}
	}
}

// TestPoseFromHomographyExact recovers the axes of the tests' own camera.
func TestPoseFromHomographyExact(t *testing.T) {
	cam := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: rad(35), Toward: 2, Roll: 1}
	card := markCentres(Bench())
	h, err := FitHomography(card, cam.seeAll(card))
	if err != nil {
		t.Fatal(err)
	}
	p, ok := poseFromHomography(h, Camera{F: 3000, CX: 1999.5, CY: 1499.5})
	if !ok {
		t.Fatal("refused")
	}
	right, down, fwd := cam.axes()
	for i, want := range [][3]float64{right, down, fwd} {
		for j := range 3 {
			if math.Abs(p.R[i][j]-want[j]) > 1e-8 {
				t.Fatalf("R %v, want rows %v %v %v", p.R, right, down, fwd)
			}
		}
	}
	e, c := cam.eye(), p.Centre()
	if math.Hypot(math.Hypot(c.X-e[0], c.Y-e[1]), c.Z-e[2]) > 1e-5 {
		t.Errorf("centre %v, want %v", c, e)
	}
}

// TestRivalLooksAlikeFromAfar checks what defines the rival: it is a rotation, it
// undoes itself, it leans the other way, and from far away with a long lens it
// shows the card at the same pixels to second order in size over distance.
func TestRivalLooksAlikeFromAfar(t *testing.T) {
	const far = 1e6
	cam := pinhole{F: 20 * far, Dist: far, Tilt: rad(30), Toward: 1, Roll: 0.5}
	right, down, fwd := cam.axes()
	p := Pose{R: [3][3]float64{right, down, fwd}, T: [3]float64{0, 0, far}}
	q := p.rival()
	if a := q.rival().angleTo(p); a > 1e-7 {
		t.Errorf("twice the rival is off by %g rad", a)
	}
	third := crossed(column(q.R, 0), column(q.R, 1))
	if d := dotted(third, column(q.R, 2)); math.Abs(d-1) > 1e-12 {
		t.Errorf("not a rotation: determinant %g", d)
	}
	if a := p.angleTo(q); math.Abs(a-rad(60)) > 1e-9 {
		t.Errorf("turned by %g rad, want twice the tilt", a)
	}
	v, w := View{Camera: Camera{F: cam.F}, Pose: p}, View{Camera: Camera{F: cam.F}, Pose: q}
	for _, c := range markCentres(Bench()) {
		a, _ := v.Image(c.At(0))
		b, _ := w.Image(c.At(0))
		// Offsets reach 20 px/mm x 45 mm, and the next order is 45 mm / 1e6 mm of that.
		if a.Sub(b).Norm() > 0.1 {
			t.Errorf("%v at %v and %v", c, a, b)
		}
	}
}

// TestSeenByLooksAlike: a level card keeps every pixel whatever the camera, and a
// leaning one its centre.
func TestSeenByLooksAlike(t *testing.T) {
	const zoom, dx, dy = 1.2, 0.01, -0.02 // far beyond any prior
	for _, tilt := range []float64{0, 20} {
		v := pinhole{F: 3000, CX: 1999.5, CY: 1499.5, Dist: 150, Tilt: rad(tilt), Toward: 1, Roll: 0.4}.view()
		w := View{Camera: Camera{F: zoom * 3000, CX: 1999.5 + 3000*dx, CY: 1499.5 + 3000*dy}, Pose: v.Pose.seenBy(zoom, dx, dy)}
		points := append(markCentres(Bench()), CardPoint{})
		if tilt > 0 {
			points = []CardPoint{{}}
		}
		for _, c := range points {
			a, _ := v.Image(c.At(0))
			b, _ := w.Image(c.At(0))
			if a.Sub(b).Norm() > 1e-9 {
				t.Errorf("tilt %g: %v at %v and %v", tilt, c, a, b)
			}
		}
	}
}

// TestSeenByTangent compares with differences of seenBy.
func TestSeenByTangent(t *testing.T) {
	const h = 1e-6
	p := pinhole{F: 3000, Dist: 150, Tilt: rad(30), Toward: 1, Roll: 0.5, Aim: CardPoint{10, 5}}.view().Pose
	for _, d := range [][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {1, 2, -3}} {
		turn, move := p.seenByTangent(h*d[0], h*d[1], h*d[2])
		want, got := p.seenBy(math.Exp(h*d[0]), h*d[1], h*d[2]), p.rotated(turn, move)
		for i := range 3 {
			if math.Abs(got.T[i]-want.T[i]) > 1e-8 { // 150 mm x h² and rounding
				t.Errorf("%v: T %v, want %v", d, got.T, want.T)
			}
			for j := range 3 {
				if math.Abs(got.R[i][j]-want.R[i][j]) > 1e-10 {
					t.Errorf("%v: R %v, want %v", d, got.R, want.R)
				}
			}
		}
	}
}

func column(m [3][3]float64, j int) [3]float64 { return [3]float64{m[0][j], m[1][j], m[2][j]} }
