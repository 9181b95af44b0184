package main

import (
	"math/rand/v2"

	"stripgap/vision"
	"stripgap/vision/synth"
)

// population is a named way to draw scenes, and what must become of them.
type population struct {
	name string
	// draw gives one photo's scene, or the scenes of two photos of one strip.
	draw func(*rand.Rand) ([]synth.Scene, error)
	// want holds the refusal codes any of which is right; none where the photo
	// should be read.
	want []string
	// named are flags that say what is wrong with the strip: a reading that carries one
	// of them is right, too.
	named []string
	told  knowledge         // usually
	count func(options) int // of its trials, as the command line says
}

// fault reports whether the population's photos are not to be simply read.
func (p population) fault() bool { return len(p.want) > 0 }

// refusals lists what each fault of the renderer must end in. A damaged strip
// may also be read, if the reading says that it is damaged.
var refusals = map[synth.Stratum]population{
	synth.NoStrip:     {want: []string{vision.CodeNoStrip}},
	synth.TwoStrips:   {want: []string{vision.CodeTwoStrips}},
	synth.CutOff:      {want: []string{vision.CodeStripCutOff}},
	synth.HalfCard:    {want: []string{vision.CodeFewMarks, vision.CodeNoCard}},
	synth.UnderCard:   {want: []string{vision.CodeStripReachesCard, vision.CodeNoStrip}},
	synth.Smeared:     {want: []string{vision.CodeSmeared, vision.CodeUnevenEdges}, named: []string{vision.FlagSmeared, vision.FlagUnevenEdges}},
	synth.Torn:        {want: []string{vision.CodeStationsLost}, named: []string{vision.FlagTorn}},
	synth.Rolled:      {want: []string{vision.CodeRolled, vision.CodeStationsLost}, named: []string{vision.FlagRolled}},
	synth.Blurred:     {want: []string{vision.CodeBlurred}},
	synth.Steep:       {want: []string{vision.CodeTilted}},
	synth.Overexposed: {want: []string{vision.CodeSaturated}},
}

// populations lists what can be run, in the order of the report.
func populations() []population {
	var all []population
	pairs := func(o options) int { return o.pairs }
	for _, s := range synth.Strata() {
		p := refusals[s] // none: to be read
		p.name, p.told = string(s), toldPlane
		switch {
		case p.fault():
			p.count = func(o options) int { return o.faults }
		case s == synth.ForeignTone:
			p.count = func(o options) int { return o.tones }
		default:
			p.count = func(o options) int { return o.count }
		}
		p.draw = func(rng *rand.Rand) ([]synth.Scene, error) {
			scene, err := synth.Random(rng, s)
			if s == synth.ForeignTone { // about the tone only, and soon drawn
				scene = synth.Cropped(scene)
			}
			return []synth.Scene{scene}, err
		}
		all = append(all, p)
	}
	pair := func(rng *rand.Rand) ([]synth.Scene, error) {
		scenes, err := synth.RandomPair(rng)
		return scenes[:], err
	}
	return append(all,
		population{name: "luma-alike", told: toldPlane, count: func(o options) int { return o.alike }, draw: drawAlike},
		// Where one photo shows least: read from one, and from two.
		population{name: "pair-one", told: toldNothing, count: pairs, draw: func(rng *rand.Rand) ([]synth.Scene, error) {
			scenes, err := pair(rng)
			return scenes[:1], err
		}},
		population{name: "pair-two", told: toldSurface, count: pairs, draw: pair})
}

func names() []string {
	var n []string
	for _, p := range populations() {
		n = append(n, p.name)
	}
	return n
}

// trial is one photo to make: the index-th of its population.
type trial struct {
	population
	index  int
	seed   uint64
	tell   knowledge // what the reader is told
	photos cache
}

// scenes draws the trial's scenes; they depend on population, seed and index only.
func (t trial) scenes() ([]synth.Scene, error) {
	return t.draw(rand.New(rand.NewPCG(t.seed, uint64(t.index))))
}
