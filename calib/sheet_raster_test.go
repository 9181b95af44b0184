package calib

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// raster is a page as pixels, for measuring.
type raster struct {
	grey  *image.Gray
	scale float64 // pixels per mm
}

// black returns a pixel's darkness, 0 to 255.
func (r raster) black(x, y int) uint8 { return 255 - r.grey.GrayAt(x, y).Y }

// line returns the black length in mm along one line of pixels between two places,
// and its middle.
func (r raster) line(from, to float64, black func(int) uint8) (length, middle float64) {
	for i := r.pixel(from); i < r.pixel(to); i++ {
		k := float64(black(i)) / 255
		length += k
		middle += k * (float64(i) + 0.5)
	}
	return length / r.scale, middle / length / r.scale
}

// centroid returns the middle of the black within a box whose border runs on
// white.
func (r raster) centroid(x0, y0, x1, y1 float64) SheetPoint {
	var area float64
	var c SheetPoint
	for y := r.pixel(y0); y < r.pixel(y1); y++ {
		for x := r.pixel(x0); x < r.pixel(x1); x++ {
			k := float64(r.black(x, y)) / 255
			area += k
			c.X += k * (float64(x) + 0.5)
			c.Y += k * (float64(y) + 0.5)
		}
	}
	return SheetPoint{c.X / area / r.scale, c.Y / area / r.scale}
}

// pixel returns the first pixel that begins at or nearest to a place in mm.
func (r raster) pixel(mm float64) int { return int(math.Round(mm * r.scale)) }

// drawnPNG writes the page as PNG and decodes it with the standard library.
func drawnPNG(t *testing.T, s *Sheet, dpi int) raster {
	t.Helper()
	var b bytes.Buffer
	if err := s.WritePNG(&b, dpi); err != nil {
		t.Fatal(err)
	}
	perMetre := statedPixelsPerMetre(t, b.Bytes())
	m, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	grey, ok := m.(*image.Gray)
	if !ok {
		t.Fatalf("the PNG is %T, want grey", m)
	}
	return raster{grey, float64(perMetre) / 1000}
}

func drawnCard(t *testing.T, l *Layout, dpi int) raster {
	t.Helper()
	s, err := NewCard(l, testSerial, "")
	if err != nil {
		t.Fatal(err)
	}
	return drawnPNG(t, s, dpi)
}

// statedPixelsPerMetre reads the pHYs chunk (ISO/IEC 15948 11.3.5.3): two
// resolutions and the unit, 1 for metres.
func statedPixelsPerMetre(t *testing.T, file []byte) uint32 {
	t.Helper()
	i := bytes.Index(file, []byte("pHYs"))
	if i < 0 {
		t.Fatal("no pHYs chunk")
	}
	x, y := binary.BigEndian.Uint32(file[i+4:]), binary.BigEndian.Uint32(file[i+8:])
	if x != y || file[i+12] != 1 {
		t.Fatalf("pHYs says %d by %d, unit %d", x, y, file[i+12])
	}
	return x
}

// rasterisedPDF draws the page's PDF with poppler, a program not of ours.
func rasterisedPDF(t *testing.T, s *Sheet, dpi int) raster {
	t.Helper()
	tool, err := exec.LookPath("pdftoppm")
	if err != nil {
		t.Skip("pdftoppm (Debian poppler-utils) is not installed")
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "page.pdf")
	writeTo(t, path, s.WritePDF)
	out, err := exec.Command(tool, "-gray", "-singlefile", "-r", fmt.Sprint(dpi), path, filepath.Join(dir, "page")).CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Fatalf("pdftoppm: %v: %s", err, out)
	}
	return raster{readPGM(t, filepath.Join(dir, "page.pgm")), float64(dpi) / 25.4}
}

// readPGM reads a binary 8-bit PGM without comments, as poppler writes it.
func readPGM(t *testing.T, path string) *image.Gray {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := bufio.NewReader(f)
	var width, height, most int
	if _, err := fmt.Fscanf(r, "P5\n%d %d\n%d\n", &width, &height, &most); err != nil || most != 255 {
		t.Fatalf("%s: not an 8-bit PGM (%v)", path, err)
	}
	m := image.NewGray(image.Rect(0, 0, width, height))
	if _, err := io.ReadFull(r, m.Pix); err != nil {
		t.Fatal(err)
	}
	return m
}

func writeTo(t *testing.T, path string, write func(io.Writer) error) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := write(f); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
