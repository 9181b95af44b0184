package synth

import (
	"math"
	"math/rand/v2"

	"stripgap/calib"
)

// recipe holds the ranges a stratum draws from; a span is drawn evenly unless a
// field says otherwise. The ranges are our own judgement of phone photos on a
// bench, not a survey.
type recipe struct {
	tilt, blur, defocus, motion           span
	k1, fringe, vignetting                span
	well, denoise, sharpen, radius, curve span // well on a logarithmic scale
	level, gradient, shadow, cast         span
	ink, jitter, scale                    span // um, um, relative
	rough, taper, bow, sway               span // um, then relative to the width, and mm
	glare, lines, specks, scratches       span
	height, lean                          span    // of the strip, mm and degrees
	contrast                              float64 // least relative difference in luma, film to metal
	curved                                float64 // chance of a shell or journal
	opening                               float64 // chance of a hole or groove
	turned                                float64 // chance of a portrait frame or an EXIF turn
	quality                               [2]int
}

type span [2]float64

func (s span) draw(rng *rand.Rand) float64 { return between(rng, s[0], s[1]) }

func between(rng *rand.Rand, a, b float64) float64 { return a + (b-a)*rng.Float64() }

var recipes = map[Stratum]recipe{
	Flat: {
		tilt: span{0, 25}, blur: span{0.7, 2}, k1: span{-0.02, 0.02}, vignetting: span{0, 0.25},
		well: span{3000, 15000}, sharpen: span{0, 1.2}, radius: span{0.8, 1.6}, curve: span{0, 0.4},
		level: span{0.6, 1}, gradient: span{-0.2, 0.2}, shadow: span{0, 0.15}, cast: span{0.93, 1.07},
		ink: span{-10, 40}, jitter: span{0, 4},
		rough: span{1, 6}, taper: span{-0.12, 0.12}, bow: span{-0.03, 0.03}, sway: span{-0.1, 0.1},
		glare: span{0, 0.15}, lines: span{0.1, 0.5}, specks: span{0, 20}, scratches: span{0, 4},
		contrast: 0.25, quality: [2]int{86, 96},
	},
	Moderate: {
		tilt: span{0, 28}, blur: span{0.7, 2}, k1: span{-0.05, 0.05}, fringe: span{-2e-4, 2e-4}, vignetting: span{0, 0.4},
		well: span{1500, 12000}, denoise: span{-0.5, 0.5}, sharpen: span{0, 1.8}, radius: span{0.7, 2}, curve: span{0, 0.7},
		level: span{0.5, 1.05}, gradient: span{-0.35, 0.35}, shadow: span{0.05, 0.35}, cast: span{0.85, 1.18},
		ink: span{-20, 60}, jitter: span{0, 6}, scale: span{-0.01, 0.01},
		rough: span{2, 15}, taper: span{-0.3, 0.3}, bow: span{-0.08, 0.08}, sway: span{-0.25, 0.25},
		glare: span{0, 0.5}, lines: span{0.2, 0.9}, specks: span{0, 120}, scratches: span{0, 20},
		height: span{-2, 2}, lean: span{-3, 3}, contrast: 0.15, curved: 0.4, turned: 0.4, quality: [2]int{80, 96},
	},
	Hard: {
		tilt: span{0, 35}, blur: span{0.7, 2.4}, defocus: span{-3, 3}, motion: span{-4, 4},
		k1: span{-0.08, 0.08}, fringe: span{-4e-4, 4e-4}, vignetting: span{0, 0.5},
		well: span{500, 8000}, denoise: span{-0.5, 1}, sharpen: span{0, 2.5}, radius: span{0.6, 2.5}, curve: span{0, 1},
		level: span{0.4, 1.15}, gradient: span{-0.5, 0.5}, shadow: span{0.1, 0.6}, cast: span{0.75, 1.3},
		ink: span{-20, 80}, jitter: span{0, 10}, scale: span{-0.02, 0.02},
		rough: span{3, 30}, taper: span{-0.5, 0.5}, bow: span{-0.15, 0.15}, sway: span{-0.5, 0.5},
		glare: span{0, 1.6}, lines: span{0.3, 1.5}, specks: span{0, 500}, scratches: span{0, 60},
		height: span{-4, 4}, lean: span{-6, 6}, contrast: 0.08, curved: 0.6, opening: 0.4, turned: 0.5, quality: [2]int{70, 96},
	},
}

