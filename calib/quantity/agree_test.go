package quantity

import (
	"encoding/csv"
	"os"
	"strings"
	"testing"
)

// Contradictions found on printed pages (tm_clearances.csv, row in brackets), and
// slips of our own making for the kinds the pages do not show.
func TestAgreeNamesTheSlip(t *testing.T) {
	for _, c := range []struct {
		first, second string
		slip          Slip
		suspect       string
		firstShould   string
		secondShould  string
		source        string
	}{
		{"3.4980 in", "88.749 mm", DigitSlip, "second", "3.4941 in", "88.849 mm", "[S] its note says 88.849"},
		{"0.1255 in", "3.162 mm", DigitSlip, "first", "0.1245 in", "3.188 mm", "[O] its text prints 0.1245"},
		{"2.72 in", "69.90 mm", DigitSlip, "", "2.752 in", "69.09 mm", "[H] its note says 2.752; 69.09 is a swap too"},
		{"0.001 in", "0.05 mm", DigitSlip, "", "0.002 in", "0.03 mm", "[V]"},
		{"0.00475 in", "0.119 mm", NoSlip, "", "0.00469 in", "0.1206 mm", "[I] the other manual prints 0.12065"},
		{"0.0035 in", "0.889 mm", PointSlip, "", "0.0350 in", "0.089 mm", "ours"},
		{"0.0508 mm", "0.0508 in", UnitSlip, "", "1.2903 mm", "0.00200 in", "ours: never converted"},
		{"1.5 in", "0.038 mm", UnitSlip, "first", "0.0015 in", "38.100 mm", "ours: thou meant"},
		{"0.0020 in", "50.8 mm", UnitSlip, "second", "2.0000 in", "0.051 mm", "ours: um meant"},
	} {
		a, err := Agree(c.first, c.second)
		if err != nil {
			t.Fatal(err)
		}
		if a.Agree || a.Slip != c.slip || a.Suspect != c.suspect || a.FirstShould != c.firstShould || a.SecondShould != c.secondShould {
			t.Errorf("%s, %s (%s): got %+v", c.first, c.second, c.source, a)
		}
		for _, should := range [][2]string{{a.FirstShould, c.second}, {c.first, a.SecondShould}} {
			if fixed, err := Agree(should[0], should[1]); err != nil || !fixed.Agree {
				t.Errorf("the correction %s, %s does not agree: %+v, %v", should[0], should[1], fixed, err)
			}
		}
		swapped, err := Agree(c.second, c.first)
		if err != nil {
			t.Fatal(err)
		}
		if swapped.Slip != a.Slip || swapped.FirstShould != a.SecondShould || swapped.Difference != -a.Difference {
			t.Errorf("%s, %s the other way round: %+v", c.first, c.second, swapped)
		}
		if s := a.String(); !strings.Contains(s, c.firstShould) || !strings.Contains(s, c.secondShould) {
			t.Errorf("sentence %q lacks a correction", s)
		}
	}
}

// Figures that printed pages give in both units and that agree there
// (tm_clearances.csv, rows E, G, H, I, M, R, S, T).
func TestAgreeAcceptsRounding(t *testing.T) {
	for _, c := range [][2]string{
		{"0.0012 in", "0.03 mm"}, {"0.0039 in", "0.10 mm"}, {"2.9917 in", "75.99 mm"}, {"2.9957 in", "76.090 mm"},
		{"0.0016 in", "0.041 mm"}, {"0.0043 in", "0.109 mm"}, {"2.752 in", "69.90 mm"}, {"0.0062 in", "0.16 mm"},
		{"0.00475 in", "0.12065 mm"}, {"3.2720 in", "83.1088 mm"}, {"0.0060 in", "0.152 mm"}, {"2.7486 in", "69.814 mm"},
		{"3.4995 in", "88.887 mm"}, {"2.0501 in", "52.073 mm"}, {"2.0509 in", "52.093 mm"},
	} {
		a, err := Agree(c[0], c[1])
		if err != nil {
			t.Fatal(err)
		}
		if !a.Agree || a.FirstShould != "" || a.Slip != NoSlip || !strings.Contains(a.String(), "agree") {
			t.Errorf("%s and %s: %+v", c[0], c[1], a)
		}
	}
	// Row F: 3.7480 in is 95.1992 mm, printed 95.201. The intervals miss each other
	// by 0.03 um, so the last digit of one must have been rounded wrong.
	if a, err := Agree("3.7480 in", "95.201 mm"); err != nil || a.Agree || a.Suspect != "first" || a.FirstShould != "3.7481 in" || -a.Difference-a.Rounding > 1e-4 {
		t.Errorf("row F: %+v, %v", a, err)
	}
}

// The rows above are the reference file's, so that a change there is noticed.
func TestSlipRowsAreInTheReference(t *testing.T) {
	f, err := os.Open("../../testdata/reference/tm_clearances.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	text := map[string]string{}
	for _, r := range rows {
		text[r[0]] = strings.Join(r, " ")
	}
	for id, figures := range map[string][]string{
		"S": {"3.4980", "88.749", "88.849"}, "O": {"0.1255", "3.162", "0.1245"}, "H": {"2.72 ", "2.752", "69.90"},
		"V": {"0.001 in", "0.05"}, "I": {"0.00475", "0.12065", "0.119"}, "F": {"3.7480", "95.201"},
	} {
		for _, figure := range figures {
			if !strings.Contains(text[id], figure) {
				t.Errorf("row %s no longer holds %q", id, figure)
			}
		}
	}
}

func TestAgreeRefuses(t *testing.T) {
	for _, c := range [][2]string{{"3.4980", "88.749 mm"}, {"3.4980 in", "88.749"}, {"", ""}} {
		if a, err := Agree(c[0], c[1]); err == nil {
			t.Errorf("%q and %q: %+v", c[0], c[1], a)
		}
	}
}

func TestOneSlip(t *testing.T) {
	for _, c := range []struct {
		wrong, right string
		want         bool
	}{
		{"88.749", "88.849", true}, {"2.72", "2.752", true}, {"2.7522", "2.752", true}, {"69.09", "69.90", true},
		{"12", "1", true}, {"1", "12", true}, {"", "", false}, {"1.2", "1.2", false}, {"1.23", "1.32", true},
		{"123", "145", false}, {"123", "1", false}, {"12.3", "21.4", false},
	} {
		if got := oneSlip(c.wrong, c.right); got != c.want {
			t.Errorf("%q for %q: %v", c.wrong, c.right, got)
		}
	}
}
