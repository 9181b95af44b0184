package main

import (
	"math"

	"stripgap/vision/synth"
)

// knob is a property of a scene that photos are grouped by.
type knob struct {
	name  string
	value func(*outcome) string // "" leaves the photo out
}

func knobs() []knob {
	return []knob{
		{"card", func(o *outcome) string { return o.truth.Scene.Card.Layout }},
		{"surface", func(o *outcome) string { return o.truth.Scene.Surface.Kind }},
		{"finish", func(o *outcome) string { return o.truth.Scene.Surface.Finish }},
		{"strip colour", func(o *outcome) string {
			if len(o.truth.Scene.Strips) == 0 {
				return ""
			}
			return colourName(o.truth.Scene.Strips[0].Colour)
		}},
		{"tone curve", func(o *outcome) string { return o.truth.Scene.Processing.Response.Kind }},
		{"blur px", func(o *outcome) string { return band(blurOf(o.truth.Scene.Optics), 1, 1.5, 2) }},
		{"tilt deg", func(o *outcome) string { return band(o.truth.Scene.Pose.Tilt, 8, 16, 25) }},
		{"width px", func(o *outcome) string {
			if w, ok := widthPixels(o.truth); ok {
				return band(w, 20, 40, 80)
			}
			return ""
		}},
	}
}

// blurOf is the standard deviation in px of everything the optics do, along the
// direction where it is largest: a disc of radius r has r/2 along any line, a
// stroke of length l has l/sqrt(12) along itself.
func blurOf(o synth.Optics) float64 {
	stroke := o.MotionX*o.MotionX + o.MotionY*o.MotionY
	return math.Sqrt(o.Blur*o.Blur + o.Defocus*o.Defocus/4 + stroke/12)
}

// widthPixels returns the true distance in px between the strip's edges in the
// middle of its profile, and false without a strip.
func widthPixels(t *synth.Truth) (float64, bool) {
	if len(t.Strips) == 0 || len(t.Strips[0].Profile) == 0 {
		return 0, false
	}
	p := t.Strips[0].Profile
	s := p[len(p)/2]
	return s.Left.Sub(s.Right).Norm(), true
}

// printError is what the print's scale alone does to a width across the first
// strip, percent. No photo can show it; it is nothing when the reader was told.
func (o *outcome) printError() float64 {
	s := &o.truth.Scene
	if len(s.Strips) == 0 || o.tell.print() {
		return 0
	}
	sin, cos := math.Sincos(s.Strips[0].Angle * math.Pi / 180)
	return 100 * (math.Hypot(sin/s.Card.ScaleX, cos/s.Card.ScaleY) - 1)
}

// luminance is the CIE Y of a linear sRGB colour (IEC 61966-2-1).
func luminance(c synth.RGB) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// colourName sorts a colour by hue, or by lightness when it has little of one.
func colourName(c synth.RGB) string {
	hi, lo := max(c[0], c[1], c[2]), min(c[0], c[1], c[2])
	const weak = 0.3 // chroma over the largest part: common sense, no source
	if hi == 0 || (hi-lo)/hi < weak {
		return [...]string{"black", "grey", "white"}[lightness(luminance(c))]
	}
	// The hue of the usual hexagon, in sixths of a turn from red.
	var hue float64
	switch hi {
	case c[0]:
		hue = math.Mod((c[1]-c[2])/(hi-lo)+6, 6)
	case c[1]:
		hue = (c[2]-c[0])/(hi-lo) + 2
	default:
		hue = (c[0]-c[1])/(hi-lo) + 4
	}
	return [...]string{"red", "yellow", "green", "cyan", "blue", "magenta"}[int(hue+0.5)%6]
}

func lightness(y float64) int {
	switch {
	case y < 0.08:
		return 0
	case y < 0.45:
		return 1
	}
	return 2
}
