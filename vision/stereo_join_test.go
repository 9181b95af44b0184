package vision

import (
	"math"
	"math/rand/v2"
	"slices"
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

// TestReachOfRaisedStrip: both photos traced a strip 4 mm above the card as if it lay in
// the card's plane, so that each saw its ends elsewhere. On the solved plane they are
// where they are, and gaps too.
func TestReachOfRaisedStrip(t *testing.T) {
	const height, half = 4.0, 10.0
	base := stereoBase()
	s := &stereo{model: stereoModel{base: base}, state: stereoState{plane: [3]float64{height}, edge: [2][3]float64{{-1}, {1}}}}
	for i, turn := range [2]float64{50, 130} { // so that they look along the strip from either end, too
		v := &calib.View{Camera: calib.Camera{F: stereoF, CX: stereoW / 2, CY: stereoH / 2}, Pose: lookAt(base.Middle, 130, 18, turn)}
		s.state.view[i] = v
		onFace := func(x float64) calib.CardPoint {
			q, ok := v.Card(mustImage(t, v, base.At(x).At(height)), calib.Plane{})
			if !ok {
				t.Fatal("not on the card's plane")
			}
			return calib.CardPoint{X: q.X, Y: q.Y}
		}
		a, b := onFace(-half), onFace(half)
		axis := Axis{Middle: a.Add(b).Scale(0.5), Dir: b.Sub(a).Scale(1 / b.Sub(a).Norm()), Half: b.Sub(a).Norm()/2 - 1}
		s.trace[i] = &traced{c: cutter{v: v, axis: axis}, beyond: [2]float64{1, 1}}
		s.trace[i].missing = []gapFound{{FlagOverGap, -1, 2}}
	}
	if first, last := s.reach(func(t *traced) [2]float64 { return t.beyond }); math.Abs(first+half) > 0.05 || math.Abs(last-half) > 0.05 {
		t.Errorf("the strip is said to lie between %.2f and %.2f mm, want -10 and 10", first, last)
	}
	var joint traced
	joint.c.axis.Half = half - 1
	s.untraced(&joint, 0, [2][]placed{})
	if b := joint.beyond; math.Abs(b[0]-1) > 0.05 || math.Abs(b[1]-1) > 0.05 {
		t.Errorf("%.2f mm of film beyond the stations, want 1 and 1", b)
	}
	if g := joint.missing; len(g) != 1 || math.Abs(g[0].from+1) > 0.1 || math.Abs(g[0].to-2) > 0.1 {
		t.Errorf("gaps %v, want one from -1 to 2", g)
	}
}

// TestCommonGaps: what one photo shows counts, and what both show once.
func TestCommonGaps(t *testing.T) {
	a := []gapFound{{FlagOverGap, -2, 0}, {FlagTorn, 5, 6}}
	b := []gapFound{{FlagOverGap, -1.8, 0.4}, {FlagOverGap, 8, 9}}
	want := []gapFound{{FlagOverGap, -1.9, 0.2}, {FlagTorn, 5, 6}, {FlagOverGap, 8, 9}}
	for i, got := range [2][]gapFound{commonGaps(a, b), commonGaps(b, a)} {
		if len(got) != len(want) {
			t.Fatalf("%d: %v, want %v", i, got, want)
		}
		for _, w := range want {
			if !slices.ContainsFunc(got, func(g gapFound) bool {
				return g.name == w.name && math.Abs(g.from-w.from) < 1e-9 && math.Abs(g.to-w.to) < 1e-9
			}) {
				t.Errorf("%d: %v, want %v", i, got, w)
			}
		}
	}
}

// TestNarrow: what processing widened in the solution is taken off the stations, half
// at each edge.
func TestNarrow(t *testing.T) {
	p := placed{width: 2, px: [2]calib.PixelPoint{{X: 10}, {X: 60}}, card: [2]calib.CardPoint{{Y: -1}, {Y: 1}}}
	p.narrow(0.5) // a hundredth of 50 px
	if math.Abs(p.width-1.98) > 1e-12 || math.Abs(p.card[0].Y+0.99) > 1e-12 || math.Abs(p.card[1].Y-0.99) > 1e-12 {
		t.Errorf("%+v", p)
	}
}
