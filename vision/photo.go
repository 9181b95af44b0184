package vision

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
)

// Limits that are read from a file's header before anything is allocated.
const (
	MaxFileBytes = 64 << 20    // bytes of the file
	MaxPixels    = 100_000_000 // width times height
	MaxSide      = 20_000      // pixels along either side
)

// Photo is a decoded photo, upright: the camera's orientation is already
// applied: EXIF's, or for HEIC the file's own boxes. Luma and chroma are BT.601, full range, as JFIF stores them (black 0,
// white 255, no colour at 128); the camera's tone curve is still in them.
type Photo struct {
	Name string // as given to Load or Decode, for messages
	Luma *Plane // full resolution

	// Cb and Cr have one sample for ChromaX by ChromaY luma samples (1, 2 or 4
	// along each side) and sit in the middle of them. Only a mirrored or turned
	// photo whose side is no multiple of the factor has a shift: its first
	// chroma sample then starts ShiftX (ShiftY) luma samples outside the photo.
	Cb, Cr           *Plane
	ChromaX, ChromaY int
	ShiftX, ShiftY   int

	Exif Exif

	cut bool // measuring found that it was cut from a larger photo, see cutUnseen

	memory []uint8 // in which the planes lie, where they share one piece
}

// Close gives the photo's memory to a photo decoded later. To leave it out costs time
// only; nothing of the photo may be used after it.
func (p *Photo) Close() {
	if p.memory != nil {
		giveBack(p.memory)
		p.Luma, p.Cb, p.Cr, p.memory = nil, nil, nil, nil
	}
}

// Load reads and decodes the photo at path. JPEG, HEIC, PNG and WebP are told apart
// by content, never by the file's name. Every error is a *Refusal: missing,
// empty, too-large, not-a-photo, unsupported-format, truncated, no-colour, cmyk
// or sixteen-bit.
func Load(path string) (*Photo, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, Refuse(CodeMissing, "%s", cause(err))
	}
	defer f.Close()
	// The limit holds for pipes and devices too, whose size is not known.
	var data bytes.Buffer
	if info, err := f.Stat(); err == nil && info.Mode().IsRegular() && info.Size() <= MaxFileBytes {
		data = *bytes.NewBuffer(newRaster[uint8](int(info.Size()) + bytes.MinRead)[:0])
	}
	if _, err := data.ReadFrom(io.LimitReader(f, MaxFileBytes+1)); err != nil {
		return nil, Refuse(CodeMissing, "%s", cause(err))
	}
	return Decode(path, data.Bytes())
}

// cause is a file error without the path, which the caller prints already.
func cause(err error) error {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// Width returns the width in pixels.
func (p *Photo) Width() int { return p.Luma.W }

// Height returns the height in pixels.
func (p *Photo) Height() int { return p.Luma.H }

// RGB returns the display-referred colour of pixel (x, y), 0..255 each, by the
// BT.601 full-range equations of JFIF 1.02 (ITU-T T.871 section 7), with chroma
// interpolated between its samples. Values the photo's YCbCr puts outside the
// display's range are held at its border, as every viewer does. The pixel must
// lie inside the photo.
func (p *Photo) RGB(x, y int) (r, g, b float64) {
	u := chromaCoord(float64(x), p.ShiftX, p.ChromaX)
	v := chromaCoord(float64(y), p.ShiftY, p.ChromaY)
	luma := float64(p.Luma.At(x, y))
	cb := p.Cb.bilinear(u, v) - 128
	cr := p.Cr.bilinear(u, v) - 128
	return display(luma + 1.402*cr),
		display(luma - 0.344136286*cb - 0.714136286*cr),
		display(luma + 1.772*cb)
}

// chromaCoord maps a luma coordinate to the chroma grid.
func chromaCoord(luma float64, shift, factor int) float64 {
	return (luma+float64(shift)+0.5)/float64(factor) - 0.5
}

func display(v float64) float64 { return math.Min(255, math.Max(0, v)) }
