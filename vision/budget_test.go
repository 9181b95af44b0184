package vision

import (
	"math"
	"slices"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// term is the named term's uncertainty, or NaN.
func term(b []Term, name string) float64 {
	for _, t := range b {
		if t.Name == name {
			return t.U
		}
	}
	return math.NaN()
}

// eyeFrom returns where the eye of the renderer's camera lies from a place in the
// card frame, in mm: minus R' t.
func eyeFrom(truth *synth.Truth, p calib.CardPoint) calib.SpacePoint {
	c := truth.CameraFromCard
	var e [3]float64
	for k := range 3 {
		for i := range 3 {
			e[k] -= c[i][k] * c[i][3]
		}
	}
	return calib.SpacePoint{X: e[0] - p.X, Y: e[1] - p.Y, Z: e[2]}
}

// TestBudgetTerms compares the terms with the geometry of rays from the true eye,
// Z above the card. On a plane h higher, rays meet in the proportion (Z-h)/Z. A
// plane that leans by s across the strip shows its width changed by
// s times the tangent of the angle to the eye, across, and by 1 - cos s at any
// angle. One that leans by s along the strip, L long, lifts one end by s L over the
// other: a taper. What is not first order is some hundredths of that.
func TestBudgetTerms(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a photo")
	}
	s := smallScene(t, "rider")
	s.Pose.Tilt, s.Pose.Azimuth = 20, 80
	p, truth := shot(t, s)
	strip := s.Strips[0]
	eye := eyeFrom(truth, strip.Centre)
	sin, cos := math.Sincos(strip.Angle * math.Pi / 180)
	across := (eye.Y*cos - eye.X*sin) / eye.Z
	const none, h, lean, u = 1e-6, 0.4, 0.03, 0.004
	measure := func(pu PlaneU) *Profile {
		t.Helper()
		m, err := Measure(p, Options{PlaneU: &pu, Print: calib.PrintScale{X: 1, Y: 1, U: u}})
		if err != nil {
			t.Fatal(err)
		}
		return m.Profile
	}
	near := func(name string, got, want, tol float64) {
		t.Helper()
		if !(relative(got, want) < tol) {
			t.Errorf("%s: %.6f mm, want %.6f", name, got, want)
		}
	}
	high := measure(PlaneU{h, none, none})
	near("height", term(high.Budget, "height"), high.Mean*h/eye.Z, 0.01)
	near("print", term(high.Budget, "print scale"), u*high.Mean, 1e-9)
	near("print on the taper", term(high.TaperBudget, "print scale"), u*math.Abs(high.Taper), 1e-9)
	side := measure(PlaneU{none, none, lean})
	near("tilt across", term(side.Budget, "plane tilt"), side.Mean*math.Hypot(lean*across, 0.866*lean*lean), 0.02)
	wide := measure(PlaneU{none, none, 6 * lean}) // where 1 - cos is a tenth of it
	near("wide tilt across", term(wide.Budget, "plane tilt"), wide.Mean*math.Hypot(6*lean*across, 0.866*36*lean*lean), 0.04)
	along := measure(PlaneU{none, lean, none})
	length := truth.Strips[0].LengthMM
	near("tilt along, on the taper", term(along.TaperBudget, "plane tilt"), along.Mean*lean*length/eye.Z, 0.05)

	for _, pr := range []*Profile{high, side, along} {
		for _, b := range []struct {
			terms []Term
			u     float64
		}{{pr.Budget, pr.U}, {pr.TaperBudget, pr.TaperU}} {
			sum := 0.0
			for _, k := range b.terms {
				sum += k.U * k.U
				if k.Common == slices.Contains([]string{"edge noise", termTexture, termEnds}, k.Name) {
					t.Errorf("%s: common %v", k.Name, k.Common)
				}
				if !(k.U >= 0) {
					t.Errorf("%s: %v", k.Name, k.U)
				}
			}
			near("root sum of squares", b.u, math.Sqrt(sum), 1e-12)
		}
	}
	if m, err := Measure(p, Options{PlaneU: &PlaneU{none, none, none}}); err != nil || math.Abs(term(m.Profile.Budget, "print scale")-0.005*m.Profile.Mean) > 1e-9 {
		t.Errorf("an unchecked sheet: %v", err) // 0.5 %, the project's own estimate
	}
}
