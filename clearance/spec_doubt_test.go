package clearance

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"stripgap/calib/quantity"
)

func matches(t *testing.T, pattern, s string) bool {
	t.Helper()
	ok, err := regexp.MatchString(pattern, s)
	if err != nil {
		t.Fatal(err)
	}
	return ok
}

// published gives the limits of the manuals' rows that tell a journal or a bearing's
// inside diameter, mm.
func published(t *testing.T) map[string]struct {
	journal float64
	limits  Limits
} {
	t.Helper()
	out := map[string]struct {
		journal float64
		limits  Limits
	}{}
	for id, row := range tm(t) {
		journal, ok := inches(t, row, "journal_min_in")
		if !ok {
			journal, ok = inches(t, row, "bore_or_ID_min_in")
		}
		if !ok {
			continue
		}
		lo, hasLo := inches(t, row, "clr_new_min_in")
		hi, hasHi := inches(t, row, "clr_new_max_in")
		if hasLo && hasHi {
			out[id] = struct {
				journal float64
				limits  Limits
			}{journal, Limits{lo, hi}}
		}
		if worn, ok := inches(t, row, "clr_service_max_in"); ok {
			out[id+" service"] = struct {
				journal float64
				limits  Limits
			}{journal, Limits{-inf, worn}}
		}
	}
	return out
}

// No published limits are doubted; each of them in the wrong unit or with the point
// astray is, on both sides, and the right figure is named for the commonest slips.
func TestDoubts(t *testing.T) {
	rows := published(t)
	if len(rows) < 9 {
		t.Fatalf("only %d rows with a journal and limits", len(rows))
	}
	for id, row := range rows {
		if d, err := row.limits.Doubts(row.journal); err != nil || len(d) != 0 {
			t.Errorf("row %s, %v at %v: %+v, %v", id, row.limits, row.journal, d, err)
		}
		for factor, slip := range map[float64]quantity.Slip{
			10: quantity.PointSlip, 0.1: quantity.PointSlip, 25.4: quantity.UnitSlip, 1 / 25.4: quantity.UnitSlip,
			1 / 0.0254: quantity.UnitSlip, 1000: quantity.UnitSlip,
		} {
			wrong := Limits{row.limits.Lo * factor, row.limits.Hi * factor}
			doubts, err := wrong.Doubts(row.journal)
			want := 2
			if math.IsInf(wrong.Lo, 0) {
				want = 1
			}
			if err != nil || len(doubts) != want {
				t.Errorf("row %s times %v: %+v, %v", id, factor, doubts, err)
				continue
			}
			for _, d := range doubts {
				if d.Slip == quantity.NoSlip || d.Text == "" {
					t.Errorf("row %s times %v: no slip named: %+v", id, factor, d)
				}
				// Slips by 10 and 25.4 look alike, so only the plausible is asked for.
				right := map[string]float64{"lower": row.limits.Lo, "upper": row.limits.Hi}[d.Side]
				if ratio := d.Likely / right; ratio < 1/2.6 || ratio > 2.6 {
					t.Errorf("row %s times %v (%s): likely %v mm, truly %v", id, factor, slip, d.Likely, right)
				}
			}
		}
	}
}

func TestDoubtText(t *testing.T) {
	d, err := Limits{0.0010, 0.0030}.Doubts(2.75 * inch) // inches typed as mm
	if err != nil || len(d) != 2 || d[1].Side != "upper" || d[1].Slip != quantity.UnitSlip {
		t.Fatalf("%+v, %v", d, err)
	}
	for _, want := range []string{"upper limit 0.0030 mm", "slip of the unit", "0.0762 mm (0.00300 in)"} {
		if !strings.Contains(d[1].Text, want) {
			t.Errorf("%q lacks %q", d[1].Text, want)
		}
	}
	// Far from anything: doubted, and no slip explains it.
	if d, err = (Limits{-inf, 1e-9}).Doubts(70); err != nil || len(d) != 1 || d[0].Slip != quantity.NoSlip || strings.Contains(d[0].Text, "slip") {
		t.Errorf("%+v, %v", d, err)
	}
	// A lower limit of nothing is none.
	if d, err = (Limits{0, 0.08}).Doubts(70); err != nil || len(d) != 0 {
		t.Errorf("%+v, %v", d, err)
	}
	for _, journal := range []float64{0, -1, math.NaN(), inf} {
		if d, err := (Limits{0.02, 0.05}).Doubts(journal); err == nil {
			t.Errorf("journal %v: %+v", journal, d)
		}
	}
	if d, err := (Limits{}).Doubts(70); err == nil {
		t.Errorf("no limits: %+v", d)
	}
}

// Where the journal is not known, no published limits are doubted, and limits in
// inches that were meant in millimetres, or the other way round, are; so they are
// told with the right figure.
func TestAnyDoubts(t *testing.T) {
	for id, row := range published(t) {
		if d, err := row.limits.AnyDoubts(); err != nil || len(d) != 0 {
			t.Errorf("row %s, %v: %+v, %v", id, row.limits, d, err)
		}
	}
	for text, want := range map[string]string{
		"0.0010..0.0030mm": "the upper limit 0.0030 mm (0.00012 in) is unlike any common for journals of 20 to 150 mm; check figure and unit: with a slip of the unit it would be 0.0762 mm (0.00300 in)",
		"0.020..0.050in":   "the upper limit 1.2700 mm (0.05000 in) is unlike any common for journals of 20 to 150 mm; check figure and unit: with a slip of the unit it would be 0.0500 mm (0.00197 in)",
		"20..50mm":         "the upper limit 50.0000 mm (1.96850 in) is unlike any common for journals of 20 to 150 mm; check figure and unit: with a slip of the unit it would be 0.0500 mm (0.00197 in)",
	} {
		l := limitsOf(t, text)
		doubts, err := l.AnyDoubts()
		if err != nil || len(doubts) != 2 || doubts[1].Text != want {
			t.Errorf("%s: %v\n%+v\nwant %s", text, err, doubts, want)
		}
	}
	if _, err := (Limits{2, 1}).AnyDoubts(); err == nil {
		t.Error("reversed limits are not refused")
	}
}
