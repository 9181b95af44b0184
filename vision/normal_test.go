package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// randomNormal is a well-determined problem with a residual.
func randomNormal(n int, seed uint64) normal {
	rng := rand.New(rand.NewPCG(41, seed))
	q := normal{n: n}
	for range 5 * n {
		var j [maxUnknowns]float64
		for k := range n {
			j[k] = rng.NormFloat64()
		}
		q.add(&j, 1+rng.NormFloat64(), 0.5+rng.Float64())
	}
	return q
}

// TestEliminate: the other unknowns and the sum after the step stay what they
// are in the whole problem.
func TestEliminate(t *testing.T) {
	whole := randomNormal(6, 1)
	f, _ := whole.factorise()
	want := f.solve(whole.b)
	rest := whole
	rest.eliminate()
	rest.eliminate()
	g, ok := rest.factorise()
	if !ok || rest.n != 4 {
		t.Fatalf("%d unknowns are left, determined: %v", rest.n, ok)
	}
	got := g.solve(rest.b)
	for k := range rest.n {
		if math.Abs(got[k]-want[k]) > 1e-9 {
			t.Errorf("unknown %d is %v, want %v", k, got[k], want[k])
		}
	}
	if a, b := rest.fitted(got), whole.fitted(want); math.Abs(a-b) > 1e-9 {
		t.Errorf("%v is left, want %v", a, b)
	}
}

// TestHold: the held unknown takes its value, and the others what is best with
// it: no small move of theirs lowers the sum further.
func TestHold(t *testing.T) {
	q := randomNormal(4, 2)
	held := q
	held.hold(2, 0.7)
	f, _ := held.factorise()
	x := f.solve(held.b)
	if math.Abs(x[2]-0.7) > 1e-12 {
		t.Errorf("held at 0.7 and yet %v", x[2])
	}
	best := q.promised(&x)
	for _, k := range []int{0, 1, 3} {
		for _, d := range []float64{-1e-3, 1e-3} {
			y := x
			y[k] += d
			if q.promised(&y) >= best {
				t.Errorf("moving unknown %d by %v is as good", k, d)
			}
		}
	}
}

// TestPromised: the whole step promises what fitted says is then gone.
func TestPromised(t *testing.T) {
	q := randomNormal(5, 3)
	f, _ := q.factorise()
	x := f.solve(q.b)
	if got, want := q.promised(&x), q.rr-q.fitted(x); math.Abs(got-want) > 1e-9*want {
		t.Errorf("promises %v, want %v", got, want)
	}
}
