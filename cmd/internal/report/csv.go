package report

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"stripgap/cmd/internal/pipeline"
)

// column is one column of a CSV: its name and what it holds of a T, "" when that is
// not known.
type column[T any] struct {
	name  string
	value func(T) string
}

// writeCSV writes one line an item under one line of names (RFC 4180).
func writeCSV[T any](w io.Writer, columns []column[T], items []T) error {
	out := csv.NewWriter(w)
	line := make([]string, len(columns))
	for i, c := range columns {
		line[i] = c.name
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for _, item := range items {
		for i, c := range columns {
			line[i] = noFormula(c.value(item))
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// noFormula puts an apostrophe before text that a spreadsheet would run as a
// formula, such as the name of a photo that somebody sent. Figures stay as they are.
func noFormula(s string) string {
	if s == "" || !strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return s
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil {
		return s
	}
	return "'" + s
}

// columns are in the order of the contract's fields. Lengths are millimetres in
// full precision.
var columns = []column[pipeline.Result]{
	{"photo", func(r pipeline.Result) string { return strings.Join(r.Photos, " ") }},
	{"outcome", func(r pipeline.Result) string { return r.Outcome }},
	{"refusal", text(refusalOf, func(f pipeline.Refusal) string { return f.Code })},
	{"message", text(refusalOf, func(f pipeline.Refusal) string { return f.Message })},
	{"remedy", text(refusalOf, func(f pipeline.Refusal) string { return f.Remedy })},
	{"layout", text(cardOf, func(c pipeline.Card) string { return c.Layout })},
	{"serial", text(cardOf, func(c pipeline.Card) string { return c.Serial })},
	{"bearing", text(cardOf, func(c pipeline.Card) string { return c.Bearing })},
	{"print_checked", text(cardOf, func(c pipeline.Card) string { return strconv.FormatBool(c.PrintChecked) })},
	{"card_thickness_mm", text(cardOf, cardThickness)},
	{"camera", text(cameraOf, func(c pipeline.Camera) string { return c.From })},
	{"scale_px_per_mm", func(r pipeline.Result) string { return optional(r.Scale) }},
	{"width_mm", number(widthOf, func(w pipeline.Width) float64 { return w.Mean })},
	{"width_u_mm", number(widthOf, func(w pipeline.Width) float64 { return w.U })},
	{"width_taper_mm", number(widthOf, func(w pipeline.Width) float64 { return w.Taper })},
	{"width_taper_u_mm", number(widthOf, func(w pipeline.Width) float64 { return w.TaperU })},
	{"end1", text(endOf(0), func(e pipeline.End) string { return e.Name })},
	{"end1_width_mm", text(endOf(0), func(e pipeline.End) string { return full(e.Width) })},
	{"end1_clearance_mm", text(endOf(0), func(e pipeline.End) string { return optional(e.Clearance) })},
	{"end2", text(endOf(1), func(e pipeline.End) string { return e.Name })},
	{"end2_width_mm", text(endOf(1), func(e pipeline.End) string { return full(e.Width) })},
	{"end2_clearance_mm", text(endOf(1), func(e pipeline.End) string { return optional(e.Clearance) })},
	{"clearance_mm", number(gapOf, func(c pipeline.Clearance) float64 { return c.Mean })},
	{"clearance_u_mm", number(gapOf, func(c pipeline.Clearance) float64 { return c.U })},
	{"clearance_U_mm", number(gapOf, func(c pipeline.Clearance) float64 { return c.Expanded })},
	{"k", number(gapOf, func(c pipeline.Clearance) float64 { return c.Coverage })},
	{"taper_mm", number(gapOf, func(c pipeline.Clearance) float64 { return c.Taper })},
	{"taper_U_mm", number(gapOf, func(c pipeline.Clearance) float64 { return c.TaperExpanded })},
	{"bow_mm", number(gapOf, func(c pipeline.Clearance) float64 { return c.Bow })},
	{"verdict_new", text(newOf, func(j pipeline.Judgement) string { return j.Verdict })},
	{"conformity_new", number(newOf, func(j pipeline.Judgement) float64 { return j.Conformity })},
	{"verdict_service", text(serviceOf, func(j pipeline.Judgement) string { return j.Verdict })},
	{"conformity_service", number(serviceOf, func(j pipeline.Judgement) float64 { return j.Conformity })},
	{"flags", func(r pipeline.Result) string { return strings.Join(r.Flags, " ") }},
}

// CSV writes one line a reading under one line of names (RFC 4180).
func CSV(w io.Writer, results []pipeline.Result) error { return writeCSV(w, columns, results) }

// The parts of a result that a column may show; nil when not known.
func refusalOf(r pipeline.Result) *pipeline.Refusal { return r.Refusal }
func cardOf(r pipeline.Result) *pipeline.Card       { return r.Card }
func cameraOf(r pipeline.Result) *pipeline.Camera   { return r.Camera }
func widthOf(r pipeline.Result) *pipeline.Width     { return r.Width }
func gapOf(r pipeline.Result) *pipeline.Clearance   { return r.Clearance }

func newOf(r pipeline.Result) *pipeline.Judgement {
	if r.Verdict == nil {
		return nil
	}
	return r.Verdict.New
}

func serviceOf(r pipeline.Result) *pipeline.Judgement {
	if r.Verdict == nil {
		return nil
	}
	return r.Verdict.Service
}

func endOf(i int) func(pipeline.Result) *pipeline.End {
	return func(r pipeline.Result) *pipeline.End {
		if i >= len(r.Ends) {
			return nil
		}
		return &r.Ends[i]
	}
}

// text shows a word of a part, number a figure.
func text[T any](part func(pipeline.Result) *T, show func(T) string) func(pipeline.Result) string {
	return func(r pipeline.Result) string {
		if p := part(r); p != nil {
			return show(*p)
		}
		return ""
	}
}

func number[T any](part func(pipeline.Result) *T, figure func(T) float64) func(pipeline.Result) string {
	return text(part, func(p T) string { return full(figure(p)) })
}

func full(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// cardThickness is what a card's was told to be in mm, where the reading used it.
func cardThickness(c pipeline.Card) string {
	if c.Thickness == 0 {
		return ""
	}
	return full(c.Thickness)
}

func optional(x *float64) string {
	if x == nil {
		return ""
	}
	return full(*x)
}
