package report

import (
	"stripgap/clearance"
	"stripgap/clearance/build"
)

// stateOf puts a bearing's next step into a mark and a few words.
func stateOf(st build.BearingStatus) (Mark, string) {
	switch st.Next.Code {
	case build.StepOutside:
		for _, j := range []*build.Judgement{st.Service, st.New} {
			if j != nil && j.Verdict == clearance.Outside {
				return MarkBad, tightOrLoose(j)
			}
		}
	case build.StepWorn:
		return MarkWatch, tightOrLoose(st.New) + " for new"
	case build.StepMicrometer:
		for _, f := range st.Flags {
			switch f.Code {
			case build.FlagTaperReal:
				return MarkBad, "tapered"
			case build.FlagOutOfRound:
				return MarkBad, "out of round"
			}
		}
	}
	if s, ok := stepStates[st.Next.Code]; ok {
		return s.mark, s.word
	}
	return MarkWatch, "not settled"
}

func tightOrLoose(j *build.Judgement) string {
	if j.Side == "too small" {
		return "too tight"
	}
	return "too loose"
}

var stepStates = map[string]struct {
	mark Mark
	word string
}{
	build.StepPhoto:      {MarkMissing, "not measured"},
	build.StepSecond:     {MarkWatch, "second strip"},
	build.StepThird:      {MarkWatch, "third strip"},
	build.StepOtherSpan:  {MarkWatch, "other strip"},
	build.StepSurer:      {MarkWatch, "cannot tell"},
	build.StepAgain:      {MarkWatch, "read again"},
	build.StepWhichStrip: {MarkWatch, "one strip or two?"},
	build.StepWorn:       {MarkWatch, "not as new"},
	build.StepOrder:      {MarkWatch, "parts swapped?"},
	build.StepMicrometer: {MarkWatch, "measure parts"},
	build.StepOutside:    {MarkBad, "outside limits"},
	build.StepLimits:     {MarkWatch, "no limits"},
	build.StepDone:       {MarkGood, "in order"},
}

// taperWord says what further strips made of a taper; empty where none stood out.
func taperWord(st build.BearingStatus) string {
	words := map[string]string{build.FlagTaper: "to be confirmed", build.FlagTaperUnsure: "cannot tell", build.FlagTaperReal: "confirmed",
		build.FlagTaperNot: "not repeated", build.FlagDisagree: "strips disagree"}
	for _, f := range st.Flags {
		if word, ok := words[f.Code]; ok {
			return word
		}
	}
	return ""
}
