package quantity

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Student's t against t_table.csv (recomputed independently, six decimals). Its
// two published anchors are JCGM 100:2008 table G.2: 2.17 and 2.92 at nu = 16.
func TestStudentTable(t *testing.T) {
	f, err := os.Open("../../testdata/reference/t_table.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, row := range rows[1:] {
		nu, err := strconv.ParseFloat(row[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		for i, head := range rows[0][1:] {
			p, err := strconv.ParseFloat(strings.TrimPrefix(head, "p"), 64)
			if err != nil {
				t.Fatal(err)
			}
			want, err := strconv.ParseFloat(row[i+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "t at "+row[0]+", "+head, factor(t, p/100, nu), want, 1e-6*max(1, want))
			checked++
		}
	}
	if checked != 28*6 {
		t.Errorf("%d values checked, the table has %d", checked, 28*6)
	}
	near(t, "G.2, nu 16, 95.45 %", factor(t, 0.9545, 16), 2.17, 0.005)
	near(t, "G.2, nu 16, 99 %", factor(t, 0.99, 16), 2.92, 0.005)
}

func factor(t *testing.T, p, nu float64) float64 {
	t.Helper()
	c, err := AtLevel(p)
	if err != nil {
		t.Fatal(err)
	}
	k, err := c.Factor(nu)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func TestCoverage(t *testing.T) {
	if k, err := (Coverage{}).Factor(1); err != nil || k != 2 {
		t.Errorf("default factor %v, %v", k, err)
	}
	c, err := FixedK(3)
	if err != nil {
		t.Fatal(err)
	}
	if k, err := c.Factor(1); err != nil || k != 3 {
		t.Errorf("fixed factor %v, %v", k, err)
	}
	// JCGM 100 G.4.1: truncated, not interpolated.
	if factor(t, 0.95, 16.99) != factor(t, 0.95, 16) {
		t.Error("degrees of freedom are not truncated")
	}
	if _, err := (Coverage{level: 0.95}).Factor(0.9); err == nil {
		t.Error("less than one degree of freedom was accepted")
	}
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := FixedK(bad); err == nil {
			t.Errorf("factor %v was accepted", bad)
		}
		if _, err := DoFFromReliability(bad); err == nil {
			t.Errorf("reliability %v was accepted", bad)
		}
		if _, err := AtLevel(bad); err == nil {
			t.Errorf("level %v was accepted", bad)
		}
	}
	if _, err := AtLevel(1); err == nil {
		t.Error("level 1 was accepted")
	}
}

// Each distribution's standard uncertainty against its own samples.
func TestDistributions(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for name, c := range map[string]struct {
		u    float64
		draw func() float64
	}{
		"rectangular": {Rectangular(2), func() float64 { return 4*r.Float64() - 2 }},
		"arcsine":     {Arcsine(2), func() float64 { return 2 * math.Sin(2*math.Pi*r.Float64()) }},
	} {
		const n = 200000
		var square float64
		for range n {
			x := c.draw()
			square += x * x
		}
		near(t, name, c.u, math.Sqrt(square/n), 0.01)
	}
	near(t, "reliable to 25 %", reliability(t, 0.25), 8, 1e-12) // JCGM 100 G.4.2 example
}
