package calib

import (
	"encoding/json"
	"io"
)

// The placements file: where everything is that can be measured on a page. Each
// place is given in both frames, [x, y] in mm: on the sheet from its top left, y
// down, and on the card from its centre, y up.
type (
	placementsFile struct {
		Schema    int              `json:"schema"`
		Serial    string           `json:"serial"`
		Paper     placedPaper      `json:"paper"`
		CheckBars []placedCheckBar `json:"check_bars"`
		Cards     []placedCard     `json:"cards"`
	}
	placedPaper struct {
		Name   string  `json:"name"`
		Width  float64 `json:"width_mm"`
		Height float64 `json:"height_mm"`
	}
	placedCheckBar struct {
		Name   string     `json:"name"`
		Length float64    `json:"length_mm"`
		Width  float64    `json:"width_mm"`
		From   [2]float64 `json:"from_sheet_mm"`
		To     [2]float64 `json:"to_sheet_mm"`
	}
	placedCard struct {
		Layout  string       `json:"layout"`
		Bearing string       `json:"bearing,omitempty"`
		Width   float64      `json:"width_mm"`
		Height  float64      `json:"height_mm"`
		Centre  [2]float64   `json:"centre_sheet_mm"`
		Marks   []placedMark `json:"marks"`
		Bars    []placedBars `json:"bars"`
		Code    placedCode   `json:"code"`
	}
	place struct {
		Card  [2]float64 `json:"card_mm"`
		Sheet [2]float64 `json:"sheet_mm"`
	}
	placedMark struct {
		Code   uint8 `json:"code"`
		Centre place `json:"centre"`
	}
	// A group's start is the corner of its first bar with the smallest card x and
	// y; measured is the card axis across its bars.
	placedBars struct {
		Name     string  `json:"name"`
		Measured string  `json:"measured"`
		Count    int     `json:"count"`
		Width    float64 `json:"width_mm"`
		Pitch    float64 `json:"pitch_mm,omitempty"`
		Length   float64 `json:"length_mm"`
		Start    place   `json:"start"`
	}
	placedCode struct {
		Text   string  `json:"text"`
		Side   float64 `json:"side_mm"`
		Centre place   `json:"centre"`
	}
)

// WritePlacements writes as JSON where the page's check bars are and every card's
// marks, bars and QR code, in sheet and in card millimetres, for measuring a
// print or a photo of it by other means. Errors are the writer's.
func (s *Sheet) WritePlacements(w io.Writer) error {
	file := placementsFile{
		Schema: 1, Serial: s.Serial,
		Paper:     placedPaper(s.Paper),
		CheckBars: []placedCheckBar{},
	}
	for _, b := range s.CheckBars {
		file.CheckBars = append(file.CheckBars, placedCheckBar{
			b.Name, b.Length, b.Width, [2]float64{b.From.X, b.From.Y}, [2]float64{b.To.X, b.To.Y}})
	}
	for _, c := range s.Cards {
		card, err := c.placed(s.Serial)
		if err != nil {
			return err
		}
		file.Cards = append(file.Cards, card)
	}
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(file)
}

func (p Placement) placed(serial string) (placedCard, error) {
	text, err := CodeText(serial, p.Bearing)
	if err != nil {
		return placedCard{}, err
	}
	at := func(c CardPoint) place {
		s := p.SheetFromCard(c)
		return place{[2]float64{c.X, c.Y}, [2]float64{s.X, s.Y}}
	}
	l := p.Layout
	card := placedCard{
		Layout: l.Name, Bearing: p.Bearing, Width: l.Width, Height: l.Height,
		Centre: at(CardPoint{}).Sheet,
		Code:   placedCode{text, l.Code.Side, at(l.Code.Centre)},
	}
	for _, m := range l.Marks {
		card.Marks = append(card.Marks, placedMark{m.Code, at(m.Centre)})
	}
	for _, b := range l.Bars {
		measured := "y"
		if b.Vertical {
			measured = "x"
		}
		card.Bars = append(card.Bars, placedBars{b.Name, measured, b.Count, b.Width, b.Pitch, b.Length, at(b.Start)})
	}
	return card, nil
}
