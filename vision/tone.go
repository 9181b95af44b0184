package vision

import "math"

// srgbFromLinear is the transfer function of IEC 61966-2-1: linear light 0..1 to
// display-referred 0..1. Outside 0..1 it goes on with the end's slope, so that a
// fit may pass the border without a kink.
func srgbFromLinear(l float64) float64 {
	switch {
	case l <= 0.0031308:
		return 12.92 * l
	case l <= 1:
		c := math.Cbrt(l)
		return 1.055*c*math.Sqrt(math.Sqrt(c)) - 0.055 // l to the power 1/2.4, in a third of the time
	}
	return 1 + (l-1)*1.055/2.4
}

// linearFromSRGB is the inverse of srgbFromLinear.
func linearFromSRGB(v float64) float64 {
	switch {
	case v <= 12.92*0.0031308:
		return v / 12.92
	case v <= 1:
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	return 1 + (v-1)*2.4/1.055
}

// tone is a photo's transfer curve: sRGB followed by an S-shaped curve of
// strength S, g + 4 S g (1-g) (g - 1/2), which keeps black, middle and white and
// has slope 1+S at the middle. |S| stays below maxTone, where it is monotone.
type tone struct{ S float64 }

const maxTone = 0.45

func (t tone) fromLinear(l float64) float64 {
	v, _, _ := t.display(l)
	return v
}

// display returns fromLinear of l, and its derivatives by the curve's strength
// and by l.
func (t tone) display(l float64) (v, byTone, byLight float64) {
	g := srgbFromLinear(l)
	switch {
	case l <= 0.0031308:
		byLight = 12.92
	case l <= 1:
		byLight = (g + 0.055) / (2.4 * l)
	default:
		byLight = 1.055 / 2.4
	}
	if g < 0 || g > 1 {
		return g, 0, byLight
	}
	byTone = 4 * g * (1 - g) * (g - 0.5)
	return g + t.S*byTone, byTone, byLight * (1 + t.S*(12*g*(1-g)-2))
}

// linearRate returns the derivative of linear light l by the curve's strength
// where what is displayed stays as it is.
func (t tone) linearRate(l float64) float64 {
	_, byTone, byLight := t.display(l)
	return -byTone / byLight
}

// toLinear inverts fromLinear by Newton's method; the curve is monotone.
func (t tone) toLinear(v float64) float64 {
	g := v
	if v > 0 && v < 1 {
		for range 20 {
			f := g + 4*t.S*g*(1-g)*(g-0.5) - v
			d := 1 + 4*t.S*(-3*g*g+3*g-0.5)
			step := f / d
			g -= step
			if math.Abs(step) < 1e-12 {
				break
			}
		}
	}
	return linearFromSRGB(g)
}

// rgb is a display-referred colour, 0..1 each.
type rgb [3]float64

// lumaWeights are BT.601's, as JFIF uses them.
var lumaWeights = rgb{0.299, 0.587, 0.114}

func (c rgb) luma() float64 {
	return c[0]*lumaWeights[0] + c[1]*lumaWeights[1] + c[2]*lumaWeights[2]
}

func (c rgb) grey() bool { return c[0] == c[1] && c[1] == c[2] }

// light is the linear luma of a display-referred colour.
func (t tone) light(c rgb) float64 {
	for i := range c {
		c[i] = t.toLinear(c[i])
	}
	return c.luma()
}

// asFilm is how many px of film take as much light off the metal as is lost to so many
// px of it, all.
func (t tone) asFilm(px float64, film, metal rgb) float64 {
	f, m := t.light(film), t.light(metal)
	return px * m / math.Abs(m-f)
}

// mixing tells the luma, or tint, seen where a pixel is partly film and partly metal: the
// light mixes linearly in each channel, then goes through the tone curve.
type mixing struct {
	t           tone
	weights     rgb // of the channels in what is seen
	film, metal rgb // linear
	grey        bool
	// filmRate and metalRate are film's and metal's derivatives by the tone
	// curve's strength, their displayed colours staying as they are.
	filmRate, metalRate rgb
}

// newMixing mixes two display-referred colours, seen in a channel.
func newMixing(t tone, film, metal rgb, c channel) mixing {
	m := mixing{t: t, weights: c.weights()}
	for i := range 3 {
		m.film[i], m.metal[i] = t.toLinear(film[i]), t.toLinear(metal[i])
		m.filmRate[i], m.metalRate[i] = t.linearRate(m.film[i]), t.linearRate(m.metal[i])
	}
	m.grey = film.grey() && metal.grey() && !c.isTint()
	return m
}

// luma returns the display-referred luma 0..1 at film fraction f, which may lie
// a little outside 0..1.
func (m mixing) luma(f float64) float64 { return m.mixed(f, 1-f).luma }

// mixed is a luma with its derivatives: by the tone curve's strength, by the share
// of the film's light and by that of the metal's.
type mixed struct{ luma, byTone, byFilm, byMetal float64 }

// mixed returns the luma of so much of the film's light and so much of the metal's.
func (m *mixing) mixed(film, metal float64) (sum mixed) {
	if m.grey {
		m.add(&sum, 0, 1, film, metal)
		return sum
	}
	for i, w := range m.weights {
		m.add(&sum, i, w, film, metal)
	}
	return sum
}

// colour returns the display-referred colour of so much of the film's light and so
// much of the metal's.
func (m *mixing) colour(film, metal float64) (c rgb) {
	for i := range c {
		c[i] = m.t.fromLinear(film*m.film[i] + metal*m.metal[i])
	}
	return c
}

// bend is g (1-g) at linear light l, the form by which a tone curve with a toe or a
// shoulder alone departs from one with both alike, and the curve's slope there.
func (t tone) bend(l float64) (bend, byLight float64) {
	g := srgbFromLinear(l)
	_, _, byLight = t.display(l)
	return math.Max(0, g*(1-g)), byLight
}

// byBend is the derivative of mixed's luma by the strength of such a bend, film's and
// metal's displayed colours staying as they are.
func (m *mixing) byBend(film, metal float64) (rate float64) {
	for i, w := range m.weights {
		f, perF := m.t.bend(m.film[i])
		k, perK := m.t.bend(m.metal[i])
		own, per := m.t.bend(film*m.film[i] + metal*m.metal[i])
		rate += w * (own - per*(film*f/perF+metal*k/perK))
	}
	return rate
}

// add adds channel i with weight w.
func (m *mixing) add(sum *mixed, i int, w, film, metal float64) {
	v, byTone, byLight := m.t.display(film*m.film[i] + metal*m.metal[i])
	sum.luma += w * v
	sum.byTone += w * (byTone + byLight*(film*m.filmRate[i]+metal*m.metalRate[i]))
	sum.byFilm += w * byLight * m.film[i]
	sum.byMetal += w * byLight * m.metal[i]
}
