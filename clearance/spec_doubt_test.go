package clearance

import (
	"fmt"
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

func TestRangesFor(t *testing.T) {
	// The spans strips are sold for, inch (common practice, no source).
	usual := []Limits{{0.001 * inch, 0.003 * inch}, {0.002 * inch, 0.006 * inch}, {0.004 * inch, 0.009 * inch}, {0.009 * inch, 0.020 * inch}}
	for _, c := range []struct {
		lo, hi float64 // inch
		want   []int
		advice string
	}{
		{0.0012, 0.0018, []int{0}, "use a strip for 0.025..0.076 mm (0.0010..0.0030 in)"},
		{0.0021, 0.0022, []int{0, 1}, "0.0010..0.0030 in"},
		{0.0027, 0.0029, []int{1, 0}, "0.0020..0.0060 in"},
		{0.0045, 0.0055, []int{2, 1}, "0.0040..0.0090 in"},
		{0.001, 0.003, []int{0}, "0.0010..0.0030 in"},
		{0.0005, 0.0008, nil, "none of the strip ranges"},
		{0.025, 0.026, nil, "none of the strip ranges"},
		{0.0015, 0.005, nil, "none of the strip ranges"},
	} {
		span := Limits{c.lo * inch, c.hi * inch}
		got, err := RangesFor(span, usual)
		if err != nil || fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%v..%v in: %v, %v; want %v", c.lo, c.hi, got, err, c.want)
		}
		if advice, err := RangeAdvice(span, usual); err != nil || !strings.Contains(advice, c.advice) {
			t.Errorf("%v..%v in: %q, %v", c.lo, c.hi, advice, err)
		}
	}
	for _, bad := range []Limits{{-1, 1}, {2, 1}, {0, inf}, {math.NaN(), 1}} {
		if got, err := RangesFor(bad, usual); err == nil {
			t.Errorf("%v: %v", bad, got)
		}
	}
	if got, err := RangesFor(Limits{0.02, 0.03}, []Limits{{0, 1}}); err == nil {
		t.Errorf("range from 0: %v", got)
	}
}

// What a strip outside its range told, with both ends and U, is what the next one's
// range has to hold.
func TestAbout(t *testing.T) {
	p, s := strip()
	r := read(t, p, s)
	l, err := r.About(quantity.Coverage{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "lower", l.Lo, r.Ends[1].Clearance.X-2*r.Clearance.U, 1e-15)
	near(t, "upper", l.Hi, r.Ends[0].Clearance.X+2*r.Clearance.U, 1e-15)
}
