package report

import (
	"encoding/csv"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"stripgap/cmd/internal/pipeline"
)

var update = flag.Bool("update", false, "rewrite the golden files; read the difference before keeping it")

func ptr(x float64) *float64 { return &x }

// readings are made up: one with a tag, one without, one refused.
func readings() []pipeline.Result {
	main1 := pipeline.Result{
		Photos: []string{"photos/main1.jpg"}, Outcome: pipeline.OutcomeRead,
		Card:  &pipeline.Card{Layout: "rider", Serial: "K4TF7W", Bearing: "M1"},
		Scale: ptr(31.25),
		Width: &pipeline.Width{Mean: 1.3893, U: 0.0039, Taper: 0.0312, TaperU: 0.0071},
		Ends: []pipeline.End{
			{Name: "front", Card: [2]float64{9, 8}, Width: 1.4049, Clearance: ptr(0.050436)},
			{Name: "rear", Card: [2]float64{-9, 8}, Width: 1.3737, Clearance: ptr(0.051582)}},
		Clearance: &pipeline.Clearance{Mean: 0.051, U: 0.0004, Expanded: 0.0008, Coverage: 2,
			Taper: -0.001146, TaperExpanded: 0.00052, Bow: 0.0001},
		Budget: []pipeline.Term{
			{Name: "edge noise", U: 0.00012}, {Name: "strip section area", U: 0.00038, Common: true}},
		Flags: []string{pipeline.FlagPrintUnchecked},
	}
	main2 := main1
	main2.Photos = []string{"photos/haupt\x1b[2J.jpg"}
	main2.Card = &pipeline.Card{Layout: "bench", Serial: "6C3H2P", PrintChecked: true, Thickness: 0.85, Print: &pipeline.Print{X: 0.997, Y: 0.999, U: 0.0002}}
	main2.Camera = &pipeline.Camera{From: "profile", Phone: "Made up 1200 x 900 px"}
	main2.Flags = []string{pipeline.FlagOutOfStripRange}
	bad := pipeline.Result{
		Photos: []string{"photos/main3.jpg"}, Outcome: pipeline.OutcomeRefused,
		Refusal: &pipeline.Refusal{Code: "no-card", Message: "no card is seen in the photo", Remedy: "lay the card beside the strip"},
	}
	return []pipeline.Result{main1, bad, main2}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s: got\n%s\nwant\n%s", name, got, want)
	}
}

func tableText(t *testing.T, results []pipeline.Result, o Options) string {
	t.Helper()
	var b strings.Builder
	if err := Table(&b, results, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTable(t *testing.T) {
	golden(t, "clearance.txt", tableText(t, readings(), Options{Coverage: 2, Explain: true}))
	judged := readings()[:1]
	judged[0].Verdict = &pipeline.Verdict{
		New:     &pipeline.Judgement{Verdict: "cannot tell", Conformity: 0.634},
		Service: &pipeline.Judgement{Verdict: "inside", Conformity: 0.9999}}
	for _, mean := range []float64{0.019, 0.061} { // on either side of made-up limits
		r, c := judged[0], *judged[0].Clearance
		c.Mean = mean
		r.Clearance, r.Verdict = &c, &pipeline.Verdict{New: &pipeline.Judgement{Verdict: "outside", Lo: ptr(0.03), Hi: ptr(0.05)}}
		judged = append(judged, r)
	}
	golden(t, "verdict.txt", tableText(t, judged, Options{Coverage: 2}))
	widths := readings()
	for i := range widths {
		widths[i].Clearance = nil
	}
	golden(t, "width.txt", tableText(t, widths, Options{Coverage: 2}))
	golden(t, "refused.txt", tableText(t, widths[1:2], Options{Coverage: 2}))
	if got := tableText(t, nil, Options{Coverage: 2}); got != "" {
		t.Errorf("nothing read, but printed %q", got)
	}
}

// TestTableNames checks that two photos of one name are told apart.
func TestTableNames(t *testing.T) {
	r := readings()[:2]
	r[1].Photos = []string{"other/main1.jpg"}
	got := tableText(t, r, Options{Coverage: 2})
	for _, want := range []string{"photos/main1.jpg", "other/main1.jpg"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
}

func TestCSV(t *testing.T) {
	var b strings.Builder
	if err := CSV(&b, readings()); err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(lines) != 4 {
		t.Fatalf("%d lines", len(lines))
	}
	cell := func(row int, name string) string {
		for i, n := range lines[0] {
			if n == name {
				return lines[row][i]
			}
		}
		t.Fatalf("no column %q", name)
		return ""
	}
	for _, c := range []struct {
		row        int
		name, want string
	}{
		{1, "photo", "photos/main1.jpg"}, {1, "clearance_mm", "0.051"}, {1, "taper_mm", "-0.001146"},
		{1, "end2", "rear"}, {1, "end2_clearance_mm", "0.051582"}, {1, "refusal", ""}, {1, "flags", "print-unchecked"},
		{2, "outcome", "refused"}, {2, "refusal", "no-card"}, {2, "clearance_mm", ""}, {2, "end1", ""},
		{2, "print_checked", ""}, {3, "print_checked", "true"}, {1, "camera", ""}, {3, "camera", "profile"},
		{1, "card_thickness_mm", ""}, {3, "card_thickness_mm", "0.85"},
	} {
		if got := cell(c.row, c.name); got != c.want {
			t.Errorf("line %d, %s: %q, want %q", c.row, c.name, got, c.want)
		}
	}
	// Full precision: what is read back is the same number.
	if x, err := strconv.ParseFloat(cell(1, "width_u_mm"), 64); err != nil || x != 0.0039 {
		t.Errorf("width_u_mm %v %v", x, err)
	}
}

// Text that begins as a formula does is text in a spreadsheet too; figures, also
// negative ones, are what they were.
func TestCSVHoldsNoFormula(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1.jpg": "'=1+1.jpg", "+a": "'+a", "-left.jpg": "'-left.jpg", "@a": "'@a", "\t=a": "'\t=a", "\r=a": "'\r=a",
		"": "", "M1.jpg": "M1.jpg", "a=b": "a=b", "-0.001146": "-0.001146", "+5": "+5", "-1e-05": "-1e-05",
	} {
		if got := noFormula(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	hostile := readings()[:1]
	hostile[0].Photos = []string{"=HYPERLINK(A1).jpg"}
	var b strings.Builder
	if err := CSV(&b, hostile); err != nil || !strings.Contains(b.String(), "\n'=HYPERLINK(A1).jpg,") {
		t.Errorf("%v\n%s", err, b.String())
	}
}

func TestJSON(t *testing.T) {
	var b strings.Builder
	if err := JSON(&b, nil); err != nil {
		t.Fatal(err)
	}
	var d map[string]any
	if err := json.Unmarshal([]byte(b.String()), &d); err != nil {
		t.Fatal(err)
	}
	if list, ok := d["results"].([]any); d["schema"] != 1.0 || !ok || len(list) != 0 {
		t.Errorf("an empty document is %s", b.String())
	}
}