// serials are a few valid sheet serials; more would only cost drawing time.
var serials = []string{"6C3H2P", "WDEYEC", "KETDWY"}

// draw returns a scene, which may not fit its frame.
func (r *recipe) draw(rng *rand.Rand) Scene {
	s := NewScene([]string{"bench", "rider"}[rng.IntN(2)])
	s.Seed = rng.Uint64() >> 11 // exact as a JSON number everywhere
	s.Card.Serial = serials[rng.IntN(len(serials))]
	s.Card.ScaleX, s.Card.ScaleY = 1+r.scale.draw(rng), 1+r.scale.draw(rng)
	s.Card.InkUM, s.Card.JitterUM = r.ink.draw(rng), r.jitter.draw(rng)
	s.Card.Ink, s.Card.Grain, s.Card.Thickness = between(rng, 0.03, 0.1), between(rng, 0.004, 0.018), between(rng, 0.1, 0.4)
	white := between(rng, 0.75, 0.9)
	s.Card.Paper = RGB{white, white * between(rng, 0.97, 1), white * between(rng, 0.92, 1)}
	r.drawLight(rng, &s)
	r.drawMetal(rng, &s.Surface)
	r.drawStrip(rng, &s)
	r.drawCamera(rng, &s)
	return s
}

func (r *recipe) drawLight(rng *rand.Rand, s *Scene) {
	s.Light = Light{Level: r.level.draw(rng), Colour: RGB{1, 1, 1},
		GradientX: r.gradient.draw(rng), GradientY: r.gradient.draw(rng),
		Azimuth: between(rng, 0, 360), Elevation: between(rng, 35, 80), Shadow: r.shadow.draw(rng)}
	kinds := []Bench{
		{Kind: "wood", Colour: RGB{0.42, 0.27, 0.15}}, {Kind: "cloth", Colour: RGB{0.10, 0.14, 0.24}},
		{Kind: "plain", Colour: RGB{0.30, 0.31, 0.30}}, {Kind: "cloth", Colour: RGB{0.35, 0.08, 0.06}},
	}
	s.Bench = kinds[rng.IntN(len(kinds))]
	s.Bench.Depth = s.Card.Thickness
}

func (r *recipe) drawMetal(rng *rand.Rand, m *Surface) {
	metals := []RGB{{0.34, 0.35, 0.36}, {0.62, 0.62, 0.61}, {0.42, 0.33, 0.25}, {0.33, 0.38, 0.45}}
	m.Metal = metals[rng.IntN(len(metals))]
	k := between(rng, 0.7, 1.3)
	for i := range m.Metal {
		m.Metal[i] *= k
	}
	m.Diffuse, m.Patina = between(rng, 0.6, 0.95), between(rng, 0.01, 0.05)
	m.Finish = []string{"brushed", "turned", "honed", "plain"}[rng.IntN(4)]
	m.LineAngle = 4 * rng.NormFloat64()
	switch m.Finish {
	case "turned":
		m.LineAngle += 90 // round the bearing, so across the strip
	case "honed":
		m.LineAngle = between(rng, 20, 40)
	case "brushed":
		m.LineAngle = between(rng, -90, 90)
	}
	m.LinePitch, m.LineDepth = between(rng, 0.08, 0.5), r.lines.draw(rng)
	m.Glare, m.GlareAt, m.GlareWidth = r.glare.draw(rng), between(rng, -15, 15), between(rng, 3, 14)
	m.Specks, m.Scratches = int(r.specks.draw(rng)), int(r.scratches.draw(rng))
}

