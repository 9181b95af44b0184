package calib

import "math"

// MarkStyle is the radial build of a layout's marks in millimetres, from the
// centre outwards: a disc cut in four quarters (the quarters holding the +x+y
// and the -x-y diagonals are black), a white gap, a black rim, a ring of coded
// teeth and a white quiet zone. The figure maps onto itself when turned by
// 180 degrees, so its centre does not move with ink spread, blur or sharpening.
type MarkStyle struct {
	Disc  float64 // radius of the quartered disc
	Gap   float64 // outer radius of the white gap
	Rim   float64 // outer radius of the black rim
	Teeth float64 // outer radius of the teeth
	Quiet float64 // radius kept free of other print
	Bits  int     // code length; the teeth ring has 2*Bits equal sectors
}

// Mark is one mark of a layout. Bit i of Code (least significant first) is the
// sector from i to i+1 times 180/Bits degrees, counted anticlockwise from +x,
// and again half a turn further on; 1 is black.
type Mark struct {
	Code   uint8
	Centre CardPoint
}

// Bars is a group of equal black bars and white gaps. The bars stand beside one
// another along the Along axis, the first one's leading edge at Start. With
// Count = 1 it is an isolated bar.
type Bars struct {
	Name     string
	Vertical bool      // true: the bars' long edges run along y, measured along x
	Start    CardPoint // corner of the first bar with the smallest x and y
	Width    float64   // of one bar across its edges
	Pitch    float64   // bar to bar; 0 for an isolated bar
	Length   float64   // of one bar along its edges
	Count    int
}

// Corners are the outline of all the bars, going round.
func (b Bars) Corners() [4]CardPoint {
	across, along := b.Pitch*float64(b.Count-1)+b.Width, b.Length
	if !b.Vertical {
		across, along = along, across
	}
	right, up := CardPoint{X: across}, CardPoint{Y: along}
	return [4]CardPoint{b.Start, b.Start.Add(right), b.Start.Add(right).Add(up), b.Start.Add(up)}
}

// Square is an upright square on the card.
type Square struct {
	Centre CardPoint
	Side   float64
}

// Label is a line of text on the card. Size is the capitals' height in mm.
type Label struct {
	Centre CardPoint
	Size   float64
	Text   string // "{serial}" and "{bearing}" are filled in when drawn
}

// Arrow points along +x to the engine's front.
type Arrow struct {
	Tail   CardPoint
	Length float64
	Width  float64 // of the head
}

// Layout is a card as data: everything drawing and detection need to know.
type Layout struct {
	Name          string
	Width, Height float64 // mm, along x and y
	Style         MarkStyle
	Marks         []Mark
	Bars          []Bars
	Code          Square // the QR code's modules without its quiet zone
	Front         Arrow
	Labels        []Label
	OnPart        bool    // it lies on the shell or journal itself, not on the bench beside the part
	Reach         float64 // mm beside the card within which a strip is looked for
	MaxGap        float64 // mm between card and strip beyond which a reading is refused
}

// hamming8 encodes four data bits as a codeword of the extended Hamming [8,4,4]
// code: bits 0-3 data, 4-6 parity, 7 overall parity.
func hamming8(d uint8) uint8 {
	b := func(i uint) uint8 { return d >> i & 1 }
	c := d&15 | (b(0)^b(1)^b(3))<<4 | (b(0)^b(2)^b(3))<<5 | (b(1)^b(2)^b(3))<<6
	p := c ^ c>>4
	p ^= p >> 2
	p ^= p >> 1
	return c | p&1<<7
}

// short6 encodes three data bits as a codeword of the shortened Hamming [6,3,3]
// code: bits 0-2 data, 3-5 parity.
func short6(d uint8) uint8 {
	b := func(i uint) uint8 { return d >> i & 1 }
	return d&7 | (b(0)^b(1))<<3 | (b(0)^b(2))<<4 | (b(1)^b(2))<<5
}

// sixMarks places six marks at x = -dx, 0, dx and y = +-dy, top row first.
func sixMarks(dx, dy float64, code func(uint8) uint8, data [6]uint8) []Mark {
	var m []Mark
	for i, d := range data {
		m = append(m, Mark{code(d), CardPoint{float64(i%3-1) * dx, dy * float64(1-2*(i/3))}})
	}
	return m
}

// dot is that of a printer of 600 dots per inch, mm. Bars and gaps of whole dots print
// alike wherever they fall among them; else each edge is off by up to half a dot, and
// five bars' pitch by half a per cent. Whole dots of 300 and 1200 per inch they are, too.
const dot = 25.4 / 600

