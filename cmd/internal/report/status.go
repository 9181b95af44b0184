package report

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
)

// stepWords are the next steps in two or three words, for a table.
var stepWords = map[string]string{
	build.StepPhoto:      "take a photo",
	build.StepSecond:     "second strip",
	build.StepThird:      "third strip",
	build.StepOtherSpan:  "strip of another span",
	build.StepSurer:      "surer reading",
	build.StepAgain:      "read again",
	build.StepWhichStrip: "one strip or two?",
	build.StepOrder:      "check the parts' order",
	build.StepMicrometer: "micrometer",
	build.StepOutside:    "outside the limits",
	build.StepWorn:       "service limit only",
	build.StepLimits:     "fill in limits",
	build.StepDone:       "done",
}

// StepWords returns a next step's code in two or three words.
func StepWords(code string) string {
	if words, ok := stepWords[code]; ok {
		return words
	}
	return code
}

// FlagSentence is what a bearing's flag means: its own text or, of a flag that a
// single reading brought, that flag's.
func FlagSentence(n build.Note) string {
	if n.Text != "" {
		return n.Text
	}
	if text, ok := pipeline.FlagText(n.Code); ok {
		return text
	}
	return n.Code
}

// StatusTable writes a build's status for a person at a bench: a row a bearing,
// then what to do, what to know, and hints.
func StatusTable(w io.Writer, s build.Status) error {
	t := &table{}
	name := s.Name
	if name != "" {
		name = printable(name) + ", "
	}
	t.printf("%sbuild %s\n\n", name, s.ID)
	lines := [][]string{{"BEARING", "STRIPS", "CLEARANCE mm", "thou", "TAPER mm", "thou", "NEW", "SERVICE", "NEXT"}}
	for _, b := range s.Bearings {
		lines = append(lines, statusRow(b))
		for _, p := range b.Positions {
			lines = append(lines, positionRow(p))
		}
	}
	t.align(lines)
	t.list("Next", s.Bearings, func(b build.BearingStatus) []string {
		if b.Next.Code == build.StepDone {
			return nil
		}
		return []string{b.Next.Text}
	})
	t.list("Note", s.Bearings, statusNotes)
	if len(s.Hints) > 0 {
		t.printf("\nHint:\n")
		for _, h := range s.Hints {
			t.printf("  %s\n", h.Text)
		}
	}
	t.statusFooter(s)
	_, err := w.Write(t.out.Bytes())
	return err
}

// list prints what each bearing has to say under a head; nothing where none has.
func (t *table) list(head string, bearings []build.BearingStatus, say func(build.BearingStatus) []string) {
	for _, b := range bearings {
		for _, text := range say(b) {
			if head != "" {
				t.printf("\n%s:\n", head)
				head = ""
			}
			t.printf("  %s: %s\n", printable(b.Name), text)
		}
	}
}

// statusNotes are the flags that are this bearing's own, and the other route.
func statusNotes(b build.BearingStatus) []string {
	var notes []string
	for _, f := range b.Flags {
		if f.Text != "" {
			notes = append(notes, f.Text)
		}
	}
	if b.Round != nil && !b.Round.OutOfRound { // the other case has its flag
		notes = append(notes, roundText(*b.Round))
	}
	flagged := slices.ContainsFunc(b.Flags, func(n build.Note) bool { return n.Code == build.FlagParts })
	if p := b.Predicted; p != nil && p.NormalisedError != nil && !flagged {
		notes = append(notes, fmt.Sprintf("the parts' measures give %s mm (%s thou); normalised error %.2f",
			plusMinus(p.MM, p.Expanded, quantity.MM), plusMinus(p.MM, p.Expanded, quantity.Thou), *p.NormalisedError))
	}
	if b.Withdrawn > 0 {
		notes = append(notes, fmt.Sprintf("readings taken back: %d", b.Withdrawn))
	}
	return notes
}

// statusFooter explains the figures, and the flags that single readings brought,
// once each.
func (t *table) statusFooter(s build.Status) {
	seen := map[string]bool{}
	read := false
	for _, b := range s.Bearings {
		if b.Clearance != nil && !read {
			read = true
			t.printf("\n± is the expanded uncertainty, k = %.3g. Taper is the first end minus the second.\n", b.Clearance.Coverage)
		}
		for _, f := range b.Flags {
			if f.Text == "" && !seen[f.Code] {
				seen[f.Code] = true
				t.printf("%s\n", FlagSentence(f))
			}
		}
	}
}

func statusRow(b build.BearingStatus) []string {
	mm, thou := estimateCells(b.Clearance)
	taper, taperThou := estimateCells(b.Taper)
	return []string{printable(b.Name), strconv.Itoa(b.Strips), mm, thou, signed(taper), signed(taperThou),
		judgementWord(b.New), judgementWord(b.Service), StepWords(b.Next.Code)}
}

