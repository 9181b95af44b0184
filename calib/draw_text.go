package calib

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// typeface is the one face of every drawing (Go Regular, BSD licence). Texts are
// drawn as its outlines, so that all file formats show the same areas.
type typeface struct {
	font    *sfnt.Font
	ppem    fixed.Int26_6 // one em in font units, so that outlines are not rounded
	capital float64       // height of the capitals in font units
}

// loadTypeface parses the face built into the program once.
var loadTypeface = sync.OnceValue(func() typeface {
	f, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		panic("calib: built-in typeface: " + err.Error())
	}
	ppem := fixed.I(int(f.UnitsPerEm()))
	metrics, err := f.Metrics(nil, ppem, font.HintingNone)
	if err != nil {
		panic("calib: built-in typeface: " + err.Error())
	}
	return typeface{f, ppem, units(metrics.CapHeight)}
})

func units(v fixed.Int26_6) float64 { return float64(v) / 64 }

// textShape returns the outlines of one line of text whose capitals are size mm
// high, centred on centre by its advance width and by the capitals' height. An
// empty or blank text has no rings. A character the face lacks is an error.
func textShape(text string, centre CardPoint, size float64) (Polygon, error) {
	line, width, err := textLine(text, size)
	if err != nil {
		return Polygon{}, err
	}
	shift := centre.Sub(CardPoint{width / 2, size / 2})
	for _, ring := range line.Rings {
		for i := range ring {
			ring[i] = ring[i].Add(shift)
		}
	}
	return line, nil
}

// textLine returns the outlines of one line of text, capitals size mm high, that
// starts at the origin and stands on y = 0, and its advance width in mm.
func textLine(text string, size float64) (line Polygon, width float64, err error) {
	face := loadTypeface()
	scale := size / face.capital
	var buf sfnt.Buffer
	var pen float64
	for _, r := range text {
		glyph, err := face.font.GlyphIndex(&buf, r)
		if err != nil || glyph == 0 {
			return Polygon{}, 0, fmt.Errorf("drawing: no outline for %q in %q; use plain letters and digits", r, text)
		}
		segments, err := face.font.LoadGlyph(&buf, glyph, face.ppem, nil)
		if err != nil {
			return Polygon{}, 0, fmt.Errorf("drawing: outline of %q: %w", r, err)
		}
		line.Rings = append(line.Rings, glyphRings(segments, pen, scale)...)
		advance, err := face.font.GlyphAdvance(&buf, glyph, face.ppem, font.HintingNone)
		if err != nil {
			return Polygon{}, 0, fmt.Errorf("drawing: width of %q: %w", r, err)
		}
		pen += units(advance)
	}
	return line, pen * scale, nil
}

// glyphRings flattens one glyph whose origin is at pen font units on the base
// line; scale is mm per font unit. Font outlines are clockwise in y up, so the
// rings are reversed.
func glyphRings(segments sfnt.Segments, pen, scale float64) [][]CardPoint {
	point := func(p fixed.Point26_6) CardPoint {
		return CardPoint{(pen + units(p.X)) * scale, -units(p.Y) * scale}
	}
	var rings [][]CardPoint
	for _, s := range segments {
		if s.Op == sfnt.SegmentOpMoveTo {
			rings = append(rings, []CardPoint{point(s.Args[0])})
			continue
		}
		ring := &rings[len(rings)-1]
		switch s.Op {
		case sfnt.SegmentOpLineTo:
			*ring = append(*ring, point(s.Args[0]))
		case sfnt.SegmentOpQuadTo:
			*ring = quadratic(*ring, point(s.Args[0]), point(s.Args[1]))
		default: // TrueType outlines have no cubic curves.
			panic("calib: built-in typeface has cubic outlines")
		}
	}
	for _, ring := range rings {
		slices.Reverse(ring)
	}
	return rings
}

// quadratic appends to ring the chords of the quadratic Bezier curve from the
// ring's last point by control to end. One chord over 1/n of the parameter stays
// within |p0 - 2 p1 + p2| / (4 n^2) of the curve.
func quadratic(ring []CardPoint, control, end CardPoint) []CardPoint {
	start := ring[len(ring)-1]
	bend := start.Sub(control.Scale(2)).Add(end).Norm() / 4
	n := max(1, int(math.Ceil(math.Sqrt(bend/flatness))))
	for i := 1; i <= n; i++ {
		t := float64(i) / float64(n)
		p := start.Scale((1 - t) * (1 - t)).Add(control.Scale(2 * t * (1 - t))).Add(end.Scale(t * t))
		ring = append(ring, p)
	}
	return ring
}
