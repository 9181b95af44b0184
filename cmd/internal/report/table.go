package report

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"unicode"

	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/cmd/internal/pipeline"
)

// Options say how much a table tells.
type Options struct {
	Coverage float64 // k > 0 of the uncertainties shown
	Explain  bool    // print every reading's uncertainty budget
	// Surface says in half a sentence which round surface was told, or nothing.
	Surface string
}

// Table writes the readings for a person at a bench: one row a photo that was
// read, the refused ones in a list under it, then what holds for all of them.
func Table(w io.Writer, results []pipeline.Result, o Options) error {
	t := &table{Options: o, name: shortNames(results)}
	for _, r := range results {
		if r.Outcome == pipeline.OutcomeRead {
			t.read = append(t.read, r)
		} else {
			t.refused = append(t.refused, r)
		}
	}
	t.rows()
	t.refusals()
	t.notes()
	if o.Explain {
		t.budgets()
	}
	_, err := w.Write(t.out.Bytes())
	return err
}

type table struct {
	Options
	out           bytes.Buffer
	name          func(pipeline.Result) string
	read, refused []pipeline.Result
}

func (t *table) printf(format string, args ...any) { fmt.Fprintf(&t.out, format, args...) }

func (t *table) withVerdict() bool {
	return slices.ContainsFunc(t.read, func(r pipeline.Result) bool { return r.Verdict != nil })
}

// withClearance reports whether any reading knows its clearance.
func (t *table) withClearance() bool {
	return slices.ContainsFunc(t.read, func(r pipeline.Result) bool { return r.Clearance != nil })
}

// rows prints the readings.
func (t *table) rows() {
	if len(t.read) == 0 {
		return
	}
	heads := []string{"PHOTO", "BEARING", "WIDTH mm", "thou", "ENDS mm", "TAPER", "NOTES"}
	row := t.widthRow
	if t.withClearance() {
		heads = []string{"PHOTO", "BEARING", "WIDTH mm", "CLEARANCE mm", "thou", "ENDS mm", "TAPER mm", "thou", "NOTES"}
		row = t.clearanceRow
	}
	if t.withVerdict() {
		heads[len(heads)-1] = "VERDICT"
		heads = append(heads, "NOTES")
		plain := row
		row = func(r pipeline.Result) []string { return append(plain(r), verdict(r)) }
	}
	lines := [][]string{heads}
	unchecked := func(r pipeline.Result) bool { return slices.Contains(r.Flags, pipeline.FlagPrintUnchecked) }
	some := slices.ContainsFunc(t.read, unchecked) && slices.ContainsFunc(t.read, func(r pipeline.Result) bool { return !unchecked(r) })
	for _, r := range t.read {
		cells := append([]string{t.name(r), bearing(r)}, row(r)...)
		lines = append(lines, append(cells, rowNotes(r, some)))
	}
	t.align(lines)
}

// align prints cells in columns, without blanks at the ends of lines.
func (t *table) align(lines [][]string) {
	var b bytes.Buffer
	tw := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, cells := range lines {
		fmt.Fprintln(tw, strings.Join(cells, "\t"))
	}
	tw.Flush()
	for line := range strings.Lines(b.String()) {
		t.printf("%s\n", strings.TrimRight(line, " \n"))
	}
}

// clearanceRow is the middle of a row: width, clearance, ends and taper.
func (t *table) clearanceRow(r pipeline.Result) []string {
	w, _ := quantity.Round(r.Width.Mean, t.Coverage*r.Width.U)
	c := r.Clearance
	if c == nil {
		return []string{w, "-", "-", "-", "-", "-"}
	}
	return []string{w,
		plusMinus(c.Mean, c.Expanded, quantity.MM), plusMinus(c.Mean, c.Expanded, quantity.Thou),
		ends(r, c.Expanded, func(e pipeline.End) float64 { return *e.Clearance }),
		signed(plusMinus(c.Taper, c.TaperExpanded, quantity.MM)),
		signed(plusMinus(c.Taper, c.TaperExpanded, quantity.Thou))}
}

// widthRow is the middle of a row where no lot is known: width, ends and the
// taper as a fraction of the width, which is all that can be said of it.
func (t *table) widthRow(r pipeline.Result) []string {
	w, expanded := r.Width, t.Coverage*r.Width.U
	share, shareU := quantity.Round(100*w.Taper/w.Mean, 100*t.Coverage*w.TaperU/w.Mean)
	return []string{
		plusMinus(w.Mean, expanded, quantity.MM), plusMinus(w.Mean, expanded, quantity.Thou),
		ends(r, expanded, func(e pipeline.End) float64 { return e.Width }),
		signed(share + " ± " + shareU + " %")}
}

// refusals lists the photos that were not read, one line each.
func (t *table) refusals() {
	if len(t.refused) == 0 {
		return
	}
	if t.out.Len() > 0 {
		t.printf("\n")
	}
	t.printf("Not read:\n")
	for _, r := range t.refused {
		t.printf("  %s: %s; %s\n", t.name(r), r.Refusal.Message, r.Refusal.Remedy)
	}
}

