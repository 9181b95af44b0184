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

// linearSlope is linearFromSRGB's derivative.
func linearSlope(v float64) float64 {
	switch {
	case v <= 12.92*0.0031308:
		return 1 / 12.92
	case v <= 1:
		return 2.4 / 1.055 * math.Pow((v+0.055)/1.055, 1.4)
	}
	return 2.4 / 1.055
}

// tone is a photo's transfer curve: sRGB, then a bend, then an S-shaped curve.
//
// The bend keeps black and white. A positive one b lifts all between,
// e^b g / (1 + (e^b - 1) g), with a slope of e^b at black and e^-b at white: so do a
// film's shoulder and a higher power of the light. A negative one, above or at -1, gives
// the light itself a share, (1+b) g - b l: so does a lower power, and -1 is a curve that
// is linear in the light, as of pictures that are smoothed or put together by their
// displayed values.
//
// The S-shaped curve of strength S, h + 4 S h (1-h) (h - 1/2), keeps black, middle and
// white and has slope 1+S at the middle. |S| stays below maxTone, where it is monotone.
type tone struct{ S, Bend float64 }

const maxTone = 0.45

func (t tone) fromLinear(l float64) float64 { return t.display(l).v }

// displayed is what a tone curve makes of linear light, with its derivatives: by the
// curve's strength, by its bend and by the light.
type displayed struct{ v, byTone, byBend, byLight float64 }

func (t tone) display(l float64) displayed {
	d := t.bent(l)
	h := d.v
	if h < 0 || h > 1 { // straight on
		return d
	}
	d.byTone = 4 * h * (1 - h) * (h - 0.5)
	slope := 1 + t.S*(12*h*(1-h)-2)
	d.v += t.S * d.byTone
	d.byBend *= slope
	d.byLight *= slope
	return d
}

// bent is display before the S-shaped curve.
func (t tone) bent(l float64) displayed {
	g := srgbFromLinear(l)
	var byLight float64
	switch {
	case l <= 0.0031308:
		byLight = 12.92
	case l <= 1:
		byLight = (g + 0.055) / (2.4 * l)
	default:
		byLight = 1.055 / 2.4
	}
	steep := math.Exp(t.Bend)
	switch {
	case t.Bend < 0:
		return displayed{v: g + t.Bend*(g-l), byBend: g - l, byLight: byLight + t.Bend*(byLight-1)}
	case g < 0:
		return displayed{v: steep * g, byBend: steep * g, byLight: steep * byLight}
	case g > 1:
		return displayed{v: 1 + (g-1)/steep, byBend: -(g - 1) / steep, byLight: byLight / steep}
	}
	w := 1 / (1 + (steep-1)*g)
	h := steep * g * w
	return displayed{v: h, byBend: h * (1 - h), byLight: byLight * steep * w * w}
}

// linearRates returns the derivatives of linear light l by the curve's strength and by
// its bend where what is displayed stays as it is.
func (t tone) linearRates(l float64) (byTone, byBend float64) {
	d := t.display(l)
	return -d.byTone / d.byLight, -d.byBend / d.byLight
}

// toLinear inverts fromLinear, the S-shaped curve by Newton's method; it is monotone.
func (t tone) toLinear(v float64) float64 {
	if v <= 0 || v >= 1 {
		return t.unbent(v)
	}
	h := v
	for range 20 {
		f := h + 4*t.S*h*(1-h)*(h-0.5) - v
		d := 1 + 4*t.S*(-3*h*h+3*h-0.5)
		step := f / d
		h -= step
		if math.Abs(step) < 1e-12 {
			break
		}
	}
	return t.unbent(h)
}

// unbent inverts bent. A negative bend's is a rising convex curve of the sRGB value, which
// Newton's method goes down from above.
func (t tone) unbent(h float64) float64 {
	steep := math.Exp(t.Bend)
	switch {
	case t.Bend < 0:
		g := srgbFromLinear(h)
		for range 20 {
			l := linearFromSRGB(g)
			step := (g + t.Bend*(g-l) - h) / (1 + t.Bend - t.Bend*linearSlope(g))
			g -= step
			if math.Abs(step) < 1e-12 {
				break
			}
		}
		return linearFromSRGB(g)
	case h <= 0:
		return linearFromSRGB(h / steep)
	case h >= 1:
		return linearFromSRGB(1 + (h-1)*steep)
	}
	return linearFromSRGB(h / (steep + (1-steep)*h))
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
	// filmRate and metalRate are film's and metal's derivatives by the tone curve's
	// strength and by its bend, their displayed colours staying as they are.
	filmRate, metalRate [2]rgb
}

// newMixing mixes two display-referred colours, seen in a channel.
func newMixing(t tone, film, metal rgb, c channel) mixing {
	m := mixing{t: t, weights: c.weights()}
	for i := range 3 {
		m.film[i], m.metal[i] = t.toLinear(film[i]), t.toLinear(metal[i])
		m.filmRate[0][i], m.filmRate[1][i] = t.linearRates(m.film[i])
		m.metalRate[0][i], m.metalRate[1][i] = t.linearRates(m.metal[i])
	}
	m.grey = film.grey() && metal.grey() && !c.isTint()
	return m
}

// luma returns the display-referred luma 0..1 at film fraction f, which may lie
// a little outside 0..1.
func (m mixing) luma(f float64) float64 { return m.mixed(f, 1-f).luma }

// mixed is a luma with its derivatives: by the tone curve's strength and by its bend,
// by the share of the film's light and by that of the metal's.
type mixed struct{ luma, byTone, byBend, byFilm, byMetal float64 }

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

// channels are what the native code needs to know of the channels: see edge.h.
func (m *mixing) channels() (c [][7]float64) {
	weights := m.weights[:]
	if m.grey {
		weights = []float64{1}
	}
	for i, w := range weights {
		c = append(c, [7]float64{w, m.film[i], m.metal[i],
			m.filmRate[0][i], m.metalRate[0][i], m.filmRate[1][i], m.metalRate[1][i]})
	}
	return c
}

// add adds channel i with weight w.
func (m *mixing) add(sum *mixed, i int, w, film, metal float64) {
	d := m.t.display(film*m.film[i] + metal*m.metal[i])
	sum.luma += w * d.v
	sum.byTone += w * (d.byTone + d.byLight*(film*m.filmRate[0][i]+metal*m.metalRate[0][i]))
	sum.byBend += w * (d.byBend + d.byLight*(film*m.filmRate[1][i]+metal*m.metalRate[1][i]))
	sum.byFilm += w * d.byLight * m.film[i]
	sum.byMetal += w * d.byLight * m.metal[i]
}
