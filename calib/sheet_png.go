package calib

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/draw"
	"io"
	"math"

	"golang.org/x/image/vector"
)

// Resolutions WritePNG accepts, dots per inch: below, the finest bars (0.25 mm)
// are blurred into grey; above, no printer follows.
const (
	MinDPI = 150
	MaxDPI = 2400
)

// bandRows is the number of rows drawn at once, so that a page at the highest
// resolution (560 megapixels) needs little memory.
const bandRows = 64

// PixelsPerMM returns the scale of the PNG file for a resolution. The file states
// whole pixels per metre, and the page is drawn to exactly what it states.
func PixelsPerMM(dpi int) float64 { return math.Round(float64(dpi)/0.0254) / 1000 }

// WritePNG writes the page as an 8-bit grey PNG (ISO/IEC 15948) that states its
// resolution. A pixel's darkness is the black share of its area, and pixel (0,0)
// is the first half pixel in from the page's corner: a place at x mm is at pixel
// x*PixelsPerMM(dpi)-0.5. The page is rounded to whole pixels at its right and
// lower edge. The dpi must lie within MinDPI to MaxDPI; other errors are the
// writer's.
func (s *Sheet) WritePNG(w io.Writer, dpi int) error {
	if dpi < MinDPI || dpi > MaxDPI {
		return fmt.Errorf("png: %d dpi is outside %d to %d", dpi, MinDPI, MaxDPI)
	}
	outlines, err := s.Outlines()
	if err != nil {
		return err
	}
	scale := PixelsPerMM(dpi)
	width := int(math.Round(s.Paper.Width * scale))
	height := int(math.Round(s.Paper.Height * scale))
	if _, err := io.WriteString(w, "\x89PNG\r\n\x1a\n"); err != nil {
		return err
	}
	header := binary.BigEndian.AppendUint32(nil, uint32(width))
	header = binary.BigEndian.AppendUint32(header, uint32(height))
	if err := writeChunk(w, "IHDR", append(header, 8, 0, 0, 0, 0)); err != nil { // 8-bit grey
		return err
	}
	perMetre := binary.BigEndian.AppendUint32(nil, uint32(math.Round(scale*1000)))
	if err := writeChunk(w, "pHYs", append(append(perMetre, perMetre...), 1)); err != nil {
		return err
	}
	if err := writeRows(w, newBands(outlines, scale, width, height)); err != nil {
		return err
	}
	return writeChunk(w, "IEND", nil)
}

// writeRows packs all rows as one zlib stream cut into IDAT chunks. Each row is
// stored as its difference to the one above, which is mostly nothing.
func writeRows(w io.Writer, b *bands) error {
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	above, row := make([]byte, b.width), make([]byte, b.width+1)
	row[0] = 2 // the filter "up"
	for y := range b.height {
		black := b.row(y)
		for x, k := range black {
			row[x+1] = above[x] - k // (255-k) - (255-above)
		}
		copy(above, black)
		if y == 0 { // above the first row is 0, not white
			for x, k := range black {
				row[x+1] = 255 - k
			}
		}
		z.Write(row) // a buffer takes everything
		if packed.Len() >= 1<<16 {
			if err := writeChunk(w, "IDAT", packed.Bytes()); err != nil {
				return err
			}
			packed.Reset()
		}
	}
	z.Close()
	return writeChunk(w, "IDAT", packed.Bytes())
}

func writeChunk(w io.Writer, kind string, data []byte) error {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, kind...), data...)
	b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
	_, err := w.Write(b)
	return err
}

// bands draws a page a few rows at a time, from the top down.
type bands struct {
	outlines      []Outline
	scale         float64 // pixels per mm
	width, height int
	raster        *vector.Rasterizer
	black         *image.Alpha // the band last drawn
	first         int          // its first row
}

func newBands(outlines []Outline, scale float64, width, height int) *bands {
	return &bands{
		outlines: outlines, scale: scale, width: width, height: height,
		raster: vector.NewRasterizer(width, bandRows),
		black:  image.NewAlpha(image.Rect(0, 0, width, bandRows)),
		first:  -bandRows,
	}
}

// row returns row y, 255 for black; it is valid until the next call.
func (b *bands) row(y int) []byte {
	if y >= b.first+bandRows {
		b.first = y - y%bandRows
		b.draw()
	}
	from := (y - b.first) * b.black.Stride
	return b.black.Pix[from : from+b.width]
}

// draw fills the band at b.first. All areas go into one path: they do not
// overlap, so their coverages of a shared pixel add up.
func (b *bands) draw() {
	b.raster.Reset(b.width, bandRows)
	b.raster.DrawOp = draw.Src
	top := float64(b.first)
	for _, o := range b.outlines {
		for _, ring := range o.Rings {
			if !b.crosses(ring, top, top+bandRows) {
				continue
			}
			for i, p := range ring {
				x, y := float32(p.X*b.scale), float32(p.Y*b.scale-top)
				if i == 0 {
					b.raster.MoveTo(x, y)
				} else {
					b.raster.LineTo(x, y)
				}
			}
			b.raster.ClosePath()
		}
	}
	b.raster.Draw(b.black, b.black.Bounds(), image.Opaque, image.Point{})
}

// crosses reports whether the ring has something between two heights in pixels.
func (b *bands) crosses(ring []SheetPoint, top, bottom float64) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range ring {
		low, high = min(low, p.Y*b.scale), max(high, p.Y*b.scale)
	}
	return low < bottom && high > top
}
