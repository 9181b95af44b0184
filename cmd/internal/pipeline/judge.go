package pipeline

import (
	"errors"
	"math"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// Limits are what a clearance is judged by; nil where the maker's limits of that
// kind were not given.
type Limits struct {
	New     *clearance.Limits // for new or reconditioned parts
	Service *clearance.Limits // for parts that have run
}

// judge adds the verdicts and flags a taper that stands out. A reading outside
// its strip's own range gets no verdict; its flag says why.
func (r *Reader) judge(out *Result, reading clearance.Reading) error {
	taper, err := clearance.FindTaper(reading.Taper, r.taperLimit(), clearance.Laying)
	if err != nil {
		return err
	}
	switch taper {
	case clearance.TaperFound:
		out.addFlag(FlagTaper)
	case clearance.TaperUnsure:
		out.addFlag(FlagTaperUnsure)
	}
	newParts, err := out.judgement(reading, r.Limits.New, r.Coverage)
	if err != nil {
		return err
	}
	service, err := out.judgement(reading, r.Limits.Service, r.Coverage)
	if err != nil {
		return err
	}
	if newParts != nil || service != nil {
		out.Verdict = &Verdict{newParts, service}
	}
	return nil
}

// taperLimit is the taper in mm that must be noticed.
func (r *Reader) taperLimit() float64 {
	if r.TaperLimit != 0 {
		return r.TaperLimit
	}
	return clearance.TaperLimit
}

// judgement decides on one pair of limits; nil when there is nothing to decide. An end
// that lies beyond one is flagged.
func (out *Result) judgement(reading clearance.Reading, l *clearance.Limits, k float64) (*Judgement, error) {
	if l == nil {
		return nil, nil
	}
	c, err := quantity.FixedK(k)
	if err != nil {
		return nil, err
	}
	d, err := reading.Judge(*l, c)
	if errors.Is(err, clearance.ErrOutOfRange) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	for _, e := range reading.Ends {
		if d.EndOutside(e.Clearance, k, *l) {
			out.addFlag(clearance.FlagEndOutside)
		}
	}
	return &Judgement{
		Verdict: string(d.Verdict), Conformity: d.Conformity,
		Lo: side(l.Lo), Hi: side(l.Hi), AcceptLo: side(d.Accept.Lo), AcceptHi: side(d.Accept.Hi),
	}, nil
}

// side is a limit, or nil where there is none on that side.
func side(x float64) *float64 {
	if math.IsInf(x, 0) {
		return nil
	}
	return &x
}
