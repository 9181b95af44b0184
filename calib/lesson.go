package calib

import (
	"fmt"
	"math"
	"strconv"

	"stripgap/calib/quantity"
)

// AreaLesson is a strip's section area as it was learnt, and what it rests on.
type AreaLesson struct {
	How    string         // such as "photos of an unused strand"
	Area   quantity.Value // mm2
	Terms  []quantity.Term
	Points []LessonPoint // none where the diameter was stated
	// Chi-square of the points about the area, and the chance that good points
	// scatter as much.
	ChiSquare float64
	DoF       int
	Chance    float64
	Intercept quantity.Value // as AreaFit's; u 0 where it was not tested
	Doubts    []string       // what speaks against the area, for people
}

// LessonPoint is one photo, bar or gauge against the area.
type LessonPoint struct {
	Name  string
	Gap   float64        // mm; 0 for an unused strand
	Width quantity.Value // mm, of the strip, the bar or the strand
	Area  quantity.Value // mm2 that it alone gives, with its own uncertainty
	Z     float64        // its difference from the whole over its own uncertainty
}

// LessonFromDiameter is the area of a round strand whose diameter in mm is stated.
func LessonFromDiameter(d quantity.Value) AreaLesson {
	a := AreaFromDiameter(d)
	return AreaLesson{How: "a stated diameter", Area: a, Terms: []quantity.Term{{Name: "diameter", U: a.U}}, Chance: 1}
}

// LessonFromStrand is the area of a round strand from several readings of its
// diameter in mm; names and errors are those of FitDiameter's readings. common is
// the standard uncertainty in mm that all readings share, by name.
func LessonFromStrand(names []string, readings []quantity.Value, common []quantity.Term) (AreaLesson, error) {
	shared := 0.0
	for _, t := range common {
		shared = math.Hypot(shared, t.U)
	}
	d, err := FitDiameter(readings, shared)
	if err != nil {
		return AreaLesson{}, err
	}
	l := AreaLesson{How: "photos of an unused strand", Area: AreaFromDiameter(d.Mean),
		ChiSquare: d.ChiSquare, DoF: d.DoF, Chance: d.Chance, Doubts: d.Doubts}
	slope := math.Pi * d.Mean.X / 2 // mm2 per mm
	own := math.Sqrt(math.Max(0, d.Mean.U*d.Mean.U-shared*shared))
	l.Terms = append(l.Terms, quantity.Term{Name: "scatter of the photos", U: slope * own})
	for _, t := range common {
		l.Terms = append(l.Terms, quantity.Term{Name: t.Name, U: slope * t.U, Common: true})
	}
	for i, r := range readings {
		l.Points = append(l.Points, LessonPoint{Name: names[i], Width: r, Area: AreaFromDiameter(r), Z: d.Z[i]})
	}
	return l, nil
}

// LessonFromPoints is the area by FitArea, learnt in the way how.
func LessonFromPoints(how string, points []AreaPoint, common, commonMM float64) (AreaLesson, error) {
	f, err := FitArea(points, common, commonMM)
	if err != nil {
		return AreaLesson{}, err
	}
	l := AreaLesson{How: how, Area: f.Area, Terms: f.Terms, ChiSquare: f.ChiSquare, DoF: f.DoF, Chance: f.Chance,
		Intercept: f.Intercept, Doubts: f.Doubts}
	for _, p := range f.Points {
		l.Points = append(l.Points, LessonPoint{p.Name, p.Gap.X, p.Width, p.Area, p.Z})
	}
	return l, nil
}

// Residual is how far the point's own area lies from the lesson's, relative.
func (l AreaLesson) Residual(p LessonPoint) float64 { return p.Area.X/l.Area.X - 1 }

// Agreement says in words how well the points agree.
func (l AreaLesson) Agreement() string {
	if l.DoF == 0 {
		return "not tested"
	}
	return scatter(l.ChiSquare, l.DoF, l.Chance)
}

// Lot makes a lot of what was learnt on the day on, for clearances from lo to hi
// mm. Area and uncertainty are rounded far below the latter. Errors are those of
// Lot.Check.
func (l AreaLesson) Lot(name, note, on string, lo, hi float64) (Lot, error) {
	decimals := max(0, 5-int(math.Floor(math.Log10(l.Area.U))))
	round := func(x float64) float64 {
		short, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'f', decimals, 64), 64) // its own print
		return short
	}
	lot := Lot{Name: name, Note: note, SectionArea: quantity.Value{X: round(l.Area.X), U: round(l.Area.U)}, RangeLo: lo, RangeHi: hi}
	lot.Learnt = LotOrigin{How: l.How, On: on}
	if len(l.Points) > 0 {
		lot.Learnt.Agreement = l.Agreement()
	}
	for _, p := range l.Points {
		text := p.Name + ": "
		if p.Gap > 0 {
			text += fmt.Sprintf("gap %.4f mm, ", p.Gap)
		}
		lot.Learnt.Points = append(lot.Learnt.Points,
			text+fmt.Sprintf("width %.4f mm, area %.5f mm2, %+.2f %%", p.Width.X, p.Area.X, 100*l.Residual(p)))
	}
	return lot, lot.Check()
}
