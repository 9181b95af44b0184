package vision

import (
	"image"
	"math"

	"github.com/makiuchi-d/gozxing"
	"github.com/makiuchi-d/gozxing/qrcode"

	"stripgap/calib"
)

// readCardCode decodes the card's QR code (ISO/IEC 18004) from a patch rectified
// by the view. It returns false when the code cannot be read: a serial is worth
// having, but a reading does not hang on it.
func readCardCode(p *Photo, h calib.Homography, l *calib.Layout) (serial, bearing string, ok bool) {
	const module, quiet = 6, 3 // px, modules
	const size = (calib.CodeModules + 2*quiet) * module
	per := float64(calib.CodeModules) / (calib.CodeModules + 2*quiet) // side of the code over side of the patch
	step := l.Code.Side / per / size
	first := l.Code.Centre.Add(calib.CardPoint{X: -0.5, Y: 0.5}.Scale((size - 1) * step))
	// Neighbours' print is not the code's quiet zone: beyond the code it is white.
	from := int32(math.Ceil(quiet*module - 0.03*size - 0.5))
	in := columns{from, size - from}
	for _, x := range [2]int32{in.from, in.to - 1} {
		for _, y := range [2]int32{in.from, in.to - 1} {
			q, ok := h.Image(first.Add(calib.CardPoint{X: float64(x), Y: -float64(y)}.Scale(step)))
			if !ok || q.X < 0 || q.Y < 0 || q.X > float64(p.Luma.W-1) || q.Y > float64(p.Luma.H-1) {
				return "", "", false
			}
		}
	}
	patch := NewPlane(size, size)
	rows := make([]columns, size)
	for y := range rows {
		columns{0, size}.fill(patch.Row(y), 255)
		if in.from <= int32(y) && int32(y) < in.to {
			rows[y] = in
		}
	}
	lookUp(rasterMap(h, first, step), rows, [3]*Plane{p.Luma}, [3]*Plane{patch})
	img := &image.Gray{Pix: patch.Pix, Stride: size, Rect: image.Rect(0, 0, size, size)}
	bmp, err := gozxing.NewBinaryBitmapFromImage(img)
	if err != nil {
		return "", "", false
	}
	res, err := qrcode.NewQRCodeReader().Decode(bmp, map[gozxing.DecodeHintType]any{gozxing.DecodeHintType_PURE_BARCODE: true})
	if err != nil {
		if res, err = qrcode.NewQRCodeReader().Decode(bmp, nil); err != nil {
			return "", "", false
		}
	}
	serial, bearing, err = calib.ParseCode(res.GetText())
	return serial, bearing, err == nil
}
