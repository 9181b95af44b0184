package report

import (
	"stripgap/calib"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// BareSight tells where the card lies in what BarePicture draws, nil where it was
// not found.
func BareSight(photo *vision.Photo, m *vision.Measurement, r *pipeline.Result) *pipeline.Sight {
	if m == nil || m.View == nil || m.Card == nil {
		return nil
	}
	var plane calib.Plane
	if m.Strip != nil {
		plane = m.Strip.Plane
	}
	place, w, h := bareFindings(m, r).Placing(photo)
	var card []calib.CardPoint
	var picture []calib.PixelPoint
	// Over the card and as far again to each side: where strips lie.
	l := m.Card.Layout
	for i := -2.0; i <= 2; i++ {
		for j := -2.0; j <= 2; j++ {
			c := calib.CardPoint{X: i * l.Width / 2, Y: j * l.Height / 2}
			if px, ok := m.View.Image(plane.At(c)); ok {
				card, picture = append(card, c), append(picture, place(px))
			}
		}
	}
	fit, err := calib.FitHomography(card, picture)
	if err != nil {
		return nil
	}
	return &pipeline.Sight{Width: w, Height: h, PictureFromCard: fit}
}
