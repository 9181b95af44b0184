package clearance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

// engine draws n bearings whose parts differ as parts do, listed with the error of
// the micrometer, partU mm, and read with own mm; the lot's error and an offset of
// the bore gauge are common. Truly, change has been made to the parts.
func engine(r *rand.Rand, n int, partU, own float64, change func([]Parts)) []Listed {
	true1 := make([]Parts, n)
	list := make([]Listed, n)
	offset, lot := 0.003*r.NormFloat64(), 0.0007*r.NormFloat64()
	for i := range list {
		wall, journal := 2.5+0.003*r.NormFloat64(), 55+0.004*r.NormFloat64()
		bore := 60.05 + 0.005*r.NormFloat64()
		true1[i] = Parts{quantity.Value{X: bore}, quantity.Value{X: wall}, quantity.Value{X: journal}}
		note := func(x float64) quantity.Value { return quantity.Value{X: x + partU*r.NormFloat64(), U: partU} }
		list[i] = Listed{Name: fmt.Sprintf("M%d", i+1), Parts: Parts{note(bore + offset), note(wall), note(journal)}}
	}
	change(true1)
	for i, p := range true1 {
		c := p.Bore.X - 2*p.Wall.X - p.Journal.X
		list[i].Read = gauged(max(0.01, c+lot+own*r.NormFloat64()), own, 0.0005, 0, 0.0005)
	}
	return list
}

func find(t *testing.T, list []Listed, kinds ...SwapKind) SwapSearch {
	t.Helper()
	s, err := FindSwap(list, kinds, 0)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Rates, drawn (seeded). As listed: hints in under 1 % of builds. Two shells that
// change the clearance by 0.012 mm exchanged: found as the right pair in nearly
// all, never a silent other pair. Caps on the wrong housings, 0.02 mm: the same.
func TestSwapRates(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 7))
	const draws = 600
	all := []SwapKind{SwapCaps, SwapShells, SwapRods}
	for _, c := range []struct {
		name   string
		change func([]Parts)
		before func([]Parts) // so that the exchange matters
		kind   SwapKind
	}{
		{name: "as listed", change: func([]Parts) {}},
		{name: "shells of M2 and M4", kind: SwapShells, change: func(p []Parts) { p[1].Wall, p[3].Wall = p[3].Wall, p[1].Wall }},
		{name: "rods of M2 and M4", kind: SwapRods, change: func(p []Parts) { p[1].Bore, p[3].Bore = p[3].Bore, p[1].Bore }},
		{name: "caps of M2 and M4", kind: SwapCaps, change: func(p []Parts) { p[1].Bore.X += 0.02; p[3].Bore.X -= 0.02 }},
	} {
		hints, rightPair, wrongPair, rightKind, matter := 0, 0, 0, 0, 0
		for range draws {
			var moved float64
			list := engine(r, 5, 0.001, 0.001, func(p []Parts) {
				before := p[1].Bore.X - 2*p[1].Wall.X
				c.change(p)
				moved = math.Abs(p[1].Bore.X - 2*p[1].Wall.X - before)
			})
			if c.kind != "" && moved < 0.012 {
				continue // hardly another part: nothing to be found
			}
			matter++
			s := find(t, list, all...)
			if !s.Hint {
				continue
			}
			hints++
			best := s.Candidates[0]
			if best.A == 1 && best.B == 3 {
				rightPair++
			} else if c.kind != "" {
				wrongPair++
			}
			for _, o := range s.Candidates[:s.Likely] {
				if o.Kind == c.kind && o.A == 1 && o.B == 3 {
					rightKind++
				}
			}
		}
		t.Logf("%s: %d builds, hint in %d, right pair first %d, wrong pair first %d, right kind among the likely %d",
			c.name, matter, hints, rightPair, wrongPair, rightKind)
		switch {
		case c.kind == "" && hints > draws/100:
			t.Errorf("as listed: %d of %d builds give a hint", hints, draws)
		case c.kind != "" && (matter < 50 || rightPair < matter*95/100 || wrongPair > matter/100 || rightKind < rightPair*9/10):
			t.Errorf("%s: %d of %d found, %d wrong", c.name, rightPair, matter, wrongPair)
		}
	}
}

// The candidates' probabilities, the listing's among them, are a distribution, and
// come in its order.
func TestSwapProbabilities(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 8))
	for range 20 {
		s := find(t, engine(r, 4, 0.002, 0.001, func(p []Parts) { p[0].Wall, p[2].Wall = p[2].Wall, p[0].Wall }), SwapShells, SwapCaps)
		sum := s.Listing.Probability
		for i, c := range s.Candidates {
			sum += c.Probability
			if i > 0 && c.LogRatio > s.Candidates[i-1].LogRatio {
				t.Errorf("candidate %d is likelier than the one before", i)
			}
		}
		near(t, "sum", sum, 1, 1e-12)
		if len(s.Candidates) != 2*6 || s.Listing.LogRatio != 0 {
			t.Errorf("%d candidates, listing %+v", len(s.Candidates), s.Listing)
		}
	}
}

