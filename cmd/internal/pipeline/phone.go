package pipeline

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"stripgap/calib"
	"stripgap/vision"
)

// Refusal codes of photos that a phone's camera cannot be learnt from.
const (
	codeNoPhone      = "no-phone-named"
	codeNotBenchCard = "not-bench-card"
)

// phoneKey tells which phone and lens took the photo, or false where EXIF does
// not or where the picture is stored mirrored, whose frame is not the sensor's.
func phoneKey(p *vision.Photo) (calib.PhoneKey, bool) {
	w, h := p.StoredSize()
	e := p.Exif
	key := calib.PhoneKey{Make: e.Make, Model: e.Model, FocalMM: e.FocalMM, Focal35MM: e.Focal35MM, Width: w, Height: h}
	return key, e.Make != "" && e.Model != "" && !p.StoredMirrored()
}

// phoneOf returns the profile of the camera that took a photo, or false where
// there is none.
func phoneOf(phones []calib.Phone, p *vision.Photo) (calib.Phone, bool) {
	key, ok := phoneKey(p)
	if !ok {
		return calib.Phone{}, false
	}
	return calib.FindPhone(phones, key)
}

// Where a camera was known from.
const (
	fromProfile = "profile"
	fromExif    = "exif"
	fromNothing = "assumed"
)

// options returns the options for reading the photos together, and where they
// know the camera from: the profile of the one phone that took them all, held the
// same way, goes before EXIF. The camera is nil where the options name their own.
func (r *Reader) options(t Task, photos ...*vision.Photo) (vision.Options, *Camera) {
	o := r.known(t)
	if o.Prior.F > 0 {
		return o, nil
	}
	learnt := &Camera{From: fromProfile}
	first, _ := phoneKey(photos[0])
	for _, p := range photos {
		phone, ok := phoneOf(r.Phones, p)
		if !ok || phone.Key != first || p.Exif.Orientation != photos[0].Exif.Orientation {
			return r.known(t), unlearnt(photos)
		}
		o.Prior = p.UprightPrior(phone.Prior())
		learnt.Phone = phone.Key.String()
	}
	return o, learnt
}

// unlearnt is where the camera is known from without a profile.
func unlearnt(photos []*vision.Photo) *Camera {
	for _, p := range photos {
		if _, ok := p.Exif.FocalPixels(p.Width(), p.Height()); !ok {
			return &Camera{From: fromNothing}
		}
	}
	return &Camera{From: fromExif}
}

// known is the reader's options with the surface of the task's strip.
func (r *Reader) known(t Task) vision.Options {
	o := r.Options
	if t.Setting != nil {
		o.Surface, o.Surfaces = t.Setting.Surface, nil
		return o
	}
	if len(r.Settings) > 0 {
		o.Surfaces = map[string]vision.Surface{}
		for bearing, s := range r.Settings {
			o.Surfaces[bearing] = s.Surface
		}
	}
	return o
}

// CardSight is the bench card as one photo shows it, for LearnPhone.
type CardSight struct {
	Photo string // its file
	Key   calib.PhoneKey
	Focal float64    // px, expected before learning
	Shot  calib.Shot // in the frame of the stored picture
	Tilt  float64    // radians
}

// SeeCard looks for the bench card in a photo. Errors are a *vision.Refusal.
func SeeCard(photo *vision.Photo) (CardSight, error) {
	key, ok := phoneKey(photo)
	if !ok {
		return CardSight{}, &vision.Refusal{Code: codeNoPhone,
			Message: "the photo does not say which phone and lens took it",
			Remedy:  "copy the original from the phone, taken with the camera on its back; messengers and editors take these words out"}
	}
	card, view, err := vision.FindCard(photo, vision.Options{})
	if err != nil {
		return CardSight{}, err
	}
	if card.Layout.Name != calib.Bench().Name {
		return CardSight{}, &vision.Refusal{Code: codeNotBenchCard,
			Message: "this is the small card; a camera is learnt from the bench card",
			Remedy:  "photograph the large card of the sheet"}
	}
	s := CardSight{Photo: photo.Name, Key: key, Tilt: view.Tilt()}
	if s.Focal, ok = photo.Exif.FocalPixels(key.Width, key.Height); !ok {
		s.Focal = view.Camera.F
	}
	for _, m := range card.Marks {
		s.Shot.Card = append(s.Shot.Card, m.Mark.Centre)
		s.Shot.Image = append(s.Shot.Image, photo.Stored(m.Pixel))
		s.Shot.Sigma += m.U * m.U / float64(len(card.Marks))
	}
	s.Shot.Sigma = math.Sqrt(s.Shot.Sigma)
	return s, nil
}

// LearnPhone fits one camera to all photos. Errors: calib.ErrFewShots,
// calib.ErrUndetermined with the photos' tilts, calib.ErrStranger with the photo's
// file, and photos of different cameras.
func LearnPhone(sights []CardSight) (calib.Phone, *calib.CameraFit, error) {
	if len(sights) == 0 {
		return calib.Phone{}, nil, calib.ErrFewShots
	}
	first := sights[0]
	shots := make([]calib.Shot, len(sights))
	for i, s := range sights {
		if s.Key != first.Key {
			return calib.Phone{}, nil, fmt.Errorf("%s is by %v, but %s by %v: learn one camera at a time, all photos with one lens, zoom and size",
				s.Photo, s.Key, first.Photo, first.Key)
		}
		shots[i] = s.Shot
	}
	w, h := first.Key.Width, first.Key.Height
	fit, err := calib.FitCamera(shots, w, h, calib.WidePrior(first.Focal, w, h))
	var shot *calib.ShotError
	switch {
	case errors.As(err, &shot):
		return calib.Phone{}, nil, fmt.Errorf("%s: %w", sights[shot.Index].Photo, shot.Err)
	case errors.Is(err, calib.ErrUndetermined):
		return calib.Phone{}, nil, fmt.Errorf("%w; these are tilted by %s degrees, and 15 to 25 is good", err, tilts(sights))
	case err != nil:
		return calib.Phone{}, nil, err
	}
	return calib.Phone{Key: first.Key, Camera: fit.Camera, Cov: fit.Cov, Photos: len(sights)}, fit, nil
}

// tilts lists the photos' tilts in degrees.
func tilts(sights []CardSight) string {
	var list []string
	for _, s := range sights {
		list = append(list, fmt.Sprintf("%.0f", s.Tilt*180/math.Pi))
	}
	return strings.Join(list, ", ")
}
