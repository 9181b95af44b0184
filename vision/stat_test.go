package vision

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// referenceTable reads the numbers of a file of testdata/reference, without its
// heading; SOURCE.md there says where each file is from.
func referenceTable(t testing.TB, name string) [][]float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "reference", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	var out [][]float64
	for _, row := range rows[1:] {
		var v []float64
		for _, s := range row {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			v = append(v, x)
		}
		out = append(out, v)
	}
	return out
}

// norris is NIST's StRD data set Norris.
func norris(t testing.TB) (x, y []float64) {
	for _, row := range referenceTable(t, "nist_norris.csv") {
		x, y = append(x, row[0]), append(y, row[1])
	}
	return x, y
}

// relative is the difference of got from want over want.
func relative(got, want float64) float64 { return math.Abs(got/want - 1) }

// TestMedianAndNthAgreeWithSorting runs over lengths 1 to 40, with and without
// ties, in random, rising and falling order.
func TestMedianAndNthAgreeWithSorting(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for n := 1; n <= 40; n++ {
		for trial := range 12 {
			v := make([]float64, n)
			for i := range v {
				v[i] = rng.NormFloat64()
				if trial%3 == 0 {
					v[i] = float64(rng.IntN(4)) // many ties
				}
			}
			sorted := slices.Sorted(slices.Values(v))
			switch trial {
			case 1:
				v = slices.Clone(sorted)
			case 2:
				v = slices.Clone(sorted)
				slices.Reverse(v)
			}
			want := (sorted[(n-1)/2] + sorted[n/2]) / 2
			if got := median(slices.Clone(v)); got != want {
				t.Fatalf("median of %v is %v, want %v", v, got, want)
			}
			k := rng.IntN(n)
			w := slices.Clone(v)
			if got := nth(w, k); got != sorted[k] || w[k] != sorted[k] {
				t.Fatalf("place %d of %v is %v, want %v", k, v, got, sorted[k])
			}
			if k > 0 && slices.Max(w[:k]) > w[k] {
				t.Fatalf("place %d of %v: something larger stands before it: %v", k, v, w)
			}
			if slices.Sort(w); !slices.Equal(w, sorted) {
				t.Fatalf("%v became %v", sorted, w)
			}
		}
	}
}

// TestNthNear: whatever is guessed, the value at each place is that of a sorted slice.
func TestNthNear(t *testing.T) {
	for trial := range 300 {
		rng := rand.New(rand.NewPCG(3, uint64(trial)))
		v := make([]float64, 1+rng.IntN(200))
		for i := range v {
			switch v[i] = math.Abs(rng.NormFloat64()); {
			case trial%3 == 0:
				v[i] = float64(rng.IntN(4)) // many ties, and zeros
			case trial%3 == 1 && rng.IntN(10) == 0:
				v[i] *= 1e3
			}
		}
		if trial%20 == 0 {
			v[rng.IntN(len(v))] = math.Inf(1)
		}
		sorted := slices.Sorted(slices.Values(v))
		k := rng.IntN(len(v))
		for _, guess := range []float64{0, 1e-9, 0.1, 0.67, 3, 1e9, math.Inf(1), math.NaN()} {
			if got := nthNear(slices.Clone(v), k, guess, make([]float64, len(v))); got != sorted[k] {
				t.Fatalf("guessing %v, place %d of %v is %v, want %v", guess, k, v, got, sorted[k])
			}
		}
	}
}