// drawStrip draws the strip, places it beside the card and the metal under it.
func (r *recipe) drawStrip(rng *rand.Rand, s *Scene) {
	area, width := crush(rng)
	t := Strip{Length: between(rng, 12, 28), Width: width, SectionArea: area,
		Taper: width * r.taper.draw(rng), Bow: width * r.bow.draw(rng), Sway: r.sway.draw(rng),
		RoughUM: r.rough.draw(rng), RoughScale: between(rng, 0.15, 1.5), Ragged: between(rng, 0.15, 0.8),
		Opacity: between(rng, 20, 120), Gloss: between(rng, 0, 0.6)}
	t.Colour = r.drawColour(rng, &s.Surface)
	l := layoutOf(s)
	bench := s.Card.Layout == "bench"
	gap := between(rng, 1, 5)
	if bench {
		gap = between(rng, 4, 40)
	}
	out := float64(2*rng.IntN(2) - 1)
	t.Angle = 3 * rng.NormFloat64()
	if bench && rng.IntN(5) == 0 { // beside a short side, or square to the arrow
		t.Angle = between(rng, -90, 90)
	}
	t.Angle += 180 * float64(rng.IntN(2))
	away := l.Height/2 + gap + width/2
	t.Centre = calib.CardPoint{X: between(rng, -0.35, 0.35) * l.Width, Y: out * away}
	if bench && rng.IntN(3) == 0 {
		t.Centre = calib.CardPoint{X: out * (l.Width/2 + gap + width/2), Y: between(rng, -0.35, 0.35) * l.Height}
		t.Angle += 90 * float64(rng.IntN(2))
		if sin, cos := math.Sincos(t.Angle * math.Pi / 180); math.Abs(cos) > math.Abs(sin) {
			t.Centre.X += out * t.Length / 2 // it points at the card
		}
	}
	m := &s.Surface
	m.HalfLength, m.HalfWidth = t.Length/2+between(rng, 1, 15), between(rng, 8, 35)
	if rng.IntN(3) == 0 {
		m.HalfLength, m.HalfWidth = 400, 400 // a whole plate
	}
	if rng.Float64() < r.curved {
		r.bend(rng, s, &t, out, away)
	} else if r.height != (span{}) {
		t.TiltAlong, t.TiltAcross = r.lean.draw(rng), r.lean.draw(rng)
		t.Height = r.height.draw(rng)
		if !bench { // it lies on the same metal
			t.Height, t.TiltAlong, t.TiltAcross = -s.Card.Thickness, t.TiltAlong/3, t.TiltAcross/3
		}
	}
	if rng.Float64() < r.opening {
		if rng.IntN(2) == 0 {
			m.HoleU, m.HoleV, m.HoleRadius = between(rng, -0.4, 0.4)*t.Length, between(rng, -1.5, 1.5)*width, between(rng, 0.8, 2.5)
		} else {
			m.GrooveU, m.GrooveHalf = between(rng, -0.3, 0.3)*t.Length, between(rng, 0.5, 1.6)
		}
	}
	s.Strips = []Strip{t}
}

// bend puts the strip on a shell or journal. Beside a bench card that is a shell
// on the bench; a rider lies on the metal itself, on a journal along its middle
// line, in a shell on its two long edges, and the strip's plane leans by the
// angle between them.
func (r *recipe) bend(rng *rand.Rand, s *Scene, t *Strip, out, away float64) {
	m := &s.Surface
	m.Radius = between(rng, 20, 35)
	m.HalfLength = t.Length/2 + between(rng, 0.5, 4)
	m.HalfWidth = m.Radius * between(rng, 0.5, 1.4)
	if s.Card.Layout == "bench" {
		m.Kind = "shell"
		t.Height = between(rng, 1.5, 3) - s.Card.Thickness
		t.TiltAcross = r.lean.draw(rng)
		return
	}
	phi := away / m.Radius
	sin, cos := math.Sincos(phi)
	t.Angle = 180*float64(rng.IntN(2)) + 0.5*rng.NormFloat64() // along the shaft, as the rider is
	lean := phi * 180 / math.Pi * out * math.Copysign(1, math.Cos(t.Angle*math.Pi/180))
	t.Centre.Y = out * m.Radius * sin
	half := layoutOf(s).Height / 2
	if m.Kind = []string{"shell", "journal"}[rng.IntN(2)]; m.Kind == "shell" {
		sag := m.Radius - math.Sqrt(m.Radius*m.Radius-half*half)
		t.Height, t.TiltAcross = m.Radius*(1-cos)-sag-s.Card.Thickness, lean
	} else {
		t.Height, t.TiltAcross = -m.Radius*(1-cos)-s.Card.Thickness, -lean
	}
	m.HalfWidth = m.Radius * between(rng, phi+0.1, phi+0.6)
	s.Bench.Depth = between(rng, 8, 25)
	if m.Kind == "journal" {
		s.Bench.Depth += m.Radius
	}
}

