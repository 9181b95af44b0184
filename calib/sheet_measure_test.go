package calib

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"math"
	"strings"
	"testing"
)

func newTestSheet(t *testing.T, paper string, bearings ...string) *Sheet {
	t.Helper()
	s, err := NewSheet(paper, testSerial, bearings)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A4 is 210 x 297 mm (ISO 216); letter is 8.5 x 11 in (215.9 x 279.4 mm).
var paperSizes = map[string][2]float64{"a4": {210, 297}, "letter": {215.9, 279.4}}

// drawing is a drawn page and how far off the drawing program may put an edge,
// in mm. A length has two edges; a mark's centre averages over many pixels and is
// held to a third.
type drawing struct {
	raster
	edge float64
}

func (d drawing) centre() float64 { return d.edge / 3 }

// Poppler moves straight edges by up to half a pixel.
func ofPDF(r raster) drawing { return drawing{r, 0.5 / r.scale} }

// Our own raster rounds a pixel's darkness down to a step of 1/255, on the
// white and on the black side of an edge.
func ofPNG(r raster) drawing { return drawing{r, 2.0 / 255 / r.scale} }

func TestPDFMeasures(t *testing.T) {
	for paper := range paperSizes {
		s := newTestSheet(t, paper)
		measureSheet(t, s, ofPDF(rasterisedPDF(t, s, 600)))
	}
}

func TestPDFOfOneCardMeasures(t *testing.T) {
	for _, l := range Layouts() {
		s, err := NewCard(l, testSerial, "")
		if err != nil {
			t.Fatal(err)
		}
		measureCard(t, s.Cards[0], ofPDF(rasterisedPDF(t, s, 2400)))
	}
}

func TestPNGMeasures(t *testing.T) {
	for paper := range paperSizes {
		s := newTestSheet(t, paper)
		for _, dpi := range []int{300, 600} {
			measureSheet(t, s, ofPNG(drawnPNG(t, s, dpi)))
		}
	}
}

// measureSheet measures a drawn page as callipers and a microscope would.
func measureSheet(t *testing.T, s *Sheet, m drawing) {
	t.Helper()
	size := paperSizes[s.Paper.Name]
	if b := m.grey.Bounds(); math.Abs(float64(b.Dx())-size[0]*m.scale) > 1 || math.Abs(float64(b.Dy())-size[1]*m.scale) > 1 {
		t.Errorf("%s: page is %v pixels, want %.1f by %.1f", s.Paper.Name, b, size[0]*m.scale, size[1]*m.scale)
	}
	measureCheckBars(t, s, m)
	for _, card := range s.Cards {
		measureCard(t, card, m)
	}
}

// measureCard compares the centroids of a card's marks and bars with the layout.
func measureCard(t *testing.T, card Placement, m drawing) {
	t.Helper()
	for _, mark := range card.Layout.Marks {
		want := SheetPoint{card.Centre.X + mark.Centre.X, card.Centre.Y - mark.Centre.Y}
		reach := card.Layout.Style.Teeth + 0.1 // a square that holds nothing but the mark
		c := m.centroid(want.X-reach, want.Y-reach, want.X+reach, want.Y+reach)
		if d := math.Hypot(c.X-want.X, c.Y-want.Y); !(d <= m.centre()) {
			t.Errorf("%s mark %d is %.5f mm off, at most %.5f", card.Layout.Name, mark.Code, d, m.centre())
		}
	}
	measurePitch(t, card, m)
}

// The bars' lengths are the design's: 150 mm across, 200 mm down. A calliper
// needs clean ends: nothing else within 5 mm beyond them.
func measureCheckBars(t *testing.T, s *Sheet, m drawing) {
	t.Helper()
	want := map[string]float64{"across": 150, "down": 200}
	if len(s.CheckBars) != len(want) {
		t.Fatalf("%d check bars, want %d", len(s.CheckBars), len(want))
	}
	for _, bar := range s.CheckBars {
		var length, middle, aim float64
		if bar.Name == "across" {
			aim = (bar.From.X + bar.To.X) / 2
			length, middle = m.line(bar.From.X-5, bar.To.X+5, func(x int) uint8 { return m.black(x, int(bar.From.Y*m.scale)) })
		} else {
			aim = (bar.From.Y + bar.To.Y) / 2
			length, middle = m.line(bar.From.Y-5, bar.To.Y+5, func(y int) uint8 { return m.black(int(bar.From.X*m.scale), y) })
		}
		if math.Abs(length-want[bar.Name]) > 2*m.edge {
			t.Errorf("%s: bar %s is %.4f mm long, want %g", s.Paper.Name, bar.Name, length, want[bar.Name])
		}
		if math.Abs(middle-aim) > m.edge {
			t.Errorf("%s: bar %s lies %.4f mm off along its length", s.Paper.Name, bar.Name, middle-aim)
		}
	}
}

// measurePitch measures every bar group of the card by its bars' centroids.
func measurePitch(t *testing.T, card Placement, m drawing) {
	t.Helper()
	for _, b := range card.Layout.Bars {
		if b.Count == 1 {
			continue
		}
		var first, last float64
		for i := range b.Count {
			bar := bounds(barShapes(b)[i])
			gap := (b.Pitch - b.Width) / 2
			if b.Vertical {
				c := m.centroid(card.Centre.X+bar.x0-gap, card.Centre.Y-bar.y1+1, card.Centre.X+bar.x1+gap, card.Centre.Y-bar.y0-1)
				last = c.X
			} else {
				c := m.centroid(card.Centre.X+bar.x0+1, card.Centre.Y-bar.y1-gap, card.Centre.X+bar.x1-1, card.Centre.Y-bar.y0+gap)
				last = -c.Y
			}
			if i == 0 {
				first = last
			}
		}
		if pitch := (last - first) / float64(b.Count-1); !(math.Abs(pitch-b.Pitch) <= 2*m.edge/float64(b.Count-1)) {
			t.Errorf("%s: %s has pitch %.5f mm, want %g", card.Layout.Name, b.Name, pitch, b.Pitch)
		}
	}
}

// The SVG is read as any reader of XML would, and its marks are found by their
// areas' centroids.
func TestSVGMeasures(t *testing.T) {
	for paper, size := range paperSizes {
		s := newTestSheet(t, paper)
		var b bytes.Buffer
		if err := s.WriteSVG(&b); err != nil {
			t.Fatal(err)
		}
		var svg struct {
			Width   string `xml:"width,attr"`
			Height  string `xml:"height,attr"`
			ViewBox string `xml:"viewBox,attr"`
			Paths   []struct {
				D string `xml:"d,attr"`
			} `xml:"path"`
		}
		if err := xml.Unmarshal(b.Bytes(), &svg); err != nil {
			t.Fatal(err)
		}
		w, h := fmt.Sprint(size[0]), fmt.Sprint(size[1])
		if svg.Width != w+"mm" || svg.Height != h+"mm" || svg.ViewBox != "0 0 "+w+" "+h {
			t.Errorf("%s: SVG is %s by %s, view %s", paper, svg.Width, svg.Height, svg.ViewBox)
		}
		var centres []CardPoint
		var longest []float64
		for _, p := range svg.Paths {
			rings := readPath(t, p.D)
			_, c := areaAndCentroid(rings)
			centres = append(centres, c)
			e := bounds(Polygon{rings})
			longest = append(longest, max(e.x1-e.x0, e.y1-e.y0))
		}
		for _, card := range s.Cards {
			for _, mark := range card.Layout.Marks {
				want := CardPoint{card.Centre.X + mark.Centre.X, card.Centre.Y - mark.Centre.Y}
				nearest := math.Inf(1)
				for _, c := range centres {
					nearest = min(nearest, c.Sub(want).Norm())
				}
				if nearest > 0.0001 { // coordinates are written to 0.0001 mm
					t.Errorf("%s: no area centred on %s mark %d; nearest %.5f mm", paper, card.Layout.Name, mark.Code, nearest)
				}
			}
		}
		for _, want := range []float64{150, 200} {
			if count(longest, want) != 1 {
				t.Errorf("%s: not one area %g mm long", paper, want)
			}
		}
	}
}

func count(values []float64, want float64) int {
	n := 0
	for _, v := range values {
		if math.Abs(v-want) < 0.0002 { // two coordinates written to 0.0001 mm
			n++
		}
	}
	return n
}

// readPath reads absolute M, L and Z commands.
func readPath(t *testing.T, d string) [][]CardPoint {
	t.Helper()
	var rings [][]CardPoint
	for _, part := range strings.Split(strings.TrimSuffix(d, "Z"), "Z") {
		var ring []CardPoint
		for _, pair := range strings.Split(strings.TrimPrefix(part, "M"), "L") {
			var p CardPoint
			if _, err := fmt.Sscan(pair, &p.X, &p.Y); err != nil {
				t.Fatalf("path %.40q: %v", part, err)
			}
			ring = append(ring, p)
		}
		rings = append(rings, ring)
	}
	return rings
}
