package vision

import (
	"image"
	"strings"

	"stripgap/calib"
)

const (
	bannerPad   = 22
	headingSize = 44
	headingStep = headingSize * 3 / 2
	lineSize    = 32
	lineStep    = lineSize * 4 / 3
	crossRoom   = 56 // before the heading of a refusal
)

// wrap breaks a text at spaces to fit the room. A longer word keeps its line.
func (c *canvas) wrap(f fontKey, room float64, text string) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		next := strings.TrimSpace(line + " " + word)
		if line != "" && c.measure(f, next) > room {
			lines = append(lines, line)
			next = word
		}
		line = next
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// bannerText is the banner's text broken to fit the picture.
func (o *Overlay) bannerText(c *canvas) (heading, lines []string) {
	const room = pictureWidth - 2*bannerPad
	heading = c.wrap(fontKey{headingSize, true}, room-crossRoom, o.Heading)
	for _, text := range o.Lines {
		lines = append(lines, c.wrap(fontKey{lineSize, false}, room, text)...)
	}
	return heading, lines
}

// bannerHeight is 0 without text.
func (o *Overlay) bannerHeight() int {
	heading, lines := o.bannerText(newCanvas(1, 1))
	if len(heading)+len(lines) == 0 {
		return 0
	}
	return 2*bannerPad + headingStep*len(heading) + lineStep*len(lines)
}

// drawBanner writes the text over the whole width, on red and behind a cross
// for a refusal.
func (o *Overlay) drawBanner(c *canvas) {
	heading, lines := o.bannerText(c)
	ground, x, y := inkBlack, float64(bannerPad), float64(bannerPad)
	if o.Refused {
		ground = inkRed
	}
	c.rect(ground, image.Rect(0, 0, pictureWidth, o.bannerHeight()))
	if o.Refused && len(heading) > 0 {
		c.cross(inkBlack, calib.PixelPoint{X: x + 18, Y: y + headingStep/2}, 16)
		x += crossRoom
	}
	write := func(f fontKey, x, step float64, lines []string) {
		for _, line := range lines {
			c.text(inkWhite, f, calib.PixelPoint{X: x, Y: y + step/2}, anchorLeft, line)
			y += step
		}
	}
	write(fontKey{headingSize, true}, x, headingStep, heading)
	write(fontKey{lineSize, false}, bannerPad, lineStep, lines)
}
