package clearance

import (
	"fmt"
	"math"

	"stripgap/calib/quantity"
)

// Names of the budget terms this package adds to those of the width.
const (
	TermArea        = "strip section area"
	TermEdgeShape   = "edge shape"
	TermTemperature = "temperature"
	TermTaper       = "taper of width" // in the taper's budget only
)

// FlagOutOfRange marks a reading of which the mean or an end lies outside the
// strip's own range: it may not be judged.
const FlagOutOfRange = "out-of-strip-range"

// FlagTemperature marks a reading of a strip used outside the room range, RoomLo to
// RoomHi. Its budget holds what that may change.
const FlagTemperature = "temperature"

// NotCrushed is the reason given for a station narrower than the strand itself.
const NotCrushed = "not-crushed"

// Reading is the clearance one strip tells, in millimetres.
type Reading struct {
	// Clearance is the gap where the strip has its mean width. The mean of the gap
	// along a tapered strip is larger by the fraction (t/w)^2/12, with t the
	// difference of the ends' widths: under 0.1 % up to a tenth.
	Clearance quantity.Value
	Budget    quantity.Budget // of Clearance
	// Taper is the clearance at the first end minus that at the second.
	Taper       quantity.Value
	TaperBudget quantity.Budget
	// Bow is the clearance at the middle minus the mean of both ends'.
	Bow     quantity.Value
	Ends    [2]EndReading
	Profile []StationReading
	Range   Limits // mm, what the strip is made for
	Flags   []string
}

// EndReading is the clearance at one end with its whole standard uncertainty.
type EndReading struct {
	Name      string
	Clearance quantity.Value
}

// StationReading is a station with its clearance. U of the clearance holds the
// station's own noise only; what all stations share is in Reading.Budget.
type StationReading struct {
	Station
	Clearance quantity.Value // meaningless where Dropped is set
}

// FromProfile converts a width profile to clearance for a strip of the section.
//
// Uncertainties go through the first derivatives (JCGM 100:2008 5.1.2). With
// g = dc/dw and h = dc/dA at the mean and at ends 1 and 2, a term contributes
//
//	                mean              taper c1 - c2
//	own             |g| u             |g1 - g2| u, and |g1 + g2|/2 u(w1 - w2)
//	offset          |g| u             |g1 - g2| u
//	scale           |g| u             |g1 w1 - g2 w2| u / w
//	section area    h u(A)            |h1 - h2| u(A)
//	edge shape      a / sqrt 3        |a1 - a2| / sqrt 3
//
// Since c is nearly A/w, g w is nearly -c and h nearly c/A: a scale or area error
// leaves the taper wrong by the same small fraction of itself and not of the
// clearance. That cancelling is why a taper can be far surer than the gap.
func FromProfile(in WidthProfile, lot Section) (Reading, error) {
	if err := in.Check(); err != nil {
		return Reading{}, err
	}
	if err := lot.Check(); err != nil {
		return Reading{}, err
	}
	mean, err := FromWidth(in.Mean, lot.Area.X)
	if err != nil {
		return Reading{}, err
	}
	var ends [2]Gap
	for i, e := range in.Ends {
		if ends[i], err = FromWidth(e.Width, lot.Area.X); err != nil {
			return Reading{}, fmt.Errorf("%s end: %w", e.Name, err)
		}
	}
	r := Reading{Profile: profile(in.Stations, lot), Range: Limits{lot.RangeLo, lot.RangeHi}}
	if r.Budget, err = meanBudget(in, lot, mean); err != nil {
		return Reading{}, err
	}
	if r.TaperBudget, err = taperBudget(in, lot, ends); err != nil {
		return Reading{}, err
	}
	if r.Bow, err = bow(in, lot, mean); err != nil {
		return Reading{}, err
	}
	r.Clearance = quantity.Value{X: mean.Mm, U: r.Budget.U()}
	r.Taper = quantity.Value{X: ends[0].Mm - ends[1].Mm, U: r.TaperBudget.U()}
	for i, e := range in.Ends {
		r.Ends[i] = EndReading{e.Name, quantity.Value{X: ends[i].Mm, U: endU(in, lot, e, ends[i])}}
	}
	for _, c := range []float64{mean.Mm, ends[0].Mm, ends[1].Mm} {
		if !r.Range.Contains(c) {
			r.Flags = []string{FlagOutOfRange}
		}
	}
	if lot.Temperature != nil && lot.excess() > 0 {
		r.Flags = append(r.Flags, FlagTemperature)
	}
	return r, nil
}

