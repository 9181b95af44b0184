package vision

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"

	"stripgap/calib"
)

// TestStoredFollowsTheRaster turns a small picture as Load does and looks for a
// marked pixel: the standard's eight orientations are tested in orient_test.go.
func TestStoredFollowsTheRaster(t *testing.T) {
	const w, h, x, y = 7, 5, 5, 1
	for o := 0; o <= 9; o++ {
		p := &Photo{Luma: NewPlane(w, h), Cb: NewPlane(w, h), Cr: NewPlane(w, h), ChromaX: 1, ChromaY: 1}
		p.Exif.Orientation = o
		p.Luma.Row(y)[x] = 255
		up := p.upright()
		if gotW, gotH := up.StoredSize(); gotW != w || gotH != h {
			t.Errorf("orientation %d: stored %d x %d", o, gotW, gotH)
		}
		for v := range up.Luma.H {
			for u := range up.Luma.W {
				if up.Luma.At(u, v) == 0 {
					continue
				}
				at := calib.PixelPoint{X: float64(u), Y: float64(v)}
				if got := up.Stored(at); got != (calib.PixelPoint{X: x, Y: y}) {
					t.Errorf("orientation %d: stored at %v, want %d, %d", o, got, x, y)
				}
				if back := up.fromStored(calib.PixelPoint{X: x, Y: y}); back != at {
					t.Errorf("orientation %d: upright at %v, want %v", o, back, at)
				}
				for _, step := range [2]calib.PixelPoint{{X: 1}, {Y: 1}} {
					if got, want := up.turn().vector(step), up.Stored(at.Add(step)).Sub(up.Stored(at)); got != want {
						t.Errorf("orientation %d: %v is stored as %v, want %v", o, step, got, want)
					}
				}
			}
		}
		// CIPA DC-008: 2, 4, 5 and 7 are the mirrored ones.
		if want := o == 2 || o == 4 || o == 5 || o == 7; up.StoredMirrored() != want {
			t.Errorf("orientation %d: mirrored %v", o, up.StoredMirrored())
		}
	}
}

// TestUprightPrior moves a principal point by some pixels in the stored picture
// and in the upright one: both priors must find that equally likely.
func TestUprightPrior(t *testing.T) {
	corr := mat.NewSymDense(4, []float64{1, 0.1, 0.5, -0.3, 0.1, 1, 0.2, 0, 0.5, 0.2, 1, 0.4, -0.3, 0, 0.4, 1})
	stored := calib.Prior{F: 3000, FRel: 0.01, K1SD: 0.01, Principal: &calib.PixelPoint{X: 2010, Y: 1480},
		CXSD: 4, CYSD: 2, Corr: corr}
	inverse := func(p calib.Prior) *mat.Dense {
		sd := []float64{p.FRel, p.K1SD, p.CXSD, p.CYSD}
		c := mat.NewSymDense(4, nil)
		for i := range 4 {
			for k := i; k < 4; k++ {
				c.SetSym(i, k, p.Corr.At(i, k)*sd[i]*sd[k])
			}
		}
		var inv mat.Dense
		if err := inv.Inverse(c); err != nil {
			t.Fatal(err)
		}
		return &inv
	}
	distance := func(p calib.Prior, at calib.PixelPoint) float64 {
		d := at.Sub(*p.Principal)
		v := mat.NewVecDense(4, []float64{0.02, -0.01, d.X, d.Y})
		return mat.Inner(v, inverse(p), v)
	}
	for o := 1; o <= 8; o++ {
		w, h := 4000, 3000
		if o >= 5 {
			w, h = h, w
		}
		p := &Photo{Luma: &Plane{W: w, H: h}}
		p.Exif.Orientation = o
		up := p.UprightPrior(stored)
		for _, at := range []calib.PixelPoint{{X: 2013, Y: 1480}, {X: 2010, Y: 1485}, {X: 2001, Y: 1477}} {
			got, want := distance(up, p.fromStored(at)), distance(stored, at)
			if math.Abs(got-want) > 1e-9*want {
				t.Errorf("orientation %d: %v is %g away, want %g", o, at, got, want)
			}
		}
		if up.F != stored.F || up.K1SD != stored.K1SD {
			t.Errorf("orientation %d: %+v", o, up)
		}
	}
	if stored.Principal.X != 2010 || stored.CXSD != 4 || stored.Corr.At(0, 2) != 0.5 {
		t.Error("the stored prior was changed")
	}
}
