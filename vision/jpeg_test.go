package vision

import (
	"bytes"
	"image"
	"image/jpeg"
	"math"
	"strings"
	"testing"
)

// The pixels must be those of an independent decoder, Go's image/jpeg, for
// every subsampling. The two inverse cosine transforms round differently:
// ISO/IEC 23002-1 (and IEEE 1180 before it) allow each one level from the exact
// one, so two levels between two decoders.
func TestJPEGAgainstGo(t *testing.T) {
	const levels = 2
	cases := []struct {
		name   string
		cx, cy int
	}{
		{"video-001.q50.444", 1, 1}, {"video-001.q50.422", 2, 1}, {"video-001.q50.420", 2, 2},
		{"video-001.q50.440", 1, 2}, {"video-001.q50.411", 4, 1}, {"video-001.q50.410", 4, 2},
		{"video-001.221212", 2, 1},
	}
	for _, c := range cases {
		for _, end := range []string{".jpeg", ".progressive.jpeg"} {
			if c.name == "video-001.221212" && end != ".jpeg" {
				continue
			}
			data := fixture(t, c.name+end)
			p := mustDecode(t, c.name+end, data)
			if p.ChromaX != c.cx || p.ChromaY != c.cy {
				t.Errorf("%s%s: chroma %d x %d, want %d x %d", c.name, end, p.ChromaX, p.ChromaY, c.cx, c.cy)
			}
			sameAsGo(t, c.name+end, p, data, levels)
		}
	}
	scans := fixture(t, "video-001.scans.jpeg")
	sameAsGo(t, "one scan a component", mustDecode(t, "scans", scans), scans, levels)
	whole := asJPEG(t, textured(133, 77)) // neither side a multiple of a block
	sameAsGo(t, "textured", mustDecode(t, "textured", whole), whole, levels)
}

// TestJPEGAverages: what is averaged on the way equals what is averaged afterwards,
// whether or not the sides are multiples of a block.
func TestJPEGAverages(t *testing.T) {
	for _, size := range [][2]int{{160, 96}, {132, 76}, {132, 96}} {
		p := mustDecode(t, "textured", asJPEG(t, textured(size[0], size[1])))
		if p.Luma.fourth == nil || !bytes.Equal(p.Luma.fourth.Pix, quarter(p.Luma).Pix) {
			t.Errorf("%v: the averages differ", size)
		}
		for _, c := range [2]*Plane{p.Cb, p.Cr} {
			if c.canHalve(1) != (c.half != nil) || c.half != nil && !bytes.Equal(c.half.Pix, halve(c).Pix) {
				t.Errorf("%v: the chroma's averages differ", size)
			}
		}
	}
	if p := mustDecode(t, "textured", asJPEG(t, textured(133, 77))); p.Luma.fourth != nil {
		t.Error("133 x 77 pixels are no multiple of 4 by 4")
	}
}

func sameAsGo(t *testing.T, name string, p *Photo, data []byte, levels int) {
	t.Helper()
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	m := img.(*image.YCbCr)
	if p.Luma.W != m.Rect.Dx() || p.Luma.H != m.Rect.Dy() {
		t.Fatalf("%s: %d x %d pixels, want %v", name, p.Luma.W, p.Luma.H, m.Rect)
	}
	compare := func(what string, plane *Plane, ref []uint8, stride int) {
		for y := range plane.H {
			for x := range plane.W {
				a, b := int(plane.At(x, y)), int(ref[y*stride+x])
				if a-b > levels || b-a > levels {
					t.Fatalf("%s: %s (%d,%d) is %d, want %d", name, what, x, y, a, b)
				}
			}
		}
	}
	compare("luma", p.Luma, m.Y, m.YStride)
	compare("cb", p.Cb, m.Cb, m.CStride)
	compare("cr", p.Cr, m.Cr, m.CStride)
	if n := (p.Luma.H + p.ChromaY - 1) / p.ChromaY; p.Cb.H != n {
		t.Errorf("%s: %d chroma rows, want %d", name, p.Cb.H, n)
	}
}

