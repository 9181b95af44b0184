package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestPriorRows compares the residuals' sum of squares with the quadratic form
// of the inverse covariance.
func TestPriorRows(t *testing.T) {
	sd := []float64{0.03, 0.05, 12, 9}
	corr := mat.NewSymDense(4, []float64{1, 0.5, -0.3, 0, 0.5, 1, 0, 0.2, -0.3, 0, 1, 0.4, 0, 0.2, 0.4, 1})
	prior := Prior{F: 3000, FRel: sd[0], K1: 0.01, K1SD: sd[1],
		Principal: &PixelPoint{2010, 1490}, CXSD: sd[2], CYSD: sd[3], Corr: corr}
	rows, err := prior.rows(photoW, photoH)
	if err != nil {
		t.Fatal(err)
	}
	off := mat.NewVecDense(4, []float64{0.02, -0.03, 5, 14})
	c := Camera{F: 3000 * math.Exp(0.02), K1: 0.01 - 0.03, CX: 2015, CY: 1504}
	got := 0.0
	for _, r := range rows.residual(c) {
		got += r * r
	}
	cov := mat.NewSymDense(4, nil)
	for i := range 4 {
		for k := range i + 1 {
			cov.SetSym(i, k, corr.At(i, k)*sd[i]*sd[k])
		}
	}
	var inverse mat.Dense
	if err := inverse.Inverse(cov); err != nil {
		t.Fatal(err)
	}
	if want := mat.Inner(off, &inverse, off); math.Abs(got-want) > 1e-9*want {
		t.Errorf("sum of squares %v, want %v", got, want)
	}
}

// TestPriorPrincipalDefault: nil is the photo's centre, to 0.4 % of the longer
// side, whichever way the photo stands.
func TestPriorPrincipalDefault(t *testing.T) {
	rows, err := Prior{F: 3000, FRel: 0.03, K1SD: 0.05}.rows(3000, 4000)
	if err != nil {
		t.Fatal(err)
	}
	r := rows.residual(Camera{F: 3000, CX: 1499.5 + 16, CY: 1999.5 - 32})
	if math.Abs(r[2]-1) > 1e-12 || math.Abs(r[3]+2) > 1e-12 {
		t.Errorf("residuals %v, want 1 and -2 for 16 and -32 px", r)
	}
}