// profile converts each station by itself.
func profile(stations []Station, lot Section) []StationReading {
	out := make([]StationReading, len(stations))
	for i, s := range stations {
		out[i].Station = s
		if s.Dropped != "" {
			continue
		}
		g, err := FromWidth(s.Width, lot.Area.X)
		if err != nil { // Check has refused all else
			out[i].Dropped = NotCrushed
			continue
		}
		out[i].Clearance = quantity.Value{X: g.Mm, U: -g.ByWidth * s.U}
	}
	return out
}

// sectionTerms are the terms the strip itself brings; all readings of a lot share
// them. byArea and spread are sensitivities or differences of them.
func sectionTerms(lot Section, byArea, spread float64) []quantity.Term {
	return []quantity.Term{
		{Name: TermArea, U: math.Abs(byArea) * lot.Area.U, Common: true},
		{Name: TermEdgeShape, U: quantity.Rectangular(spread), Common: true},
		{Name: TermTemperature, U: math.Abs(byArea) * lot.thermalU(), Common: true},
	}
}

func meanBudget(in WidthProfile, lot Section, g Gap) (quantity.Budget, error) {
	var terms []quantity.Term
	for _, t := range in.Terms {
		terms = append(terms, quantity.Term{Name: t.Name, U: -g.ByWidth * t.U, Common: t.Kind != Own, DoF: t.DoF})
	}
	return quantity.NewBudget(append(terms, sectionTerms(lot, g.ByArea, g.EdgeSpread)...)...)
}

func taperBudget(in WidthProfile, lot Section, ends [2]Gap) (quantity.Budget, error) {
	g1, g2 := ends[0].ByWidth, ends[1].ByWidth
	terms := []quantity.Term{{Name: TermTaper, U: -(g1 + g2) / 2 * in.TaperU}}
	for _, t := range in.Terms {
		s := g1 - g2
		if t.Kind == Scale {
			s = (g1*in.Ends[0].Width - g2*in.Ends[1].Width) / in.Mean
		}
		terms = append(terms, quantity.Term{Name: t.Name, U: math.Abs(s) * t.U, Common: t.Kind != Own, DoF: t.DoF})
	}
	section := sectionTerms(lot, ends[0].ByArea-ends[1].ByArea, ends[0].EdgeSpread-ends[1].EdgeSpread)
	return quantity.NewBudget(append(terms, section...)...)
}

// endU is the standard uncertainty of the clearance at one end. The end is the
// mean plus or minus half the taper, two uncorrelated results of the fit.
func endU(in WidthProfile, lot Section, e End, g Gap) float64 {
	own := math.Hypot(in.sum(Own), in.TaperU/2)
	width := math.Hypot(math.Hypot(own, in.sum(Offset)), in.sum(Scale)*e.Width/in.Mean)
	area := math.Hypot(lot.Area.U, lot.thermalU())
	return math.Hypot(math.Hypot(g.ByWidth*width, g.ByArea*area), quantity.Rectangular(g.EdgeSpread))
}

// bow converts the sagitta of the widths. A parabola of sagitta b about the mean m
// is m + b/3 at the middle and m - 2b/3 at the ends, to which the taper adds.
func bow(in WidthProfile, lot Section, mean Gap) (quantity.Value, error) {
	half := (in.Ends[0].Width - in.Ends[1].Width) / 2
	low := in.Mean - 2*in.Bow.X/3
	var c [3]float64
	for i, w := range [3]float64{low + half, in.Mean + in.Bow.X/3, low - half} {
		g, err := FromWidth(w, lot.Area.X)
		if err != nil {
			return quantity.Value{}, fmt.Errorf("bow of %.3g mm: %w", in.Bow.X, err)
		}
		c[i] = g.Mm
	}
	return quantity.Value{X: c[1] - (c[0]+c[2])/2, U: -mean.ByWidth * in.Bow.U}, nil
}