// A JPEG stored as red, green and blue comes out as the same colours. Two
// levels for the cosine transforms, two for rounding luma and chroma to 8 bits
// (half a level each, times up to 1.772, and the output's own half).
func TestJPEGStoredAsRGB(t *testing.T) {
	data := fixture(t, "video-001.rgb444.jpeg")
	p := mustDecode(t, "rgb", data)
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	sameColours(t, "rgb", p, img, 4)
}

func sameColours(t *testing.T, name string, p *Photo, img image.Image, levels float64) {
	t.Helper()
	b := img.Bounds()
	if p.Width() != b.Dx() || p.Height() != b.Dy() {
		t.Fatalf("%s: %d x %d pixels, want %v", name, p.Width(), p.Height(), b)
	}
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, g, bl := p.RGB(x, y)
			R, G, B, _ := img.At(b.Min.X+x, b.Min.Y+y).RGBA()
			for i, d := range []float64{r - float64(R>>8), g - float64(G>>8), bl - float64(B>>8)} {
				if math.Abs(d) > levels {
					t.Fatalf("%s: (%d,%d) channel %s is off by %.1f", name, x, y, "RGB"[i:i+1], d)
				}
			}
		}
	}
}

// Grey by the library's own conversion is the luma plane, sample for sample.
func TestGreyIsLuma(t *testing.T) {
	data := fixture(t, "video-001.q50.420.jpeg")
	g, err := DecodeJPEGGrey(data)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(g.Pix, mustDecode(t, "420", data).Luma.Pix) {
		t.Error("the two decodes of luma differ")
	}
	if g, err := DecodeJPEGGrey(fixture(t, "video-005.gray.q50.jpeg")); err != nil || g.W != 150 {
		t.Errorf("a grey file: %+v, %v", g, err)
	}
	if _, err := DecodeJPEGGrey(fixture(t, "video-001.cmyk.jpeg")); refusalCode(err) != CodeCMYK {
		t.Errorf("printing colours: %s", refusalCode(err))
	}
	if _, err := DecodeJPEGGrey(data[:len(data)/2]); refusalCode(err) != CodeTruncated {
		t.Errorf("half a file: %s", refusalCode(err))
	}
	if _, err := DecodeJPEGGrey(nil); refusalCode(err) != CodeEmpty {
		t.Errorf("no file: %s", refusalCode(err))
	}
}

// Endless scans are a known way to keep a decoder busy for hours: repeating one
// costs the file a little and the decoder a pass over the whole picture.
func TestEndlessScansAreRefused(t *testing.T) {
	data := fixture(t, "video-001.scans.jpeg") // baseline, one scan a component
	mustDecode(t, "three scans", data)
	last := bytes.LastIndex(data, []byte{0xff, 0xda})
	end := len(data) - 2
	repeated := append(bytes.Clone(data[:last]), bytes.Repeat(data[last:end], 200)...)
	if _, err := Decode("scans", append(repeated, data[end:]...)); refusalCode(err) != CodeUnsupported {
		t.Errorf("200 scans: %s, want %s", refusalCode(err), CodeUnsupported)
	}
}

func TestJPEGToleratesWhatFollows(t *testing.T) {
	data := fixture(t, "video-001.q50.420.jpeg")
	// Phones append short films and depth maps after the picture.
	longer := append(bytes.Clone(data), strings.Repeat("film", 1000)...)
	if !bytes.Equal(mustDecode(t, "with film", longer).Luma.Pix, mustDecode(t, "bare", data).Luma.Pix) {
		t.Error("what follows the picture changes it")
	}
}

// twelveMegapixels is a photo of a phone's usual size, 4:2:0.
func twelveMegapixels(b *testing.B) []byte {
	data := asJPEG(b, textured(4000, 3000))
	b.SetBytes(4000 * 3000)
	b.ResetTimer()
	return data
}

func BenchmarkDecodeGrey12MP(b *testing.B) {
	data := twelveMegapixels(b)
	for b.Loop() {
		if _, err := DecodeJPEGGrey(data); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecode12MP(b *testing.B) {
	data := twelveMegapixels(b)
	for b.Loop() {
		mustDecode(b, "photo", data)
	}
}

func BenchmarkDecodeTurned12MP(b *testing.B) {
	data := withExif(twelveMegapixels(b), tiffWith(exifTag{0x0112, exifShort(6)}))
	for b.Loop() {
		mustDecode(b, "photo", data)
	}
}
