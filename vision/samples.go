package vision

import (
	"math"

	"stripgap/calib"
)

// colourSamples are display-referred colours of a photo's pixels, 0..1, channel by channel.
type colourSamples [3][]float64

// add takes the pixel nearest to a place, where that lies in the photo.
func (s *colourSamples) add(p *Photo, at calib.PixelPoint) {
	x, y := int(math.Round(at.X)), int(math.Round(at.Y))
	if x < 0 || y < 0 || x >= p.Luma.W || y >= p.Luma.H {
		return
	}
	r, g, b := p.RGB(x, y)
	for k, v := range [3]float64{r, g, b} {
		s[k] = append(s[k], v/255)
	}
}

// count is how many there are.
func (s *colourSamples) count() int { return len(s[0]) }

// median is the median of each channel; there must be one sample.
func (s *colourSamples) median() rgb { return rgb{median(s[0]), median(s[1]), median(s[2])} }
