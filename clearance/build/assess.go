package build

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// StatusSchema is the version of a Status as JSON.
const StatusSchema = 1

// Status works out where the build stands after the readings of the journal. It
// fails only on readings that make no sense.
func (b *Build) Status(j Journal) (Status, error) {
	s := Status{Schema: StatusSchema, ID: b.ID, Name: b.Name, Bearings: []BearingStatus{}}
	coverage, err := quantity.FixedK(b.Coverage)
	if err != nil {
		return s, err
	}
	if lost := b.strangers(j); lost != "" {
		s.Hints = append(s.Hints, Note{HintStranger, lost})
	}
	for i := range b.Groups {
		g := groupSurvey{build: b, group: &b.Groups[i], coverage: coverage}
		for k := range g.group.Bearings {
			a, err := assess(b, g.group, &g.group.Bearings[k], j, coverage)
			if err != nil {
				return s, fmt.Errorf("bearing %s: %w", g.group.Bearings[k].Name, err)
			}
			g.bearings = append(g.bearings, a)
		}
		hint, err := g.survey()
		if err != nil {
			return s, fmt.Errorf("group %q: %w", g.group.Name, err)
		}
		if hint != "" {
			s.Hints = append(s.Hints, Note{StepOrder, g.group.Name + ": " + hint})
		}
		for _, a := range g.bearings {
			a.status.Next = a.next()
			s.Bearings = append(s.Bearings, a.status)
		}
	}
	return s, nil
}

// strangers tells of standing readings whose bearing build.toml does not name, empty
// where there are none: they must not vanish without a word.
func (b *Build) strangers(j Journal) string {
	var list []string
	for _, r := range j.Standing() {
		if _, _, ok := b.Find(r.Bearing); !ok {
			list = append(list, fmt.Sprintf("%d (%s)", r.Number, r.Bearing))
		}
	}
	if len(list) == 0 {
		return ""
	}
	return "readings of bearings that build.toml does not name: " + strings.Join(list, ", ") + "; write the bearings back, or take the readings back"
}

// Outside reports whether any bearing lies outside any of its limits.
func (s Status) Outside() bool {
	return slices.ContainsFunc(s.Bearings, func(b BearingStatus) bool {
		return b.New != nil && b.New.Verdict == clearance.Outside || b.Service != nil && b.Service.Verdict == clearance.Outside
	})
}

// assessment is one bearing while its status is worked out.
type assessment struct {
	build   *Build
	group   *Group
	bearing *Bearing
	status  BearingStatus
	places  []*place // in the group's order, at least one
	missing []float64
	inOrder bool   // a swap of parts hinted at concerns this bearing
	refusal string // why its last photo was refused, if there was no reading after it
}

// assess gathers a bearing's readings and settles each place by itself.
func assess(b *Build, g *Group, x *Bearing, j Journal, c quantity.Coverage) (*assessment, error) {
	a := &assessment{build: b, group: g, bearing: x,
		status: BearingStatus{Group: g.Name, Name: x.Name, Readings: []int{}}}
	a.count(j)
	if err := a.gather(j); err != nil {
		return nil, err
	}
	if err := a.judge(c); err != nil {
		return nil, err
	}
	return a, a.parts(c)
}

func (a *assessment) flag(code, format string, args ...any) {
	a.status.Flags = append(a.status.Flags, Note{code, fmt.Sprintf(format, args...)})
}

// judge fills clearance, taper, verdicts and flags from the places.
func (a *assessment) judge(c quantity.Coverage) error {
	known := 0
	var sum, largest float64
	for _, p := range a.places {
		newParts, service, err := a.judgePlace(p)
		if err != nil {
			return err
		}
		if p.known {
			known++
			sum += p.clearance.X
			largest = math.Max(largest, p.clearance.U)
			a.status.New, a.status.Service = worse(a.status.New, newParts), worse(a.status.Service, service)
			a.status.Taper = estimate(p.taper, a.build.Coverage)
		}
		a.flagPlace(p)
		a.flagEnd(p, newParts, service)
	}
	if known == 0 {
		return nil
	}
	a.status.Clearance = estimate(quantity.Value{X: sum / float64(known), U: largest}, a.build.Coverage)
	return a.round(c)
}

// judgePlace judges one place, and lists it where there are several.
func (a *assessment) judgePlace(p *place) (newParts, service *Judgement, err error) {
	if p.known {
		if newParts, service, err = judge(p.clearance, a.build.Coverage, a.group); err != nil {
			return nil, nil, err
		}
	}
	if p.position != nil {
		s := PositionStatus{Position: *p.position, Readings: p.readings, New: newParts, Service: service}
		if p.known {
			s.Clearance = estimate(p.clearance, a.build.Coverage)
		}
		a.status.Positions = append(a.status.Positions, s)
	}
	return newParts, service, nil
}

