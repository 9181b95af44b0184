package calib

import (
	"fmt"
	"math"
	"strings"
)

// Shapes returns every black area of one card with its texts filled in: first
// the marks in the layout's order, then bars, QR code, front arrow and labels.
// No two areas touch. The serial must satisfy ValidSerial. A bearing's name makes
// the card a tag; it is empty on every other card.
//
// Errors: a serial or bearing with a bad form or a character outside the QR
// alphanumeric set, a bearing on a layout that shows none, and a text too long
// for its place.
func (l *Layout) Shapes(serial, bearing string) ([]Polygon, error) {
	if bearing != "" && !l.showsBearing() {
		return nil, fmt.Errorf("card: a %s card carries no bearing's name (got %q); use a rider", l.Name, bearing)
	}
	code, err := codeShape(l.Code, serial, bearing)
	if err != nil {
		return nil, err
	}
	var out []Polygon
	for _, m := range l.Marks {
		out = append(out, markShape(m, l.Style))
	}
	for _, b := range l.Bars {
		out = append(out, barShapes(b)...)
	}
	out = append(out, code, arrowShape(l.Front))
	for _, label := range l.texts(serial, bearing) {
		text, err := textShape(label.Text, label.Centre, label.Size)
		if err != nil {
			return nil, err
		}
		if !l.hasRoomFor(text) {
			return nil, fmt.Errorf("card: %q is too long for its place on a %s card; use a shorter name", label.Text, l.Name)
		}
		out = append(out, text)
	}
	return out, nil
}

// texts returns the labels with serial and bearing filled in, without those that
// are then empty.
func (l *Layout) texts(serial, bearing string) []Label {
	fill := strings.NewReplacer("{serial}", serial, "{bearing}", bearing)
	var out []Label
	for _, label := range l.Labels {
		if label.Text = fill.Replace(label.Text); label.Text != "" {
			out = append(out, label)
		}
	}
	return out
}

// showsBearing reports whether one of the card's labels shows a bearing's name.
func (l *Layout) showsBearing() bool {
	for _, label := range l.Labels {
		if strings.Contains(label.Text, "{bearing}") {
			return true
		}
	}
	return false
}

// hasRoomFor reports whether the text lies on the card and outside every mark's
// quiet zone, the only neighbours in a line with a label.
func (l *Layout) hasRoomFor(text Polygon) bool {
	for _, ring := range text.Rings {
		for _, p := range ring {
			if !l.Contains(p, 0) || l.nearestMark(p) < l.Style.Quiet {
				return false
			}
		}
	}
	return true
}

// nearestMark returns the distance in mm from p to the nearest mark's centre.
func (l *Layout) nearestMark(p CardPoint) float64 {
	nearest := math.Inf(1)
	for _, m := range l.Marks {
		nearest = math.Min(nearest, p.Sub(m.Centre).Norm())
	}
	return nearest
}