func positionRow(p build.PositionStatus) []string {
	mm, thou := estimateCells(p.Clearance)
	return []string{fmt.Sprintf("  %g deg", p.Position), strconv.Itoa(len(p.Readings)), mm, thou, "", "", judgementWord(p.New), judgementWord(p.Service), ""}
}

func estimateCells(e *build.Estimate) (mm, thou string) {
	if e == nil {
		return "-", "-"
	}
	return plusMinus(e.MM, e.Expanded, quantity.MM), plusMinus(e.MM, e.Expanded, quantity.Thou)
}

// judgementWord is a verdict in a few words, "-" where there is none.
func judgementWord(j *build.Judgement) string {
	switch {
	case j == nil:
		return "-"
	case j.Verdict == clearance.CannotTell:
		return fmt.Sprintf("%s (%s likely inside)", j.Verdict, quantity.Chance(j.Conformity))
	case j.Side != "":
		return j.Side
	}
	return string(j.Verdict)
}

// StatusJSON writes a status as one JSON document.
func StatusJSON(w io.Writer, s build.Status) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(s)
}

// statusColumns are a bearing's line in the CSV: lengths are millimetres in full
// precision, what is not known is empty.
var statusColumns = []column[build.BearingStatus]{
	{"group", func(b build.BearingStatus) string { return b.Group }},
	{"bearing", func(b build.BearingStatus) string { return b.Name }},
	{"readings", func(b build.BearingStatus) string { return strings.Trim(fmt.Sprint(b.Readings), "[]") }},
	{"strips", func(b build.BearingStatus) string { return strconv.Itoa(b.Strips) }},
	{"withdrawn", func(b build.BearingStatus) string { return strconv.Itoa(b.Withdrawn) }},
	{"refused", func(b build.BearingStatus) string { return strconv.Itoa(b.Refused) }},
	{"clearance_mm", ofEstimate(statusClearance, func(e build.Estimate) float64 { return e.MM })},
	{"clearance_u_mm", ofEstimate(statusClearance, func(e build.Estimate) float64 { return e.U })},
	{"clearance_U_mm", ofEstimate(statusClearance, func(e build.Estimate) float64 { return e.Expanded })},
	{"k", ofEstimate(statusClearance, func(e build.Estimate) float64 { return e.Coverage })},
	{"taper_mm", ofEstimate(statusTaper, func(e build.Estimate) float64 { return e.MM })},
	{"taper_U_mm", ofEstimate(statusTaper, func(e build.Estimate) float64 { return e.Expanded })},
	{"verdict_new", func(b build.BearingStatus) string { return statusVerdict(b.New) }},
	{"conformity_new", func(b build.BearingStatus) string { return statusConformity(b.New) }},
	{"verdict_service", func(b build.BearingStatus) string { return statusVerdict(b.Service) }},
	{"conformity_service", func(b build.BearingStatus) string { return statusConformity(b.Service) }},
	{"predicted_mm", ofEstimate(statusPredicted, func(e build.Estimate) float64 { return e.MM })},
	{"predicted_U_mm", ofEstimate(statusPredicted, func(e build.Estimate) float64 { return e.Expanded })},
	{"normalised_error", func(b build.BearingStatus) string {
		if b.Predicted == nil {
			return ""
		}
		return optional(b.Predicted.NormalisedError)
	}},
	{"flags", func(b build.BearingStatus) string {
		var codes []string
		for _, f := range b.Flags {
			codes = append(codes, f.Code)
		}
		return strings.Join(codes, " ")
	}},
	{"next", func(b build.BearingStatus) string { return b.Next.Code }},
	{"next_text", func(b build.BearingStatus) string { return b.Next.Text }},
}

func statusClearance(b build.BearingStatus) *build.Estimate { return b.Clearance }
func statusTaper(b build.BearingStatus) *build.Estimate     { return b.Taper }
func statusPredicted(b build.BearingStatus) *build.Estimate {
	if b.Predicted == nil {
		return nil
	}
	return &b.Predicted.Estimate
}

func ofEstimate(of func(build.BearingStatus) *build.Estimate, value func(build.Estimate) float64) func(build.BearingStatus) string {
	return func(b build.BearingStatus) string {
		if e := of(b); e != nil {
			return full(value(*e))
		}
		return ""
	}
}

func statusVerdict(j *build.Judgement) string {
	if j == nil {
		return ""
	}
	return string(j.Verdict)
}

func statusConformity(j *build.Judgement) string {
	if j == nil {
		return ""
	}
	return full(j.Conformity)
}

// StatusCSV writes one line a bearing under one line of names (RFC 4180).
func StatusCSV(w io.Writer, s build.Status) error { return writeCSV(w, statusColumns, s.Bearings) }
