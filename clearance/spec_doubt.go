package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// practice is the clearance over the journal's diameter that builders go by: about
// 0.001 in for each inch (common practice, no source).
const practice = 0.001

// bracket is a range of a limit over practice beyond which it is doubted.
// Printed limits lie well within (testdata/reference/tm_clearances.csv: upper
// 1.1 to 1.8, service up to 2.4, lower 0.3 to 0.6), and ten times or a tenth of
// any of them lies outside.
var upperBracket, lowerBracket = Limits{0.3, 5}, Limits{0.1, 2.5}

// Doubt is a reason to look at limits again. They are kept as they are: an engine
// may well be unlike others.
type Doubt struct {
	Side   string  // "lower" or "upper"
	Factor float64 // the limit over common practice for this journal, or for a middling one
	// Slip and Likely are what may have happened to the figure and what it would be
	// in mm without it. NoSlip and 0 where no slip explains it.
	Slip   quantity.Slip
	Likely float64
	Text   string
}

// Doubts compares limits with common practice for a journal of the diameter (mm):
// about 0.001 in of clearance for each inch. It returns one doubt for each side
// that is far from it, as a figure in the wrong unit or with its decimal point
// astray would be. It refuses limits that Check refuses and a diameter that is not
// positive.
func (l Limits) Doubts(journal float64) ([]Doubt, error) {
	if err := l.Check(); err != nil {
		return nil, fmt.Errorf("limits: %w", err)
	}
	if !positive(journal) {
		return nil, fmt.Errorf("limits: journal diameter %v mm: must be a positive number", journal)
	}
	return l.doubts(journal, journal), nil
}

// The journals of engines this is for, mm, generously (common practice, no source).
const smallestJournal, largestJournal = 20.0, 150.0

// AnyDoubts is Doubts where the journal is not known: what is far from common
// practice for every journal from 20 to 150 mm.
func (l Limits) AnyDoubts() ([]Doubt, error) {
	if err := l.Check(); err != nil {
		return nil, fmt.Errorf("limits: %w", err)
	}
	return l.doubts(smallestJournal, largestJournal), nil
}

// doubts are those that hold for all journals from lo to hi mm.
func (l Limits) doubts(lo, hi float64) (doubts []Doubt) {
	middle := practice * math.Sqrt(lo*hi)
	for _, side := range []struct {
		name    string
		x       float64
		bracket Limits
	}{{"lower", l.Lo, lowerBracket}, {"upper", l.Hi, upperBracket}} {
		usual := Limits{side.bracket.Lo * practice * lo, side.bracket.Hi * practice * hi}
		// A lower limit of zero is a way to say that there is none.
		if math.IsInf(side.x, 0) || side.x == 0 || usual.Contains(side.x) {
			continue
		}
		d := Doubt{Side: side.name, Factor: side.x / middle}
		d.Slip, d.Likely = likelySlip(side.x, middle, side.bracket)
		d.Text = d.text(side.x, lo, hi)
		doubts = append(doubts, d)
	}
	return doubts
}

// slips are what a figure may have been multiplied by, the likelier first: inches
// taken for millimetres, thousandths of an inch for millimetres and for inches, a
// decimal place or two, and the other ways round.
var slips = []struct {
	factor float64
	kind   quantity.Slip
}{
	{1 / 25.4, quantity.UnitSlip}, {25.4, quantity.UnitSlip},
	{10, quantity.PointSlip}, {0.1, quantity.PointSlip},
	{1 / 0.0254, quantity.UnitSlip}, {0.0254, quantity.UnitSlip},
	{1000, quantity.UnitSlip}, {0.001, quantity.UnitSlip},
	{100, quantity.PointSlip}, {0.01, quantity.PointSlip},
}

// likelySlip returns the slip that, undone, brings x nearest to the middle of the
// bracket, or none that brings it inside.
func likelySlip(x, unit float64, bracket Limits) (quantity.Slip, float64) {
	middle := math.Sqrt(bracket.Lo * bracket.Hi)
	kind, likely, nearest := quantity.NoSlip, 0.0, math.Inf(1)
	for _, s := range slips {
		right := x / s.factor
		off := math.Abs(math.Log(right / unit / middle))
		if bracket.Contains(right/unit) && off < nearest {
			kind, likely, nearest = s.kind, right, off
		}
	}
	return kind, likely
}

func (d Doubt) text(x, lo, hi float64) string {
	both := func(mm float64) string {
		return fmt.Sprintf("%s (%s)", quantity.FormatLength(mm, quantity.MM, 4), quantity.FormatLength(mm, quantity.Inch, 5))
	}
	s := fmt.Sprintf("the %s limit %s is ", d.Side, both(x))
	if lo == hi {
		s += fmt.Sprintf("%.2g times the common 0.001 in per inch of a %s journal; check figure, unit and diameter", d.Factor, quantity.FormatLength(lo, quantity.MM, 1))
	} else {
		s += fmt.Sprintf("unlike any common for journals of %.0f to %.0f mm; check figure and unit", lo, hi)
	}
	if d.Slip != quantity.NoSlip {
		s += fmt.Sprintf(": with a slip of the %s it would be %s", d.Slip, both(d.Likely))
	}
	return s
}
