package clearance

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func settle(t *testing.T, strips ...Gauged) Settled {
	t.Helper()
	s, err := Settle(strips, 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestSettle(t *testing.T) {
	at := func(um float64) Gauged { return plainGauged(um/1000, 0.0005) } // two differ by u 0.71 um, agree within 1.41
	for name, c := range map[string]struct {
		strips         []float64
		members, apart []int
		mean           float64
	}{
		"two agree":           {[]float64{50, 51}, []int{0, 1}, nil, 50.5},
		"two apart":           {[]float64{50, 60}, nil, []int{0, 1}, 0},
		"the third settles":   {[]float64{50, 60, 59.5}, []int{1, 2}, []int{0}, 59.75},
		"all three":           {[]float64{50, 50.6, 51.2}, []int{0, 1, 2}, nil, 50.6},
		"a chain: the median": {[]float64{50, 51.2, 52.4}, []int{0, 1, 2}, nil, 51.2},
		"none of three":       {[]float64{50, 60, 70}, nil, []int{0, 1, 2}, 0},
		"two pairs of four":   {[]float64{50, 50.5, 60, 60.5}, nil, []int{0, 1, 2, 3}, 0},
		"three against one":   {[]float64{50, 60, 60.5, 59.9}, []int{1, 2, 3}, []int{0}, (60 + 60.5 + 59.9) / 3},
		"three of five":       {[]float64{50, 60, 60.2, 59.9, 70}, []int{1, 2, 3}, []int{0, 4}, (60 + 60.2 + 59.9) / 3},
	} {
		var strips []Gauged
		for _, um := range c.strips {
			strips = append(strips, at(um))
		}
		s := settle(t, strips...)
		if s.Agreed != (c.members != nil) || !slices.Equal(s.Members, c.members) || !slices.Equal(s.Apart, c.apart) {
			t.Errorf("%s: %+v", name, s)
		}
		near(t, name, 1000*s.Clearance.X, c.mean, 1e-9)
	}
	// The mean's own part shrinks, what is shared stays: 0.5 um twice over sqrt 3.
	s := settle(t, at(50), at(50), at(50))
	near(t, "u", s.Clearance.U, math.Sqrt(2*0.0005*0.0005+0.0005*0.0005/3), 1e-12)
	near(t, "u of the taper", s.Taper.U, 0.0003/math.Sqrt(3), 1e-12)
	if !s.Directed {
		t.Error("front and rear are known, yet not directed")
	}
	if _, err := Settle([]Gauged{at(50)}, 0); err == nil {
		t.Error("one strip settled something")
	}
}

// Tapers are brought together as front minus rear, or by size where that is not
// known.
func TestSettleTapers(t *testing.T) {
	a, b := gauged(0.05, 0.0005, 0, 0.010, 0.0003), gauged(0.05, 0.0005, 0, -0.010, 0.0003)
	b.Ends = [2]string{"rear", "front"}
	if s := settle(t, a, b); !s.Agreed || !s.Directed || math.Abs(s.Taper.X-0.010) > 1e-12 {
		t.Errorf("%+v", s)
	}
	b.Ends = [2]string{"a", "b"}
	if s := settle(t, a, b); !s.Agreed || s.Directed || math.Abs(s.Taper.X-0.010) > 1e-12 {
		t.Errorf("%+v", s)
	}
}

// Drawn (seeded): three strips in one bearing, one of them 0.0005 in off, as by
// dirt. The majority must leave it out, and its mean hold the truth within 2 u in
// about 95 %. Three honest strips must settle.
func TestSettleRates(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	const draws = 4000
	lay := func(x float64) Gauged {
		return gauged(x+math.Hypot(0.0005, Laying)*r.NormFloat64(), 0.0005, 0, 0, 0.0005)
	}
	kept, held, settled := 0, 0, 0
	for range draws {
		s, err := Settle([]Gauged{lay(0.05 + TaperLimit), lay(0.05), lay(0.05)}, Laying)
		if err != nil {
			t.Fatal(err)
		}
		if slices.Contains(s.Members, 0) {
			kept++
		}
		if s, err = Settle([]Gauged{lay(0.05), lay(0.05), lay(0.05)}, Laying); err != nil {
			t.Fatal(err)
		}
		if s.Agreed {
			settled++
			if math.Abs(s.Clearance.X-0.05) <= 2*s.Clearance.U {
				held++
			}
		}
	}
	t.Logf("odd strip kept %d, honest settled %d, held %d of %d", kept, settled, held, draws)
	if kept > draws/200 {
		t.Errorf("the odd strip is kept in %d of %d", kept, draws)
	}
	if settled < draws*99/100 {
		t.Errorf("honest strips settle in %d of %d", settled, draws)
	}
	if f := float64(held) / float64(settled); f < 0.935 {
		t.Errorf("the mean holds the truth in %.3f", f)
	}
}
