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

// Populations that should be read. Bench cards are photographed at 15 to 35 px
// per mm with the strip 4 to 40 mm beside them, riders at 25 to 50 px per mm with
// the strip 1 to 5 mm beside them; the camera is a phone's main one (24 to 28 mm
// equivalent, told to the nearest whole mm by EXIF). A strand of 0.15 to 0.9 mm
// was crushed to a width of 0.8 to 5 mm over 12 to 28 mm. Film and metal differ
// in luma by at least 25, 15 and 8 % of the brighter one.
const (
	// Flat: a flat surface, the strip in the card's plane, tilt 0 to 25 degrees,
	// blur 0.7 to 2 px, little noise, k1 within 0.02, the print true to scale.
	Flat Stratum = "flat"
	// Moderate: also a strip up to 2 mm above or below a bench card and tilted by
	// up to 3 degrees, wide shells beside a bench card, highlights, oil specks,
	// scratches, k1 within 0.05, colour fringes, portrait and turned photos, print
	// scales off by up to 1 % (a reader is told them as its print check).
	Moderate Stratum = "moderate"
	// Hard: also shells and journals under the card, tilt to 35 degrees, holes and
	// grooves, saturated highlights, defocus, motion, high ISO, noise reduction,
	// strong sharpening and tone, print scales off by up to 2 %.
	Hard Stratum = "hard"
	// ForeignTone: Flat and Moderate scenes, evenly, whose tone curve is not that of
	// IEC 61966-2-1 (Response).
	ForeignTone Stratum = "foreign-tone"
)

// Faults that should be refused or named; each is a Flat scene but for it.
const (
	NoStrip     Stratum = "no-strip"
	TwoStrips   Stratum = "two-strips"
	CutOff      Stratum = "cut-off"   // the frame's border cuts the strip
	HalfCard    Stratum = "half-card" // the frame's border cuts the card
	UnderCard   Stratum = "under-card"
	Smeared     Stratum = "smeared"
	Torn        Stratum = "torn"
	Rolled      Stratum = "rolled"
	Blurred     Stratum = "blurred"     // 3 to 6 px
	Steep       Stratum = "steep"       // tilt 40 to 50 degrees
	Overexposed Stratum = "overexposed" // the paper and bright metal saturate
)

// Strata lists every stratum.
func Strata() []Stratum {
	return []Stratum{Flat, Moderate, Hard, ForeignTone, NoStrip, TwoStrips, CutOff, HalfCard, UnderCard,
		Smeared, Torn, Rolled, Blurred, Steep, Overexposed}
}

// ErrStratum marks an unknown stratum, or one whose draws do not fit a photo.
var ErrStratum = errors.New("stratum")

// Random draws one scene of a stratum. The same state of rng gives the same
// scene.
func Random(rng *rand.Rand, stratum Stratum) (Scene, error) {
	return RandomWith(rng, stratum, func(*Scene) bool { return true })
}

// RandomWith draws one scene of a stratum as change leaves it. A draw for which
// change returns false, or which then does not fit its photo, is drawn again.
func RandomWith(rng *rand.Rand, stratum Stratum, change func(*Scene) bool) (Scene, error) {
	r, known := recipes[stratum]
	switch {
	case stratum == ForeignTone:
		r, known = recipes[[]Stratum{Flat, Moderate}[rng.IntN(2)]], true
	case !known:
		r, known = recipes[Flat], faults[stratum] != nil
	}
	if !known {
		return Scene{}, fmt.Errorf("%w: no stratum %q, want one of %v", ErrStratum, stratum, Strata())
	}
	const tries = 3000
	for range tries {
		s := r.draw(rng)
		s.Name = string(stratum)
		if fault := faults[stratum]; fault != nil {
			fault(rng, &s)
		}
		if stratum == ForeignTone {
			s.Processing.Response = drawResponse(rng)
			s.Processing.Curve *= float64(rng.IntN(2))
		}
		if change(&s) && fits(&s, stratum) {
			return s, nil
		}
	}
	return Scene{}, fmt.Errorf("%w: %s: no scene fits the frame in %d tries", ErrStratum, stratum, tries)
}

// Cropped returns the scene with only the middle of its photo, as small as card and
// strips allow and a tenth more: the same pixels on the same things, as a phone
// stores them when zoomed by cutting. A scene that does not fit its photo is
// returned whole.
func Cropped(s Scene) Scene {
	for share := 0.25; share < 0.9; share += 0.05 {
		if small := cut(s, share); fits(&small, Stratum(s.Name)) {
			return cut(s, 1.1*share)
		}
	}
	return s
}

// cut keeps a share of the photo's width and height about its middle. The focal
// length in pixels stays, so that by the diagonal, which EXIF tells, grows.
func cut(s Scene, share float64) Scene {
	focal := FocalPixels(s.Camera.Focal35, s.Camera.Width, s.Camera.Height)
	s.Camera.Width = int(share*float64(s.Camera.Width)/2) * 2
	s.Camera.Height = int(share*float64(s.Camera.Height)/2) * 2
	s.Camera.Focal35 *= focal / FocalPixels(s.Camera.Focal35, s.Camera.Width, s.Camera.Height)
	s.Camera.ExifFocal = int(math.Round(s.Camera.Focal35))
	return s
}

