package build

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stripgap/calib/quantity"
	"stripgap/clearance"
)

// next is the first thing left to do for a bearing, in plain words.
func (a *assessment) next() Note {
	for _, look := range []func() (Note, bool){
		a.nextPhoto, a.nextAgain, a.nextWhichStrip, a.nextSpan, a.nextAgreement, a.nextOrder, a.nextConfirm, a.nextParts, a.nextTaper, a.nextVerdict,
	} {
		if n, ok := look(); ok {
			return n
		}
	}
	return Note{StepDone, "nothing more to do"}
}

func (a *assessment) has(flag string) bool {
	return slices.ContainsFunc(a.status.Flags, func(n Note) bool { return n.Code == flag })
}

func (a *assessment) nextPhoto() (Note, bool) {
	after := ""
	if a.refusal != "" {
		after = "; the last photo was refused: " + a.refusal
	}
	switch {
	case len(a.status.Readings) == 0:
		return Note{StepPhoto, "lay a strip, torque, take a photo of it beside its tag, and read it" + after}, true
	case len(a.missing) > 0:
		return Note{StepPhoto, fmt.Sprintf("turn the shaft and lay a strip at %s%s", degrees(a.missing), after)}, true
	}
	return Note{}, false
}

func degrees(angles []float64) string {
	var words []string
	for _, x := range angles {
		words = append(words, fmt.Sprintf("%g deg", x))
	}
	return strings.Join(words, ", then at ")
}

func (a *assessment) nextAgain() (Note, bool) {
	if !a.has(FlagChanged) {
		return Note{}, false
	}
	return Note{StepAgain, "build.toml was changed: take the reading back (build withdraw) and read its photo anew, by name"}, true
}

func (a *assessment) nextWhichStrip() (Note, bool) {
	if !a.has(FlagOneStrip) {
		return Note{}, false
	}
	return Note{StepWhichStrip, "say whether these are two strips: of one strip take a reading back (build withdraw); of two, do so and read its photo anew, by name, with --strip"}, true
}

// nextSpan asks for another strip where a place has none inside its own range.
func (a *assessment) nextSpan() (Note, bool) {
	for _, p := range a.places {
		if len(p.valid) > 0 || len(p.strips) == 0 {
			continue
		}
		s := p.strips[len(p.strips)-1]
		l := clearance.Limits{Lo: s.reading.Lot.RangeLo, Hi: s.reading.Lot.RangeHi}
		return Note{StepOtherSpan, fmt.Sprintf("the strip, made for %s (%s), reads about %s and may not be judged there: %s",
			l.Format(quantity.MM, 3), l.Format(quantity.Inch, 4), lengths(s.gauged.Clearance.X), spanAdvice(s.gauged, a.build.Coverage))}, true
	}
	return Note{}, false
}

// spanAdvice names the usual span that holds what a strip told, ends and expanded
// uncertainty included.
func spanAdvice(g clearance.Gauged, k float64) string {
	reach := k*g.Clearance.U + math.Abs(g.Taper.X)/2
	stretch := clearance.Limits{Lo: math.Max(0, g.Clearance.X-reach), Hi: g.Clearance.X + reach}
	advice, err := clearance.SpanAdvice(stretch, clearance.CommonSpans())
	if err != nil { // neither a reading's clearance nor the spans can be wrong here
		panic(err)
	}
	return advice
}

// nextAgreement asks for another strip, or for instruments, where strips disagree.
func (a *assessment) nextAgreement() (Note, bool) {
	for _, p := range a.places {
		switch {
		case p.known || len(p.valid) < 2:
		case len(p.valid) == 2:
			return Note{StepThird, "clean both faces and lay a third strip: the two do not agree"}, true
		default:
			return Note{StepMicrometer, fmt.Sprintf("measure by bore gauge and micrometer: %d strips do not agree", len(p.valid))}, true
		}
	}
	return Note{}, false
}

func (a *assessment) nextOrder() (Note, bool) {
	if !a.inOrder {
		return Note{}, false
	}
	return Note{StepOrder, "look at the numbers on caps, rods and shells: a part may be in another's place (see the hint)"}, true
}

