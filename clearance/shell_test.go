package clearance

import (
	"math"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// TM 9-2815-205-24 (row N of tm_clearances.csv) prints undersizes of 0.002, 0.010,
// 0.020 and 0.030 in, and the walls that go with them as 0.001, 0.005, 0.010 and
// 0.015 in thicker: half the change of the diameter.
func TestChangeShellsIsHalf(t *testing.T) {
	row := tm(t)["N"]["notes"]
	if !strings.Contains(row, "undersize 0.002/0.010/0.020/0.030 add 0.001/0.005/0.010/0.015") {
		t.Fatalf("row N no longer holds the undersizes: %s", row)
	}
	limits := Limits{0.0010 * inch, 0.0030 * inch} // row L
	for undersize, wall := range map[float64]float64{0.002: 0.001, 0.010: 0.005, 0.020: 0.010, 0.030: 0.015} {
		s, err := ChangeShells(quantity.Value{X: (0.0020 + undersize) * inch, U: 0.001}, limits)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "wall", s.Wall.X, wall*inch, 1e-12)
		near(t, "target", s.Target, 0.0020*inch, 1e-12)
		near(t, "u", s.Wall.U, 0.0005, 1e-15)
		if text := s.String(); !strings.Contains(text, "thicker") || !strings.Contains(text, ShellWarning) {
			t.Errorf("says %q", text)
		}
	}
	s, err := ChangeShells(quantity.Value{X: 0.030, U: 0.001}, Limits{0.030, 0.050})
	if err != nil || math.Abs(s.Wall.X+0.005) > 1e-15 || !strings.Contains(s.String(), "0.0050 ± 0.0010 mm (0.197 ± 0.039 thou) thinner") {
		t.Errorf("%v, %v", s, err)
	}
}

func TestChangeShellsRefuses(t *testing.T) {
	good := quantity.Value{X: 0.05, U: 0.001}
	for name, c := range map[string]struct {
		v quantity.Value
		l Limits
	}{
		"one-sided":      {good, Limits{-inf, 0.05}},
		"reversed":       {good, Limits{0.05, 0.02}},
		"no uncertainty": {quantity.Value{X: 0.05}, Limits{0.02, 0.05}},
	} {
		if s, err := ChangeShells(c.v, c.l); err == nil {
			t.Errorf("%s: %v", name, s)
		}
	}
}
