package calib

import "math"

// Pose is CameraFromCard: a card-frame point X in millimetres is at R X + T in
// the camera frame (x right, y down, z forward). A level camera above the card's
// centre has R = diag(1, -1, -1) and T = (0, 0, distance).
type Pose struct {
	R [3][3]float64
	T [3]float64
}

// Centre returns the camera's pinhole in the card frame, in millimetres.
func (p Pose) Centre() SpacePoint {
	c := p.back(p.T)
	return SpacePoint{-c[0], -c[1], -c[2]}
}

// turn returns R q.
func (p Pose) turn(q SpacePoint) [3]float64 {
	var v [3]float64
	for i, r := range p.R {
		v[i] = r[0]*q.X + r[1]*q.Y + r[2]*q.Z
	}
	return v
}

// point returns q in the camera frame.
func (p Pose) point(q SpacePoint) [3]float64 {
	v := p.turn(q)
	return [3]float64{v[0] + p.T[0], v[1] + p.T[1], v[2] + p.T[2]}
}

// back returns Rᵀ v: a camera-frame direction in the card frame.
func (p Pose) back(v [3]float64) [3]float64 {
	var q [3]float64
	for i := range 3 {
		q[i] = p.R[0][i]*v[0] + p.R[1][i]*v[1] + p.R[2][i]*v[2]
	}
	return q
}

// rotated returns p turned by the rotation vector w (radians) about the card's
// centre, in camera axes, and moved by t (mm).
func (p Pose) rotated(w, t [3]float64) Pose {
	q := Pose{R: product(rotation(w), p.R), T: p.T}
	for i := range t {
		q.T[i] += t[i]
	}
	return q
}

// rival returns the other pose from which a distant camera sees the plane
// alike: every point of the card keeps its place across the line of sight and
// changes the sign of its depth beside the centre's. With S the reflection in
// the plane square to the line of sight, it is S R diag(1, 1, -1), T.
func (p Pose) rival() Pose {
	d := math.Sqrt(p.T[0]*p.T[0] + p.T[1]*p.T[1] + p.T[2]*p.T[2])
	var s [3][3]float64
	for i := range 3 {
		for j := range 3 {
			s[i][j] = -2 * p.T[i] * p.T[j] / (d * d)
		}
		s[i][i]++
	}
	q := Pose{R: product(s, p.R), T: p.T}
	for i := range 3 {
		q.R[i][2] = -q.R[i][2]
	}
	return q
}

// seenBy returns the pose in which the card looks to another camera as it does
// in p to the present one. The other's focal length is zoom times as long and
// its principal point lies dx, dy present focal lengths further right and down.
// A level card looks exactly alike. Of a leaning one the homography would need
// card axes that are not quite square and equal; the nearest square pair is
// taken. Lens distortion is left out.
func (p Pose) seenBy(zoom, dx, dy float64) Pose {
	// The present ideal image (x, y) is the other's ((x-dx)/zoom, (y-dy)/zoom).
	other := func(v [3]float64) [3]float64 {
		return [3]float64{v[0] - dx*v[2], v[1] - dy*v[2], zoom * v[2]}
	}
	axis := func(k int) [3]float64 { return other([3]float64{p.R[0][k], p.R[1][k], p.R[2][k]}) }
	r, size := nearestAxes(axis(0), axis(1))
	t := other(p.T)
	return Pose{R: r, T: [3]float64{t[0] / size, t[1] / size, t[2] / size}}
}

