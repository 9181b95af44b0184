package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"strings"
	"testing"

	"stripgap/clearance"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
)

// invented is a status with something in every column.
func invented() build.Status {
	en, lo, hi := 1.42, 0.03, 0.056
	return build.Status{Schema: build.StatusSchema, ID: "A7X4N2", Name: "invented \x1b[2J", Bearings: []build.BearingStatus{
		{Group: "mains", Name: "M1", Readings: []int{1, 3}, Strips: 2, Withdrawn: 1,
			Clearance: &build.Estimate{MM: 0.0425, U: 0.0005, Expanded: 0.001, Coverage: 2},
			Taper:     &build.Estimate{MM: -0.0021, U: 0.0004, Expanded: 0.0008, Coverage: 2},
			New:       &build.Judgement{Verdict: clearance.Inside, Conformity: 0.9999, Lo: &lo, Hi: &hi},
			Service:   &build.Judgement{Verdict: clearance.CannotTell, Conformity: 0.62, Hi: &hi},
			Flags:     []build.Note{{Code: pipeline.FlagPrintUnchecked}},
			Next:      build.Note{Code: build.StepDone, Text: "inside the limits for new parts"}},
		{Group: "mains", Name: "M2", Readings: []int{2}, Strips: 1,
			Clearance: &build.Estimate{MM: 0.0625, U: 0.0005, Expanded: 0.001, Coverage: 2},
			New:       &build.Judgement{Verdict: clearance.Outside, Side: "too large", Lo: &lo, Hi: &hi},
			Positions: []build.PositionStatus{{Position: 90, Readings: []int{2}, New: &build.Judgement{Verdict: clearance.Outside, Side: "too large"}}},
			Predicted: &build.Predicted{Estimate: build.Estimate{MM: 0.05, U: 0.002, Expanded: 0.004, Coverage: 2}, NormalisedError: &en},
			Flags:     []build.Note{{Code: pipeline.FlagPrintUnchecked}, {Code: build.FlagApart, Text: "it stands apart"}},
			Next:      build.Note{Code: build.StepSecond, Text: "lay a second strip"}},
		{Group: "big ends", Name: "B1", Readings: []int{}, Refused: 2, Next: build.Note{Code: build.StepPhoto, Text: "take a photo"}},
	}, Hints: []build.Note{{Code: build.StepOrder, Text: "the shells of B1 and B2"}}}
}

func TestStatusTable(t *testing.T) {
	var b bytes.Buffer
	if err := StatusTable(&b, invented()); err != nil {
		t.Fatal(err)
	}
	golden(t, "status.txt", b.String())
}

// TestStepWords: no next step is told by its code alone.
func TestStepWords(t *testing.T) {
	for _, code := range []string{build.StepPhoto, build.StepSecond, build.StepThird, build.StepOtherSpan, build.StepSurer, build.StepAgain, build.StepWhichStrip,
		build.StepOrder, build.StepMicrometer, build.StepOutside, build.StepWorn, build.StepLimits, build.StepDone} {
		if _, ok := stepWords[code]; !ok {
			t.Errorf("%s has no words", code)
		}
	}
}

// TestStatusCSV reads the CSV with a strict reader (RFC 4180): a value for each
// name, what is not known empty.
func TestStatusCSV(t *testing.T) {
	var b bytes.Buffer
	if err := StatusCSV(&b, invented()); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 4 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	value := func(row int, name string) string {
		for i, n := range rows[0] {
			if n == name {
				return rows[row][i]
			}
		}
		t.Errorf("no column %s", name)
		return ""
	}
	for _, c := range []struct {
		row        int
		name, want string
	}{
		{1, "bearing", "M1"}, {1, "readings", "1 3"}, {1, "clearance_mm", "0.0425"}, {1, "clearance_u_mm", "0.0005"},
		{1, "clearance_U_mm", "0.001"}, {1, "taper_mm", "-0.0021"}, {1, "verdict_service", "cannot tell"}, {1, "conformity_service", "0.62"},
		{1, "withdrawn", "1"}, {1, "normalised_error", ""}, {1, "next", build.StepDone},
		{2, "flags", "print-unchecked apart"}, {2, "predicted_mm", "0.05"}, {2, "normalised_error", "1.42"}, {2, "verdict_new", "outside"}, {2, "taper_mm", ""},
		{3, "group", "big ends"}, {3, "readings", ""}, {3, "clearance_mm", ""}, {3, "refused", "2"}, {3, "verdict_new", ""}, {3, "next_text", "take a photo"},
	} {
		if got := value(c.row, c.name); got != c.want {
			t.Errorf("row %d, %s: %q, want %q", c.row, c.name, got, c.want)
		}
	}
}

func TestStatusJSON(t *testing.T) {
	var b bytes.Buffer
	if err := StatusJSON(&b, invented()); err != nil {
		t.Fatal(err)
	}
	var back build.Status
	if err := json.Unmarshal(b.Bytes(), &back); err != nil || len(back.Bearings) != 3 || *back.Bearings[1].Predicted.NormalisedError != 1.42 {
		t.Errorf("%v\n%s", err, b.String())
	}
	if !strings.HasPrefix(b.String(), "{\n  \"schema\": 1,\n") {
		t.Errorf("%s", b.String())
	}
}