// nextConfirm asks for a second strip where one alone says something that costs
// work to act on. A place with several strips is confirmed.
func (a *assessment) nextConfirm() (Note, bool) {
	single := slices.ContainsFunc(a.places, func(p *place) bool { return len(p.valid) == 1 })
	if !single {
		return Note{}, false
	}
	var why string
	switch {
	case a.has(FlagTaper):
		why = "its ends differ"
	case a.has(FlagApart):
		why = "it stands apart from its group"
	case a.has(FlagOutOfRound):
		why = "the journal reads out of round"
	case outside(a.status.Service):
		why = a.status.Service.Side + " for the service limit"
	case outside(a.status.New):
		why = a.status.New.Side + " for new parts"
	case a.has(FlagParts):
		why = "strip and micrometer disagree"
	case a.has(FlagEndOutside):
		why = "an end lies beyond a limit"
	default:
		return Note{}, false
	}
	return Note{StepSecond, "clean both faces and lay a second strip to confirm: " + why}, true
}

func outside(j *Judgement) bool { return j != nil && j.Verdict == clearance.Outside }
func inside(j *Judgement) bool  { return j != nil && j.Verdict == clearance.Inside }

// nextParts is for what strips have confirmed and parts must answer.
func (a *assessment) nextParts() (Note, bool) {
	switch {
	case a.has(FlagTaperReal):
		return Note{StepMicrometer, "the taper is the bearing's: measure journal and bore at both ends, look at cap and rod for a bend"}, true
	case a.has(FlagOutOfRound):
		return Note{StepMicrometer, "measure the journal across several diameters"}, true
	case a.has(FlagEndOutside):
		return Note{StepMicrometer, "measure journal and bore at both ends: one lies beyond a limit, though the mean is inside"}, true
	case a.has(FlagParts):
		return Note{StepMicrometer, "measure the parts again: strips and micrometer still disagree"}, true
	}
	return Note{}, false
}

// nextTaper asks for a surer reading where the clearance is settled, but a taper
// could hide in it.
func (a *assessment) nextTaper() (Note, bool) {
	if n, _ := a.nextVerdict(); n.Code != StepDone || !a.has(FlagTaperUnsure) {
		return Note{}, false
	}
	return a.surer("a taper of the limit could hide in the uncertainty")
}

// nextVerdict goes by the limits. Of both kinds either may let a bearing pass.
func (a *assessment) nextVerdict() (Note, bool) {
	n, s := a.status.New, a.status.Service
	switch {
	case n == nil && s == nil:
		return Note{StepLimits, "write the maker's limits for the " + a.group.Name + " into build.toml"}, true
	case inside(n):
		return Note{StepDone, "inside the limits for new parts"}, true
	case inside(s) && n == nil:
		return Note{StepDone, "inside the service limits"}, true
	case inside(s) && outside(n):
		return Note{StepWorn, n.Side + " for new parts, inside the service limits: parts that have run may stay" + a.shells()}, true
	case outside(s) || s == nil && outside(n):
		j, which := s, "service limits"
		if j == nil {
			j, which = n, "limits"
		}
		return Note{StepOutside, j.Side + " for the " + which + ": parts must change before assembly" + a.shells()}, true
	case inside(s):
		return a.surer("inside the service limits; whether also inside those for new parts cannot be told")
	}
	return a.surer("a limit lies within the uncertainty")
}

// surer asks for a reading with less uncertainty, and after several strips for
// instruments.
func (a *assessment) surer(why string) (Note, bool) {
	var ways []string
	if a.group.Diameter == 0 && a.group.On != OnFlat {
		ways = append(ways, "write journal_diameter into build.toml")
	}
	if a.status.Strips > 2*len(a.places) {
		return Note{StepMicrometer, why + ": measure by bore gauge and micrometer"}, true
	}
	ways = append(ways, "take two photos of the strip from both sides (names ending in -left and -right)", "check the print of the tags' sheet")
	return Note{StepSurer, why + ": " + strings.Join(ways, ", or ")}, true
}

// shells is advice on shells for new parts, empty without two limits.
func (a *assessment) shells() string {
	if a.group.New == nil {
		return ""
	}
	v := quantity.Value{X: a.status.Clearance.MM, U: a.status.Clearance.U}
	change, err := clearance.ChangeShells(v, a.group.New.Limits)
	if err != nil { // limits on one side have no middle to aim at
		return ""
	}
	return "; " + change.String()
}