// notes prints what holds for the whole table.
func (t *table) notes() {
	if len(t.read) == 0 {
		return
	}
	t.printf("\n± is the expanded uncertainty, k = %.3g. Taper is the first end minus the second.\n", t.Coverage)
	seen := map[string]bool{}
	for _, r := range t.read {
		for _, f := range r.Flags {
			if text, ok := pipeline.FlagText(f); ok && !seen[f] {
				seen[f] = true
				t.printf("%s\n", text)
			}
		}
	}
	if t.Surface != "" {
		t.printf("As told, %s.\n", t.Surface)
	}
	t.known()
	if !t.withClearance() {
		t.printf("%s\n", clearance.NoLot)
	}
}

// known tells once what of earlier measurements the readings rest on: checked
// sheets and learnt phones.
func (t *table) known() {
	said := map[string]bool{}
	for _, r := range t.read {
		for _, text := range []string{printKnown(r), cameraKnown(r)} {
			if text != "" && !said[text] {
				said[text] = true
				t.printf("%s.\n", text)
			}
		}
	}
}

// printKnown says which sheet's print check a reading uses, and whether its cards'
// thickness, or nothing.
func printKnown(r pipeline.Result) string {
	if r.Card == nil || r.Card.Print == nil {
		return ""
	}
	p := r.Card.Print
	text := fmt.Sprintf("Print scale of sheet %s by callipers: x %.5f, y %.5f, u %.3f %%", printable(r.Card.Serial), p.X, p.Y, 100*p.U)
	if t := r.Card.Thickness; t > 0 {
		text += fmt.Sprintf("; the card's thickness of %.2f mm was used", t)
	}
	return text
}

// cameraKnown says which learnt phone's profile a reading uses, or nothing.
func cameraKnown(r pipeline.Result) string {
	if r.Camera == nil || r.Camera.Phone == "" {
		return ""
	}
	return "Camera by the learnt profile of " + printable(r.Camera.Phone)
}

// budgets prints where each reading's uncertainty comes from.
func (t *table) budgets() {
	for _, r := range t.read {
		of, total := "width", r.Width.U
		if r.Clearance != nil {
			of, total = "clearance", r.Clearance.U
		}
		t.printf("\n%s: standard uncertainty of the %s\n", t.name(r), of)
		var lines [][]string
		for _, term := range r.Budget {
			kind := "own"
			if term.Common {
				kind = "common"
			}
			share := fmt.Sprintf("%.0f %%", 100*term.U*term.U/(total*total))
			lines = append(lines, []string{"  " + term.Name, micrometres(term.U), share, kind})
		}
		t.align(append(lines, []string{"  combined", micrometres(total)}))
		for _, text := range []string{printKnown(r), cameraKnown(r)} {
			if text != "" {
				t.printf("  %s\n", text)
			}
		}
	}
}

func micrometres(mm float64) string { return fmt.Sprintf("%.2f um", 1000*mm) }

// rowNotes are the flags of one reading that do not hold for every one; prints says
// that only some of their sheets are unchecked.
func rowNotes(r pipeline.Result, prints bool) string {
	var notes []string
	for _, f := range r.Flags {
		if prints || f != pipeline.FlagPrintUnchecked {
			notes = append(notes, f)
		}
	}
	return strings.Join(notes, ", ")
}

// verdict prints what each pair of limits says: outside on which side, and where
// it cannot be told, how near it is by the probability of conforming.
func verdict(r pipeline.Result) string {
	if r.Verdict == nil {
		return "-"
	}
	var words []string
	add := func(kind string, j *pipeline.Judgement) {
		if j == nil {
			return
		}
		word := kind + " " + j.Verdict
		switch {
		case j.Verdict == string(clearance.CannotTell):
			word += " (" + quantity.Chance(j.Conformity) + " likely inside)"
		case j.Verdict != string(clearance.Outside):
		case j.Hi != nil && r.Clearance.Mean > *j.Hi:
			word += " (too large)"
		default:
			word += " (too small)"
		}
		words = append(words, word)
	}
	add("new", r.Verdict.New)
	add("service", r.Verdict.Service)
	return strings.Join(words, ", ")
}

func bearing(r pipeline.Result) string {
	if r.Card == nil || r.Card.Bearing == "" {
		return "-"
	}
	return printable(r.Card.Bearing)
}

// ends prints both ends to the decimals that go with the uncertainty expanded.
func ends(r pipeline.Result, expanded float64, length func(pipeline.End) float64) string {
	var cells []string
	for _, e := range r.Ends {
		x, _ := quantity.Round(length(e), expanded)
		cells = append(cells, e.Name+" "+x)
	}
	return strings.Join(cells, "  ")
}

// plusMinus prints x with its expanded uncertainty; the column's head names the
// unit.
func plusMinus(x, expanded float64, unit quantity.Unit) string {
	xs, us := quantity.Round(x/unit.MM(), expanded/unit.MM())
	return xs + " ± " + us
}

// signed puts a plus before a number that has no sign.
func signed(s string) string {
	if strings.HasPrefix(s, "-") {
		return s
	}
	return "+" + s
}

// shortNames names each result by its photos' file names, or by their paths
// where two share a file name.
func shortNames(results []pipeline.Result) func(pipeline.Result) string {
	count := map[string]int{}
	for _, r := range results {
		for _, p := range r.Photos {
			count[filepath.Base(p)]++
		}
	}
	return func(r pipeline.Result) string {
		var names []string
		for _, p := range r.Photos {
			if base := filepath.Base(p); count[base] == 1 {
				p = base
			}
			names = append(names, printable(p))
		}
		return strings.Join(names, " ")
	}
}

// printable keeps a file's name from moving the cursor or breaking the table.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return '?'
		}
		return r
	}, s)
}
