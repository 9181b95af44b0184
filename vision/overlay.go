package vision

import (
	"bytes"
	"fmt"
	"image"
	"math"

	"github.com/disintegration/imaging"

	"stripgap/calib"
)

// Overlay is what a picture shows of a reading: what was found, drawn over the
// photo, and the profile under it. Every part may be absent, so that a refused
// photo's picture shows how far the reading came. Places are the photo's pixels.
type Overlay struct {
	Heading string   // one line at the top
	Lines   []string // what was read, or why not and what to do
	Refused bool     // marks the heading as a refusal

	Marks    []OverlayMark
	Bars     [][]calib.PixelPoint  // outlines of the witness bars, closed
	Edges    [2][]calib.PixelPoint // the strip's two traced edges
	Stations []OverlayStation
	Ends     []OverlayEnd         // none, or the first end and the second
	Places   [][]calib.PixelPoint // outlines of what to look at, closed
	Plot     *OverlayPlot         // nil leaves the plot out

	// LargeLabels makes the ends' labels readable where the picture is shown at a
	// quarter of its size, as on a phone or beside a plot on paper.
	LargeLabels bool
}

// OverlayMark is a mark of the card.
type OverlayMark struct {
	Centre calib.PixelPoint
	Radius float64 // px of the photo, above 0
}

// OverlayStation is a slice across the strip, from one edge to the other.
type OverlayStation struct {
	Edges   [2]calib.PixelPoint
	Dropped bool // left out of the profile
}

// OverlayEnd is one end of the measured length of strip.
type OverlayEnd struct {
	At    calib.PixelPoint
	Name  string // "front"
	Value string // its width or clearance, with unit
}

// OverlayPlot is a quantity along the strip, with its uncertainty.
type OverlayPlot struct {
	Quantity string // "clearance" or "width"
	Points   []OverlayPoint
	EndNames [2]string      // of the first end and the second
	Limits   []OverlayLimit // drawn across the plot; may be none
}

// OverlayPoint is one station of the plot.
type OverlayPoint struct {
	At      float64 // mm along the strip from its middle, towards the first end
	Value   float64 // mm
	Half    float64 // mm, half the width of the 95 % band, 0 or more
	Dropped bool    // its place is shown, Value and Half are not looked at
}

// OverlayLimit is a limit of the quantity.
type OverlayLimit struct {
	Name  string
	Value float64 // mm
}

// Measures of the picture, in its pixels. The text stays readable when the
// picture is shown half size on a phone.
const (
	pictureWidth   = 1600
	maxPhotoHeight = 1500
	labelSize      = 30
	legendHeight   = 64
	plotHeight     = 560
)

// JPEG draws the picture and returns it as a JPEG file.
func (o *Overlay) JPEG(p *Photo) ([]byte, error) {
	img, err := o.Draw(p)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := imaging.Encode(&b, img, imaging.JPEG, imaging.JPEGQuality(88)); err != nil {
		return nil, fmt.Errorf("overlay: encode: %w", err)
	}
	return b.Bytes(), nil
}

// Draw returns the picture, 1600 pixels wide: a banner of text, the photo cut
// down to the card and the strip with the findings over it, a legend, and the
// plot. A place or a value that is not a finite number is an error.
func (o *Overlay) Draw(p *Photo) (*image.RGBA, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	v, height := o.layOut(p)
	banner := o.bannerHeight()
	c := newCanvas(pictureWidth, height)
	o.drawBanner(c)
	v.place(c, p)
	o.drawFindings(c.within(v.on), v)
	y := banner + v.height
	if o.hasLegend() {
		o.drawLegend(c, float64(y)+legendHeight/2)
		y += legendHeight
	}
	if o.Plot != nil {
		o.Plot.draw(c, image.Rect(0, y, pictureWidth, y+plotHeight), o.firstOnRight())
	}
	return c.img, nil
}

// layOut decides which part of the photo goes where, and how high the picture is.
func (o *Overlay) layOut(p *Photo) (v *pictureView, height int) {
	v = o.view(p)
	height = o.bannerHeight() + v.height
	if o.hasLegend() {
		height += legendHeight
	}
	if o.Plot != nil {
		height += plotHeight
	}
	return v, height
}

// Placing returns how Draw maps pixels of the photo to those of the picture, and
// the picture's size.
func (o *Overlay) Placing(p *Photo) (place func(calib.PixelPoint) calib.PixelPoint, width, height int) {
	v, height := o.layOut(p)
	return v.point, pictureWidth, height
}

// firstOnRight reports whether the first end is seen to the right of the
// second; the plot is laid out the same way round.
func (o *Overlay) firstOnRight() bool {
	return len(o.Ends) == 2 && o.Ends[0].At.X > o.Ends[1].At.X
}

// places are all the points the picture has to show.
func (o *Overlay) places() (ps []calib.PixelPoint) {
	for _, m := range o.Marks {
		r := calib.PixelPoint{X: m.Radius, Y: m.Radius}
		ps = append(ps, m.Centre.Sub(r), m.Centre.Add(r))
	}
	for _, lines := range [3][][]calib.PixelPoint{o.Bars, o.Edges[:], o.Places} {
		for _, line := range lines {
			ps = append(ps, line...)
		}
	}
	for _, s := range o.Stations {
		ps = append(ps, s.Edges[:]...)
	}
	for _, e := range o.Ends {
		ps = append(ps, e.At)
	}
	return ps
}

func (o *Overlay) check() error {
	for _, p := range o.places() {
		if !finite(p.X, p.Y) {
			return fmt.Errorf("overlay: a point is at (%g, %g); leave out what was not found", p.X, p.Y)
		}
	}
	if n := len(o.Ends); n != 0 && n != 2 {
		return fmt.Errorf("overlay: %d ends; give none or both", n)
	}
	if o.Plot == nil {
		return nil
	}
	for _, q := range o.Plot.Points {
		if !finite(q.At) || !q.Dropped && (!finite(q.Value, q.Half) || q.Half < 0) {
			return fmt.Errorf("overlay: plot point %+v has no place; mark it as dropped", q)
		}
	}
	for _, l := range o.Plot.Limits {
		if !finite(l.Value) {
			return fmt.Errorf("overlay: limit %q is %g", l.Name, l.Value)
		}
	}
	return nil
}

func finite(vs ...float64) bool {
	for _, v := range vs {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
