package main

import (
	"bytes"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

var (
	blue   = color.NRGBA{R: 0x20, G: 0x60, B: 0xb0, A: 0xff}
	orange = color.NRGBA{R: 0xd0, G: 0x70, B: 0x10, A: 0xff}
	pale   = color.NRGBA{R: 0xb0, G: 0xc8, B: 0xe8, A: 0xff}
)

// drawPlot returns a PNG: error against width in pixels on the left, the
// normalised error's histogram over the normal density on the right.
func drawPlot(rows []outcome) ([]byte, error) {
	left, err := errorPlot(rows)
	if err != nil {
		return nil, err
	}
	right, err := normalisedPlot(rows)
	if err != nil {
		return nil, err
	}
	canvas := vgimg.New(30*vg.Centimeter, 12*vg.Centimeter)
	tiles := draw.Tiles{Rows: 1, Cols: 2, PadX: vg.Centimeter, PadTop: 4, PadBottom: 4, PadLeft: 4, PadRight: 12}
	plots := [][]*plot.Plot{{left, right}}
	for i, c := range plot.Align(plots, tiles, draw.New(canvas))[0] {
		plots[0][i].Draw(c)
	}
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: canvas}).WriteTo(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func errorPlot(rows []outcome) (*plot.Plot, error) {
	p := plot.New()
	p.Title.Text = "Error of the mean width"
	p.X.Label.Text = "true width, px"
	p.Y.Label.Text = "measured less true, %"
	p.Add(plotter.NewGrid())
	p.Legend.Top = true
	for i, layout := range []string{"bench", "rider"} {
		var at plotter.XYs
		for k := range rows {
			o := &rows[k]
			w, ok := widthPixels(o.truth)
			if ok && o.read() && o.profile != nil && o.truth.Scene.Card.Layout == layout {
				at = append(at, plotter.XY{X: w, Y: o.width.err})
			}
		}
		if len(at) == 0 {
			continue
		}
		s, err := plotter.NewScatter(at)
		if err != nil {
			return nil, err
		}
		s.GlyphStyle = draw.GlyphStyle{Color: []color.Color{blue, orange}[i], Radius: 2, Shape: draw.CircleGlyph{}}
		p.Add(s)
		p.Legend.Add(layout, s)
	}
	return p, nil
}

func normalisedPlot(rows []outcome) (*plot.Plot, error) {
	p := plot.New()
	p.Title.Text = "Error over its standard uncertainty"
	p.X.Label.Text = "error / u of the mean width, print scale taken out of both"
	p.Y.Label.Text = "density"
	// Beyond 5 u everything lands in the outermost bin, so that one bad photo
	// does not flatten the picture.
	const reach = 5
	var z plotter.Values
	for i := range rows {
		if o := &rows[i]; o.read() && o.profile != nil {
			z = append(z, math.Max(-reach, math.Min(reach, o.net.normalised())))
		}
	}
	if len(z) > 0 {
		h, err := plotter.NewHist(z, 40)
		if err != nil {
			return nil, err
		}
		h.Normalize(1)
		h.FillColor = pale
		p.Add(h)
	}
	normal := plotter.NewFunction(func(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) })
	normal.XMin, normal.XMax, normal.Samples = -reach, reach, 200
	normal.Color = orange
	p.Add(normal)
	p.X.Min, p.X.Max, p.Y.Min = -reach, reach, 0
	p.Y.Max = math.Max(p.Y.Max, 0.42)
	return p, nil
}
