package synth

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"stripgap/calib"
)

// Stratum names a population of scenes.
type Stratum string

// The strata. Every scene keeps the card's marks and the strip inside the frame
// unless its fault says otherwise.
const (
	// Flat: both cards, a flat surface, the strip in the card's plane, tilt 0 to
	// 25 degrees, blur 0.7 to 2 px.
	Flat Stratum = "flat"
)

// ErrStratum marks an unknown stratum, or one whose draws do not fit a photo.
var ErrStratum = errors.New("stratum")

// Strata lists every stratum.
func Strata() []Stratum { return []Stratum{Flat} }

// serials are a few valid sheet serials; more would only cost drawing time.
var serials = []string{"6C3H2P", "WDEYEC", "KETDWY"}

// Random draws one scene of a stratum. The same state of rng gives the same
// scene.
func Random(rng *rand.Rand, stratum Stratum) (Scene, error) {
	if stratum != Flat {
		return Scene{}, fmt.Errorf("%w: no stratum %q", ErrStratum, stratum)
	}
	const tries = 2000
	for range tries {
		s := draw(rng)
		if fits(&s) {
			return s, nil
		}
	}
	return Scene{}, fmt.Errorf("%w: %s: no scene fits the frame in %d tries", ErrStratum, stratum, tries)
}

func between(rng *rand.Rand, a, b float64) float64 { return a + (b-a)*rng.Float64() }

func draw(rng *rand.Rand) Scene {
	layout := []string{"bench", "rider"}[rng.IntN(2)]
	s := NewScene(layout)
	s.Name = "flat"
	s.Seed = rng.Uint64() >> 11 // exact as a JSON number everywhere
	s.Camera.Focal35 = between(rng, 24, 28)
	s.Camera.ExifFocal = int(math.Round(s.Camera.Focal35))
	s.Card.Serial = serials[rng.IntN(len(serials))]
	area, width := crush(rng)
	strip := Strip{
		Length: between(rng, 12, 28), Width: width, SectionArea: area,
		RoughUM: between(rng, 1, 6), RoughScale: between(rng, 0.2, 1.5), Ragged: between(rng, 0.2, 0.8),
		Colour: RGB{0.1, 0.4, 0.15}, Opacity: between(rng, 30, 80), Gloss: 0.3,
	}
	strip.Taper = strip.Width * rng.NormFloat64() * 0.06
	strip.Angle = 8 * rng.NormFloat64()
	l, _ := layoutNamed(layout) // a name from the list above
	scale, gap := between(rng, 15, 35), between(rng, 4, 40)
	if layout == "rider" {
		scale, gap = between(rng, 25, 50), between(rng, 1, 5)
	}
	side := float64(2*rng.IntN(2) - 1)
	strip.Centre = calib.CardPoint{
		X: between(rng, -0.3, 0.3) * l.Width,
		Y: side * (l.Height/2 + gap + strip.Width/2),
	}
	s.Pose.Distance = FocalPixels(s.Camera.Focal35, s.Camera.Width, s.Camera.Height) / scale
	s.Pose.Tilt = between(rng, 0, 25)
	s.Pose.Azimuth = between(rng, 0, 360)
	s.Pose.Roll = 6*rng.NormFloat64() + 180*float64(rng.IntN(2))
	s.Pose.Target = calib.CardPoint{X: 2 * rng.NormFloat64(), Y: strip.Centre.Y/2 + 2*rng.NormFloat64()}
	s.Card.InkUM = between(rng, -10, 40)
	s.Card.JitterUM = between(rng, 0, 4)
	s.Card.Grain = 0.012
	s.Strips = []Strip{strip}
	s.Surface.Finish = "brushed"
	s.Surface.LineDepth = 0.5
	s.Surface.LineAngle = between(rng, -90, 90)
	s.Optics.Blur = between(rng, 0.7, 2)
	s.Sensor = Sensor{FullWell: between(rng, 2000, 12000), Read: 4, Bayer: true, Red: 0.6, Blue: 0.7, CastRed: 1, CastBlue: 1}
	s.Processing = Processing{Sharpen: between(rng, 0, 1), SharpenRadius: between(rng, 0.8, 1.6), Curve: between(rng, 0, 0.4)}
	s.Output.Quality = 88 + rng.IntN(9)
	return s
}

// crush draws a strand 0.15 to 0.9 mm thick and a clearance that flattens it to
// a width of 0.8 to 5 mm, at least half as wide again as it was.
func crush(rng *rand.Rand) (area, width float64) {
	for {
		d := between(rng, 0.15, 0.9)
		clearance := 0.018 * math.Exp(rng.Float64()*math.Log(0.25/0.018))
		area = math.Pi * d * d / 4
		width = area / clearance
		if width >= max(0.8, 1.5*d) && width <= 5 {
			return area, width
		}
	}
}

// fits reports whether marks and strips lie inside the frame, the strips clear
// of its border by 1 mm and clear of the card.
func fits(s *Scene) bool {
	st, err := newStage(s)
	if err != nil {
		return false
	}
	for _, m := range st.print.layout.Marks {
		if !st.markInside(st.print.paper(m.Centre)) {
			return false
		}
	}
	for _, f := range st.films {
		for _, u := range [3]float64{-f.Length/2 - 1, 0, f.Length/2 + 1} {
			for _, v := range [2]float64{-f.Width/2 - 1, f.Width/2 + 1} {
				p := f.frame.at(u, v)
				if !st.inFrame(p) || st.print.layout.Contains(calib.CardPoint{X: p[0], Y: p[1]}, -0.5) {
					return false
				}
			}
		}
	}
	return true
}
