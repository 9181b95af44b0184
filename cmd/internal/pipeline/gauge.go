package pipeline

import (
	"errors"
	"fmt"
	"math"

	"stripgap/clearance"
	"stripgap/vision"
)

// codeNotCrushed refuses a strip that is narrower than its own strand.
const codeNotCrushed = "not-crushed"

// gauge adds the clearance to a result whose width is known. Without a lot there
// is nothing to add.
func (r *Reader) gauge(out *Result, m *vision.Measurement, t Task) error {
	if m == nil || m.Profile == nil || m.Card == nil {
		return errors.New("measuring gave neither a profile nor a reason")
	}
	if !out.Card.PrintChecked {
		out.addFlag(FlagPrintUnchecked)
	}
	known := r.setting(t, m.Card.Bearing)
	if known.Lot == nil {
		return nil
	}
	reading, err := clearance.FromProfile(widthProfile(m.Profile), section(known))
	if errors.Is(err, clearance.ErrNotCrushed) {
		return &vision.Refusal{Code: codeNotCrushed,
			Message: "the strip is narrower than its own strand, so nothing crushed it",
			Remedy:  "check that the lot is this strip's, that the cap was torqued, and use a thicker strip if it was"}
	}
	if err != nil {
		return fmt.Errorf("clearance of lot %q: %w", known.Lot.Name, err)
	}
	r.clearance(out, reading)
	return r.judge(out, reading)
}

// clearance copies a reading of the clearance into the result.
func (r *Reader) clearance(out *Result, c clearance.Reading) {
	out.Clearance = &Clearance{
		Mean: c.Clearance.X, U: c.Clearance.U, Expanded: r.Coverage * c.Clearance.U, Coverage: r.Coverage,
		Taper: c.Taper.X, TaperExpanded: r.Coverage * c.Taper.U, Bow: c.Bow.X,
	}
	for i := range out.Ends {
		out.Ends[i].Clearance = &c.Ends[i].Clearance.X
	}
	for i, s := range c.Profile {
		out.Profile[i].Dropped = s.Dropped
		if s.Dropped == "" {
			out.Profile[i].Clearance = &c.Profile[i].Clearance.X
		}
	}
	out.Budget = nil
	for _, t := range c.Budget.Terms() {
		out.Budget = append(out.Budget, Term{t.Name, t.U, t.Common})
	}
	for _, f := range c.Flags {
		out.addFlag(f)
	}
}

// section tells the clearance package what is known of the strip.
func section(s Setting) clearance.Section {
	return clearance.Section{Area: s.Lot.SectionArea, RangeLo: s.Lot.RangeLo, RangeHi: s.Lot.RangeHi, Temperature: s.Temperature}
}

// widthProfile hands vision's profile to the clearance package in its own terms.
// A common term that also acts on the taper is an error of scale, one that does
// not an offset, which cancels between the ends. What a scale term does to the
// taper beyond its share of the width (a strip plane pitched along the strip
// fakes one) goes with the edge noise into TaperU. The bow's uncertainty is left
// out: a Result does not carry it.
func widthProfile(p *vision.Profile) clearance.WidthProfile {
	out := clearance.WidthProfile{Mean: p.Mean}
	out.Bow.X = p.Bow
	for i, e := range p.Ends {
		out.Ends[i] = clearance.End{Name: e.Name, Width: e.Width}
	}
	for _, s := range p.Stations {
		out.Stations = append(out.Stations, clearance.Station{At: s.At, Width: s.Width, U: s.U, Dropped: s.Dropped})
	}
	onTaper := map[string]float64{}
	for _, t := range p.TaperBudget {
		onTaper[t.Name] = t.U
	}
	var taper float64
	for _, t := range p.Budget {
		u, acts := onTaper[t.Name]
		kind := clearance.Own
		switch {
		case t.Common && acts:
			kind = clearance.Scale
			share := p.Taper / p.Mean * t.U
			u = math.Sqrt(math.Max(0, u*u-share*share))
		case t.Common:
			kind = clearance.Offset
		}
		taper = math.Hypot(taper, u)
		out.Terms = append(out.Terms, clearance.WidthTerm{Name: t.Name, U: t.U, Kind: kind})
	}
	out.TaperU = taper
	return out
}
