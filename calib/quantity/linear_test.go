package quantity

import (
	"encoding/csv"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
)

// columns reads a reference file's columns of numbers.
func columns(t *testing.T, name string) map[string][]float64 {
	t.Helper()
	f, err := os.Open("../../testdata/reference/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for k, cell := range row {
			x, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[rows[0][k]] = append(out[rows[0][k]], x)
		}
	}
	return out
}

// powers is the design of a polynomial from degree lo to hi.
func powers(x []float64, lo, hi int) [][]float64 {
	var d [][]float64
	for _, v := range x {
		var row []float64
		for k := lo; k <= hi; k++ {
			row = append(row, math.Pow(v, float64(k)))
		}
		d = append(d, row)
	}
	return d
}

// The certified values of NIST's Statistical Reference Datasets. Norris's stand in
// testdata/reference/SOURCE.md; Pontius's and NoInt1's, and NoInt1's data (x 60 to
// 70, y 130 to 140), are from memory.
func TestFitLinearCertified(t *testing.T) {
	norris, pontius := columns(t, "nist_norris.csv"), columns(t, "nist_pontius.csv")
	var x1, y1 []float64
	for i := range 11 {
		x1, y1 = append(x1, 60+float64(i)), append(y1, 130+float64(i))
	}
	for _, c := range []struct {
		name   string
		x, y   []float64
		lo, hi int
		b, sd  []float64
		s      float64
	}{
		{"Norris", norris["x"], norris["y"], 0, 1,
			[]float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-3}, 0.884796396144373},
		{"Pontius", pontius["x"], pontius["y"], 0, 2,
			[]float64{0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14},
			[]float64{0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16}, 0.205177424076185e-3},
		{"NoInt1", x1, y1, 1, 1, []float64{2.07438016528926}, []float64{0.165289256198347e-1}, 3.56753034006338},
	} {
		f, err := FitLinear(powers(c.x, c.lo, c.hi), c.y, nil)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for k := range c.b {
			near(t, c.name+" coefficient", f.B[k], c.b[k], 1e-9*math.Abs(c.b[k]))
			near(t, c.name+" sd", f.U(k), c.sd[k], 1e-8*c.sd[k])
		}
		near(t, c.name+" residual sd", f.S, c.s, 1e-9*c.s)
	}
}

// JCGM 100:2008 H.3, a thermometer's corrections on a line about 20 degC: the
// published figures stand in testdata/reference/SOURCE.md.
func TestFitLinearThermometer(t *testing.T) {
	h3 := columns(t, "gum_h3.csv")
	var design [][]float64
	for _, at := range h3["t_k_degC"] {
		design = append(design, []float64{1, at - 20})
	}
	f, err := FitLinear(design, h3["b_k_degC"], nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", f.B[0], -0.1712, 0.00005)
	near(t, "its u", f.U(0), 0.0029, 0.00005)
	near(t, "slope", f.B[1], 0.00218, 0.000005)
	near(t, "its u", f.U(1), 0.00067, 0.000005)
	near(t, "b(30)", f.B[0]+10*f.B[1], -0.1494, 0.00005)
	near(t, "its u", math.Sqrt(f.Cov.At(0, 0)+100*f.Cov.At(1, 1)+20*f.Cov.At(0, 1)), 0.0041, 0.00005)
	near(t, "correlation", f.Cov.At(0, 1)/(f.U(0)*f.U(1)), -0.930, 0.0005) // published there too, from memory
}

// Weights: a point given twice counts as one of u over root 2.
func TestFitLinearWeighs(t *testing.T) {
	twice, err := FitLinear(powers([]float64{1, 2, 3, 3}, 0, 1), []float64{1, 2.2, 2.9, 2.9}, []float64{1, 1, 1, 1})
	if err != nil {
		t.Fatal(err)
	}
	once, err := FitLinear(powers([]float64{1, 2, 3}, 0, 1), []float64{1, 2.2, 2.9}, []float64{1, 1, math.Sqrt(0.5)})
	if err != nil {
		t.Fatal(err)
	}
	for k := range 2 {
		near(t, "coefficient", twice.B[k], once.B[k], 1e-13)
		near(t, "u", twice.U(k), once.U(k), 1e-13)
	}
	for _, c := range []struct {
		design [][]float64
		y, u   []float64
	}{
		{nil, nil, nil},
		{powers([]float64{1, 2}, 0, 1), []float64{1, 2}, nil}, // nothing left to tell the scatter
		{powers([]float64{1}, 0, 1), []float64{1}, []float64{1}},
		{powers([]float64{2, 2, 2}, 0, 1), []float64{1, 2, 3}, nil},
		{powers([]float64{1, 2, 3}, 0, 1), []float64{1, 2}, nil},
	} {
		if f, err := FitLinear(c.design, c.y, c.u); !errors.Is(err, ErrFit) {
			t.Errorf("%v: %+v, %v", c, f, err)
		}
	}
}

// Pearson's data with York's weights; the results stand in
// testdata/reference/SOURCE.md, and chi-square 11.866 is from memory.
func TestFitLineYork(t *testing.T) {
	d := columns(t, "pearson_york.csv")
	var points []Pair
	for i := range d["x"] {
		points = append(points, Pair{X: Value{d["x"][i], 1 / math.Sqrt(d["wx"][i])}, Y: Value{d["y"][i], 1 / math.Sqrt(d["wy"][i])}})
	}
	l, err := FitLine(points)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", l.Intercept.X, 5.47991022403286, 1e-12)
	near(t, "slope", l.Slope.X, -0.48053340744620, 1e-12)
	near(t, "chi-square", l.ChiSquare, 11.866, 5e-4)
	if l.DoF != 8 {
		t.Errorf("%d degrees of freedom", l.DoF)
	}
	// The line stays the same when the axes change places.
	for i, p := range points {
		points[i] = Pair{X: p.Y, Y: p.X}
	}
	turned, err := FitLine(points)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope of the turned", turned.Slope.X, 1/l.Slope.X, 1e-9)
	near(t, "chi-square of the turned", turned.ChiSquare, l.ChiSquare, 1e-9)
}

// With errors in y alone, both fits are the weighted least squares of FitLinear;
// NoInt1 also as a proportion.
func TestFitLineWithExactX(t *testing.T) {
	var points []Pair
	var x, y, u []float64
	for i := range 11 {
		x, y, u = append(x, 60+float64(i)), append(y, 130+float64(i)), append(u, 0.5+0.1*float64(i))
		points = append(points, Pair{X: Value{x[i], 0}, Y: Value{y[i], u[i]}})
	}
	l, err := FitLine(points)
	if err != nil {
		t.Fatal(err)
	}
	f, err := FitLinear(powers(x, 0, 1), y, u)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", l.Intercept.X, f.B[0], 1e-9)
	near(t, "slope", l.Slope.X, f.B[1], 1e-11)
	near(t, "u(intercept)", l.Intercept.U, f.U(0), 1e-9)
	near(t, "u(slope)", l.Slope.U, f.U(1), 1e-11)
	near(t, "covariance", l.Cov, f.Cov.At(0, 1), 1e-9)
	for i := range points {
		points[i].Y.U = 1
	}
	p, err := FitProportion(points)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "NoInt1 slope", p.Slope.X, 2.07438016528926, 1e-13)
	near(t, "NoInt1 sd", p.Slope.U*math.Sqrt(p.ChiSquare/float64(p.DoF)), 0.165289256198347e-1, 1e-13)
}

