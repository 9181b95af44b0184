package vision

import (
	"bytes"
	"math"
	"strings"
	"time"

	"github.com/bep/imagemeta"
)

// Exif is what a photo says of its camera. Every field may be absent: 0 or "".
type Exif struct {
	Make, Model string
	FocalMM     float64 // focal length of the lens, mm
	Focal35MM   float64 // its 35 mm equivalent, mm
	Orientation int     // 1 to 8 as stored, for HEIC as its boxes say; the photo is already upright
	Software    string
	// Width and Height are the picture's as the camera stored it, px.
	Width, Height int
	// Taken is when the shutter opened, by the camera's own clock: ISO 8601 without
	// zone, as in "2024-02-29T12:00:00".
	Taken string
}

// FocalPixels returns the focal length in pixels of a photo of w by h pixels
// from the 35 mm equivalent, which CIPA DCG-001 defines by the diagonal: the
// same angle of view across a frame of 36 mm x 24 mm. ok is false when the
// photo does not give it. Phones round the equivalent to a whole millimetre, so
// it is a prior of a few per cent, and wrong for a cropped photo.
func (e Exif) FocalPixels(w, h int) (px float64, ok bool) {
	if !(e.Focal35MM > 0) || w < 1 || h < 1 {
		return 0, false
	}
	return e.Focal35MM * math.Hypot(float64(w), float64(h)) / math.Hypot(36, 24), true
}

// readExif reads what it can. Missing or broken EXIF is no fault of the
// picture: the fields it would have filled stay absent.
func readExif(format imagemeta.ImageFormat, data []byte) (e Exif) {
	wanted := map[string]func(value any){
		"Make":                    func(v any) { e.Make = text(v) },
		"Model":                   func(v any) { e.Model = text(v) },
		"Software":                func(v any) { e.Software = text(v) },
		"FocalLength":             func(v any) { e.FocalMM = length(v) },
		"FocalLengthIn35mmFormat": func(v any) { e.Focal35MM = length(v) },
		"ExifImageWidth":          func(v any) { e.Width = int(length(v)) },
		"ExifImageHeight":         func(v any) { e.Height = int(length(v)) },
		"DateTimeOriginal":        func(v any) { e.Taken = taken(text(v)) },
		"Orientation":             func(v any) { e.Orientation = int(length(v)) },
	}
	inMainImage := func(t imagemeta.TagInfo) bool {
		_, ok := wanted[t.Tag]
		return ok && strings.HasPrefix(t.Namespace, "IFD0")
	}
	// The error is dropped on purpose: tags read before it are kept.
	_, _ = imagemeta.Decode(imagemeta.Options{
		R: bytes.NewReader(data), ImageFormat: format, Sources: imagemeta.EXIF,
		ShouldHandleTag: inMainImage,
		HandleTag:       func(t imagemeta.TagInfo) error { wanted[t.Tag](t.Value); return nil },
	})
	return e
}

// taken turns EXIF's way to write a time (CIPA DC-008, DateTimeOriginal) into ISO
// 8601; empty for what is none.
func taken(s string) string {
	t, err := time.Parse("2006:01:02 15:04:05", s)
	if err != nil {
		return ""
	}
	return t.Format("2006-01-02T15:04:05")
}

// text is a tag's value when it is text, with padding taken off.
func text(v any) string {
	s, _ := v.(string)
	return strings.TrimSpace(strings.Trim(s, "\x00"))
}

// length is a tag's value when it is a positive, finite number, or 0: EXIF
// writes 0 and 0/0 for "not known" too.
func length(v any) float64 {
	var f float64
	switch n := v.(type) {
	case uint16:
		f = float64(n)
	case uint32:
		f = float64(n)
	case float64:
		f = n
	case imagemeta.Rat[uint32]:
		f = n.Float64()
	}
	if !(f > 0) || math.IsInf(f, 0) {
		return 0
	}
	return f
}
