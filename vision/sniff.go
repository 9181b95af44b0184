package vision

import (
	"bytes"
	"errors"
	"strings"

	"github.com/bep/imagemeta"
)

// format is a kind of photo that is read.
type format struct {
	decode func(data []byte) (*Photo, error)
	exif   imagemeta.ImageFormat
}

// others are the first bytes of files that turn up among photos and are not
// read, with the name to give them.
var others = []struct{ magic, name string }{
	{"GIF8", "a GIF"},
	{"BM", "a BMP"},
	{"II*\x00", "a TIFF or raw file"},
	{"MM\x00*", "a TIFF or raw file"},
	{"%PDF", "a PDF"},
	{"PK\x03\x04", "a ZIP archive or office file"},
	{"\x1aE\xdf\xa3", "a video"},
	{"<!DOCTYPE", "a web page"},
	{"<html", "a web page"},
	{"<svg", "an SVG drawing"},
	{"<?xml", "an XML file"},
}

// sniff tells a file's format by its first bytes. It refuses what is not read
// and says what it took it for.
func sniff(data []byte) (format, error) {
	has := func(magic string) bool { return bytes.HasPrefix(data, []byte(magic)) }
	switch {
	case has("\xff\xd8\xff"):
		return format{decodeJPEG, imagemeta.JPEG}, nil
	case has("\x89PNG\r\n\x1a\n"):
		return format{decodePNG, imagemeta.PNG}, nil
	case has("RIFF") && len(data) >= 12 && string(data[8:12]) == "WEBP":
		return format{decodeWebP, imagemeta.WebP}, nil
	case len(data) >= 12 && string(data[4:8]) == "ftyp":
		return sniffBoxes(string(data[8:12]))
	case has("\xff\x0a"), has("\x00\x00\x00\x0cJXL "):
		return format{}, Refuse(CodeUnsupported, "it is JPEG XL")
	}
	for _, o := range others {
		if has(o.magic) {
			return format{}, Refuse(CodeNotAPhoto, "it is %s", o.name)
		}
	}
	return format{}, Refuse(CodeNotAPhoto, "")
}

// Ending returns the file name ending that goes with the data's first bytes,
// ".jpg", ".heic", ".png" or ".webp", or why they are no photo that is read. It
// looks no further.
func Ending(data []byte) (string, *Refusal) {
	if len(data) == 0 {
		return "", Refuse(CodeEmpty, "")
	}
	f, err := sniff(data)
	if err != nil {
		var why *Refusal
		errors.As(err, &why) // sniff gives no other
		return "", why
	}
	return map[imagemeta.ImageFormat]string{imagemeta.JPEG: ".jpg", imagemeta.HEIF: ".heic",
		imagemeta.PNG: ".png", imagemeta.WebP: ".webp"}[f.exif], nil
}

// sniffBoxes tells a file of the ISO base media family by its major brand
// (ISO/IEC 14496-12 section 4.3; the HEIF brands are ISO/IEC 23008-12's).
func sniffBoxes(brand string) (format, error) {
	switch brand {
	case "heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "msf1", "mif2":
		return format{decodeHEIC, imagemeta.HEIF}, nil
	case "avif", "avis":
		return format{}, Refuse(CodeUnsupported, "it is AVIF")
	case "crx ":
		return format{}, Refuse(CodeNotAPhoto, "it is a raw file")
	}
	return format{}, Refuse(CodeNotAPhoto, "it is a video or sound file (%s)", strings.ToValidUTF8(brand, "?"))
}
