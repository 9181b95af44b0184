package vision

import "math"

// channel is what of a photo's colours edges are measured on: luma, or, where towards
// is not zero, the chroma in that unit direction of Cb and Cr.
//
// Luma is twice as fine. Chroma is for a film that is about as light as its metal: it
// holds what the eye sees there, and little of the metal's texture, which is grey.
type channel struct{ towards [2]float64 }

// tintOf is the channel in which two display-referred colours differ most but for
// luma. False where they hardly do.
func tintOf(film, metal rgb) (channel, bool) {
	f, m := film.chroma(), metal.chroma()
	d := [2]float64{f[0] - m[0], f[1] - m[1]}
	size := math.Hypot(d[0], d[1])
	if size < leastTint {
		return channel{}, false
	}
	return channel{[2]float64{d[0] / size, d[1] / size}}, true
}

// tintWithout is tintOf that shows nothing of a display's primary, 0 to 2.
func tintWithout(primary int, film, metal rgb) (channel, bool) {
	var pure rgb
	pure[primary] = 1
	k, f, m := pure.chroma(), film.chroma(), metal.chroma()
	size := math.Hypot(k[0], k[1])
	c := channel{[2]float64{k[1] / size, -k[0] / size}}
	d := c.towards[0]*(f[0]-m[0]) + c.towards[1]*(f[1]-m[1])
	if d < 0 {
		c.towards = [2]float64{-c.towards[0], -c.towards[1]}
	}
	return c, math.Abs(d) >= leastTint
}

func (c channel) isTint() bool { return c.towards != [2]float64{} }

// of is what the channel shows of a display-referred colour: luma 0..1, or chroma
// about 0.
func (c channel) of(colour rgb) float64 {
	if !c.isTint() {
		return colour.luma()
	}
	k := colour.chroma()
	return c.towards[0]*k[0] + c.towards[1]*k[1]
}

// weights are what the channel shows of pure red, green and blue.
func (c channel) weights() rgb {
	if !c.isTint() {
		return lumaWeights
	}
	return rgb{c.of(rgb{1, 0, 0}), c.of(rgb{0, 1, 0}), c.of(rgb{0, 0, 1})}
}

// seekTint has the strip traced by its colour, or tells why it cannot be. A primary that
// is burnt out or crushed, in the metal or in the film, is not their own there and tells
// nothing of how they mix: it is left out, where it is one alone.
func (t *traced) seekTint() (why string) {
	film, metal, ok := t.c.colours(t.roughly())
	if !ok {
		return dropOutside
	}
	var both rgb
	var lost []int
	for i := range both {
		both[i] = (metal[0][i] + metal[1][i]) / 2
		lo, hi := min(film[i], metal[0][i], metal[1][i]), max(film[i], metal[0][i], metal[1][i])
		if hi > burntOut || lo < 1-burntOut {
			lost = append(lost, i)
		}
	}
	t.film, t.metal = film, metal
	if t.c.seen, ok = tintOf(film, both); !ok {
		return dropContrast
	}
	if len(lost) == 1 {
		t.c.seen, ok = tintWithout(lost[0], film, both)
	}
	if !ok || len(lost) > 1 {
		return dropSaturated
	}
	t.cam.channel = t.c.seen
	return ""
}

// hazeLevels is how many levels of chroma a smear must make at least to be seen.
const hazeLevels = 3

// wouldShow reports whether a strip traced by its colour would show what luma is refused
// for: of film drawn out, some of the film's colour.
func (t *traced) wouldShow(code string) bool {
	drawnOut := code == CodeSmeared || code == CodeUnevenEdges
	return !drawnOut || hazeLeast*t.c.contrast >= hazeLevels/255.0
}

// gather is the slice of a channel. What is burnt out shows in luma.
func (p *Photo) gather(c channel, f frame, half float64, r cuts) (slice, bool) {
	s, ok := gather(p.Luma, f, half, r)
	if !ok || !c.isTint() {
		return s, ok
	}
	cb, ok := p.sampled(p.Cb, f, half, r)
	if !ok {
		return slice{}, false
	}
	cr, ok := p.sampled(p.Cr, f, half, r) // in the same bins
	for i := range cb.bins {
		b := &cb.bins[i]
		b.y = c.towards[0]*(b.y-noChroma) + c.towards[1]*(cr.bins[i].y-noChroma)
	}
	cb.saturated = s.saturated
	return cb, ok
}

// noChroma is what a chroma plane holds of grey, 0..1.
const noChroma = 128.0 / 255

// sampled gathers a chroma plane's samples, each at its own place.
func (p *Photo) sampled(plane *Plane, f frame, half float64, r cuts) (slice, bool) {
	fx, fy := float64(p.ChromaX), float64(p.ChromaY)
	x0, y0, x1, y1 := f.box(half, r.lo, r.hi)
	box := [4]float64{chromaCoord(x0, p.ShiftX, p.ChromaX), chromaCoord(y0, p.ShiftY, p.ChromaY),
		chromaCoord(x1, p.ShiftX, p.ChromaX), chromaCoord(y1, p.ShiftY, p.ChromaY)}
	f.o.X, f.o.Y = chromaCoord(f.o.X, p.ShiftX, p.ChromaX), chromaCoord(f.o.Y, p.ShiftY, p.ChromaY)
	f.along.X, f.along.Y = f.along.X*fx, f.along.Y*fy // from samples to px
	f.across.X, f.across.Y = f.across.X*fx, f.across.Y*fy
	return sortPixels(plane, f, box, half, r)
}

// seen returns what the channel shows of the pixel (x, y), which must lie inside.
func (p *Photo) seen(c channel, x, y int) float64 {
	if !c.isTint() {
		return float64(p.Luma.At(x, y)) / 255
	}
	u, v := chromaCoord(float64(x), p.ShiftX, p.ChromaX), chromaCoord(float64(y), p.ShiftY, p.ChromaY)
	return (c.towards[0]*(p.Cb.bilinear(u, v)-128) + c.towards[1]*(p.Cr.bilinear(u, v)-128)) / 255
}
