package vision

/*
#cgo LDFLAGS: -ljpeg
#include "jpeg.h"
*/
import "C"

import (
	"image/color"
	"slices"
	"unsafe"
)

// decodeJPEG decodes a baseline or progressive JPEG in one pass, keeping luma
// and chroma as they are stored: no upsampling, no conversion through RGB.
func decodeJPEG(data []byte) (*Photo, error) {
	info, err := jpegHeader(data)
	if err != nil {
		return nil, err
	}
	if info.colour == C.COLOUR_GREY {
		return nil, Refuse(CodeNoColour, "")
	}
	cx, cy, ok := chromaFactors(info)
	if !ok || (info.colour == C.COLOUR_RGB && (cx != 1 || cy != 1)) {
		return nil, Refuse(CodeUnsupported, "a JPEG with unusual colour subsampling")
	}
	var planes, small [3]*Plane
	for i := range planes {
		p := &Plane{W: int(info.plane_w[i]), H: int(info.plane_h[i])}
		planes[i], small[i] = p, &Plane{}
		switch {
		case info.colour != C.COLOUR_YCBCR: // these are not what the planes will hold
		case i == 0 && p.canHalve(2):
			p.fourth = &Plane{W: p.W / 4, H: p.H / 4}
			small[i] = p.fourth
		case i > 0 && p.canHalve(1):
			p.half = &Plane{W: p.W / 2, H: p.H / 2}
			small[i] = p.half
		}
	}
	memory := layOut(slices.Concat(planes[:], small[:]))
	kind := C.read_jpeg_planes(cbytes(data), C.size_t(len(data)),
		cbytes(planes[0].Pix), cbytes(planes[1].Pix), cbytes(planes[2].Pix),
		cbytes(small[0].Pix), cbytes(small[1].Pix), cbytes(small[2].Pix), cbytes(make([]uint8, planes[0].W)))
	if kind != C.KIND_OK {
		return nil, jpegRefusal(kind)
	}
	if info.colour == C.COLOUR_RGB {
		toYCbCr(planes)
	}
	return &Photo{Luma: planes[0], Cb: planes[1], Cr: planes[2], ChromaX: cx, ChromaY: cy, memory: memory}, nil
}

// layOut gives all planes their pixels in one piece of memory, which it returns. They
// hold anything, and those without pixels nil.
func layOut(planes []*Plane) []uint8 {
	size := 0
	for _, p := range planes {
		size += p.W * p.H
	}
	memory := usedOrNew(size)
	pix := memory
	for _, p := range planes {
		if n := p.W * p.H; n > 0 {
			p.Pix, pix = pix[:n:n], pix[n:]
		}
	}
	return memory
}

// DecodeJPEGGrey decodes a JPEG straight to grey: the least work any reader of
// its pixels can do, and so the yardstick of the benchmarks. Unlike Decode it
// takes a grey JPEG too; its other errors are those of Decode.
func DecodeJPEGGrey(data []byte) (*Plane, error) {
	if len(data) == 0 {
		return nil, Refuse(CodeEmpty, "")
	}
	info, err := jpegHeader(data)
	if err != nil {
		return nil, err
	}
	p := &Plane{W: int(info.width), H: int(info.height)}
	p.Pix = usedOrNew(p.W * p.H)
	if kind := C.read_jpeg_grey(cbytes(data), C.size_t(len(data)), cbytes(p.Pix)); kind != C.KIND_OK {
		return nil, jpegRefusal(kind)
	}
	return p, nil
}

// jpegHeader reads the header and refuses what is too large, or neither grey
// nor in a display's colours, before anything the size of the photo is
// allocated.
func jpegHeader(data []byte) (*C.struct_jpeg_info, error) {
	var info C.struct_jpeg_info
	if kind := C.read_jpeg_header(cbytes(data), C.size_t(len(data)), &info); kind != C.KIND_OK {
		return nil, jpegRefusal(kind)
	}
	if err := checkSize(int(info.width), int(info.height)); err != nil {
		return nil, err
	}
	switch info.colour {
	case C.COLOUR_CMYK:
		return nil, Refuse(CodeCMYK, "")
	case C.COLOUR_OTHER:
		return nil, Refuse(CodeUnsupported, "a JPEG without the usual three colours")
	}
	return &info, nil
}

// chromaFactors returns how many luma samples one chroma sample stands for, and
// false for layouts no camera writes: subsampled luma, unlike chroma planes, or
// broken ratios.
func chromaFactors(info *C.struct_jpeg_info) (x, y int, ok bool) {
	h, v := info.factor_h, info.factor_v
	if h[0] != info.max_h || v[0] != info.max_v || h[1] != h[2] || v[1] != v[2] {
		return 0, 0, false
	}
	if h[0]%h[1] != 0 || v[0]%v[1] != 0 {
		return 0, 0, false
	}
	return int(h[0] / h[1]), int(v[0] / v[1]), true
}

func jpegRefusal(kind C.enum_jpeg_kind) *Refusal {
	switch kind {
	case C.KIND_EMPTY:
		return Refuse(CodeNotAPhoto, "its size is given as zero")
	case C.KIND_TOO_LARGE:
		return Refuse(CodeTooLarge, "")
	case C.KIND_TOO_DEEP:
		return Refuse(CodeSixteenBit, "")
	case C.KIND_UNSUPPORTED:
		return Refuse(CodeUnsupported, "a rare kind of JPEG")
	}
	return Refuse(CodeTruncated, "")
}

// toYCbCr turns full-resolution red, green and blue planes into luma and
// chroma in place.
func toYCbCr(p [3]*Plane) {
	a, b, c := p[0].Pix, p[1].Pix, p[2].Pix
	for i := range a {
		a[i], b[i], c[i] = color.RGBToYCbCr(a[i], b[i], c[i])
	}
}

// cbytes is the address of a non-empty slice for the length of one C call.
func cbytes(b []byte) *C.uchar { return (*C.uchar)(unsafe.Pointer(unsafe.SliceData(b))) }