// luma weighs linear light as ITU-R BT.709 does.
func (c RGB) luma() float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// drawColour draws any hue and lightness that stands out from the metal enough.
func (r *recipe) drawColour(rng *rand.Rand, m *Surface) RGB {
	base := m.Metal.luma()*m.Diffuse + 0.15*m.Glare
	for {
		light := 0.02 * math.Exp(rng.Float64()*math.Log(35)) // 0.02 to 0.7
		hue, strong := 2*math.Pi*rng.Float64(), between(rng, 0, 0.95)
		var c RGB
		for i := range c {
			c[i] = min(0.92, light*(1+strong*math.Cos(hue-2*math.Pi/3*float64(i))))
		}
		if y := c.luma(); math.Abs(y-base) >= r.contrast*max(y, base) {
			return c
		}
	}
}

func (r *recipe) drawCamera(rng *rand.Rand, s *Scene) {
	c := &s.Camera
	c.Focal35 = between(rng, 24, 28)
	c.ExifFocal = int(math.Round(c.Focal35))
	c.OffsetX, c.OffsetY = 12*rng.NormFloat64(), 12*rng.NormFloat64()
	c.K1 = r.k1.draw(rng)
	c.K2 = -0.3 * c.K1 * rng.Float64()
	turn := 180 * float64(rng.IntN(2))
	if rng.Float64() < r.turned {
		s.Output.Orientation = []int{3, 6, 8}[rng.IntN(3)]
		if rng.IntN(2) == 0 {
			c.Width, c.Height = c.Height, c.Width
			turn += 90
		}
	}
	scale := between(rng, 15, 35)
	if s.Card.Layout == "rider" {
		scale = between(rng, 25, 50)
	}
	t := s.Strips[0].Centre
	s.Pose = Pose{
		Target:   calib.CardPoint{X: t.X/3 + 2*rng.NormFloat64(), Y: t.Y/2 + 2*rng.NormFloat64()},
		Distance: FocalPixels(c.Focal35, c.Width, c.Height) / scale,
		Tilt:     r.tilt.draw(rng), Azimuth: between(rng, 0, 360), Roll: turn + 6*rng.NormFloat64(),
	}
	s.Optics = Optics{Blur: r.blur.draw(rng), Defocus: max(0, r.defocus.draw(rng)),
		FringeRed: r.fringe.draw(rng), FringeBlue: r.fringe.draw(rng), Vignetting: r.vignetting.draw(rng)}
	if m := r.motion.draw(rng); m > 0 {
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		s.Optics.MotionX, s.Optics.MotionY = m*cos, m*sin
	}
	if s.Optics.Defocus+math.Hypot(s.Optics.MotionX, s.Optics.MotionY) > 1 {
		s.Optics.Blur = between(rng, 0.7, 0.9) // the disc or the motion is the blur
	}
	well := r.well[0] * math.Exp(rng.Float64()*math.Log(r.well[1]/r.well[0]))
	s.Sensor = Sensor{FullWell: well, Read: between(rng, 2, 6), Bayer: true,
		Red: between(rng, 0.45, 0.75), Blue: between(rng, 0.5, 0.8),
		CastRed: r.cast.draw(rng), CastBlue: r.cast.draw(rng)}
	s.Processing = Processing{Curve: r.curve.draw(rng), Denoise: max(0, r.denoise.draw(rng)),
		Sharpen: r.sharpen.draw(rng), SharpenRadius: r.radius.draw(rng)}
	s.Output.Quality = r.quality[0] + rng.IntN(r.quality[1]-r.quality[0]+1)
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