// seenByTangent returns the rotation vector and the move by which seenBy begins,
// for small lnF = ln zoom, dx and dy.
//
// To first order the card's axes a, b gain u a_z and u b_z with u = (-dx, -dy,
// lnF). What turns them, in card axes (u along a, b and the normal being u1, u2,
// u3), is (u3 b_z, -u3 a_z, (u2 a_z - u1 b_z)/2); their mean stretch is
// (u1 a_z + u2 b_z)/2, and T gains u T_z less that stretch.
func (p Pose) seenByTangent(lnF, dx, dy float64) (turn, move [3]float64) {
	u := [3]float64{-dx, -dy, lnF}
	c := p.back(u)
	az, bz := p.R[2][0], p.R[2][1]
	turn = p.turn(SpacePoint{c[2] * bz, -c[2] * az, (c[1]*az - c[0]*bz) / 2})
	stretch := (c[0]*az + c[1]*bz) / 2
	for i := range 3 {
		move[i] = u[i]*p.T[2] - stretch*p.T[i]
	}
	return turn, move
}

// angleTo returns the angle between two poses' rotations in radians.
func (p Pose) angleTo(q Pose) float64 {
	trace := 0.0
	for i := range 3 {
		for j := range 3 {
			trace += p.R[i][j] * q.R[i][j]
		}
	}
	return math.Acos(math.Min(1, math.Max(-1, (trace-1)/2)))
}

// poseFromHomography splits a homography of undistorted pixels into the pose of
// a camera: its first two columns are two card axes and its third the card's
// centre, all over the distance (Zhang, IEEE PAMI 22, 2000). Noise and a wrong
// focal length leave the axes not quite square; the nearest square pair is
// taken. It returns false when the card's centre lies behind the camera.
func poseFromHomography(h Homography, c Camera) (Pose, bool) {
	var axis [3][3]float64
	for k := range 3 {
		z := h[6+k]
		axis[k] = [3]float64{(h[k] - c.CX*z) / c.F, (h[3+k] - c.CY*z) / c.F, z}
	}
	r, size := nearestAxes(axis[0], axis[1])
	p := Pose{R: r}
	for i := range 3 {
		p.T[i] = axis[2][i] / size
	}
	return p, p.T[2] > 0
}

// nearestAxes returns the rotation whose first two columns are the square pair
// of unit vectors nearest to the directions of a and b, and their mean length.
func nearestAxes(a, b [3]float64) (r [3][3]float64, size float64) {
	size = (norm(a) + norm(b)) / 2
	a, b = unit(a), unit(b)
	sum := unit([3]float64{a[0] + b[0], a[1] + b[1], a[2] + b[2]})
	diff := unit([3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]})
	for i := range 3 {
		r[i][0] = (sum[i] + diff[i]) / math.Sqrt2
		r[i][1] = (sum[i] - diff[i]) / math.Sqrt2
	}
	for i := range 3 {
		j, k := (i+1)%3, (i+2)%3
		r[i][2] = r[j][0]*r[k][1] - r[k][0]*r[j][1]
	}
	return r, size
}

// rotation returns the matrix of a rotation vector in radians (Rodrigues).
func rotation(w [3]float64) [3][3]float64 {
	angle := norm(w)
	// sin(a)/a and (1-cos(a))/a², by their series where they would cancel.
	s, c := 1-angle*angle/6, 0.5-angle*angle/24
	if angle > 1e-4 {
		h := math.Sin(angle / 2)
		s, c = math.Sin(angle)/angle, 2*h*h/(angle*angle)
	}
	k := [3][3]float64{{0, -w[2], w[1]}, {w[2], 0, -w[0]}, {-w[1], w[0], 0}}
	k2 := product(k, k)
	var r [3][3]float64
	for i := range 3 {
		for j := range 3 {
			r[i][j] = s*k[i][j] + c*k2[i][j]
		}
		r[i][i]++
	}
	return r
}

func product(a, b [3][3]float64) [3][3]float64 {
	var c [3][3]float64
	for i := range 3 {
		for j := range 3 {
			c[i][j] = a[i][0]*b[0][j] + a[i][1]*b[1][j] + a[i][2]*b[2][j]
		}
	}
	return c
}

func norm(v [3]float64) float64 { return math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2]) }

func unit(v [3]float64) [3]float64 {
	n := norm(v)
	return [3]float64{v[0] / n, v[1] / n, v[2] / n}
}
