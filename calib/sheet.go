package calib

import (
	"fmt"
	"slices"
)

// SheetPoint is a place on a printed page in millimetres from its top left
// corner, x right and y down.
type SheetPoint struct{ X, Y float64 }

// Paper is a page size in mm: ISO 216 A4, the North American letter, or a page
// that is just one card.
type Paper struct {
	Name          string
	Width, Height float64
}

// Papers returns the papers a sheet can be printed on.
func Papers() []Paper {
	return []Paper{{"a4", 210, 297}, {"letter", 215.9, 279.4}}
}

// Placement is one card on a page. Cards are never turned or scaled.
type Placement struct {
	Layout  *Layout
	Bearing string     // the bearing's name on a tag, else empty
	Centre  SheetPoint // where the card's origin is
}

// SheetFromCard maps a place on the card to the page.
func (p Placement) SheetFromCard(c CardPoint) SheetPoint {
	return SheetPoint{p.Centre.X + c.X, p.Centre.Y - c.Y}
}

// CheckBar is a long bar whose length callipers measure, from one end to the
// other, because no photo shows a wrong print scale. From and To are the middles
// of its ends, Length mm apart, on a line along x or along y.
type CheckBar struct {
	Name     string // "across" or "down"
	Length   float64
	Width    float64
	From, To SheetPoint
}

// Note is a line of text on a page. Start is the left end of its base line; with
// Upright the line runs up the page.
type Note struct {
	Start   SheetPoint
	Size    float64 // mm, height of the capitals
	Text    string
	Upright bool
}

// Sheet is one page to print: cards of one serial, check bars and instructions.
type Sheet struct {
	Paper     Paper
	Serial    string
	Cards     []Placement
	CheckBars []CheckBar
	Notes     []Note
}

// The page's plan in mm. Both papers share it: it is 210 mm wide, centred on the
// paper, and keeps 8 mm from every edge of either, which printers leave white.
const (
	planWidth  = 210
	planMiddle = 114 // x of the middle of everything right of the upright bar

	acrossY, acrossLength = 60, 150.0
	downX, downTop        = 14, 62
	downLength            = 200.0
	checkWidth            = 3

	benchY = 104

	columns, rows         = 4, 6
	columnPitch, rowPitch = 40, 21
	firstRowY             = 149
)

const spareRiders = 8 // on a sheet without tags

// NewSheet plans a page on the paper ("a4" or "letter"): one bench card, a tag
// for each bearing or, with none named, eight riders, two check bars and
// instructions. A page holds 24 tags.
//
// Errors: an unknown paper, a serial that is not valid, and bearings that are too
// many, named twice or not printable as Layout.Shapes tells.
func NewSheet(paper, serial string, bearings []string) (*Sheet, error) {
	i := slices.IndexFunc(Papers(), func(p Paper) bool { return p.Name == paper })
	if i < 0 {
		return nil, fmt.Errorf("sheet: unknown paper %q; use a4 or letter", paper)
	}
	if len(bearings) > columns*rows {
		return nil, fmt.Errorf("sheet: %d bearings, a page holds %d; print a second sheet", len(bearings), columns*rows)
	}
	for i, name := range bearings {
		if name == "" {
			return nil, fmt.Errorf("sheet: bearing %d has an empty name", i+1)
		}
		if slices.Contains(bearings[:i], name) {
			return nil, fmt.Errorf("sheet: bearing %q is named twice", name)
		}
	}
	s := &Sheet{Paper: Papers()[i], Serial: serial}
	shift := (s.Paper.Width - planWidth) / 2
	s.Cards = planCards(shift, bearings)
	s.CheckBars = planCheckBars(shift)
	s.Notes = append(instructions(shift, serial), captions(s.Cards)...)
	if _, err := s.Outlines(); err != nil {
		return nil, err
	}
	return s, nil
}

// NewCard plans a page that is just one card, for placing in another document.
// The bearing is empty unless the card is a tag. It carries no check bars: what
// it is placed in must be measured by other means. Errors are those of
// Layout.Shapes.
func NewCard(l *Layout, serial, bearing string) (*Sheet, error) {
	s := &Sheet{
		Paper:  Paper{l.Name, l.Width, l.Height},
		Serial: serial,
		Cards:  []Placement{{l, bearing, SheetPoint{l.Width / 2, l.Height / 2}}},
	}
	if _, err := s.Outlines(); err != nil {
		return nil, err
	}
	return s, nil
}

// planCards places the bench card and below it the small ones, row by row.
func planCards(shift float64, bearings []string) []Placement {
	if len(bearings) == 0 {
		bearings = make([]string, spareRiders)
	}
	middle := shift + planMiddle
	cards := []Placement{{Bench(), "", SheetPoint{middle, benchY}}}
	for i, name := range bearings {
		column, row := i%columns, i/columns
		x := middle + (float64(column)-float64(columns-1)/2)*columnPitch
		y := firstRowY + float64(row)*rowPitch
		cards = append(cards, Placement{Rider(), name, SheetPoint{x, y}})
	}
	return cards
}

func planCheckBars(shift float64) []CheckBar {
	left, right := shift+planMiddle-acrossLength/2, shift+planMiddle+acrossLength/2
	x := shift + downX
	return []CheckBar{
		{"across", acrossLength, checkWidth, SheetPoint{left, acrossY}, SheetPoint{right, acrossY}},
		{"down", downLength, checkWidth, SheetPoint{x, downTop}, SheetPoint{x, downTop + downLength}},
	}
}

// instructions are the words of the page, for someone who reads nothing else.
func instructions(shift float64, serial string) []Note {
	left := shift + 12
	notes := []Note{{Start: SheetPoint{left, 16}, Size: 4, Text: "stripgap sheet " + serial}}
	for i, text := range []string{
		"1. Print at 100 % (actual size, never fit to page) on matt white paper.",
		"2. Glue the sheet to stiff, flat board with spray or stick glue; wet glue swells the paper.",
		"3. Measure both long bars from end to end with callipers (a steel rule if they are too short).",
		"    Write both lengths down beside them and give them to stripgap.",
		"4. Cut the cards out along the ticks. Keep the rest of the sheet: its bars belong to these cards.",
		"5. Lay a card flat beside the strip, on the same surface, its arrow towards the front of the engine:",
		"    the large card on the bench, a small one in tight places, at most 5 mm from the strip.",
	} {
		notes = append(notes, Note{Start: SheetPoint{left, 23.5 + 4.6*float64(i)}, Size: 2.2, Text: text})
	}
	return append(notes,
		Note{Start: SheetPoint{shift + planMiddle - 55, acrossY + 6.5}, Size: 2.2,
			Text: "Exactly 150 mm from end to end.  Measured: ____________ mm"},
		Note{Start: SheetPoint{shift + downX + 7, downTop + 150}, Size: 2.2, Upright: true,
			Text: "Exactly 200 mm from end to end.  Measured: ____________ mm"})
}

// captions repeats each tag's name beside it, large enough to sort by.
func captions(cards []Placement) []Note {
	var notes []Note
	for _, c := range cards {
		if c.Bearing != "" {
			start := c.SheetFromCard(CardPoint{-c.Layout.Width / 2, -c.Layout.Height/2 - 4.2})
			notes = append(notes, Note{Start: SheetPoint{start.X + 1.5, start.Y}, Size: 2.2, Text: c.Bearing})
		}
	}
	return notes
}
