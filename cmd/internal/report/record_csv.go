package report

import (
	"fmt"
	"io"
	"strings"
)

// recordLine is one line of a record's CSV: a bearing and one of its readings, nil
// for a bearing that has none.
type recordLine struct {
	record  Record
	bearing RecordBearing
	reading *RecordReading
}

// recordColumns are the CSV's columns. Lengths are millimetres in full precision.
var recordColumns = []column[recordLine]{
	{"build", func(l recordLine) string { return l.record.Build }},
	{"date", func(l recordLine) string { return l.record.Date.Format("2006-01-02") }},
	{"k", func(l recordLine) string { return full(l.record.Coverage) }},
	{"group", func(l recordLine) string { return l.bearing.Group }},
	{"bearing", func(l recordLine) string { return l.bearing.Name }},
	{"state", func(l recordLine) string { return l.bearing.StateWord }},
	{"next", func(l recordLine) string { return l.bearing.Next }},
	{"clearance_mm", ofFigure(func(l recordLine) *RecordFigure { return l.bearing.Clearance }, middle)},
	{"clearance_U_mm", ofFigure(func(l recordLine) *RecordFigure { return l.bearing.Clearance }, expanded)},
	{"taper_mm", ofFigure(func(l recordLine) *RecordFigure { return l.bearing.Taper }, middle)},
	{"taper_U_mm", ofFigure(func(l recordLine) *RecordFigure { return l.bearing.Taper }, expanded)},
	{"second_strip", func(l recordLine) string { return l.bearing.TaperWord }},
	{"new", verdictWords(func(b RecordBearing) *RecordVerdict { return b.New })},
	{"new_lo_mm", verdictSide(func(b RecordBearing) *RecordVerdict { return b.New }, func(v RecordVerdict) *float64 { return v.Lo })},
	{"new_hi_mm", verdictSide(func(b RecordBearing) *RecordVerdict { return b.New }, func(v RecordVerdict) *float64 { return v.Hi })},
	{"service", verdictWords(func(b RecordBearing) *RecordVerdict { return b.Service })},
	{"service_lo_mm", verdictSide(func(b RecordBearing) *RecordVerdict { return b.Service }, func(v RecordVerdict) *float64 { return v.Lo })},
	{"service_hi_mm", verdictSide(func(b RecordBearing) *RecordVerdict { return b.Service }, func(v RecordVerdict) *float64 { return v.Hi })},
	{"predicted_mm", ofFigure(recordPredicted, middle)},
	{"predicted_U_mm", ofFigure(recordPredicted, expanded)},
	{"normalised_error", func(l recordLine) string {
		if l.bearing.Parts == nil {
			return ""
		}
		return optional(l.bearing.Parts.En)
	}},
	{"reading", ofReading(func(r RecordReading) string { return fmt.Sprint(r.Number) })},
	{"strip", ofReading(func(r RecordReading) string { return fmt.Sprint(r.Strip) })},
	{"position", ofReading(func(r RecordReading) string { return r.Position })},
	{"photos", ofReading(func(r RecordReading) string { return strings.Join(r.Photos, " ") })},
	{"lot", ofReading(func(r RecordReading) string { return r.Lot })},
	{"not_counted", ofReading(func(r RecordReading) string { return r.Set })},
	{"reading_clearance_mm", ofReading(func(r RecordReading) string { return full(r.Clearance.MM) })},
	{"reading_clearance_U_mm", ofReading(func(r RecordReading) string { return full(r.Clearance.Expanded) })},
	{"end1", ofReading(func(r RecordReading) string { return r.Ends[0].Name })},
	{"end1_mm", ofReading(func(r RecordReading) string { return full(r.Ends[0].MM) })},
	{"end2", ofReading(func(r RecordReading) string { return r.Ends[1].Name })},
	{"end2_mm", ofReading(func(r RecordReading) string { return full(r.Ends[1].MM) })},
	{"reading_taper_mm", ofReading(func(r RecordReading) string { return full(r.Taper.MM) })},
	{"reading_taper_U_mm", ofReading(func(r RecordReading) string { return full(r.Taper.Expanded) })},
}

// RecordCSV writes a record as one line a reading under one line of names
// (RFC 4180). A bearing without readings has a line too.
func RecordCSV(w io.Writer, r Record) error { return writeCSV(w, recordColumns, recordLines(r)) }

func recordLines(r Record) (lines []recordLine) {
	for _, b := range r.Bearings {
		if len(b.Readings) == 0 {
			lines = append(lines, recordLine{r, b, nil})
		}
		for i := range b.Readings {
			lines = append(lines, recordLine{r, b, &b.Readings[i]})
		}
	}
	return lines
}

func middle(f RecordFigure) float64   { return f.MM }
func expanded(f RecordFigure) float64 { return f.Expanded }

func ofFigure(part func(recordLine) *RecordFigure, of func(RecordFigure) float64) func(recordLine) string {
	return func(l recordLine) string {
		if f := part(l); f != nil {
			return full(of(*f))
		}
		return ""
	}
}

func recordPredicted(l recordLine) *RecordFigure {
	if l.bearing.Parts == nil {
		return nil
	}
	return &l.bearing.Parts.Predicted
}

func ofReading(show func(RecordReading) string) func(recordLine) string {
	return func(l recordLine) string {
		if l.reading == nil {
			return ""
		}
		return show(*l.reading)
	}
}

func verdictWords(of func(RecordBearing) *RecordVerdict) func(recordLine) string {
	return func(l recordLine) string {
		v := of(l.bearing)
		if v == nil {
			return ""
		}
		return strings.TrimSuffix(v.Word+", "+v.Detail, ", ")
	}
}

func verdictSide(of func(RecordBearing) *RecordVerdict, side func(RecordVerdict) *float64) func(recordLine) string {
	return func(l recordLine) string {
		if v := of(l.bearing); v != nil {
			return optional(side(*v))
		}
		return ""
	}
}