// Bench is the card for a strip on a shell or cap on the bench, of the size
// ISO/IEC 7810 calls ID-1 (85.60 mm wide; 54 mm high with our rounding).
func Bench() *Layout {
	return &Layout{
		Name: "bench", Width: 85.6, Height: 54,
		Style: MarkStyle{Disc: 1.35, Gap: 1.90, Rim: 2.30, Teeth: 3.00, Quiet: 3.6, Bits: 8},
		Marks: sixMarks(38.6, 22.8, hamming8, [6]uint8{1, 2, 4, 7, 8, 11}),
		Bars: []Bars{
			{Name: "isolated x", Vertical: true, Start: CardPoint{-31, 5}, Width: 2, Length: 10, Count: 1},
			{Name: "isolated x right", Vertical: true, Start: CardPoint{29, 5}, Width: 2, Length: 10, Count: 1},
			{Name: "isolated y", Start: CardPoint{-35, -13}, Width: 2, Length: 10, Count: 1},
			{Name: "isolated y right", Start: CardPoint{25, -13}, Width: 2, Length: 10, Count: 1},
			{Name: "coarse x", Vertical: true, Start: CardPoint{-22, 10}, Width: 24 * dot, Pitch: 48 * dot, Length: 5, Count: 6},
			{Name: "middle x", Vertical: true, Start: CardPoint{-22, 3}, Width: 12 * dot, Pitch: 24 * dot, Length: 5, Count: 11},
			{Name: "fine x", Vertical: true, Start: CardPoint{-22, -4}, Width: 6 * dot, Pitch: 12 * dot, Length: 5, Count: 21},
			{Name: "coarse y", Start: CardPoint{9, 3.5}, Width: 24 * dot, Pitch: 48 * dot, Length: 4, Count: 6},
			{Name: "middle y", Start: CardPoint{15, 4}, Width: 12 * dot, Pitch: 24 * dot, Length: 4, Count: 11},
			{Name: "fine y", Start: CardPoint{21, 4}, Width: 6 * dot, Pitch: 12 * dot, Length: 4, Count: 21},
		},
		Code:  Square{CardPoint{0, -9.5}, 12},
		Front: Arrow{CardPoint{-30, 21.5}, 22, 4.4},
		Labels: []Label{
			{CardPoint{19, 22.8}, 1.5, "THIS END TO ENGINE FRONT"},
			{CardPoint{-17, -22.8}, 2.2, "stripgap bench"},
			{CardPoint{19, -22.8}, 2.2, "{serial}"},
		},
		Reach: 60, MaxGap: 60,
	}
}

// Rider is the small card that lies beside the strip on a shell or a journal,
// also between crank cheeks. Drawn with a bearing's name it is a tag.
func Rider() *Layout {
	return &Layout{
		Name: "rider", Width: 24, Height: 12,
		Style: MarkStyle{Disc: 0.88, Gap: 1.23, Rim: 1.50, Teeth: 1.95, Quiet: 2.4, Bits: 6},
		Marks: sixMarks(9.6, 3.6, short6, [6]uint8{1, 2, 3, 4, 5, 6}),
		Bars: []Bars{
			{Name: "isolated y", Start: CardPoint{-6.8, -3.6}, Width: 2, Length: 4, Count: 1},
			{Name: "isolated x", Vertical: true, Start: CardPoint{3.8, 2.7}, Width: 2, Length: 2.7, Count: 1},
			{Name: "middle y", Start: CardPoint{-6.8, 0.2}, Width: 12 * dot, Pitch: 24 * dot, Length: 4, Count: 5},
		},
		Code:  Square{CardPoint{4.8, -0.3}, 4.2},
		Front: Arrow{CardPoint{3.0, -4.3}, 3.6, 2.0},
		Labels: []Label{
			{CardPoint{-4.8, 5.4}, 0.8, "{bearing}"},
			{CardPoint{-4.8, -5.45}, 0.7, "{serial}"},
		},
		OnPart: true, Reach: 8, MaxGap: 8,
	}
}

// Layouts returns every layout the program knows, largest first.
func Layouts() []*Layout { return []*Layout{Bench(), Rider()} }

// MarkByCode returns the mark with the code and true, or false when the layout
// has none.
func (l *Layout) MarkByCode(code uint8) (Mark, bool) {
	for _, m := range l.Marks {
		if m.Code == code {
			return m, true
		}
	}
	return Mark{}, false
}

// Contains reports whether p lies on the card grown by margin mm on all sides.
func (l *Layout) Contains(p CardPoint, margin float64) bool {
	return math.Abs(p.X) <= l.Width/2+margin && math.Abs(p.Y) <= l.Height/2+margin
}
