package vision

import (
	"math"

	"stripgap/calib"
)

// Witness is what the card's printed bars say of this photo.
type Witness struct {
	BlurX, BlurY float64    // blur along the card's x and y, standard deviation, px
	Sharpening   float64    // unsharp mask amount; 0 is none
	Radius       float64    // its standard deviation, px
	Tone, ToneU  float64    // strength of the S-shaped tone curve, see tone
	Bend, BendU  float64    // of the tone curve, see tone
	toneCov      [3]float64 // variance of Tone, of Bend, and their covariance
	least        float64    // Residual, of the laying where it is least; 0 before the first
	Residual     float64    // root mean square of the edge shape's misfit, 1 is black to white
	Groups       []BarGroup
	Spread       float64 // mm by which print and photo thicken a bar's black, each edge
}

// BarGroup is one group of equal bars as measured.
type BarGroup struct {
	Name        string
	Nominal     float64 // pitch, mm
	Vertical    bool    // its pitch runs along the card's x
	Pitch, U    float64 // measured through the view, mm
	PixelsPitch float64 // px
	Length      float64 // of the group between its outer bars' middles, mm
}

// ScaleError is how far the bars' pitch in one direction is from its nominal.
type ScaleError struct {
	Axis     string  // "x" or "y" of the card
	Error, U float64 // relative
}

// pitchJitter is the standard uncertainty in mm that print jitter gives the
// length of a whole group of bars, so that no single group carries the mean.
const pitchJitter = 0.003

// Scale joins the groups of each direction, weighed by their uncertainty.
func (w *Witness) Scale() []ScaleError {
	var out []ScaleError
	for _, vertical := range [2]bool{true, false} {
		e := ScaleError{Axis: "y"}
		if vertical {
			e.Axis = "x"
		}
		sum := 0.0
		for _, g := range w.Groups {
			if g.Vertical == vertical {
				u := math.Hypot(g.U/g.Nominal, pitchJitter/g.Length)
				e.Error += (g.Pitch/g.Nominal - 1) / (u * u)
				sum += 1 / (u * u)
			}
		}
		if sum > 0 {
			e.Error, e.U = e.Error/sum, math.Sqrt(1/sum)
			out = append(out, e)
		}
	}
	return out
}

// tone is the photo's tone curve.
func (w *Witness) tone() tone { return tone{w.Tone, w.Bend} }

// along returns the camera's model of an edge whose normal on the card is n.
// Blur is taken as an elliptic Gaussian with its axes along the card's.
func (w *Witness) along(n calib.CardPoint) camera1D {
	l := n.Norm()
	c, s := n.X/l, n.Y/l
	return camera1D{
		S: math.Sqrt(w.BlurX*w.BlurX*c*c + w.BlurY*w.BlurY*s*s),
		A: w.Sharpening, R: w.Radius, Tone: w.tone(),
	}
}

// barSlice is one slice across an isolated bar.
type barSlice struct {
	slice
	vertical bool
	x0, x1   float64 // where the view expects the edges, px across
	perPx    float64 // mm per px across
}

const (
	barMargin     = 1.25 // mm of white beside an isolated bar that a slice uses
	barMarginMost = 22   // px of it, and of the bar's black, that are enough for any halo
	barStation    = 1.0  // mm along the bars of a group for one slice
	barSlices     = 3    // of one isolated bar, together as long as it
	barEnd        = 0.5  // mm left out at both ends of a bar
)

// isolatedSlices cuts the isolated bars across, as far as the photo holds them.
func isolatedSlices(luma *Plane, v *calib.View, l *calib.Layout) []barSlice {
	var out []barSlice
	for _, b := range l.Bars {
		if b.Count != 1 {
			continue
		}
		long := (b.Length - 2*barEnd) / barSlices
		for i := range barSlices {
			a := barEnd + long*float64(i) // start of the slice
			c := barPoint(b, b.Width/2, a+long/2)
			f, perPx, ok := cardFrame(v, c, barPoint(b, b.Width/2, a), calib.Plane{})
			if !ok {
				continue
			}
			half, edge := long/2/perPx, b.Width/2/perPx
			s, ok := gather(luma, f, half, around(-edge, edge, math.Min(barMargin/perPx, barMarginMost)))
			if ok {
				s.unclip()
				out = append(out, barSlice{s, b.Vertical, -edge, edge, perPx})
			}
		}
	}
	return out
}

// fewBarPixels is the width in px under which an isolated bar may be too narrow to
// tell its edges' shape: their blur and halo meet in its middle.
const fewBarPixels = 16.0

// isolatedPixels returns the median width of the bars' slices, px.
func isolatedPixels(slices []barSlice) float64 {
	var px []float64
	for _, s := range slices {
		px = append(px, s.x1-s.x0)
	}
	return median(px)
}

// barPoint returns the card point at across and along mm from the bar's corner.
func barPoint(b calib.Bars, across, along float64) calib.CardPoint {
	if b.Vertical {
		return b.Start.Add(calib.CardPoint{X: across, Y: along})
	}
	return b.Start.Add(calib.CardPoint{X: along, Y: across})
}

// cardFrame lays a photo frame at card point c along the card line from back to
// c, and gives the mm per px across it.
func cardFrame(v *calib.View, c, back calib.CardPoint, pl calib.Plane) (frame, float64, bool) {
	o, ok1 := v.Image(pl.At(c))
	p, ok2 := v.Image(pl.At(back))
	if !ok1 || !ok2 || o.Sub(p).Norm() < 1e-6 {
		return frame{}, 0, false
	}
	f := newFrame(o, o.Sub(p), false)
	a, ok1 := v.Card(f.at(-5), pl)
	b, ok2 := v.Card(f.at(5), pl)
	if !ok1 || !ok2 {
		return frame{}, 0, false
	}
	t := c.Sub(back)
	d := calib.CardPoint{X: b.X - a.X, Y: b.Y - a.Y}
	perPx := math.Abs(d.X*t.Y-d.Y*t.X) / t.Norm() / 10
	return f, perPx, perPx > 0
}

// measureBars fits blur, sharpening and tone to the isolated bars' edges and
// measures the pitch of every group. Edge positions are free in all fits, so ink
// spread drops out.
func measureBars(p *Photo, v *calib.View, l *calib.Layout) (*Witness, *Refusal) {
	slices := isolatedSlices(p.Luma, v, l)
	saturated := 0
	for _, s := range slices {
		if s.saturated > maxClipped {
			saturated++
		}
	}
	if len(slices) == 0 {
		return nil, Refuse(CodeFewMarks, "the card's bars are not in the picture")
	}
	if 2*saturated > len(slices) {
		return nil, Refuse(CodeSaturated, "the card's white is burnt out")
	}
	w, ok := fitCamera(slices)
	if px := isolatedPixels(slices); !ok && px < fewBarPixels {
		return nil, Refuse(CodeTooSmall, "its bars are %.0f px wide, and %.0f px tell how sharp they are", px, fewBarPixels)
	}
	if !ok {
		return nil, Refuse(CodeBlurred, "the card's bars cannot be measured")
	}
	for _, b := range l.Bars {
		if b.Count > 1 {
			if g, ok := measurePitch(p.Luma, v, b); ok {
				w.Groups = append(w.Groups, g)
			}
		}
	}
	return w, nil
}
