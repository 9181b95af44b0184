package vision

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/gif"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"golang.org/x/image/bmp"
	"golang.org/x/image/tiff"
)

// badFiles is every kind of file that is refused, and under which code.
func badFiles(t testing.TB) map[string]struct {
	data []byte
	code string
} {
	small := textured(64, 48)
	jpg, pngFile := asJPEG(t, small), asPNG(t, small)
	lossy := fixture(t, "two-colours.lossy.webp")
	var gifFile, bmpFile, tiffFile bytes.Buffer
	for _, err := range []error{gif.Encode(&gifFile, small, nil), bmp.Encode(&bmpFile, small), tiff.Encode(&tiffFile, small, nil)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	ftyp := func(brand string) []byte { return []byte("\x00\x00\x00\x18ftyp" + brand + "\x00\x00\x00\x00mif1heic") }
	type bad = struct {
		data []byte
		code string
	}
	return map[string]bad{
		"empty":                   {nil, CodeEmpty},
		"text":                    {[]byte("main 3, front\n"), CodeNotAPhoto},
		"zeros":                   {make([]byte, 4096), CodeNotAPhoto},
		"gif":                     {gifFile.Bytes(), CodeNotAPhoto},
		"bmp":                     {bmpFile.Bytes(), CodeNotAPhoto},
		"tiff":                    {tiffFile.Bytes(), CodeNotAPhoto},
		"pdf":                     {[]byte("%PDF-1.7\n"), CodeNotAPhoto},
		"web page":                {[]byte("<!DOCTYPE html><html></html>"), CodeNotAPhoto},
		"film":                    {ftyp("mp42"), CodeNotAPhoto},
		"heic start alone":        {ftyp("heic"), CodeTruncated},
		"heif start alone":        {ftyp("mif1"), CodeTruncated},
		"avif":                    {ftyp("avif"), CodeUnsupported},
		"too many bytes":          {append(bytes.Clone(jpg), make([]byte, MaxFileBytes)...), CodeTooLarge},
		"jpeg huge":               {withSize(t, jpg, 65500, 65500), CodeTooLarge},
		"jpeg beyond format":      {withSize(t, jpg, 65535, 65535), CodeTooLarge},
		"jpeg 100.1 MP":           {withSize(t, jpg, 10010, 10000), CodeTooLarge},
		"jpeg long side":          {withSize(t, jpg, 20001, 8), CodeTooLarge},
		"jpeg no width":           {withSize(t, jpg, 0, 48), CodeNotAPhoto},
		"jpeg no height":          {withSize(t, jpg, 64, 0), CodeNotAPhoto},
		"jpeg grey":               {fixture(t, "video-005.gray.q50.jpeg"), CodeNoColour},
		"jpeg cmyk":               {fixture(t, "video-001.cmyk.jpeg"), CodeCMYK},
		"jpeg 12 bit":             {withSOF(t, jpg, func(f []byte) { f[0] = 12 }), CodeSixteenBit},
		"jpeg arithmetic":         {fixture(t, "video-001.arithmetic.jpeg"), CodeUnsupported},
		"jpeg rgb, unlike planes": {fixture(t, "video-001.rgb.jpeg"), CodeUnsupported},
		"jpeg half":               {jpg[:len(jpg)/2], CodeTruncated},
		"jpeg start alone":        {jpg[:3], CodeTruncated},
		"png huge":                {withIHDR(pngFile, 65500, 65500), CodeTooLarge},
		"png beyond int32":        {withIHDR(pngFile, 1<<31, 1<<31), CodeTooLarge},
		"png no width":            {withIHDR(pngFile, 0, 48), CodeNotAPhoto},
		"png no height":           {withIHDR(pngFile, 64, 0), CodeNotAPhoto},
		"png grey":                {asPNG(t, image.NewGray(small.Rect)), CodeNoColour},
		"png grey and alpha":      {withByte(pngFile, 25, 4), CodeNoColour},
		"png 16 bit":              {asPNG(t, image.NewNRGBA64(small.Rect)), CodeSixteenBit},
		"png grey 16 bit":         {asPNG(t, image.NewGray16(small.Rect)), CodeSixteenBit},
		"png half":                {pngFile[:len(pngFile)/2], CodeTruncated},
		"png flipped bit":         {withByte(pngFile, len(pngFile)/2, pngFile[len(pngFile)/2]^16), CodeTruncated},
		"webp half":               {lossy[:len(lossy)/2], CodeTruncated},
		"webp huge, plain":        {withVP8Size(lossy, 16383, 16383), CodeTooLarge},
		"webp huge":               {webpCanvas(0, 65500, 65500), CodeTooLarge},
		"webp animated":           {webpCanvas(2, 64, 48), CodeNotAPhoto},
	}
}

func withByte(file []byte, at int, v byte) []byte {
	out := bytes.Clone(file)
	out[at] = v
	return out
}

// withIHDR changes a PNG's size; the check comes before the checksum's.
func withIHDR(file []byte, w, h uint32) []byte {
	out := bytes.Clone(file)
	binary.BigEndian.PutUint32(out[16:], w)
	binary.BigEndian.PutUint32(out[20:], h)
	return out
}

// webpCanvas is the start of an extended WebP with the given flags and size
// (RFC 9649 section 2.7).
func webpCanvas(flags byte, w, h uint32) []byte {
	le := binary.LittleEndian
	out := append([]byte("RIFF\x16\x00\x00\x00WEBPVP8X\x0a\x00\x00\x00"), flags, 0, 0, 0)
	out = append(out, le.AppendUint32(nil, w-1)[:3]...)
	return append(out, le.AppendUint32(nil, h-1)[:3]...)
}

// withVP8Size changes the frame size of a plain lossy WebP (RFC 6386 section
// 9.1; the frame starts at byte 20, its size six bytes in).
func withVP8Size(file []byte, w, h uint16) []byte {
	out := bytes.Clone(file)
	binary.LittleEndian.PutUint16(out[26:], w)
	binary.LittleEndian.PutUint16(out[28:], h)
	return out
}

func TestBadFiles(t *testing.T) {
	for name, bad := range badFiles(t) {
		p, err := Decode(name, bad.data)
		if got := refusalCode(err); got != bad.code || p != nil {
			t.Errorf("%s: %s (%v), want %s", name, got, err, bad.code)
		}
	}
}

// A header that promises a huge picture is refused before memory is taken.
func TestHugeHeaderTakesNoMemory(t *testing.T) {
	small := textured(64, 48)
	for name, data := range map[string][]byte{
		"jpeg": withSize(t, asJPEG(t, small), 65500, 65500),
		"png":  withIHDR(asPNG(t, small), 65500, 65500),
		"webp": webpCanvas(0, 65500, 65500),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := Decode(name, data)
		runtime.ReadMemStats(&after)
		if taken := after.TotalAlloc - before.TotalAlloc; refusalCode(err) != CodeTooLarge || taken > 1<<20 {
			t.Errorf("%s: %s, %d bytes taken", name, refusalCode(err), taken)
		}
	}
}

// A file cut at any length is refused: the pixels that are left are not
// measured.
func TestEveryTruncationIsRefused(t *testing.T) {
	small := textured(24, 17)
	for name, data := range map[string][]byte{
		"jpeg":          asJPEG(t, small),
		"progressive":   fixture(t, "video-001.q50.420.progressive.jpeg"),
		"png":           asPNG(t, small),
		"webp lossy":    fixture(t, "two-colours.lossy.webp"),
		"webp lossless": fixture(t, "two-colours.lossless.webp"),
	} {
		mustDecode(t, name, data)
		for n := 1; n < len(data); n++ {
			want := CodeTruncated
			if _, err := sniff(data[:n]); err != nil {
				want = CodeNotAPhoto // too short to tell what it was
			}
			if _, err := Decode(name, data[:n]); refusalCode(err) != want {
				t.Fatalf("%s cut at %d of %d: %s, want %s", name, n, len(data), refusalCode(err), want)
			}
		}
		if _, err := sniff(data[:12]); err != nil {
			t.Errorf("%s: twelve bytes do not tell it", name)
		}
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	put := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	// The name says PNG; the content decides.
	path := put("photo.png", fixture(t, "video-001.q50.420.jpeg"))
	p, err := Load(path)
	if err != nil || p.Name != path || p.Width() != 150 || p.Height() != 103 {
		t.Errorf("%+v, %v", p, err)
	}
	for path, want := range map[string]string{
		filepath.Join(dir, "nowhere.jpg"): CodeMissing,
		dir:                               CodeMissing,
		put("empty.jpg", nil):             CodeEmpty,
		put("cut.jpg", fixture(t, "video-001.q50.420.jpeg")[:900]): CodeTruncated,
		put("long.jpg", make([]byte, MaxFileBytes+1)):              CodeTooLarge,
	} {
		if _, err := Load(path); refusalCode(err) != want {
			t.Errorf("%s: %s, want %s", path, refusalCode(err), want)
		}
	}
}

// PNG keeps its colours up to rounding luma and chroma to 8 bits: half a level
// each, times at most 1 + 1.772, and the truncation of image/color's tables.
func TestPNGColours(t *testing.T) {
	const levels = 2
	small := textured(41, 23)
	clear := image.NewNRGBA(small.Rect)
	for y := range 23 {
		for x := range 41 {
			c := small.RGBAAt(x, y)
			clear.SetNRGBA(x, y, color.NRGBA{c.R, c.G, c.B, 255})
		}
	}
	clear.Pix[3] = 254 // makes the encoder keep the transparency channel
	palette := image.NewPaletted(image.Rect(0, 0, 3, 1), color.Palette{
		color.RGBA{200, 30, 60, 255}, color.RGBA{10, 220, 90, 255}, color.RGBA{0, 0, 255, 255}})
	copy(palette.Pix, []uint8{0, 1, 2})
	for name, m := range map[string]image.Image{"rgb": small, "rgba": clear, "palette": palette} {
		sameColours(t, name, mustDecode(t, name, asPNG(t, m)), m, levels)
	}
}

// The two WebP fixtures hold (240,215,130) on the left and (50,25,70) on the
// right. Studio range read as full range would be off by tens of levels.
func TestWebPColours(t *testing.T) {
	for name, levels := range map[string]float64{
		"two-colours.lossless.webp": 2, // rounding to 8-bit luma and chroma
		"two-colours.lossy.webp":    4, // and VP8's own, at its best quality
	} {
		p := mustDecode(t, name, fixture(t, name))
		if p.Width() != 33 || p.Height() != 17 {
			t.Fatalf("%s: %d x %d pixels", name, p.Width(), p.Height())
		}
		for x, want := range map[int][3]float64{4: {240, 215, 130}, 28: {50, 25, 70}} {
			r, g, b := p.RGB(x, 8)
			for i, v := range [3]float64{r, g, b} {
				if d := v - want[i]; d > levels || d < -levels {
					t.Errorf("%s: column %d is %.0f %.0f %.0f, want %v", name, x, r, g, b, want)
					break
				}
			}
		}
	}
}

// Whatever the bytes, the answer is a sound photo or a refusal.
func FuzzDecode(f *testing.F) {
	for _, bad := range badFiles(f) {
		if len(bad.data) < 1<<16 {
			f.Add(bad.data)
		}
	}
	f.Add(asJPEG(f, textured(40, 24)))
	f.Add(asPNG(f, textured(16, 9)))
	f.Add(withExif(asJPEG(f, textured(17, 9)), tiffWith(exifTag{0x0112, exifShort(7)})))
	for _, name := range []string{"video-001.q50.411.progressive.jpeg", "video-001.rgb444.jpeg",
		"two-colours.lossy.webp", "two-colours.lossless.webp"} {
		f.Add(fixture(f, name))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode("fuzz", data)
		if err != nil {
			if _, ok := refusals[refusalCode(err)]; !ok || p != nil {
				t.Fatalf("%s with photo %v", refusalCode(err), p != nil)
			}
			return
		}
		w, h := p.Width(), p.Height()
		if len(p.Luma.Pix) != w*h || len(p.Cb.Pix) != p.Cb.W*p.Cb.H || len(p.Cr.Pix) != len(p.Cb.Pix) ||
			p.Cb.W*p.ChromaX < w+p.ShiftX || p.Cb.H*p.ChromaY < h+p.ShiftY || p.ShiftX < 0 || p.ShiftY < 0 {
			t.Fatalf("planes do not cover %d x %d pixels: chroma %d x %d", w, h, p.Cb.W, p.Cb.H)
		}
		p.RGB(0, 0)
		p.RGB(w-1, h-1)
	})
}
