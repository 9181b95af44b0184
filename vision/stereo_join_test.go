package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
)

// TestJoinedTaperAgainstSampling asks that the taper of stations interpolated midway
// between a pair's own ones scatters as its uncertainty says, less the factor for
// what neighbours have in common, which these do not. Interpolated stations differ
// from their neighbours by half of what the noise makes them. 400 draws know a spread
// to 3.5 % (1/sqrt(800)), so the limits lie three of those away.
func TestJoinedTaperAgainstSampling(t *testing.T) {
	const draws, noise, step, half = 400, 0.01, 0.5, 10.0
	r := rand.New(rand.NewPCG(31, 0))
	var square, said float64
	for range draws {
		var list [2][]placed
		for x := -half - 1; x <= half+1; x += step {
			shared := noise * r.NormFloat64() // both photos show the same lines beside the strip
			for i := range list {
				p := placed{s: x, width: 2 + shared, wU: noise / 10}
				p.card = [2]calib.CardPoint{{X: x, Y: -1}, {X: x, Y: 1}}
				list[i] = append(list[i], p)
			}
		}
		own := [2]float64{stationNoise(list[0]), stationNoise(list[1])}
		joint := traced{noise: sharedNoise(own), c: cutter{step: step, width: 2, axis: Axis{Dir: calib.CardPoint{X: 1}, Half: half}}}
		for x := -half; x <= half; x += step {
			k := mean(list, own, x+step/2, 1.6*step)
			k.s = x
			joint.cuts = append(joint.cuts, k)
		}
		pr, ok := joint.profile()
		if !ok {
			t.Fatal("no profile")
		}
		square += pr.Taper * pr.Taper / draws
		said += pr.TaperU * pr.TaperU / (alikeSlope * alikeSlope) / draws
	}
	ratio := math.Sqrt(square / said)
	t.Logf("spread/u %.3f", ratio)
	if ratio < 0.89 || ratio > 1.11 {
		t.Errorf("the taper scatters %.2f times its standard uncertainty", ratio)
	}
}
