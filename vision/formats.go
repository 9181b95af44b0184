package vision

import (
	"bytes"
	"encoding/binary"
	"image/png"
	"io"

	"golang.org/x/image/webp"
)

// Decode decodes a photo held in memory; name is kept for messages. Errors are
// those of Load except missing.
func Decode(name string, data []byte) (*Photo, error) {
	if len(data) == 0 {
		return nil, Refuse(CodeEmpty, "")
	}
	if len(data) > MaxFileBytes {
		return nil, tooManyBytes()
	}
	f, err := sniff(data)
	if err != nil {
		return nil, err
	}
	p, err := f.decode(data)
	if err != nil {
		return nil, err
	}
	p.Name = name
	turn := p.Exif.Orientation
	p.Exif = readExif(f.exif, data)
	if turn > 0 { // the file itself says how it is turned; EXIF says it once more, or wrongly
		p.Exif.Orientation = turn
	}
	return p.upright(), nil
}

// tooManyBytes is the refusal of a file beyond MaxFileBytes.
func tooManyBytes() *Refusal { return Refuse(CodeTooLarge, "over %d MB", MaxFileBytes>>20) }

// checkSize refuses dimensions read from a header before anything is allocated.
func checkSize(w, h int) error {
	if w < 1 || h < 1 {
		return Refuse(CodeNotAPhoto, "its size is given as %d x %d pixels", w, h)
	}
	if w > MaxSide || h > MaxSide || w*h > MaxPixels {
		return Refuse(CodeTooLarge, "%d x %d pixels, at most %d megapixels and %d along a side",
			w, h, MaxPixels/1_000_000, MaxSide)
	}
	return nil
}

// decodePNG decodes an 8-bit colour PNG. Transparency is left aside: a photo
// has none.
func decodePNG(data []byte) (*Photo, error) {
	// The first chunk is always IHDR: length, name, then width, height, bit
	// depth and colour type (ISO/IEC 15948 section 11.2.2).
	const header = 26
	if len(data) < header || string(data[12:16]) != "IHDR" {
		return nil, Refuse(CodeTruncated, "")
	}
	w, h := binary.BigEndian.Uint32(data[16:]), binary.BigEndian.Uint32(data[20:])
	if err := checkSize(int(w), int(h)); err != nil {
		return nil, err
	}
	const greyType, greyAlphaType = 0, 4
	switch depth, colourType := data[24], data[25]; {
	case depth == 16:
		return nil, Refuse(CodeSixteenBit, "")
	case colourType == greyType || colourType == greyAlphaType:
		return nil, Refuse(CodeNoColour, "")
	}
	img, err := guarded(png.Decode, data)
	if err != nil {
		return nil, err
	}
	return fromImage(img), nil
}

// decodeWebP decodes a still WebP, lossy or lossless.
func decodeWebP(data []byte) (*Photo, error) {
	// Chunks follow one another from byte 12 (RFC 9649 section 2). The container
	// gives its length after "RIFF"; the decoder stops at the picture and would
	// not miss what follows it.
	const extended = 30 // bytes up to the end of a VP8X chunk
	if len(data) < extended || uint64(binary.LittleEndian.Uint32(data[4:]))+8 > uint64(len(data)) {
		return nil, Refuse(CodeTruncated, "")
	}
	if string(data[12:16]) == "VP8X" {
		const animated = 1 << 1
		if data[20]&animated != 0 {
			return nil, Refuse(CodeNotAPhoto, "it is an animation")
		}
		// The canvas has 24 bits a side, which the decoder does not all take.
		w := binary.LittleEndian.Uint32(data[24:]) & 0xffffff
		h := binary.LittleEndian.Uint32(data[26:]) >> 8
		if err := checkSize(int(w)+1, int(h)+1); err != nil {
			return nil, err
		}
	}
	config, err := guarded(webp.DecodeConfig, data)
	if err != nil {
		return nil, err
	}
	if err := checkSize(config.Width, config.Height); err != nil {
		return nil, err
	}
	img, err := guarded(webp.Decode, data)
	if err != nil {
		return nil, err
	}
	return fromImage(img), nil
}

// guarded runs one of Go's decoders. An error or a panic of the decoder means
// the data make no sense to it: the header was sound already.
func guarded[T any](decode func(r io.Reader) (T, error), data []byte) (out T, err error) {
	defer func() {
		if recover() != nil {
			err = Refuse(CodeTruncated, "")
		}
	}()
	if out, err = decode(bytes.NewReader(data)); err != nil {
		err = Refuse(CodeTruncated, "")
	}
	return out, err
}