// The uncertainties against seeded sampling, with correlated errors.
func TestFitLineCoverage(t *testing.T) {
	const a, b, rounds, n = 0.4, -1.7, 4000, 7
	r := rand.New(rand.NewPCG(11, 12))
	var chi, zs, zi, zp, through float64
	for range rounds {
		var line, ray []Pair
		for i := range n {
			p := Pair{X: Value{float64(i + 1), 0.02 + 0.005*float64(i)}, Y: Value{0, 0.05}, Corr: 0.6}
			e := r.NormFloat64()
			g := p.Corr*e + math.Sqrt(1-p.Corr*p.Corr)*r.NormFloat64()
			y := p
			y.Y.X = a + b*p.X.X + p.Y.U*g
			z := p
			z.Y.X = b*p.X.X + p.Y.U*g
			y.X.X += p.X.U * e
			z.X.X += p.X.U * e
			line, ray = append(line, y), append(ray, z)
		}
		l, err := FitLine(line)
		if err != nil {
			t.Fatal(err)
		}
		o, err := FitProportion(ray)
		if err != nil {
			t.Fatal(err)
		}
		square := func(v Value, x float64) float64 { return (v.X - x) * (v.X - x) / (v.U * v.U) / rounds }
		chi += l.ChiSquare / rounds
		through += o.ChiSquare / rounds
		zs += square(l.Slope, b)
		zi += square(l.Intercept, a)
		zp += square(o.Slope, b)
	}
	// Mean squares of 4000 normal draws scatter by 0.022; five times that.
	near(t, "chi-square per freedom", chi/(n-2), 1, 0.11)
	near(t, "chi-square per freedom, through the origin", through/(n-1), 1, 0.11)
	near(t, "slope", zs, 1, 0.11)
	near(t, "intercept", zi, 1, 0.11)
	near(t, "proportion", zp, 1, 0.11)
}

func TestFitLineRefuses(t *testing.T) {
	ok := Pair{X: Value{1, 0.1}, Y: Value{2, 0.1}}
	for name, points := range map[string][]Pair{
		"one point":      {ok},
		"no uncertainty": {ok, {X: Value{2, 0}, Y: Value{3, 0}}},
		"correlation 1":  {ok, {X: Value{2, 1}, Y: Value{3, 1}, Corr: 1}},
		"not finite":     {ok, {X: Value{math.NaN(), 1}, Y: Value{3, 1}}},
		"all alike":      {ok, ok, ok},
	} {
		if l, err := FitLine(points); !errors.Is(err, ErrFit) {
			t.Errorf("%s: %+v, %v", name, l, err)
		}
	}
	if l, err := FitProportion(nil); !errors.Is(err, ErrFit) {
		t.Errorf("no points: %+v, %v", l, err)
	}
}

// Chi-square of 3.841 with one degree of freedom is exceeded in 5 % of cases, of
// 18.307 with ten as well (common tables, from memory).
func TestChiSquareChance(t *testing.T) {
	near(t, "one", ChiSquareChance(3.841, 1), 0.05, 2e-5)
	near(t, "ten", ChiSquareChance(18.307, 10), 0.05, 2e-6)
	near(t, "none", ChiSquareChance(5, 0), 1, 0)
}
