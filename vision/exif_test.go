package vision

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"slices"
	"testing"
)

// exifTag is one entry of an image file directory: its number and its value.
type exifTag struct {
	id    uint16
	value exifValue
}

type exifValue struct {
	kind  uint16 // TIFF 6.0 section 2: 2 text, 3 short, 4 long, 5 rational
	count uint32
	data  []byte
}

func exifShort(v uint16) exifValue { return exifValue{3, 1, binary.LittleEndian.AppendUint16(nil, v)} }
func exifLong(v uint32) exifValue  { return exifValue{4, 1, binary.LittleEndian.AppendUint32(nil, v)} }
func exifText(s string) exifValue  { return exifValue{2, uint32(len(s) + 1), append([]byte(s), 0)} }
func exifRational(n, d uint32) exifValue {
	return exifValue{5, 1, binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, n), d)}
}

// exifDirectory writes one IFD that starts at offset at (TIFF 6.0 section 2).
func exifDirectory(at int, tags []exifTag) []byte {
	le := binary.LittleEndian
	out := le.AppendUint16(nil, uint16(len(tags)))
	far := at + 2 + 12*len(tags) + 4 // where values over four bytes go
	var values []byte
	for _, t := range tags {
		out = le.AppendUint16(out, t.id)
		out = le.AppendUint16(out, t.value.kind)
		out = le.AppendUint32(out, t.value.count)
		if len(t.value.data) <= 4 {
			out = append(out, append(t.value.data, 0, 0, 0, 0)[:4]...)
			continue
		}
		out = le.AppendUint32(out, uint32(far+len(values)))
		values = append(values, t.value.data...)
	}
	return append(le.AppendUint32(out, 0), values...)
}

// tiffWith writes an Exif block with the tags in its 0th IFD.
func tiffWith(tags ...exifTag) []byte {
	return append([]byte("II*\x00\x08\x00\x00\x00"), exifDirectory(8, tags)...)
}

// tiffOfCamera has camera tags in the 0th IFD and lens tags in the Exif IFD.
func tiffOfCamera(camera, lens []exifTag) []byte {
	pointer := func(at uint32) []exifTag {
		return append(camera[:len(camera):len(camera)], exifTag{0x8769, exifLong(at)})
	}
	first := tiffWith(pointer(0)...)
	return append(tiffWith(pointer(uint32(len(first)))...), exifDirectory(len(first), lens)...)
}

func TestExifOfCamera(t *testing.T) {
	block := tiffOfCamera(
		[]exifTag{{0x010f, exifText("Example Works")}, {0x0110, exifText("E1")}, {0x0112, exifShort(1)}, {0x0131, exifText("1.0")}},
		[]exifTag{{0x9003, exifText("2024:02:29 12:00:59")}, {0x920a, exifRational(540, 100)}, {0xa002, exifLong(420)}, {0xa003, exifShort(300)}, {0xa405, exifShort(26)}})
	p := mustDecode(t, "camera", withExif(fixture(t, "video-001.q50.420.jpeg"), block))
	want := Exif{Make: "Example Works", Model: "E1", Software: "1.0", Orientation: 1, FocalMM: 5.4, Focal35MM: 26, Width: 420, Height: 300, Taken: "2024-02-29T12:00:59"}
	if p.Exif != want {
		t.Errorf("%+v, want %+v", p.Exif, want)
	}
}