// TestNormalEquationsAgainstNIST checks estimates, their standard deviations and
// the residual standard deviation against the certified values of Norris (NIST
// StRD, linear least squares). Nine digits: normal equations square the
// condition number, which for this design loses about half of the sixteen.
func TestNormalEquationsAgainstNIST(t *testing.T) {
	const (
		b0, sd0  = -0.262323073774029, 0.232818234301152
		b1, sd1  = 1.00211681802045, 4.29796848199937e-4
		residual = 0.884796396144373
		digits   = 1e-9
	)
	x, y := norris(t)
	q := normal{n: 2}
	for i := range x {
		q.add(&[maxUnknowns]float64{1, x[i]}, y[i], 1)
	}
	f, ok := q.factorise()
	if !ok {
		t.Fatal("not determined")
	}
	s := f.solve(q.b)
	sd := math.Sqrt(q.fitted(s) / float64(len(x)-2))
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"b0", s[0], b0}, {"b1", s[1], b1}, {"s", sd, residual},
		{"sd of b0", sd * math.Sqrt(f.inverse(0)[0]), sd0},
		{"sd of b1", sd * math.Sqrt(f.inverse(1)[1]), sd1},
	} {
		if relative(c.got, c.want) > digits {
			t.Errorf("%s is %.15g, certified %.15g", c.name, c.got, c.want)
		}
	}
}

// TestNormalEquationsWeights: an equation of weight 3 counts as three equations.
func TestNormalEquationsWeights(t *testing.T) {
	rows := [][4]float64{{1, 2, 0.5, 3}, {1, -1, 2, 1}, {1, 0.3, -1, 2}, {1, 4, 0.1, -1}, {1, 1, 1, 0.7}}
	var weighted, repeated normal
	weighted.n, repeated.n = 3, 3
	for i, r := range rows {
		j := [maxUnknowns]float64{r[0], r[1], r[2]}
		weighted.add(&j, r[3], float64(i+1))
		for range i + 1 {
			repeated.add(&j, r[3], 1)
		}
	}
	f, ok1 := weighted.factorise()
	g, ok2 := repeated.factorise()
	if !ok1 || !ok2 {
		t.Fatal("not determined")
	}
	a, b := f.solve(weighted.b), g.solve(repeated.b)
	for k := range 3 {
		if math.Abs(a[k]-b[k]) > 1e-12 {
			t.Errorf("unknown %d: %v and %v", k, a[k], b[k])
		}
	}
	if d := weighted.fitted(a) - repeated.fitted(b); math.Abs(d) > 1e-12 {
		t.Errorf("sums of squares differ by %v", d)
	}
}

// TestNormalEquationsUndetermined: two columns in proportion.
func TestNormalEquationsUndetermined(t *testing.T) {
	q := normal{n: 2}
	for i := range 10 {
		q.add(&[maxUnknowns]float64{float64(i), 3 * float64(i)}, 1, 1)
	}
	if _, ok := q.factorise(); ok {
		t.Error("a singular system was factorised")
	}
	empty := normal{n: 1}
	if _, ok := empty.factorise(); ok {
		t.Error("no equations, and yet a solution")
	}
}

// TestRobustLineOnNorris: NIST's Norris data have no outliers, so the robust line
// must lie within a standard deviation (certified) of the certified one, and its
// scale within a quarter of the certified residual standard deviation: a median
// of 36 absolute residuals scatters by 0.8/sqrt(36) = 13 % (Rousseeuw and Croux,
// J. Am. Stat. Assoc. 88 (1993) 1273: efficiency 37 %).
func TestRobustLineOnNorris(t *testing.T) {
	x, y := norris(t)
	l, ok := fitRobust(x, y, 1)
	if !ok {
		t.Fatal("no line")
	}
	if d := math.Abs(l.p[0] + 0.262323073774029); d > 0.232818234301152 {
		t.Errorf("b0 %v, %v from NIST's", l.p[0], d)
	}
	if d := math.Abs(l.p[1] - 1.00211681802045); d > 4.29796848199937e-4 {
		t.Errorf("b1 %v, %v from NIST's", l.p[1], d)
	}
	if relative(l.scale, 0.884796396144373) > 0.25 {
		t.Errorf("scale %v, certified 0.8848", l.scale)
	}
}

