package vision

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

// fixture reads a file of testdata/photos; SOURCE.md there says where it is from.
func fixture(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "photos", name))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// textured is a made-up colour picture with edges, slopes and noise.
func textured(w, h int) *image.RGBA {
	rng := rand.New(rand.NewPCG(1, 2))
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			v := 60 + 120*float64(x)/float64(w) + 8*rng.NormFloat64()
			if (x/40+y/25)%3 == 0 {
				v += 50
			}
			m.SetRGBA(x, y, color.RGBA{uint8(v), uint8(0.8*v + 20), uint8(200 - 0.7*v), 255})
		}
	}
	return m
}

func asJPEG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func asPNG(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// withSOF returns the JPEG with its frame header changed: data[0] is the sample
// precision, then height and width as big-endian 16-bit (ITU-T T.81 B.2.2).
func withSOF(t testing.TB, file []byte, change func(frame []byte)) []byte {
	t.Helper()
	out := bytes.Clone(file)
	for i := 2; i+4 < len(out) && out[i] == 0xff; i += 2 + int(binary.BigEndian.Uint16(out[i+2:])) {
		if m := out[i+1]; m == 0xc0 || m == 0xc2 {
			change(out[i+4:])
			return out
		}
	}
	t.Fatal("no frame header")
	return nil
}

func withSize(t testing.TB, file []byte, w, h uint16) []byte {
	return withSOF(t, file, func(frame []byte) {
		binary.BigEndian.PutUint16(frame[1:], h)
		binary.BigEndian.PutUint16(frame[3:], w)
	})
}

// withExif returns the JPEG with an Exif segment right after its start marker.
func withExif(file, tiff []byte) []byte {
	payload := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(payload)+2))...)
	return append(append(out, payload...), file[2:]...)
}

// mustDecode decodes what is meant to be good.
func mustDecode(t testing.TB, name string, data []byte) *Photo {
	t.Helper()
	p, err := Decode(name, data)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p
}

// refusalCode is the refusal code of err, or a complaint that it is none.
func refusalCode(err error) string {
	var r *Refusal
	switch {
	case err == nil:
		return "no error"
	case !errors.As(err, &r):
		return "not a refusal: " + err.Error()
	}
	return r.Code
}