// Exchanges with one effect cannot be told apart, and the hint says so.
func TestSwapTies(t *testing.T) {
	list := []Listed{}
	for i, c := range []float64{0.040, 0.060, 0.050} {
		p := parts(0.05, 0.001)
		if i == 0 { // shells 0.005 thicker and a bore 0.010 larger: the same clearance
			p.Wall.X += 0.005
			p.Bore.X += 0.010
		}
		list = append(list, Listed{fmt.Sprintf("B%d", i+1), p, plainGauged(c, 0.001)})
	}
	// B1 reads 0.010 less, B2 0.010 more: rods of B1 and B2 exchanged. Shells would
	// do the opposite; caps would do the same.
	s := find(t, list, SwapShells, SwapRods)
	if best := s.Candidates[0]; !s.Hint || s.Likely != 1 || best.Kind != SwapRods || best.A != 0 || best.B != 1 {
		t.Fatalf("%+v", s)
	}
	if text := s.Describe(list); !strings.Contains(text, "the rods of B1 and B2") || !strings.Contains(text, "hint only") {
		t.Errorf("says %q", text)
	}
	s = find(t, list, SwapShells, SwapRods, SwapCaps)
	if !s.Hint || s.Likely != 2 || s.Candidates[0].Kind != SwapRods || s.Candidates[1].Kind != SwapCaps {
		t.Errorf("%+v", s)
	}
	if text := s.Describe(list); !strings.Contains(text, "the caps of B1 and B2") {
		t.Errorf("says %q", text)
	}
	// Parts of one size: an exchange changes nothing, so there is no hint.
	for i := range list {
		list[i].Parts, list[i].Read = parts(0.05, 0.001), plainGauged(0.05, 0.001)
	}
	if s = find(t, list, SwapShells, SwapRods); s.Hint || s.Describe(list) != "" || s.Candidates[0].LogRatio > 1e-9 {
		t.Errorf("%+v", s)
	}
	// A single bearing off by itself is no exchange.
	list[1].Read = plainGauged(0.08, 0.001)
	if s = find(t, list, SwapShells, SwapRods, SwapCaps); s.Hint {
		t.Errorf("%s", s.Describe(list))
	}
	// Nor are all of them off alike, as by a bore gauge set wrong.
	for i := range list {
		list[i].Read = plainGauged(0.062, 0.001)
	}
	if s = find(t, list, SwapShells, SwapRods, SwapCaps); s.Hint || s.Listing.Chance < 0.05 {
		t.Errorf("%+v", s.Listing)
	}
}

func TestFindSwapRefuses(t *testing.T) {
	good := Listed{"M1", parts(0.05, 0.001), plainGauged(0.05, 0.001)}
	bare := good
	bare.Parts.Bore.X, bare.Parts.Wall = 55.05, quantity.Value{}
	noRead, noBore := good, good
	noRead.Read = Gauged{}
	noBore.Parts.Bore = quantity.Value{}
	for name, c := range map[string]struct {
		list  []Listed
		kinds []SwapKind
		want  string
	}{
		"one":         {[]Listed{good}, []SwapKind{SwapCaps}, "at least 2"},
		"no kinds":    {[]Listed{good, good}, nil, "no kind"},
		"twice":       {[]Listed{good, good}, []SwapKind{SwapCaps, SwapCaps}, "named twice"},
		"unknown":     {[]Listed{good, good}, []SwapKind{"bolts"}, "unknown"},
		"bare shells": {[]Listed{bare, bare}, []SwapKind{SwapShells}, "without their walls"},
		"some bare":   {[]Listed{good, bare}, []SwapKind{SwapCaps}, "some bearings only"},
		"no reading":  {[]Listed{good, noRead}, []SwapKind{SwapCaps}, "clearance"},
		"no bore":     {[]Listed{good, noBore}, []SwapKind{SwapCaps}, "housing bore"},
	} {
		if s, err := FindSwap(c.list, c.kinds, 0); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %+v, %v", name, s, err)
		}
	}
	if s, err := FindSwap([]Listed{good, good}, []SwapKind{SwapCaps}, math.NaN()); err == nil {
		t.Errorf("%+v", s)
	}
	if _, err := FindSwap([]Listed{bare, bare}, []SwapKind{SwapCaps, SwapRods}, 0); err != nil {
		t.Errorf("without walls: %v", err)
	}
}
