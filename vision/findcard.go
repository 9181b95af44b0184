package vision

import "stripgap/calib"

// FindCard finds the card in a photo, with its marks refined, and the view they
// give. Zone, Surface and Plane of the options, which speak of a strip, do not
// matter. Errors are a *Refusal: those of the card in the photo, without a limit
// to the tilt.
func FindCard(p *Photo, o Options) (*Card, *calib.View, error) {
	f, r := findCard(p, o)
	if r == nil {
		r = (&Measurement{Card: f.card, View: f.view}).gateMarks()
	}
	if r != nil {
		return nil, nil, r
	}
	return f.card, f.view, nil
}
