package vision

import "math"

// filmShadow is the shadow of a film on the metal beside it: it takes the share depth
// of the metal's light, as far as about reach px from the edge.
type filmShadow struct {
	form         shadowForm
	depth, reach float64
}

// shadowForm is how a shadow fades with the distance from the edge.
type shadowForm int

// A lamp to one side casts a shadow that ends where the film no longer hides it; the
// film keeps light that comes from all sides off the less, the further out.
const (
	castShadow    shadowForm = iota // full up to its reach, with a penumbra
	ambientShadow                   // falling as exp(-x/reach)
)

// penumbra is the blur of a cast shadow's border over its reach: the lamp has some
// size. Estimate, no source.
const penumbra = 0.35

// end is how much further from the edge than its blur a shadow is seen, px.
func (f filmShadow) end() float64 { return 2 * f.reach }

// at is the share of the metal's light that the shadow takes x px towards the film
// from the edge, seen through a Gaussian blur in px.
func (f filmShadow) at(x, blur float64) float64 {
	if f.depth == 0 {
		return 0
	}
	share, _, _ := f.whole(x, blur)
	return f.depth * share
}

// asFilm is how many px of film beside the edge change what is seen of the metal as
// much as the shadow does, all.
func (c camera1D) asFilm(s filmShadow, film, metal rgb) float64 {
	if !c.isTint() {
		return c.Tone.asFilm(s.depth*s.reach, film, metal)
	}
	mix := newMixing(c.Tone, film, metal, c.channel)
	bare := mix.luma(0)
	return s.reach * (mix.mixed(0, 1-s.depth).luma - bare) / (mix.luma(1) - bare)
}

// whole is at for a depth of 1, with its derivatives by blur and reach. A reach of 0
// is no shadow.
func (f filmShadow) whole(x, blur float64) (share, byBlur, byReach float64) {
	if f.reach == 0 {
		return 0, 0, 0
	}
	u := x / blur
	if f.form == castShadow {
		outer := math.Hypot(blur, penumbra*f.reach)
		z := (x + f.reach) / outer
		d := normalPDF(z) / outer
		share = normalCDF(z) - normalCDF(u)
		return share, u/blur*normalPDF(u) - z*d*blur/outer, d * (1 - z*penumbra*penumbra*f.reach/outer)
	}
	s := blur / f.reach
	grown := math.Exp(s*u + s*s/2)
	tail, d := normalCDF(-u-s), normalPDF(u+s)
	share = grown * tail
	byBlur = grown / f.reach * (s*tail + (u/s-1)*d)
	byReach = grown / f.reach * (s*d - (s*u+s*s)*tail)
	return share, byBlur, byReach
}
