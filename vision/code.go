package vision

import (
	"image"

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
	img := image.NewGray(image.Rect(0, 0, size, size))
	for y := range size {
		for x := range size {
			u, v := (float64(x)+0.5)/size-0.5, 0.5-(float64(y)+0.5)/size
			if abs := max(u, -u, v, -v); abs > 0.5*per+0.03 {
				img.Pix[y*img.Stride+x] = 255 // neighbours' print is not the code's quiet zone
				continue
			}
			c := l.Code.Centre.Add(calib.CardPoint{X: u, Y: v}.Scale(l.Code.Side / per))
			q, ok := h.Image(c)
			if !ok || q.X < 0 || q.Y < 0 || q.X > float64(p.Luma.W-1) || q.Y > float64(p.Luma.H-1) {
				return "", "", false
			}
			img.Pix[y*img.Stride+x] = toByte(p.Luma.bilinear(q.X, q.Y))
		}
	}
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