// flagPlace adds what a place's strips say beside the clearance.
func (a *assessment) flagPlace(p *place) {
	where := ""
	if p.position != nil {
		where = fmt.Sprintf(" at %g deg", *p.position)
	}
	finding := clearance.TaperNone
	if p.known {
		finding = p.findTaper(a.build.TaperLimit)
	}
	stands := finding == clearance.TaperFound
	size := quantity.Value{X: math.Abs(p.taper.X), U: p.taper.U}
	switch {
	case len(p.valid) >= 2 && !p.known:
		a.flag(FlagDisagree, "its strips do not agree%s%s, so there is no clearance to tell", where, disagreement(p))
	case len(p.valid) == 1 && stands:
		a.flag(FlagTaper, "its ends differ by %s%s; a second strip must show whether that is the bearing or how the strip lay", Lengths(size, a.build.Coverage), where)
	case stands:
		a.flag(FlagTaperReal, "its strips agree that the ends differ by %s%s", Lengths(size, a.build.Coverage), where)
	case finding == clearance.TaperUnsure:
		a.flag(FlagTaperUnsure, "its ends differ by %s%s: a taper of the limit could hide in that", Lengths(size, a.build.Coverage), where)
	}
	if first, second, ok := p.tooSoon(); ok {
		a.flag(FlagOneStrip, "readings %d and %d%s count as two strips, but their photos were taken within %.0f minutes, in which no second strip is laid and crushed", first, second, where, soonest.Minutes())
	}
	for _, s := range p.apart() {
		if p.known && !stands && findTaper(s.gauged.Taper, a.build.TaperLimit, clearance.Laying) == clearance.TaperFound {
			a.flag(FlagTaperNot, "the taper of reading %d%s did not repeat: that strip lay askew or on dirt, or the cap was cocked", s.reading.Number, where)
		}
	}
	counted := p.strips
	if p.known {
		counted = p.members()
	}
	for _, s := range counted {
		for _, code := range s.told.Flags {
			if code != FlagTaper && code != FlagTaperUnsure && !slices.ContainsFunc(a.status.Flags, func(n Note) bool { return n.Code == code }) {
				a.status.Flags = append(a.status.Flags, Note{Code: code})
			}
		}
	}
}

// flagEnd tells of an end beyond the limits where the clearance is inside them: those for
// new parts where it is inside both.
func (a *assessment) flagEnd(p *place, newParts, service *Judgement) {
	if !p.known {
		return
	}
	for _, kind := range []struct {
		words string
		j     *Judgement
		l     *Limits
	}{{"the limits for new parts", newParts, a.group.New}, {"the service limits", service, a.group.Service}} {
		if end, found := p.endBeyond(kind.j, kind.l, a.build.Coverage); found {
			a.flag(FlagEndOutside, "an end, %s, lies beyond %s, though its mean is inside", Lengths(end, a.build.Coverage), kind.words)
			return
		}
	}
}

// disagreement is what the comparison of two strips says, empty for more.
func disagreement(p *place) string {
	if len(p.valid) != 2 {
		return ""
	}
	r, err := clearance.Repeated(p.valid[0].gauged, p.valid[1].gauged, clearance.Laying)
	if err != nil { // Settle has compared them
		panic(err)
	}
	return fmt.Sprintf(" (%s)", r)
}

// round compares the positions of one journal.
func (a *assessment) round(c quantity.Coverage) error {
	var list []clearance.Position
	seen := 0
	for _, p := range a.places {
		if p.position == nil || !p.known {
			continue
		}
		seen++
		for _, s := range p.members() {
			list = append(list, clearance.Position{Angle: *p.position, Gauged: s.gauged})
		}
	}
	if seen < 2 {
		return nil
	}
	r, err := clearance.OutOfRound(list, clearance.Laying, c)
	if err != nil {
		return err
	}
	a.status.Round = &Round{MM: r.Estimate, Lo: r.Lo, Hi: r.Hi, OutOfRound: r.OutOfRound}
	if r.OutOfRound {
		a.flag(FlagOutOfRound, "the journal's diameters differ by about %s; between %s and %s",
			lengths(r.Estimate), lengths(r.Lo), lengths(r.Hi))
	}
	return nil
}

// parts compares the read clearance with that of the measured parts.
func (a *assessment) parts(c quantity.Coverage) error {
	if a.bearing.Parts == nil {
		return nil
	}
	v, _, err := a.bearing.Parts.Predict()
	if err != nil {
		return err
	}
	a.status.Predicted = &Predicted{Estimate: *estimate(v, a.build.Coverage)}
	if a.status.Clearance == nil {
		return nil
	}
	read := quantity.Value{X: a.status.Clearance.MM, U: a.status.Clearance.U}
	m, err := clearance.NormalisedError(read, v, c)
	if err != nil {
		return err
	}
	a.status.Predicted.NormalisedError = &m.En
	if !m.Agree {
		a.flag(FlagParts, "the parts' measures give %s, the strips %s: further apart than both are uncertain (normalised error %.2f)", lengths(v.X), lengths(read.X), m.En)
	}
	return nil
}

// Lengths tells a value in mm with its uncertainty expanded by k, in mm and thou.
func Lengths(v quantity.Value, k float64) string {
	return quantity.Format(v.X, k*v.U, quantity.MM) + " (" + quantity.Format(v.X, k*v.U, quantity.Thou) + ")"
}

// lengths tells a length in mm and thou.
func lengths(mm float64) string {
	return quantity.FormatLength(mm, quantity.MM, 4) + " (" + quantity.FormatLength(mm, quantity.Thou, 2) + ")"
}
