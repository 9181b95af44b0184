package synth

import (
	"fmt"
	"math"
	"math/rand/v2"

	"stripgap/calib"
)

// Pair is the population of RandomPair; it is not one of Strata, whose scenes are
// single photos.
const Pair Stratum = "pair"

// RandomPair draws two scenes of one strip and card, seen from both sides of the
// strip, each leaning 12 to 20 degrees, in the light, metal and processing of
// Moderate. Beside a bench card the strip lies 0 to 5 mm above it and 5 to 10
// degrees off its plane in any direction; beside a rider it lies as shell, journal
// or flat face hold it. The same state of rng gives the same scenes.
func RandomPair(rng *rand.Rand) ([2]Scene, error) {
	r := recipes[Moderate]
	r.turned = 0 // the two poses below are for photos held one way
	const tries = 3000
	for range tries {
		s := r.draw(rng)
		if s.Card.Layout == "bench" {
			s.Surface.Kind, s.Surface.Radius = "flat", 0
			t := &s.Strips[0]
			lean, way := between(rng, 5, 10), 2*math.Pi*rng.Float64()
			t.TiltAlong, t.TiltAcross = lean*math.Cos(way), lean*math.Sin(way)
			t.Height = between(rng, 0, 5)
		}
		pair := [2]Scene{s, s}
		whole, detail := true, 0.0
		for i := range pair {
			p := &pair[i]
			p.Name = string(Pair)
			p.Shot = uint64(i)
			p.Pose.Target = p.Pose.Target.Add(calib.CardPoint{X: 2 * rng.NormFloat64(), Y: 2 * rng.NormFloat64()})
			p.Pose.Distance *= between(rng, 0.9, 1.1)
			p.Pose.Tilt = between(rng, 12, 20)
			p.Pose.Azimuth = s.Strips[0].Angle + 90 + 180*float64(i) + between(rng, -20, 20)
			p.Optics.Blur = r.blur.draw(rng)
			whole = whole && fits(p, Pair)
			detail = max(detail, p.Pose.Distance/newCamera(p.Camera, p.Pose).f)
		}
		for i := range pair { // both show the same lines
			pair[i].Surface.LineDetail = detail
		}
		if whole {
			return pair, nil
		}
	}
	return [2]Scene{}, fmt.Errorf("%w: %s: no two scenes fit the frame in %d tries", ErrStratum, Pair, tries)
}
