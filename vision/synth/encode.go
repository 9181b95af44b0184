package synth

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/jpeg"
)

// encode stores a luma and chroma picture as a JPEG with 4:2:0 chroma and EXIF.
func encode(s *Scene, pic *picture) ([]byte, error) {
	stored := orient(pic, s.Output.Orientation)
	img := image.NewYCbCr(image.Rect(0, 0, stored.w, stored.h), image.YCbCrSubsampleRatio420)
	for y := range stored.h {
		row := img.Y[y*img.YStride:]
		for x, v := range stored.c[0][y*stored.w : (y+1)*stored.w] {
			row[x] = byte8(v)
		}
	}
	halve(img.Cb, img.CStride, stored.c[1], stored.w, stored.h)
	halve(img.Cr, img.CStride, stored.c[2], stored.w, stored.h)
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: s.Output.Quality}); err != nil {
		return nil, fmt.Errorf("encode: %w", err)
	}
	raw := buf.Bytes()
	var out bytes.Buffer
	out.Write(raw[:2]) // SOI
	out.Write(exif(s, stored.w, stored.h))
	out.Write(raw[2:])
	return out.Bytes(), nil
}

func byte8(v float32) byte { return byte(min(max(v+0.5, 0), 255)) }

// halve averages 2 x 2 values into one; at an odd border it takes what is there.
func halve(dst []byte, stride int, src []float32, w, h int) {
	for y := 0; y < h; y += 2 {
		a := src[y*w : (y+1)*w]
		b := src[min(y+1, h-1)*w:][:w]
		for x := 0; x < w; x += 2 {
			r := min(x+1, w-1)
			dst[y/2*stride+x/2] = byte8((a[x] + a[r] + b[x] + b[r]) / 4)
		}
	}
}

// orient returns the picture as it must be stored so that a viewer who obeys the
// EXIF orientation (CIPA DC-008) shows pic.
func orient(pic *picture, orientation int) *picture {
	if orientation == 1 {
		return pic
	}
	w, h := pic.w, pic.h
	if orientation >= 5 {
		w, h = h, w
	}
	out := newPicture(w, h)
	for y := range h {
		for x := range w {
			var sx, sy int // where the stored pixel (x, y) is shown
			switch orientation {
			case 2:
				sx, sy = w-1-x, y
			case 3:
				sx, sy = w-1-x, h-1-y
			case 4:
				sx, sy = x, h-1-y
			case 5:
				sx, sy = y, x
			case 6:
				sx, sy = h-1-y, x
			case 7:
				sx, sy = h-1-y, w-1-x
			case 8:
				sx, sy = y, w-1-x
			}
			for c := range out.c {
				out.c[c][y*w+x] = pic.c[c][sy*pic.w+sx]
			}
		}
	}
	return out
}

// exif returns an APP1 segment (CIPA DC-008): a little-endian TIFF header, the
// main directory with its two texts, and the Exif directory.
func exif(s *Scene, w, h int) []byte {
	type entry struct {
		tag, kind uint16
		count     uint32
		value     uint32 // or its offset
	}
	const ascii, short, long, undefined = 2, 3, 4, 7
	const makeText, modelText = "Rendered\x00", "stripgap synth\x00"
	const main = 8
	const texts = main + 2 + 4*12 + 4
	const sub = texts + len(makeText) + len(modelText)
	first := []entry{
		{0x010F, ascii, uint32(len(makeText)), texts},
		{0x0110, ascii, uint32(len(modelText)), uint32(texts + len(makeText))},
		{0x0112, short, 1, uint32(s.Output.Orientation)},
		{0x8769, long, 1, uint32(sub)},
	}
	second := []entry{{0x9000, undefined, 4, binary.LittleEndian.Uint32([]byte("0231"))},
		{0xA002, long, 1, uint32(w)}, {0xA003, long, 1, uint32(h)}}
	if s.Camera.ExifFocal > 0 {
		second = append(second, entry{0xA405, short, 1, uint32(s.Camera.ExifFocal)})
	}
	var t bytes.Buffer
	put := func(v any) { binary.Write(&t, binary.LittleEndian, v) } // a Buffer never fails
	directory := func(entries []entry) {
		put(uint16(len(entries)))
		for _, e := range entries {
			put(e)
		}
		put(uint32(0))
	}
	t.WriteString("II*\x00")
	put(uint32(main))
	directory(first)
	t.WriteString(makeText + modelText)
	directory(second)
	out := []byte{0xFF, 0xE1, 0, 0}
	binary.BigEndian.PutUint16(out[2:], uint16(2+6+t.Len()))
	return append(append(out, "Exif\x00\x00"...), t.Bytes()...)
}