// TestRobustLineIgnoresOutliers spoils every fifth point of Norris, on one side
// and far away, and wants the line of the points left alone.
func TestRobustLineIgnoresOutliers(t *testing.T) {
	x, y := norris(t)
	var goodX, goodY []float64
	for i := range x {
		if i%5 == 2 {
			y[i] += 40 + x[i]/10 // 45 to 150 residual deviations
			continue
		}
		goodX, goodY = append(goodX, x[i]), append(goodY, y[i])
	}
	l, ok1 := fitRobust(x, y, 1)
	want, ok2 := fitRobust(goodX, goodY, 1)
	if !ok1 || !ok2 {
		t.Fatal("no line")
	}
	for _, at := range []float64{0, 500, 1000} {
		// Only the scale, and by it the weights, differ: a fifth of the residual
		// standard deviation, 0.88 (NIST).
		if d := math.Abs(l.at(at) - want.at(at)); d > 0.2*0.884796396144373 {
			t.Errorf("at %v the line moved by %v", at, d)
		}
	}
	// The biweight with 95 % efficiency cuts off at 4.685 deviations (Beaton and
	// Tukey, Technometrics 16 (1974) 147; Holland and Welsch, 1977, from memory).
	for i, w := range l.weight {
		r := (y[i] - l.at(x[i])) / (4.685 * l.scale)
		if want := math.Pow(max(0, 1-r*r), 2); math.Abs(w-want) > 1e-6 {
			t.Errorf("point %d: weight %v, biweight %v", i, w, want)
		}
		if spoilt := i%5 == 2; spoilt && w != 0 || !spoilt && w < 0.1 {
			t.Errorf("point %d: weight %v, spoilt %v", i, w, spoilt)
		}
	}
}

// TestRobustParabola: exact data come back exactly, whatever a few bad points do.
func TestRobustParabola(t *testing.T) {
	var x, y []float64
	for i := range 30 {
		u := float64(i)/3 - 5
		x, y = append(x, u), append(y, 2-0.3*u+0.05*u*u)
	}
	y[4], y[17], y[28] = 9, -9, 9
	l, ok := fitRobust(x, y, 2)
	if !ok {
		t.Fatal("no parabola")
	}
	for k, want := range [3]float64{2, -0.3, 0.05} {
		if math.Abs(l.p[k]-want) > 1e-7 { // the scale's floor is 1e-9, x^2 reaches 25
			t.Errorf("coefficient %d is %v, want %v", k, l.p[k], want)
		}
	}
}

// TestRobustLineCovariance: over draws with Gaussian noise the scatter of the
// coefficients must agree with the covariance. Tukey's weights at 4.685 keep 95 %
// efficiency, and 1500 draws know a standard deviation to 1.8 %.
func TestRobustLineCovariance(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 2))
	const draws, n = 1500, 60
	x, y := make([]float64, n), make([]float64, n)
	var sum, want [2]float64
	for range draws {
		for i := range x {
			x[i] = float64(i)/10 - 3
			y[i] = 1 + 0.5*x[i] + 0.2*rng.NormFloat64()
		}
		l, ok := fitRobust(x, y, 1)
		if !ok {
			t.Fatal("no line")
		}
		for k, truth := range [2]float64{1, 0.5} {
			sum[k] += (l.p[k] - truth) * (l.p[k] - truth)
			want[k] += l.cov[k][k]
		}
	}
	for k := range 2 {
		if ratio := math.Sqrt(sum[k] / want[k]); ratio < 0.9 || ratio > 1.1 {
			t.Errorf("coefficient %d scatters %.3f times its standard uncertainty", k, ratio)
		}
	}
}

func TestRobustLineRefuses(t *testing.T) {
	if _, ok := fitRobust([]float64{1, 2, 3}, []float64{1, 2, 3}, 1); ok {
		t.Error("three points: a line with one point to spare for its scale")
	}
	if _, ok := fitRobust([]float64{2, 2, 2, 2, 2, 2}, []float64{1, 2, 3, 4, 5, 6}, 1); ok {
		t.Error("all points at one place gave a line")
	}
}
