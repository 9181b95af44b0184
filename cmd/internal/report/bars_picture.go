package report

import (
	"fmt"
	"slices"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// BarsPicture draws the bars that were measured of a printed scale, as the bytes of
// a JPEG file: each bar's outline and stations, and in words its width.
func BarsPicture(b pipeline.Bars) ([]byte, error) {
	o := &vision.Overlay{Heading: shortNames(b.Results)(b.Results[0])}
	drawCard(o, b.Found[0])
	for i, m := range b.Found {
		one := &vision.Overlay{}
		drawStrip(one, m)
		o.Stations = append(o.Stations, one.Stations...)
		outline := slices.Clone(one.Edges[1])
		slices.Reverse(outline)
		if outline = append(slices.Clone(one.Edges[0]), outline...); len(outline) > 2 {
			o.Bars = append(o.Bars, outline)
		}
		w := b.Results[i].Width
		o.Lines = append(o.Lines, fmt.Sprintf("bar %d at %s mm: width %s", i+1, place(m.Strip.Axis.At(0)), both(w.Mean, quantity.DefaultK*w.U)))
	}
	return o.JPEG(b.Photo)
}

func place(c calib.CardPoint) string { return fmt.Sprintf("%.0f, %.0f", c.X, c.Y) }