// faults turn a Flat scene into a faulty one.
var faults = map[Stratum]func(*rand.Rand, *Scene){
	NoStrip: func(_ *rand.Rand, s *Scene) { s.Strips = nil },
	TwoStrips: func(rng *rand.Rand, s *Scene) {
		second := s.Strips[0]
		d := second.direction()
		out := calib.CardPoint{X: -d.Y, Y: d.X} // square to the strip, away from the card
		if out.Dot(second.Centre) < 0 {
			out = out.Scale(-1)
		}
		second.Centre = second.Centre.Add(out.Scale(second.Width*between(rng, 1.5, 2.5) + between(rng, 0.5, 1)))
		s.Strips = append(s.Strips, second)
	},
	CutOff: func(rng *rand.Rand, s *Scene) {
		s.Pose.Target.X += between(rng, -1, 1) * 40
		s.Pose.Target.Y += between(rng, -1, 1) * 40
	},
	HalfCard: func(rng *rand.Rand, s *Scene) {
		half := float64(s.Camera.Width) / 2 * s.Pose.Distance / FocalPixels(s.Camera.Focal35, s.Camera.Width, s.Camera.Height)
		s.Pose.Target.X += float64(2*rng.IntN(2)-1) * half * between(rng, 0.8, 1.1)
	},
	UnderCard: func(rng *rand.Rand, s *Scene) {
		t := &s.Strips[0]
		t.Fault.UnderCard = true
		// Most of its width is covered, some of it shows.
		edge := layoutOf(s).Height/2 - t.Width*between(rng, -0.2, 0.3)
		if t.Centre.Y < 0 {
			edge = -edge
		}
		t.Centre = calib.CardPoint{X: between(rng, -0.2, 0.2) * layoutOf(s).Width, Y: edge}
		t.Angle, t.Height = rng.NormFloat64(), -s.Card.Thickness/2
	},
	Smeared: func(rng *rand.Rand, s *Scene) { s.Strips[0].Fault.Smear = s.Strips[0].Width * between(rng, 0.3, 1) },
	Torn: func(rng *rand.Rand, s *Scene) {
		t := &s.Strips[0]
		t.Fault.TornAt, t.Fault.TornBy = t.Length*between(rng, 0.3, 0.7), between(rng, 0.5, 2.5)
	},
	Rolled: func(rng *rand.Rand, s *Scene) {
		t := &s.Strips[0]
		t.Fault.RollFrom, t.Fault.RollBy = t.Length*between(rng, 0.3, 0.7), t.Width*between(rng, 0.15, 0.35)
	},
	Blurred: func(rng *rand.Rand, s *Scene) { s.Optics.Blur = between(rng, 3, 6) },
	Steep: func(rng *rand.Rand, s *Scene) {
		s.Pose.Tilt = between(rng, 40, 50)
		s.Pose.Distance *= 1.3
	},
	Overexposed: func(rng *rand.Rand, s *Scene) { s.Light.Level = between(rng, 1.8, 3.5) },
}

// layoutOf returns the layout of a scene drawn here, which has one.
func layoutOf(s *Scene) *calib.Layout {
	l, err := layoutNamed(s.Card.Layout)
	if err != nil {
		panic(err)
	}
	return l
}

// fits reports whether a scene shows what its stratum promises: marks and strips
// wholly inside the frame, in view past the part's own walls, and the strips
// clear of the card.
func fits(s *Scene, stratum Stratum) bool {
	if s.Validate() != nil {
		return false
	}
	st := &stage{scene: s, cam: newCamera(s.Camera, s.Pose)}
	var err error
	if st.print, err = newPrinted(s); err != nil {
		return false
	}
	var frames []*frame
	for i := range s.Strips {
		frames = append(frames, newFrame(&s.Strips[i], &s.Surface, st.cam))
	}
	if len(frames) > 0 {
		st.metal = &metal{Surface: &s.Surface, frame: frames[0]}
	}
	marks := 0
	for _, m := range st.print.layout.Marks {
		if p, _ := st.markPixel(m); st.markInside(p) && !st.hidden(vec{p.X, p.Y, 0}) {
			marks++
		}
	}
	if stratum == HalfCard {
		return marks > 0 && marks < 4
	}
	if marks < len(st.print.layout.Marks) {
		return false
	}
	for i, f := range frames {
		seen, places, clear := st.stripInView(f, &s.Strips[i], stratum == CutOff)
		switch {
		case !clear && stratum != UnderCard:
			return false
		case stratum == CutOff:
			return seen >= 4 && seen < places
		case seen < places:
			return false
		}
	}
	return true
}

// stripInView counts the places round the strip and along it, or, for one that
// shall be cut, along its own axis, and those of them in the photo and in view.
// clear tells that none lies on the card.
func (st *stage) stripInView(f *frame, t *Strip, cut bool) (seen, places int, clear bool) {
	ends, side := t.Length/2+1, t.Width/2+0.5
	if cut {
		ends, side = t.Length/2-1, 0
	}
	clear = true
	for _, u := range [5]float64{-ends, -t.Length / 4, 0, t.Length / 4, ends} {
		for _, v := range [2]float64{-side, side} {
			p := f.at(u, v)
			clear = clear && !st.print.layout.Contains(calib.CardPoint{X: p[0], Y: p[1]}, 0.2)
			places++
			if st.inFrame(p) && !st.hidden(p) {
				seen++
			}
		}
	}
	return seen, places, clear
}

// hidden reports whether the part's wall stands between the eye and p.
func (st *stage) hidden(p vec) bool {
	m := st.metal
	if m == nil || m.frame.curve == 0 {
		return false
	}
	px := st.cam.project(p)
	x, y := st.cam.normal(px.X, px.Y)
	h, ok := m.frame.meet(x, y, min(m.HalfWidth, 3/math.Abs(m.frame.curve)))
	if !ok {
		return false
	}
	if d, _, _ := m.inside(h.u, h.v); d < 0 {
		return false
	}
	// Rays have unit depth in the camera frame, so t is depth there.
	return h.t < st.cam.rot[2].dot(p.sub(st.cam.eye))-0.3
}
