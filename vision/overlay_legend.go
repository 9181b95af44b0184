package vision

import (
	"fmt"
	"image/color"

	"stripgap/calib"
)

// hasLegend reports whether anything drawn needs explaining.
func (o *Overlay) hasLegend() bool {
	return len(o.Places) > 0 || len(o.Marks) > 0 || len(o.Stations) > 0 || len(o.Edges[0])+len(o.Edges[1]) > 0
}

// drawLegend names the signs that occur, in one row about y.
func (o *Overlay) drawLegend(c *canvas, y float64) {
	row := &legend{c: c, at: calib.PixelPoint{X: 40, Y: y}}
	if len(o.Places) > 0 {
		row.entry("look here", func(p calib.PixelPoint) { row.dash(inkAmber, placeStroke, p) })
	}
	used, dropped := o.countStations()
	if n := len(o.Marks); n > 0 {
		row.entry(fmt.Sprintf("mark (%d)", n), func(p calib.PixelPoint) { c.ring(inkWhite, 3, p, 11) })
	}
	if len(o.Bars) > 0 {
		row.entry("card's bar", func(p calib.PixelPoint) { row.dash(inkYellow, 3, p) })
	}
	if len(o.Edges[0])+len(o.Edges[1]) > 0 {
		row.entry("strip edge", func(p calib.PixelPoint) { row.dash(inkCyan, 3, p) })
	}
	if used > 0 {
		row.entry(fmt.Sprintf("station used (%d)", used), func(p calib.PixelPoint) {
			c.cased(inkCyan, 2, p.Sub(calib.PixelPoint{Y: 12}), p.Add(calib.PixelPoint{Y: 12}))
		})
	}
	if dropped > 0 {
		row.entry(fmt.Sprintf("station dropped (%d)", dropped), func(p calib.PixelPoint) { c.cross(inkRed, p, 9) })
	}
}

// countStations counts in the plot where there is one: it also has the stations
// at which no edge was found, which have no place in the photo.
func (o *Overlay) countStations() (used, dropped int) {
	count := func(isDropped bool) {
		if isDropped {
			dropped++
		} else {
			used++
		}
	}
	if o.Plot != nil {
		for _, q := range o.Plot.Points {
			count(q.Dropped)
		}
		return used, dropped
	}
	for _, s := range o.Stations {
		count(s.Dropped)
	}
	return used, dropped
}

// legend writes entries from left to right.
type legend struct {
	c  *canvas
	at calib.PixelPoint
}

func (l *legend) entry(text string, sign func(at calib.PixelPoint)) {
	f := fontKey{labelSize - 2, false}
	sign(l.at)
	l.c.text(inkBlack, f, l.at.Add(calib.PixelPoint{X: 30}), anchorLeft, text)
	l.at.X += 30 + l.c.measure(f, text) + 62
}

func (l *legend) dash(ink color.Color, width float64, at calib.PixelPoint) {
	l.c.cased(ink, width, at.Sub(calib.PixelPoint{X: 16}), at.Add(calib.PixelPoint{X: 16}))
}