// PNG and WebP carry the same block in a chunk of their own.
func TestExifInChunks(t *testing.T) {
	block := tiffWith(exifTag{0x010f, exifText("Example Works")}, exifTag{0x0112, exifShort(6)})
	want := Exif{Make: "Example Works", Orientation: 6}

	// PNG: length, name, data, CRC-32 of name and data, after the 33 bytes of
	// signature and IHDR (PNG, third edition, sections 5.3 and 11.3.2.1).
	plain := asPNG(t, textured(20, 10))
	chunk := append(binary.BigEndian.AppendUint32(nil, uint32(len(block))), "eXIf"...)
	chunk = append(chunk, block...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	p := mustDecode(t, "png", slices.Concat(plain[:33], chunk, plain[33:]))
	if p.Exif != want || p.Width() != 10 || p.Height() != 20 {
		t.Errorf("png: %+v, %d x %d", p.Exif, p.Width(), p.Height())
	}

	// WebP: a VP8X chunk that announces it, the picture, then EXIF (RFC 9649
	// section 2.7).
	const hasExif = 1 << 3
	le := binary.LittleEndian
	body := slices.Concat(webpCanvas(hasExif, 33, 17)[8:], fixture(t, "two-colours.lossy.webp")[12:],
		[]byte("EXIF"), le.AppendUint32(nil, uint32(len(block))), block)
	p = mustDecode(t, "webp", slices.Concat([]byte("RIFF"), le.AppendUint32(nil, uint32(len(body))), body))
	if p.Exif != want || p.Width() != 17 || p.Height() != 33 {
		t.Errorf("webp: %+v, %d x %d", p.Exif, p.Width(), p.Height())
	}
}

// Broken or missing EXIF leaves fields absent and never costs the photo.
func TestBrokenExif(t *testing.T) {
	file := fixture(t, "video-001.q50.420.jpeg")
	block := tiffOfCamera([]exifTag{{0x010f, exifText("Example Works")}, {0x0112, exifShort(6)}},
		[]exifTag{{0x920a, exifRational(0, 0)}, {0xa405, exifShort(0)}})
	plain := mustDecode(t, "plain", file)
	if plain.Exif != (Exif{}) {
		t.Errorf("no EXIF, yet %+v", plain.Exif)
	}
	unknown := mustDecode(t, "unknown lengths", withExif(file, block)).Exif
	if unknown.FocalMM != 0 || unknown.Focal35MM != 0 {
		t.Errorf("0/0 and 0 are read as lengths: %+v", unknown)
	}
	for n := range block {
		for _, broken := range [][]byte{block[:n], append(append([]byte{}, block[:n]...), make([]byte, len(block)-n)...)} {
			p := mustDecode(t, "broken", withExif(file, broken))
			if p.Width()*p.Height() != plain.Width()*plain.Height() {
				t.Fatalf("EXIF broken at %d: %d x %d pixels", n, p.Width(), p.Height())
			}
		}
	}
	for _, o := range []uint16{0, 9, 65535} {
		p := mustDecode(t, "orientation", withExif(file, tiffWith(exifTag{0x0112, exifShort(o)})))
		if p.Width() != plain.Width() {
			t.Errorf("orientation %d turned the photo", o)
		}
	}
}

func TestFocalPixels(t *testing.T) {
	// CIPA DCG-001: the 35 mm equivalent goes by the diagonal, 43.2666 mm.
	// 26 mm on 4000 x 3000 px: 26 * 5000 / 43.2666 = 3004.63 px, either way up.
	for _, size := range [][2]int{{4000, 3000}, {3000, 4000}} {
		px, ok := Exif{Focal35MM: 26}.FocalPixels(size[0], size[1])
		if !ok || math.Abs(px-3004.63) > 0.005 {
			t.Errorf("%v: %.3f px, %v; want 3004.63", size, px, ok)
		}
	}
	if _, ok := (Exif{FocalMM: 5.4}).FocalPixels(4000, 3000); ok {
		t.Error("a focal length without its 35 mm equivalent gives pixels")
	}
	if _, ok := (Exif{Focal35MM: 26}).FocalPixels(0, 3000); ok {
		t.Error("a photo without pixels has a focal length")
	}
}

// TestTaken: CIPA DC-008 fills what is not known with blanks.
func TestTaken(t *testing.T) {
	for s, want := range map[string]string{
		"2024:02:29 12:00:59": "2024-02-29T12:00:59", "2023:02:29 12:00:59": "", "    :  :     :  :  ": "", "": "", "0000:00:00 00:00:00": "",
	} {
		if got := taken(s); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	}
}

// FuzzExif: whatever the block, the photo stays and its lengths are none or make
// sense.
func FuzzExif(f *testing.F) {
	f.Add(tiffWith(exifTag{0x0112, exifShort(6)}))
	f.Add(tiffOfCamera([]exifTag{{0x010f, exifText("Example Works")}, {0x0110, exifText("E1")}},
		[]exifTag{{0x920a, exifRational(540, 100)}, {0xa405, exifShort(26)}}))
	file := asJPEG(f, textured(24, 16))
	f.Fuzz(func(t *testing.T, block []byte) {
		if len(block) > 60_000 { // what a segment holds
			return
		}
		p, err := Decode("fuzz", withExif(file, block))
		if err != nil {
			t.Fatal(err)
		}
		e := p.Exif
		if p.Width()*p.Height() != 24*16 || e.FocalMM < 0 || e.Focal35MM < 0 || math.IsInf(e.FocalMM, 0) || math.IsInf(e.Focal35MM, 0) {
			t.Fatalf("%d x %d, %+v", p.Width(), p.Height(), e)
		}
	})
}
