package clearance

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib/quantity"
)

// around lays strips at the angles of a journal whose diameters differ by oor mm,
// largest clearance at the angle axis, each read with the error of noise.
func around(angles []float64, oor, axis, own float64, noise func() float64) []Position {
	var list []Position
	for _, a := range angles {
		c := 0.05 + oor/2*math.Cos(2*(a-axis)*math.Pi/180) + noise()
		list = append(list, Position{a, plainGauged(c, own)})
	}
	return list
}

func still() float64 { return 0 }

func outOfRound(t *testing.T, list []Position) Round {
	t.Helper()
	r, err := OutOfRound(list, 0, quantity.Coverage{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Without noise the fit must give the ellipse back, wherever its axes and the
// strips are, and whichever half turn they were laid at.
func TestOutOfRoundFindsTheEllipse(t *testing.T) {
	for _, angles := range [][]float64{{0, 60, 120}, {0, 45, 90, 135}, {0, 120, 240}, {10, 80, 200, 255, 300}} {
		for _, axis := range []float64{0, 37, 90, 179} {
			r := outOfRound(t, around(angles, 0.010, axis, 1e-7, still))
			if !r.Fitted || !r.OutOfRound || r.Misfit < 0.99 {
				t.Errorf("%v, axis %v: %+v", angles, axis, r)
			}
			near(t, "out of round", r.Estimate, 0.010, 1e-6)
			if d := math.Abs(math.Remainder(r.LargeAt-axis, 180)); d > 0.01 {
				t.Errorf("%v: largest at %v, want %v", angles, r.LargeAt, axis)
			}
		}
	}
	// Two positions see the whole of it only along its axes.
	along := outOfRound(t, around([]float64{0, 90}, 0.010, 0, 1e-7, still))
	between := outOfRound(t, around([]float64{45, 135}, 0.010, 0, 1e-7, still))
	near(t, "two along the axes", along.Estimate, 0.010, 1e-6)
	near(t, "two between them", between.Estimate, 0, 1e-6)
	if along.Fitted || between.OutOfRound {
		t.Errorf("%+v\n%+v", along, between)
	}
}

// Rates on a round journal, drawn (seeded): 5 % are called out of round, by any
// number of positions; the range of pure noise is what NoiseRange says.
func TestRoundJournalRates(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 7))
	const own, draws = 0.001, 4000
	for _, angles := range [][]float64{{0, 90}, {0, 60, 120}, {0, 45, 90, 135}, {0, 0, 90}} {
		alarms, ranges, noise, estimate := 0, 0.0, 0.0, 0.0
		for range draws {
			got := outOfRound(t, around(angles, 0, 0, own, func() float64 { return own * r.NormFloat64() }))
			if got.OutOfRound {
				alarms++
			}
			ranges += got.Range / draws
			noise = got.NoiseRange
			estimate += got.Estimate / draws
		}
		near(t, "false alarms", float64(alarms)/draws, 0.05, 0.014) // 4 sd
		near(t, "range of noise", noise/ranges, 1, 0.03)
		if estimate > ranges { // taking the bias out must not add any
			t.Errorf("%v: mean estimate %v, range %v", angles, estimate, ranges)
		}
	}
	// Tables of the range of n normal values: 1.128 of two, 1.693 of three, 2.059
	// of four (control chart constant d2, ISO 7870-2).
	for n, d2 := range map[int]float64{2: 1.128, 3: 1.693, 4: 2.059} {
		u := make([]float64, n)
		for i := range u {
			u[i] = 0.001
		}
		near(t, "d2", noiseRange(u)/0.001, d2, 6e-4)
	}
}

// An out of round of 0.0005 in is found by four strips of own uncertainty 1 um,
// its estimate is free of bias and the interval holds it.
func TestOutOfRoundPower(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	const own, draws, truth = 0.001, 3000, 0.0127
	for _, angles := range [][]float64{{0, 60, 120}, {0, 45, 90, 135}} {
		found, held, sum := 0, 0, 0.0
		for range draws {
			got := outOfRound(t, around(angles, truth, 360*r.Float64(), own, func() float64 { return own * r.NormFloat64() }))
			if got.OutOfRound {
				found++
			}
			if got.Lo <= truth && truth <= got.Hi {
				held++
			}
			sum += got.Estimate / draws
		}
		t.Logf("%v: found %.3f, held %.3f, mean estimate %.5f", angles, float64(found)/draws, float64(held)/draws, sum)
		if found < draws*99/100 {
			t.Errorf("%v: found %d of %d", angles, found, draws)
		}
		near(t, "held", float64(held)/draws, 0.9545, 0.015)
		near(t, "mean estimate", sum, truth, 0.02*truth)
	}
}

// A shape of three lobes has one diameter all round: the model cannot see it, but
// four positions that fit no ellipse say so.
func TestMisfit(t *testing.T) {
	list := around([]float64{0, 45, 90, 135}, 0.010, 20, 0.0003, still)
	list[0].Clearance.X += 0.004
	if r := outOfRound(t, list); r.Misfit > 0.01 {
		t.Errorf("%+v", r)
	}
}

func TestOutOfRoundRefuses(t *testing.T) {
	good := around([]float64{0, 90}, 0.01, 0, 0.001, still)
	bad := around([]float64{0, math.NaN()}, 0.01, 0, 0.001, still)
	for name, list := range map[string][]Position{
		"none": nil, "one": good[:1], "half a turn": around([]float64{10, 190}, 0, 0, 0.001, still), "angle": bad,
		"reading": {good[0], {Angle: 90}},
	} {
		if r, err := OutOfRound(list, 0, quantity.Coverage{}); err == nil {
			t.Errorf("%s: %+v", name, r)
		}
	}
	if r, err := OutOfRound(good, -1, quantity.Coverage{}); err == nil {
		t.Errorf("negative laying: %+v", r)
	}
}
